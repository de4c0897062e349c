r"""The two forms of a rod sheet.

The long form has a row for each reading.  The wide form has a row for each height and
a column for each azimuth; its first cell says what goes down and what is in the cells,
each with its unit::

    height_in \ radius_in,  0deg,   30deg,  60deg
    24,                     18 3/8, 18 1/2,
    30,                     18 5/8, 18 3/4, 18 1/2

Where rows are turned against each other, a column ``turn_deg`` says by how much more
azimuth the stations of a row stand than the heads of their columns.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import cast

from geom.design.text_file import join_words
from geom.errors import InputError
from geom.frame import wrap
from geom.readings.rod import RodKind, refuse_too_many
from geom.readings.sheets.sheet import (
    HEADER_CURE,
    VALUES,
    ColumnName,
    Reading,
    Sheet,
    read_azimuth,
    read_length,
    read_name,
    refuse_mixed_marks,
    says_no_access,
    written_step,
)
from geom.readings.sheets.table import SheetRow, SheetTable

_AZIMUTH = re.compile(r"(.*\d.*?)\s*(?:deg|°)", re.IGNORECASE)
_CORNER = re.compile(r"\s*[\\/]\s*")
_WIDE_CURE = (
    r"Write height_in \ radius_in into the first cell (or _mm, _cm, _m, and diameter "
    "or cutback for radius), and the azimuths beside it as 0deg, 30deg, 60deg"
)


#: Head of the column that says how rows of a wide sheet are turned.
TURN = "turn_deg"


def is_wide(table: SheetTable) -> bool:
    """Tell a sheet with a column per azimuth from one with a row per reading."""
    first, *others = table.header.cells
    return _CORNER.search(first) is not None or any(
        _AZIMUTH.fullmatch(name) for name in others
    )


def read_long(table: SheetTable) -> Sheet:
    """Read a sheet that has a row for each reading.

    Of a sheet whose stations were all out of reach there are no readings.

    Raises
    ------
    InputError
        If a column is missing, unknown, twice there or without a unit, or a cell does
        not hold what its column says.
    """
    columns = _long_columns(table)
    table.refuse_unnamed()
    refuse_mixed_marks(table, columns.numbers)
    value = columns.index(columns.kind)
    shut = [row for row in table.rows if says_no_access(row.cell(value))]
    readings = tuple(
        _long_reading(table, row, columns)
        for row in table.rows
        if not says_no_access(row.cell(value))
    )
    return Sheet(
        table=table,
        kind=cast(RodKind, columns.kind),
        unit=columns.unit(columns.kind),
        height_unit=columns.unit("height"),
        wide=False,
        height_index=columns.index("height"),
        sd_index=columns.index("sd") if "sd" in columns.by_quantity else -1,
        readings=readings,
        no_access=tuple(_long_place(table, row, columns) for row in shut),
        step=written_step(table, readings, columns.unit(columns.kind)),
    )


def read_wide(table: SheetTable) -> Sheet:
    """Read a sheet that has a column for each azimuth; blank cells were not read.

    Its readings run along the rows.

    Raises
    ------
    InputError
        If the header does not carry quantity, units and azimuths, an azimuth is twice
        there, or a cell is not a number.
    """
    height, value = _corner(table)
    azimuths = _azimuths(table)
    table.refuse_unnamed()
    note, turned = _column_named(table, "note"), _column_named(table, TURN)
    lengths = [0, *azimuths]
    refuse_mixed_marks(table, lengths if turned is None else [*lengths, turned])
    cells = [
        (row, index, azimuth, _wide_height(table, row, height))
        for row in table.rows
        for index, azimuth in _turned(table, row, azimuths, turned).items()
        if row.cell(index)
    ]
    refuse_too_many(len(cells), table.file)
    shut = [cell for cell in cells if says_no_access(cell[0].cell(cell[1]))]
    readings = tuple(
        Reading(
            row=row,
            index=index,
            azimuth=azimuth,
            height=high,
            value=read_length(table, row, index, value.unit),
            sd=math.nan,
            note="" if note is None else row.cell(note),
        )
        for row, index, azimuth, high in cells
        if not says_no_access(row.cell(index))
    )
    return Sheet(
        table=table,
        kind=cast(RodKind, value.quantity),
        unit=value.unit,
        height_unit=height.unit,
        wide=True,
        height_index=0,
        sd_index=-1,
        readings=readings,
        no_access=tuple((azimuth, high) for _, _, azimuth, high in shut),
        step=written_step(table, readings, value.unit),
    )


@dataclass(frozen=True)
class _LongColumns:
    """Which column holds which quantity."""

    kind: str
    by_quantity: dict[str, tuple[int, ColumnName]]

    def index(self, quantity: str) -> int:
        return self.by_quantity[quantity][0]

    def unit(self, quantity: str) -> str:
        return self.by_quantity[quantity][1].unit

    @property
    def numbers(self) -> list[int]:
        return [index for index, column in self.by_quantity.values() if column.unit]


def _long_columns(table: SheetTable) -> _LongColumns:
    _refuse_no_header(table)
    names: dict[str, ColumnName] = {}

    def read(name: str) -> str:
        try:
            column = read_name(name)
        except InputError as fault:
            place = table.place(table.header)
            raise fault.at(file=table.file, place=place) from fault
        names.setdefault(column.quantity, column)
        return column.quantity

    columns = table.layout(
        read,
        {"azimuth": "azimuth_deg", "height": "height_mm"},
        cure=HEADER_CURE,
        keep="Keep one of them; put other readings into a sheet of their own",
    )
    found = {name: (index, names[name]) for name, index in columns.items()}
    kinds = [kind for kind in VALUES if kind in found]
    if len(kinds) != 1:
        present = join_words(kinds, last="and") if kinds else "none"
        what = f"one column of readings is needed, here are: {present}"
        cure = f"Keep exactly one of {join_words(VALUES)}, with its unit: radius_mm"
        raise table.error(what, table.header, cure=cure)
    return _LongColumns(kinds[0], found)


def _refuse_no_header(table: SheetTable) -> None:
    """Refuse numbers where the names belong: a cloud, or a lost first row."""
    try:
        for index, name in enumerate(table.header.cells):
            table.parsed(name, table.header, index)
    except InputError:
        return
    what = "the first row holds numbers where the names of the columns belong"
    cure = f"{HEADER_CURE}. A point cloud begins with x, y, z"
    raise table.error(what, table.header, cure=cure)


def _long_reading(table: SheetTable, row: SheetRow, columns: _LongColumns) -> Reading:
    azimuth, height = _long_place(table, row, columns)
    value = columns.index(columns.kind)
    _refuse_blank(table, row, columns, columns.kind)
    has_sd = "sd" in columns.by_quantity and row.cell(columns.index("sd")) != ""
    return Reading(
        row=row,
        index=value,
        azimuth=azimuth,
        height=height,
        value=read_length(table, row, value, columns.unit(columns.kind)),
        sd=read_length(table, row, columns.index("sd"), columns.unit("sd"))
        if has_sd
        else math.nan,
        note=row.cell(columns.index("note")) if "note" in columns.by_quantity else "",
    )


def _long_place(
    table: SheetTable, row: SheetRow, columns: _LongColumns
) -> tuple[float, float]:
    """Azimuth and height of a row; degrees and mm."""
    _refuse_blank(table, row, columns, "azimuth")
    _refuse_blank(table, row, columns, "height")
    at = columns.index("azimuth")
    height = read_length(table, row, columns.index("height"), columns.unit("height"))
    return read_azimuth(table, row.cell(at), row, at), height


def _refuse_blank(
    table: SheetTable, row: SheetRow, columns: _LongColumns, quantity: str
) -> None:
    if not row.cell(columns.index(quantity)):
        what = f"the {quantity} is blank"
        cure = "Write it down, or leave the row out if it was not read"
        raise table.error(what, row, columns.index(quantity), cure=cure)


def _corner(table: SheetTable) -> tuple[ColumnName, ColumnName]:
    """Read what goes down and what is in the cells."""
    first = table.header.cells[0]
    parts = _CORNER.split(first)
    if len(parts) == 2:
        try:
            height, value = map(read_name, parts)
        except InputError as fault:
            raise table.error(fault.what, table.header, cure=_WIDE_CURE) from fault
        if height.quantity == "height" and value.quantity in VALUES:
            return height, value
    what = f'the first cell, "{first[:40]}", does not say heights and readings'
    raise table.error(what, table.header, cure=_WIDE_CURE)


def _azimuths(table: SheetTable) -> dict[int, float]:
    """Read the column heads: column index and azimuth, degrees."""
    found: dict[int, float] = {}
    for index, name in enumerate(table.header.cells):
        if index == 0 or not name or name.lower() in ("note", TURN):
            continue
        if (parts := _AZIMUTH.fullmatch(name)) is None:
            what = f'the column head "{name[:40]}" is no azimuth'
            raise table.error(what, table.header, cure=_WIDE_CURE)
        azimuth = read_azimuth(table, parts[1], table.header, index)
        if azimuth in found.values():
            what = f"azimuth {azimuth:g} is there twice"
            cure = "Give each azimuth one column (360deg is 0deg)"
            raise table.error(what, table.header, index, cure=cure)
        found[index] = azimuth
    if not found:
        raise table.error("no column has an azimuth", table.header, cure=_WIDE_CURE)
    return found


def _column_named(table: SheetTable, wanted: str) -> int | None:
    """Find the column of notes, or that of turns."""
    names = table.header.cells
    found = [i for i, name in enumerate(names) if i > 0 and name.lower() == wanted]
    if len(found) > 1:
        what = f"there are two columns for {wanted}"
        raise table.error(what, table.header, cure="Keep one of them")
    return found[0] if found else None


def _turned(
    table: SheetTable, row: SheetRow, azimuths: dict[int, float], turned: int | None
) -> dict[int, float]:
    """Column index and azimuth of the stations of one row, degrees."""
    if turned is None or not row.cell(turned):
        return azimuths
    more = table.parsed(row.cell(turned), row, turned)
    if not abs(more) < 360.0:
        what = f"a row turned by {row.cell(turned)} degrees"
        cure = "Write by how many degrees its stations stand further on than the heads"
        raise table.error(what, row, turned, cure=cure)
    return {i: float(wrap(round(a + more, 9))) for i, a in azimuths.items()}


def _wide_height(table: SheetTable, row: SheetRow, height: ColumnName) -> float:
    if not row.cell(0):
        cure = "Write the height of the row into its first cell"
        raise table.error("the height is blank", row, 0, cure=cure)
    return read_length(table, row, 0, height.unit)
