"""The files of a recheck."""

from __future__ import annotations

import json
from pathlib import Path

from geom.design import Design
from geom.repair.checked import Recheck
from geom.views.cautions import CAUTIONS
from geom.views.certificate import certificate_bytes

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
    text = json.dumps(told, allow_nan=False, ensure_ascii=False, indent=1) + "\n"
    document = text.encode("utf-8", errors="backslashreplace")
    (folder / FILES[0]).write_bytes(document)
    (folder / FILES[1]).write_bytes(certificate_bytes(recheck, design))
