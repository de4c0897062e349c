"""Reading files: which is what, and all of them as one survey."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import reduce
from pathlib import Path

import numpy as np

from geom.design import Design
from geom.design.spelling import listed
from geom.errors import InputError
from geom.readings.long_form import read_long
from geom.readings.plausibility import refuse_implausible
from geom.readings.rod import RodReadings
from geom.readings.table import Table, read_table
from geom.readings.wide_form import is_wide, read_wide
from geom.readings.workbook import read_workbook

ROD_SHEETS: dict[str, Callable[[str], Table]] = {
    ".csv": read_table,
    ".tsv": read_table,
    ".xlsx": read_workbook,
}
CLOUDS = (".xyz", ".txt", ".ply", ".las", ".laz", ".e57", ".npy")

_SAVE = "Save it as CSV or XLSX; docs/file-formats.md shows both forms of a rod sheet"

Name = str | os.PathLike[str]


def load_readings(
    paths: Name | Sequence[Name],
    design: Design,
    *,
    cloud_unit: str | None = None,
    azimuth_of_x: float = 0.0,
    z_offset: float = 0.0,
) -> RodReadings:
    """Read one or more files of readings as one survey.

    Parameters
    ----------
    paths : path or sequence of paths
        Rod sheets, CSV or XLSX, long or wide form.
    design : Design
        What they were read of; readings that cannot be of it are refused.
    cloud_unit : str, optional
    azimuth_of_x : float, degrees
    z_offset : float
        For point clouds, which this version does not read: all three are refused.

    Returns
    -------
    RodReadings
        In the order of the files and of their rows.

    Raises
    ------
    InputError
        With file, row and column of what is wrong.
    """
    files = [paths] if isinstance(paths, str | os.PathLike) else list(paths)
    names = [os.fspath(file) for file in files]
    _refuse_twice(names)
    readers = [(_reader(name), name) for name in names]
    if cloud_unit is not None or azimuth_of_x != 0.0 or z_offset != 0.0:
        what = "cloud unit, azimuth of x and z offset are for point clouds only"
        cure = "Leave them out: this version reads rod sheets (CSV, XLSX)"
        raise InputError(what, cure=cure)
    return reduce(
        RodReadings.joined, [_load(reads(name), design) for reads, name in readers]
    )


def _load(table: Table, design: Design) -> RodReadings:
    sheet = read_wide(table) if is_wide(table) else read_long(table)
    refuse_implausible(sheet, design)
    readings = sheet.to_readings()
    # What is left outside is the rounding of a change of unit.
    inside = np.clip(readings.height, design.profile.bottom, design.profile.top)
    return replace(readings, height=inside)


def _reader(name: str) -> Callable[[str], Table]:
    ending = Path(name).suffix.lower()
    if ending in ROD_SHEETS:
        return ROD_SHEETS[ending]
    if ending in CLOUDS:
        what = "point clouds are not read by this version, only rod sheets (CSV, XLSX)"
        cure = "If it is a rod sheet, give it the ending .csv"
        raise InputError(what, file=name, cure=cure)
    if Path(name).is_dir():
        raise InputError("this is a folder", file=name, cure="Name the files in it")
    allowed = listed(ROD_SHEETS)
    said = f'a file ending in "{ending}"' if ending else "a file without an ending"
    what = f"{said} is no rod sheet; allowed are {allowed}"
    cure = (
        "The design file comes first, then the readings" if ending == ".toml" else _SAVE
    )
    raise InputError(what, file=name, cure=cure)


def _refuse_twice(names: list[str]) -> None:
    if not names:
        cure = "Name one or more rod sheets (CSV, XLSX)"
        raise InputError("no file of readings was named", cure=cure)
    seen: set[str] = set()
    for name in names:
        real = os.path.realpath(name)
        if real in seen:
            what = "this file is named twice; its readings would count twice"
            raise InputError(what, file=name, cure="Name it once")
        seen.add(real)
