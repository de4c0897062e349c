"""The design file: a drawing written down in TOML."""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import fields
from typing import Any

import numpy as np

from geom.design.checks import refuse_senseless
from geom.design.drawing import (
    DatumBand,
    Design,
    Opening,
    Profile,
    RepairRules,
    RodErrors,
    ScannerErrors,
    Target,
)
from geom.design.schema import LINING, TABLES, refuse_unknown
from geom.design.shop import Bottom, Brick, Brickwork, Melting, Mix, Shop
from geom.design.text_file import read_text
from geom.errors import InputError

_MAX_BYTES = 4 * 1024 * 1024
_LONGEST_LINE = 4096
_WHERE = re.compile(r" \(at (?:(line \d+), (column \d+)|(end of document))\)$")


def load_design(path: str | os.PathLike[str]) -> Design:
    """Read a design file.

    Parameters
    ----------
    path : path
        A TOML file as described in ``docs/file-formats.md``.

    Returns
    -------
    Design
        Lengths in mm, azimuths in degrees.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, misses a required key, holds an
        unknown one, or draws what cannot be built.
    """
    file = os.fspath(path)
    raw = _parsed(read_text(path, largest=_MAX_BYTES), file)
    refuse_unknown(raw, [table.name for table in TABLES], file=file)
    design = _design(raw, file)
    refuse_senseless(design, file=file)
    return design


def _parsed(text: str, file: str) -> dict[str, Any]:
    cure = "Mend the line; words stand in double quotes, numbers have a point"
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > _LONGEST_LINE:
            what = f"the line is longer than {_LONGEST_LINE} characters"
            raise InputError(what, file=file, place=f"line {number}", cure=cure)
    try:
        return tomllib.loads(text)
    except RecursionError as fault:
        what = "brackets are nested too deep for a design file"
        raise InputError(what, file=file, cure=cure) from fault
    except ValueError as fault:
        message = str(fault)
        place = None
        if (where := _WHERE.search(message)) is not None:
            place = ", ".join(part for part in where.groups() if part)
            message = message[: where.start()]
        what = f"it is not TOML ({message})"
        raise InputError(what, file=file, place=place, cure=cure) from fault


def _design(raw: dict[str, Any], file: str) -> Design:
    """Put together what the tables hold; what they do not has its default."""
    (lining,) = LINING.read(raw.get(LINING.name), file=file, unit="")
    unit = lining["length_unit"]
    entries = {
        table.name: table.read(raw.get(table.name), file=file, unit=unit)
        for table in TABLES
        if table is not LINING
    }
    single = {name: found[0] if found else {} for name, found in entries.items()}
    shell, repair = single["shell"], single["repair"]
    profile = entries["profile"]
    return Design(
        **lining,
        profile=Profile(
            height=np.array([corner["height"] for corner in profile], np.float64),
            radius=np.array([corner["radius"] for corner in profile], np.float64),
        ),
        shell_radius=shell.get("radius"),
        least_lining=shell.get("least_lining"),
        openings=(
            *(Opening(kind="tuyere", **entry) for entry in entries["tuyere"]),
            *(Opening(**entry) for entry in entries["hole"]),
        ),
        datum_bands=tuple(
            DatumBand(entry["from"], entry["to"]) for entry in entries["datum_band"]
        ),
        targets=tuple(Target(**entry) for entry in entries["target"]),
        repair=RepairRules(**_of_class(RepairRules, repair)),
        rod=RodErrors(**single["rod"]),
        scanner=ScannerErrors(**single["scanner"]),
        shop=Shop(
            bricks=tuple(Brick(**entry) for entry in entries["brick"]),
            brickwork=Brickwork(**single["brickwork"], **_of_class(Brickwork, repair)),
            mix=Mix(**single["mix"]),
            bottom=Bottom(**single["bottom"]),
            melting=Melting(**single["melting"]),
            confidence=repair.get("order_confidence", Shop.confidence),
        ),
    )


def _of_class(part: type, entry: dict[str, Any]) -> dict[str, Any]:
    """The values of a table that are attributes of one part of the design.

    ``[repair]`` fills the rules, the limits of the brickwork, and the order.
    """
    names = {each.name for each in fields(part)}
    return {key: value for key, value in entry.items() if key in names}
