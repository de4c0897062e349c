"""The long form of a rod sheet: one reading a row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from geom.design.spelling import listed
from geom.errors import InputError
from geom.readings.columns import HEADER_CURE, VALUES, Column, read_name
from geom.readings.rod import RodKind
from geom.readings.sheet import (
    Reading,
    Sheet,
    read_azimuth,
    read_length,
    refuse_mixed_marks,
    step_of,
)
from geom.readings.table import Row, Table

NAN = float("nan")


def read_long(table: Table) -> Sheet:
    """Read a sheet that has a row for each reading.

    Parameters
    ----------
    table : Table

    Returns
    -------
    Sheet

    Raises
    ------
    InputError
        If a column is missing, unknown, twice there or without a unit, or a cell does
        not hold what its column says.
    """
    layout = _layout(table)
    table.refuse_unnamed()
    refuse_mixed_marks(table, layout.numbers)
    readings = tuple(_reading(table, row, layout) for row in table.rows)
    return Sheet(
        table=table,
        kind=cast(RodKind, layout.kind),
        unit=layout.unit(layout.kind),
        height_unit=layout.unit("height"),
        wide=False,
        height_index=layout.index("height"),
        sd_index=layout.index("sd") if "sd" in layout.columns else -1,
        readings=readings,
        step=step_of(table, readings, layout.unit(layout.kind)),
    )


@dataclass(frozen=True)
class _Layout:
    """Which column holds which quantity."""

    kind: str
    columns: dict[str, tuple[int, Column]]

    def index(self, quantity: str) -> int:
        return self.columns[quantity][0]

    def unit(self, quantity: str) -> str:
        return self.columns[quantity][1].unit

    @property
    def numbers(self) -> list[int]:
        return [index for index, column in self.columns.values() if column.unit]


def _layout(table: Table) -> _Layout:
    _refuse_headless(table)
    found: dict[str, tuple[int, Column]] = {}
    for index, name in enumerate(table.header.cells):
        try:
            column = read_name(name) if name else None
        except InputError as fault:
            place = table.place(table.header)
            raise fault.at(file=table.file, place=place) from fault
        if column is None:
            continue
        if column.quantity in found:
            what = f"there are two columns for {column.quantity}"
            cure = "Keep one of them; put other readings into a sheet of their own"
            raise table.refuse(what, table.header, cure=cure)
        found[column.quantity] = (index, column)
    for quantity, name in (("azimuth", "azimuth_deg"), ("height", "height_mm")):
        if quantity not in found:
            what = f"the column {name} is missing"
            raise table.refuse(what, table.header, cure=HEADER_CURE)
    kinds = [kind for kind in VALUES if kind in found]
    if len(kinds) != 1:
        said = listed(kinds, last="and") if kinds else "none"
        what = f"one column of readings is needed, here are: {said}"
        cure = f"Keep exactly one of {listed(VALUES)}, with its unit: radius_mm"
        raise table.refuse(what, table.header, cure=cure)
    return _Layout(kinds[0], found)


def _refuse_headless(table: Table) -> None:
    """Refuse numbers where the names belong: a cloud, or a lost first row."""
    try:
        for index, name in enumerate(table.header.cells):
            table.parsed(name, table.header, index)
    except InputError:
        return
    what = "the first row holds numbers where the names of the columns belong"
    cure = f"{HEADER_CURE}. A point cloud begins with x, y, z"
    raise table.refuse(what, table.header, cure=cure)


def _reading(table: Table, row: Row, layout: _Layout) -> Reading:
    for quantity in ("azimuth", "height", layout.kind):
        if not row.cell(layout.index(quantity)):
            what = f"the {quantity} is blank"
            cure = "Write it down, or leave the row out if it was not read"
            raise table.refuse(what, row, layout.index(quantity), cure=cure)
    at = layout.index("azimuth")
    has_sd = "sd" in layout.columns and row.cell(layout.index("sd")) != ""
    return Reading(
        row=row,
        index=layout.index(layout.kind),
        azimuth=read_azimuth(table, row.cell(at), row, at),
        height=read_length(table, row, layout.index("height"), layout.unit("height")),
        value=read_length(
            table, row, layout.index(layout.kind), layout.unit(layout.kind)
        ),
        sd=read_length(table, row, layout.index("sd"), layout.unit("sd"))
        if has_sd
        else NAN,
        note=row.cell(layout.index("note")) if "note" in layout.columns else "",
    )
