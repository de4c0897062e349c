"""The design file: a drawing written down in TOML.

The tables below are the format: a new key is one more line there, and one more
attribute of the part of the drawing that it fills.
"""

from __future__ import annotations

import os
import re
import tomllib
from typing import Any

import numpy as np

from geom.design.checks import refuse_senseless, refuse_senseless_shop
from geom.design.drawing import (
    DatumBand,
    Design,
    Opening,
    Profile,
    RepairRules,
    RodErrors,
    Target,
)
from geom.design.schema import (
    BED_AND_COVER,
    CONFIDENCE,
    SHOP_TABLES,
    Key,
    TableSchema,
    azimuth,
    fall,
    hole_kind,
    length,
    one_of,
    positive_angle,
    positive_length,
    refuse_unknown,
    shop_of,
    step_round,
    words,
)
from geom.design.text_file import read_text
from geom.errors import InputError
from geom.units import MM_PER

_OPENING = (
    Key("azimuth", azimuth),
    Key("height", length),
    Key("width", positive_length),
    Key("tall", positive_length),
)

LINING = TableSchema(
    "lining",
    (
        Key("name", words),
        Key("length_unit", one_of(*MM_PER)),
        Key("azimuth_zero", words),
        Key("azimuth_sense", one_of("clockwise", "counterclockwise")),
        Key("height_zero", words),
    ),
    required=True,
)
SHELL = TableSchema(
    "shell",
    (
        Key("radius", positive_length),
        Key("least_lining", positive_length, required=False),
    ),
)
PROFILE = TableSchema(
    "profile",
    (Key("height", length), Key("radius", positive_length)),
    many=True,
    required=True,
)
TUYERE = TableSchema("tuyere", _OPENING, many=True)
HOLE = TableSchema("hole", (Key("kind", hole_kind), *_OPENING), many=True)
DATUM_BAND = TableSchema(
    "datum_band",
    (Key("from", length, becomes="low"), Key("to", length, becomes="high")),
    many=True,
)
TARGET = TableSchema(
    "target",
    (
        Key("name", words),
        Key("azimuth", azimuth),
        Key("height", length),
        Key("radius", positive_length, required=False),
    ),
    many=True,
)
REPAIR = TableSchema(
    "repair",
    (
        Key("brick_threshold", positive_length, required=False),
        Key("tolerance", positive_length, required=False),
        Key("bottom_fall", fall, required=False),
        *BED_AND_COVER,
        CONFIDENCE,
    ),
)
ROD = TableSchema(
    "rod",
    (
        Key("step", positive_length, required=False),
        Key("repeatability", positive_length, required=False),
        Key("centring", positive_length, required=False),
        Key("set_up", one_of("sheet", "height"), required=False),
        Key("azimuth_sd", positive_angle, required=False),
        Key("height_sd", positive_length, required=False),
        Key("tilt_sd", positive_angle, required=False),
        Key("height_step", positive_length, required=False),
        Key("azimuth_step", step_round, required=False),
    ),
)
OF_DRAWING = (SHELL, PROFILE, TUYERE, HOLE, DATUM_BAND, TARGET, REPAIR, ROD)
TABLES = (LINING, *OF_DRAWING, *SHOP_TABLES)

_LARGEST = 4 * 1024 * 1024
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
    raw = _parsed(read_text(path, largest=_LARGEST), file)
    refuse_unknown(raw, [table.name for table in TABLES], file=file)
    design = _drawn(raw, file)
    refuse_senseless(design, file=file)
    refuse_senseless_shop(design, file=file)
    return design


def _parsed(text: str, file: str) -> dict[str, Any]:
    cure = "Mend the line; words stand in double quotes, numbers have a point"
    try:
        return tomllib.loads(text)
    except RecursionError as fault:
        what = "brackets are nested too deep for a design file"
        raise InputError(what, file=file, cure=cure) from fault
    except ValueError as fault:
        said = str(fault)
        place = None
        if (where := _WHERE.search(said)) is not None:
            place = ", ".join(part for part in where.groups() if part)
            said = said[: where.start()]
        what = f"it is not TOML ({said})"
        raise InputError(what, file=file, place=place, cure=cure) from fault


def _drawn(raw: dict[str, Any], file: str) -> Design:
    lining = LINING.read(raw.get(LINING.name), file=file, unit="")[0]
    unit = lining["length_unit"]
    told = {
        table.name: table.read(raw.get(table.name), file=file, unit=unit)
        for table in TABLES[1:]
    }
    shell, profile, tuyeres, holes, bands, targets, repair, rod = (
        told[table.name] for table in OF_DRAWING
    )
    rules = repair[0] if repair else {}
    shop = shop_of(*(told[table.name] for table in SHOP_TABLES), repair=rules)
    return Design(
        **lining,
        profile=Profile(
            height=np.array([entry["height"] for entry in profile], dtype=np.float64),
            radius=np.array([entry["radius"] for entry in profile], dtype=np.float64),
        ),
        shell_radius=shell[0]["radius"] if shell else None,
        least_lining=shell[0].get("least_lining") if shell else None,
        openings=(
            *(Opening(kind="tuyere", **entry) for entry in tuyeres),
            *(Opening(**entry) for entry in holes),
        ),
        datum_bands=tuple(DatumBand(**entry) for entry in bands),
        targets=tuple(Target(**entry) for entry in targets),
        repair=RepairRules(**rules),
        rod=RodErrors(**rod[0]) if rod else RodErrors(),
        shop=shop,
    )
