"""Reading files: which is a rod sheet or a point cloud, and all as one survey."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, get_args

import numpy as np
from numpy.typing import ArrayLike

from geom.design import Design
from geom.design.text_file import join_words
from geom.errors import InputError, Report, raise_fault
from geom.frame import Sense
from geom.readings.cloud import Cloud, CloudReadings, no_rod_readings, read_targets
from geom.readings.clouds import (
    CLOUD_ENDINGS,
    CloudSource,
    looks_like_cloud,
    open_cloud,
)
from geom.readings.rod import RodKind, RodReadings, refuse_too_many
from geom.readings.sheets.forms import is_header, is_wide, read_long, read_wide
from geom.readings.sheets.plausibility import leave_out_openings, refuse_implausible
from geom.readings.sheets.sheet import Sheet
from geom.readings.sheets.table import SheetRow, SheetTable, read_table, read_workbook
from geom.units import MM_PER, Bool, Float

ROD_SHEETS: dict[str, Callable[[str], SheetTable]] = {
    ".csv": partial(read_table, is_header=is_header),
    ".tsv": partial(read_table, is_header=is_header),
    ".xlsx": partial(read_workbook, is_header=is_header),
}
#: Endings that a rod sheet and a cloud share; the first row tells which it is.
_SHARED = (".csv",)

_SAME_UNIT = 1e-9  # units that differ by this part are one
_SAVE = "Save it as CSV or XLSX; docs/file-formats.md shows both forms of a rod sheet"

Name = str | os.PathLike[str]


def load_readings(
    paths: Name | Sequence[Name],
    design: Design,
    *,
    cloud_unit: str | None = None,
    azimuth_of_x: float = 0.0,
    z_offset: float = 0.0,
    scanner: Sequence[float] | None = None,
    own_frames: bool = False,
    targets: Name | None = None,
    sparse: bool = False,
) -> RodReadings | CloudReadings:
    """Read one or more files of readings as one survey.

    Parameters
    ----------
    paths : path or sequence of paths
        Rod sheets, CSV or XLSX, long or wide form, and point clouds.
    design : Design
        What they were read of; rod readings that cannot be of it are refused.
    cloud_unit : {'in', 'mm', 'cm', 'm'}, optional
        Of the point clouds; needed unless their files fix it.
    azimuth_of_x : float, degrees
        Design azimuth that the clouds' +x points at.
    z_offset : float
        Clouds' z of the design's height zero, in their unit.
    scanner : three floats, optional
        Where the scanner stood, in the clouds' frame and unit.
    own_frames : bool
        Whether each cloud lies in a frame of its own; else all share one.
    targets : path, optional
        Target sheet: where the scanner saw the design's targets, which then tell
        direction and height; at least two.
    sparse : bool
        Whether the clouds are few single points, as of a total station; each is then
        a radius reading with the scanner's own sd.

    Returns
    -------
    RodReadings
        In the order of the files and of their rows; if there is no point cloud.
    CloudReadings
        If there is one, with the rod readings next to it.

    Raises
    ------
    InputError
        With file, row and column of what is wrong.
    """
    files = [paths] if isinstance(paths, str | os.PathLike) else list(paths)
    names = [os.fspath(file) for file in files]
    _refuse_twice(names)
    clouds = [name for name in names if is_cloud(name)]
    readers = [(_reader(name), name) for name in names if name not in clouds]
    rod = no_rod_readings()
    for reads, name in readers:
        rod = rod.joined(_load(reads(name), design))
        refuse_too_many(len(rod), name)
    given = any(x is not None for x in (cloud_unit, scanner, targets))
    given = given or own_frames or sparse
    if not clouds and (given or azimuth_of_x != 0.0 or z_offset != 0.0):
        what = (
            "cloud unit, azimuth of x, z offset, scanner, frames, targets and sparse "
            "are for point clouds only, and there is none"
        )
        raise InputError(what, cure="Leave them out, or name the point cloud")
    if not clouds:
        return rod
    opened = load_clouds(
        clouds,
        unit=cloud_unit,
        azimuth_of_x=azimuth_of_x,
        z_offset=z_offset,
        scanner=scanner,
    )
    if targets is None:
        return CloudReadings(opened, rod, one_frame=not own_frames, sparse=sparse)
    if own_frames or azimuth_of_x != 0.0 or z_offset != 0.0:
        what = "targets tell direction and height of one frame by themselves"
        cure = "Leave out azimuth of x, z offset and own frames, or the targets"
        raise InputError(what, file=os.fspath(targets), cure=cure)
    seen = read_targets(targets, opened[0].millimetres)
    return CloudReadings(opened, rod, targets=seen, sparse=sparse)


def readings_from_arrays(
    azimuth: ArrayLike,
    height: ArrayLike,
    value: ArrayLike,
    design: Design,
    *,
    unit: str,
    kind: RodKind = "radius",
    sd: ArrayLike | None = None,
) -> RodReadings:
    """Rod readings from arrays, checked as those of a sheet are.

    Parameters
    ----------
    azimuth : array (n,), degrees
        In the design's sense.
    height, value : array (n,), ``unit``
        NaN in ``value`` where nothing was read.
    design : Design
        What they were read of; readings that cannot be of it are refused.
    unit : {'in', 'mm', 'cm', 'm'}
    kind : {'radius', 'diameter', 'cutback'}
        What every value is.
    sd : array (n,), ``unit``, optional
        Standard uncertainty of each, NaN where it is not known.

    Raises
    ------
    InputError
        With the element, counted from 0, of what is wrong.
    """
    if unit not in MM_PER or kind not in get_args(RodKind):
        allowed = f"{', '.join(MM_PER)}; {', '.join(get_args(RodKind))}"
        raise InputError(f"{kind} in {unit} is no reading; allowed are {allowed}")
    columns: dict[str, ArrayLike] = {
        "azimuth_deg": azimuth,
        f"height_{unit}": height,
        f"{kind}_{unit}": value,
    }
    if sd is not None:
        columns[f"sd_{unit}"] = sd
    arrays = {
        name: np.asarray(cells, dtype=np.float64) for name, cells in columns.items()
    }
    shapes = {name: cells.shape for name, cells in arrays.items()}
    if len(set(shapes.values())) != 1 or np.asarray(azimuth).ndim != 1:
        named = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise InputError(f"the arrays are not of one length: {named}")
    read = ~np.isnan(arrays[f"{kind}_{unit}"])
    return _of_columns("arrays", arrays, design, labels=_counted(read.size), rows=read)


def readings_from_dataframe(frame: Any, design: Design) -> RodReadings:
    """Rod readings from a DataFrame with the columns of a rod sheet.

    Parameters
    ----------
    frame : DataFrame of pandas or polars, or a mapping of columns
        Columns as in a CSV sheet, long or wide form: ``azimuth_deg`` or ``clock``,
        ``height_in``, ``radius_in``...; numbers, or texts such as ``18 3/8``.
    design : Design
        What they were read of; readings that cannot be of it are refused.

    Raises
    ------
    InputError
        With index and column of what is wrong; where there is no index, or it names
        two rows alike, with the element, counted from 0.
    """
    names = [str(name) for name in getattr(frame, "columns", frame)]
    columns = {name: frame[name] for name in names}
    index = tuple(f"index {label}" for label in getattr(frame, "index", ()))
    if not index or len(set(index)) < len(index):
        index = _counted(max((len(cells) for cells in columns.values()), default=0))
    return _of_columns("DataFrame", columns, design, labels=index)


def _counted(count: int) -> tuple[str, ...]:
    """What elements are called that have no names; from 0, as Python counts."""
    return tuple(f"element {k} (counted from 0)" for k in range(count))


def _of_columns(
    source: str,
    columns: Mapping[str, Iterable[Any]],
    design: Design,
    *,
    labels: tuple[str, ...],
    rows: Bool | None = None,
) -> RodReadings:
    """Readings of some rows of a table in memory, with what each is called there."""
    texts = (map(_as_cell, cells) for cells in columns.values())
    table = SheetTable(
        source,
        SheetRow(0, tuple(columns)),
        tuple(
            row
            for number, cells in enumerate(zip(*texts, strict=True), 1)
            if (rows is None or rows[number - 1])
            and not (row := SheetRow(number, cells)).is_empty
        ),
        labels=labels,
    )
    if not is_header(table.header.cells):
        raise InputError(
            f"its columns {', '.join(columns) or '(none)'} are none of a rod sheet",
            file=source,
            cure="Name them azimuth_deg, height_mm, radius_mm, in the unit they are in",
        )
    readings = _load(table, design)
    refuse_too_many(len(readings), source)
    return readings


def _as_cell(value: Any) -> str:
    """What would be written for a value; blank where there is none."""
    if isinstance(value, str):
        return value.strip()
    if value is None or value != value:  # noqa: PLR0124
        return ""
    if not isinstance(value, int | float | np.number):
        return str(value)
    # to 1e-6 of a unit: what a change of unit leaves behind was not read
    return np.format_float_positional(float(value), precision=6, trim="-")


def load_clouds(
    names: Sequence[str],
    *,
    unit: str | None,
    azimuth_of_x: float,
    z_offset: float,
    scanner: Sequence[float] | None,
) -> tuple[Cloud, ...]:
    """Open the clouds of some files, as `load_readings` has them.

    Their points are read when the surface is made.

    Raises
    ------
    InputError
        If a unit is not known, or is stated otherwise than the file says.
    """
    if unit is not None and unit not in MM_PER:
        allowed = ", ".join(MM_PER)
        raise InputError(f'"{unit}" is no unit of a cloud; allowed are {allowed}')
    clouds = []
    for name in names:
        source = open_cloud(name)
        mm = _millimetres(source, unit)
        clouds.append(
            Cloud(
                source=source,
                millimetres=mm,
                azimuth_of_x=azimuth_of_x,
                z_offset=z_offset * mm,
                scanner=_scanner(source, scanner, mm),
            )
        )
    return tuple(clouds)


def _millimetres(source: CloudSource, unit: str | None) -> float:
    fixed = source.millimetres
    if unit is None and fixed is None:
        raise InputError(
            "the file does not say in which unit its points are",
            file=source.name,
            cure="Add --cloud-unit in, mm, cm or m"
            if Path(source.name).suffix.lower() not in _SHARED
            else "If it is a cloud, add --cloud-unit in, mm, cm or m; if it is a rod "
            "sheet, write the names of its columns into the first row: azimuth_deg, "
            "height_mm, radius_mm",
        )
    if unit is None or fixed is None:
        return fixed if fixed is not None else float(MM_PER[unit or "mm"])
    if abs(fixed - MM_PER[unit]) > _SAME_UNIT * fixed:
        raise InputError(
            f"its points are in units of {fixed:g} mm, as the file itself says, and "
            f"not in {unit}",
            file=source.name,
            cure="Leave --cloud-unit out, or give the one of the file",
        )
    return fixed


def _scanner(
    source: CloudSource, given: Sequence[float] | None, mm: float
) -> Float | None:
    where = source.station if given is None else given
    if where is None:
        return None
    place = np.asarray(where, dtype=np.float64) * mm
    if place.shape != (3,) or not np.isfinite(place).all():
        raise InputError("the scanner's place is three numbers, x, y and z")
    return place


def is_cloud(name: str) -> bool:
    """Whether a file is read as a point cloud, by its ending or its first row."""
    ending = Path(name).suffix.lower()
    if ending in _SHARED:
        return looks_like_cloud(name)
    return ending in CLOUD_ENDINGS


def reading_faults(
    paths: Sequence[Name], design: Design | None
) -> tuple[RodReadings, list[InputError]]:
    """Read rod sheets, and give all that is wrong with them.

    Without a design, no more than how they are written.

    Returns
    -------
    RodReadings
        Those that could be read.
    list of InputError
        In the order of the files and of their rows.
    """
    rod, faults = no_rod_readings(), []
    for name in [os.fspath(path) for path in paths]:
        found: list[InputError] = []
        try:
            if is_cloud(name):
                what = "this is a point cloud, and only rod sheets are checked"
                cure = "If it is a rod sheet, name its columns in the first row"
                raise InputError(what, file=name, cure=cure)
            table = _reader(name)(name)
            if design is None:
                _read_sheet(table, "clockwise", found.append)
            else:
                rod = rod.joined(_load(table, design, found.append))
        except InputError as fault:
            found.append(fault)
        faults += found
    return rod, faults


def _read_sheet(table: SheetTable, sense: Sense, report: Report) -> Sheet:
    form = read_wide if is_wide(table) else read_long
    return form(table, sense, report=report)


def _load(
    table: SheetTable, design: Design, report: Report = raise_fault
) -> RodReadings:
    sheet = _read_sheet(table, design.azimuth_sense, report)
    if not sheet.readings:
        what = "the sheet holds no readings"
        cure = "Write the readings into it; no access, n/a and - are none"
        raise table.error(what, table.header, cure=cure)
    sheet, left_out = leave_out_openings(sheet, design)
    refuse_implausible(sheet, design, report=report)
    for what in dict.fromkeys(words for words, _, _ in left_out):
        (row, index), *more = [
            (row, at) for words, row, at in left_out if words == what
        ]
        alike = f", and {len(more)} more alike" if more else ""
        table.warn(f"{what}{alike}", row, index)
    readings = sheet.to_readings()
    # What is left outside is the rounding of a change of unit.
    inside = np.clip(readings.height, design.profile.bottom, design.profile.top)
    name = Path(table.file).name
    places = tuple(f"{name}, {table.place(row, at)}" for _, row, at in left_out)
    return replace(readings, height=inside, in_openings=places)


def _reader(name: str) -> Callable[[str], SheetTable]:
    ending = Path(name).suffix.lower()
    if ending in ROD_SHEETS:
        return ROD_SHEETS[ending]
    if Path(name).is_dir():
        raise InputError("this is a folder", file=name, cure="Name the files in it")
    rod, cloud = join_words(ROD_SHEETS), join_words(CLOUD_ENDINGS)
    named = f'a file ending in "{ending}"' if ending else "a file without an ending"
    what = f"{named} is neither a rod sheet ({rod}) nor a point cloud ({cloud})"
    cure = (
        "The design file comes first, then the readings" if ending == ".toml" else _SAVE
    )
    raise InputError(what, file=name, cure=cure)


def _refuse_twice(names: list[str]) -> None:
    if not names:
        cure = "Name one or more rod sheets (CSV, XLSX) or point clouds"
        raise InputError("no file of readings was named", cure=cure)
    seen: set[str] = set()
    for name in names:
        real = os.path.realpath(name)
        if real in seen:
            what = "this file is named twice; its readings would count twice"
            raise InputError(what, file=name, cure="Name it once")
        seen.add(real)
