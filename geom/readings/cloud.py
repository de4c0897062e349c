"""Point clouds of one survey, and the targets and rod readings taken with them."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geom.design.text_file import casefolded, join_words
from geom.readings.rod import RodReadings
from geom.readings.sheets.sheet import refuse_mixed_marks
from geom.readings.sheets.table import SheetRow, SheetTable, read_table
from geom.shown import Shown
from geom.units import MM_PER, Float

if TYPE_CHECKING:
    from geom.readings.clouds import CloudSource

AXES = ("x", "y", "z")
_KNOWN = ("name", *AXES, *(f"{axis}_{unit}" for axis in AXES for unit in MM_PER))
_CURE = (
    "A sheet of targets has the columns name, x_mm, y_mm and z_mm (for _mm also _in, "
    "_cm, _m, or none where it is the cloud's unit)"
)
_SAME_UNIT = 1e-9  # units that differ by this part are one
_FARTHEST = 1e10  # mm; no frame of a cloud begins farther off


@dataclass(frozen=True)
class ObservedTarget:
    """Where a scanner saw a target.

    Attributes
    ----------
    name : str
        As the sheet writes it.
    x, y, z : float, mm
        In the cloud's frame.
    file, place : str
        Where it is written, for messages.
    """

    name: str
    x: float
    y: float
    z: float
    file: str = ""
    place: str = ""


def read_targets(
    path: str | os.PathLike[str], unit_mm: float | None
) -> tuple[ObservedTarget, ...]:
    """Read a sheet of targets.

    Parameters
    ----------
    path : path
        A CSV sheet as described in ``docs/file-formats.md``.
    unit_mm : float or None
        Millimetres in the cloud's unit; None where it is not known.

    Returns
    -------
    tuple of SeenTarget
        In the order of the rows.

    Raises
    ------
    InputError
        If a column is missing, unknown or twice there, the unit is missing or is not
        the cloud's, a cell does not hold what its column says, or a name stands twice.
    """
    table = read_table(path)
    columns, mm = _columns(table, unit_mm)
    table.refuse_unnamed()
    refuse_mixed_marks(table, [columns[axis] for axis in AXES])
    seen = tuple(_target(table, row, columns, mm) for row in table.rows)
    _refuse_twice(table, seen, columns["name"])
    return seen


def _columns(table: SheetTable, unit_mm: float | None) -> tuple[dict[str, int], float]:
    """Which column holds what, and how many millimetres its numbers count."""
    units: dict[str, str] = {}

    def read(head: str) -> str:
        table.refuse_unknown(head, _KNOWN, cure=_CURE)
        quantity, _, unit = head.strip().lower().partition("_")
        units.setdefault(quantity, unit)
        return quantity

    needed = {name: name for name in ("name", *AXES)}
    columns = table.layout(read, needed, cure=_CURE)
    return columns, _millimetres(table, [units[axis] for axis in AXES], unit_mm)


def _millimetres(table: SheetTable, units: list[str], unit_mm: float | None) -> float:
    if len(set(units)) != 1:
        what = "the columns x, y and z name different units"
        cure = "Write all three in one unit: x_mm, y_mm, z_mm"
        raise table.error(what, table.header, cure=cure)
    unit = units[0]
    if not unit and unit_mm is None:
        what = "the columns x, y and z name no unit, and the cloud's is not known"
        cure = (
            f"Write {join_words(f'x_{known}' for known in MM_PER)}, and y and z alike"
        )
        raise table.error(what, table.header, cure=cure)
    if not unit or unit_mm is None:
        return unit_mm if unit_mm is not None else float(MM_PER[unit])
    named = float(MM_PER[unit])
    if abs(named - unit_mm) > _SAME_UNIT * unit_mm:
        what = (
            f"x_{unit}, y_{unit} and z_{unit} are not in the unit of the cloud, "
            f"which is {unit_mm:g} mm"
        )
        cure = "Export targets and cloud in one unit, and check --cloud-unit"
        raise table.error(what, table.header, cure=cure)
    return named


def _target(
    table: SheetTable, row: SheetRow, columns: dict[str, int], millimetres: float
) -> ObservedTarget:
    for quantity, index in columns.items():
        if not row.cell(index):
            what = f"the {quantity} is blank"
            cure = "Write it down, or leave the row out if the target was not seen"
            raise table.error(what, row, index, cure=cure)
    x, y, z = (_coordinate(table, row, columns[axis], millimetres) for axis in AXES)
    name = row.cell(columns["name"])
    return ObservedTarget(name, x, y, z, file=table.file, place=table.place(row))


def _coordinate(
    table: SheetTable, row: SheetRow, index: int, millimetres: float
) -> float:
    """Read a cell as a coordinate; mm."""
    found = table.parsed(row.cell(index), row, index) * millimetres
    if not abs(found) <= _FARTHEST:
        what = f"{row.cell(index)} is no place in a cloud"
        cure = "Check the number and the unit in the column's name"
        raise table.error(what, row, index, cure=cure)
    return found


def _refuse_twice(
    table: SheetTable, seen: tuple[ObservedTarget, ...], index: int
) -> None:
    first: dict[str, SheetRow] = {}
    for target, row in zip(seen, table.rows, strict=True):
        before = first.setdefault(casefolded(target.name), row)
        if before is not row:
            what = f'"{target.name[:40]}" stands in row {before.number} too'
            cure = "Give each target once, at its best place"
            raise table.error(what, row, index, cure=cure)


@dataclass(frozen=True)
class Cloud(Shown):
    """One point cloud as the survey has it; nothing of it is read yet.

    Attributes
    ----------
    millimetres : float
        In its unit.
    azimuth_of_x : float, degrees
        Design azimuth that its +x points at.
    z_offset : float, mm
        Its z of the design's height zero.
    scanner : array (3,) or None, mm
        Where the scanner stood, in the cloud's frame; None where it is not known.
    """

    source: CloudSource
    millimetres: float
    azimuth_of_x: float
    z_offset: float
    scanner: Float | None

    @property
    def name(self) -> str:
        """The file as the caller named it."""
        return self.source.name


@dataclass(frozen=True)
class CloudReadings(Shown):
    """Clouds, and rod readings next to them.

    Attributes
    ----------
    rod : RodReadings
        None of them, or those that were taken as well.
    one_frame : bool
        Whether all clouds are in one frame; else each has a pose of its own.
    targets : tuple of SeenTarget
        Where the scanner saw named targets, in the one frame; they tell direction and
        height instead of what the clouds carry.
    sparse : bool
        Whether each point is a reading by itself, as of a total station.
    """

    clouds: tuple[Cloud, ...]
    rod: RodReadings
    one_frame: bool = True
    targets: tuple[ObservedTarget, ...] = ()
    sparse: bool = False

    def __len__(self) -> int:
        return len(self.rod) + sum(cloud.source.count or 0 for cloud in self.clouds)

    @property
    def kinds(self) -> list[str]:
        """As ``findings.json`` names them."""
        return ["laser points", *self.rod.kinds]


def no_rod_readings() -> RodReadings:
    """No rod readings at all."""
    none = np.zeros(0)
    return RodReadings((), none, none, none, none, none, (), ())
