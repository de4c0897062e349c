"""The files of a recheck."""

from __future__ import annotations

from pathlib import Path

from geom.design import Design
from geom.repair.checked import Recheck
from geom.views.cautions import CAUTIONS
from geom.views.certificate import certificate_bytes
from geom.views.document import as_json

#: In the order they are written.
FILES: tuple[str, ...] = ("recheck.json", "certificate.pdf")


def write_recheck(folder: Path, recheck: Recheck, design: Design) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    recheck : Recheck
    design : Design
    """
    told = recheck.to_dict() | {"cautions": list(CAUTIONS)}
    (folder / FILES[0]).write_bytes(as_json(told))
    (folder / FILES[1]).write_bytes(certificate_bytes(recheck, design))
