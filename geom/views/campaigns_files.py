"""The files of two campaigns beside each other."""

from __future__ import annotations

from pathlib import Path

from geom.record.campaigns import Comparison
from geom.views.campaigns_page import campaigns_page
from geom.views.document import as_json

#: In the order they are written.
FILES: tuple[str, ...] = ("campaigns.json", "campaigns.html")


def write_campaigns(folder: Path, told: Comparison) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    told : Comparison
    """
    (folder / FILES[0]).write_bytes(campaigns_document(told))
    (folder / FILES[1]).write_bytes(campaigns_page(told))


def campaigns_document(told: Comparison) -> bytes:
    """The ``daubline.campaigns/1`` document as UTF-8 JSON.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no such numbers.
    """
    return as_json(told.to_dict())
