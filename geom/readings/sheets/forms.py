r"""The two forms of a rod sheet.

The long form has a row for each reading.  The wide form has a row for each height and
a column for each azimuth; its first cell says what goes down and what is in the cells,
each with its unit::

    height_in \ radius_in,  0deg,   30deg,  60deg
    24,                     18 3/8, 18 1/2,
    30,                     18 5/8, 18 3/4, 18 1/2

An azimuth may be an hour of the clock: a column ``clock``, a head ``3:30``.  Where rows
are turned against each other, a column ``turn_deg`` says by how much more
azimuth the stations of a row stand than the heads of their columns.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TypeVar, cast

from geom.design.text_file import join_words
from geom.errors import InputError, Report, raise_fault
from geom.frame import Sense, wrap
from geom.readings.rod import RodKind, refuse_too_many
from geom.readings.sheets.sheet import (
    HEADER_CURE,
    VALUES,
    ColumnName,
    Reading,
    Sheet,
    read_azimuth,
    read_clock,
    read_length,
    read_name,
    refuse_mixed_marks,
    says_no_access,
    says_not_read,
    tidy_cells,
    written_step,
)
from geom.readings.sheets.table import SheetRow, SheetTable

_AZIMUTH = re.compile(r"(.*\d.*?)\s*(?:deg(?:rees?)?\.?|°|º)", re.IGNORECASE)
_CLOCK = re.compile(
    r"half\s+past\s+\d+|\d+:\d\d|.*\d.*o['\u2019]?\s*clock", re.IGNORECASE
)
_WIDE_CURE = (
    r"Write height_in \ radius_in into the first cell (or _mm, _cm, _m, and diameter "
    "or cutback for radius), and the azimuths next to it as 0deg, 30deg, 60deg or as "
    "3 o'clock, 3:30"
)

T = TypeVar("T")
R = TypeVar("R")

#: Head of the column that says how rows of a wide sheet are turned.
TURN = "turn_deg"


def is_wide(table: SheetTable) -> bool:
    """Tell a sheet with a column per azimuth from one with a row per reading."""
    first, *others = table.header.cells
    return _corner_names(first) is not None or any(
        _AZIMUTH.fullmatch(name) or _CLOCK.fullmatch(name) for name in others
    )


def is_header(cells: tuple[str, ...]) -> bool:
    """Tell the row that names the columns of a rod sheet from a title above it."""
    corner = (_corner_names(cells[0]) if cells else None) or []
    if len(cells) > 1 and [_quantity(name) in VALUES for name in corner] == [
        False,
        True,
    ]:
        return True
    found = [_quantity(name) for name in cells]
    return len([q for q in found if q and q != "note"]) > 1


def read_long(
    table: SheetTable, sense: Sense, *, report: Report = raise_fault
) -> Sheet:
    """Read a sheet that has a row for each reading.

    Of a sheet whose stations were all out of reach there are no readings.

    Parameters
    ----------
    table : SheetTable
        As it was written.
    sense : {'clockwise', 'counterclockwise'}
        Which way azimuth grows, for hours of the clock.
    report : callable
        What is done about the fault of a row.

    Raises
    ------
    InputError
        If a column is missing, unknown, twice there or without a unit, or a cell does
        not hold what its column says.
    """
    columns = _long_columns(table, sense, report)
    table.refuse_unnamed()
    _refuse_split_decimals(table, columns)
    value = columns.index(columns.kind)
    table = table.filled_down([columns.index(columns.place), columns.index("height")])
    table = tidy_cells(table, columns.units)
    refuse_mixed_marks(table, columns.numbers)
    table = _without_unread(table, value)
    shut = [row for row in table.rows if says_no_access(row.cell(value))]
    places = _each(shut, lambda row: _long_place(table, row, columns), report)
    read = [row for row in table.rows if not says_no_access(row.cell(value))]
    readings = tuple(
        _each(read, lambda row: _long_reading(table, row, columns), report)
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
        no_access=tuple(places),
        step=written_step(table, readings, columns.unit(columns.kind)),
    )


def read_wide(
    table: SheetTable, sense: Sense, *, report: Report = raise_fault
) -> Sheet:
    """Read a sheet that has a column for each azimuth; blank cells were not read.

    Its readings run along the rows; parameters are those of `read_long`.

    Raises
    ------
    InputError
        If the header does not carry quantity, units and azimuths, an azimuth is twice
        there, or a cell is not a number.
    """
    height, value = _corner(table)
    azimuths = _azimuths(table, sense)
    table.refuse_unnamed()
    note, turned = _column_named(table, "note"), _column_named(table, TURN)
    table = tidy_cells(
        table.filled_down([0]),
        {0: height.unit, **dict.fromkeys(azimuths, value.unit)}
        | ({} if turned is None else {turned: "deg"}),
    )
    lengths = [0, *azimuths]
    refuse_mixed_marks(table, lengths if turned is None else [*lengths, turned])
    table = _without_unread(table, *azimuths)
    rows = _each(
        table.rows,
        lambda row: [
            (row, index, azimuth, _wide_height(table, row, height))
            for index, azimuth in _turned(table, row, azimuths, turned).items()
            if row.cell(index)
        ],
        report,
    )
    cells = [cell for row in rows for cell in row]
    refuse_too_many(len(cells), table.file)
    shut = [cell for cell in cells if says_no_access(cell[0].cell(cell[1]))]

    def reading(cell: tuple[SheetRow, int, float, float]) -> Reading:
        row, index, azimuth, high = cell
        length = read_length(table, row, index, value.unit)
        words = "" if note is None else row.cell(note)
        return Reading(row, index, azimuth, high, length, math.nan, words)

    read = [cell for cell in cells if not says_no_access(cell[0].cell(cell[1]))]
    readings = tuple(_each(read, reading, report))
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


def _each(items: Iterable[T], read: Callable[[T], R], report: Report) -> Iterator[R]:
    """What is read of each; of those with a fault, the fault is reported."""
    for item in items:
        try:
            found = read(item)
        except InputError as fault:
            report(fault)
        else:
            yield found


def _without_unread(table: SheetTable, *indices: int) -> SheetTable:
    """The sheet without what says ``n/r``: blank cells, or no rows of the long form."""
    unread = [
        (row, index)
        for row in table.rows
        for index in indices
        if says_not_read(row.cell(index))
    ]
    if not unread:
        return table
    (row, index), *others = unread
    more = f", and {len(others)} more alike" if others else ""
    table.warn(f'"{row.cell(index)}" is no reading{more}', row, index)
    if len(indices) == 1:
        gone = {row.number for row, _ in unread}
        kept = tuple(row for row in table.rows if row.number not in gone)
        return replace(table, rows=kept)
    blank = {(row.number, index) for row, index in unread}
    return replace(
        table,
        rows=tuple(
            SheetRow(
                row.number,
                tuple(
                    "" if (row.number, k) in blank else cell
                    for k, cell in enumerate(row.cells)
                ),
            )
            for row in table.rows
        ),
    )


@dataclass(frozen=True)
class _LongColumns:
    """Which column holds which quantity, and which way azimuth grows."""

    kind: str
    by_quantity: dict[str, tuple[int, ColumnName]]
    sense: Sense

    @property
    def place(self) -> str:
        """What says the direction: azimuth or clock."""
        return "clock" if "clock" in self.by_quantity else "azimuth"

    @property
    def units(self) -> dict[int, str]:
        """Unit of each column of numbers."""
        return {index: column.unit for index, column in self.by_quantity.values()}

    def index(self, quantity: str) -> int:
        return self.by_quantity[quantity][0]

    def unit(self, quantity: str) -> str:
        return self.by_quantity[quantity][1].unit

    @property
    def numbers(self) -> list[int]:
        return [index for index, column in self.by_quantity.values() if column.unit]


def _long_columns(table: SheetTable, sense: Sense, report: Report) -> _LongColumns:
    _refuse_no_header(table)
    names: dict[str, ColumnName] = {}
    others: list[str] = []
    respelt: list[str] = []

    wrong: list[InputError] = []

    def read(name: str) -> str:
        try:
            column = read_name(name)
        except InputError as fault:
            wrong.append(fault.at(file=table.file, place=table.place(table.header)))
            return ""
        if not column.quantity:
            others.append(name)
        elif column.written != name.lower():
            respelt.append(f'"{name}" is read as {column.written}')
        names.setdefault(column.quantity, column)
        return column.quantity

    columns = table.layout(
        read,
        {},
        cure=HEADER_CURE,
        keep="Keep one of them; put other readings into a sheet of their own",
    )
    for fault in wrong[:-1]:
        report(fault)
    if wrong:
        raise wrong[-1]
    if "height" not in columns:
        raise table.error(
            "the column height_mm is missing", table.header, cure=HEADER_CURE
        )
    passed = f"; not known: {join_words(others, last='and')}" if others else ""
    if "azimuth" in columns and "clock" in columns:
        what, cure = (
            "there are columns for azimuth_deg and for clock",
            "Keep one of them",
        )
        raise table.error(what, table.header, cure=cure)
    if "azimuth" not in columns and "clock" not in columns:
        what = f"the column azimuth_deg is missing{passed}"
        raise table.error(what, table.header, cure=HEADER_CURE)
    found = {name: (index, names[name]) for name, index in columns.items()}
    kinds = [kind for kind in VALUES if kind in found]
    if len(kinds) != 1:
        present = join_words(kinds, last="and") if kinds else "none"
        what = f"one column of readings is needed, here are: {present}{passed}"
        cure = f"Keep exactly one of {join_words(VALUES)}, with its unit: radius_mm"
        raise table.error(what, table.header, cure=cure)
    if others:
        words = join_words([f'"{name}"' for name in others], last="and")
        table.warn(f"no reading is taken from {words}", table.header)
    if respelt:
        table.warn(join_words(respelt, last="and"), table.header)
    return _LongColumns(kinds[0], found, sense)


def _refuse_split_decimals(table: SheetTable, columns: _LongColumns) -> None:
    """Refuse notes that are the decimals of readings, cut off by a comma."""
    value = columns.index(columns.kind)
    if table.decimal_comma or "note" not in columns.by_quantity:
        return
    if columns.index("note") != value + 1:
        return
    notes = [(row, row.cell(value + 1)) for row in table.rows if row.cell(value + 1)]
    if len(notes) > 1 and all(
        note.isdigit() and row.cell(value).isdigit() for row, note in notes
    ):
        row, note = notes[0]
        what = f"notes that are numbers alone: is {row.cell(value)},{note} one reading?"
        cure = "Write decimals with a point, or separate the columns with ;"
        raise table.error(what, row, value, cure=cure)


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
    _refuse_blank(table, row, columns, columns.place)
    _refuse_blank(table, row, columns, "height")
    at = columns.index(columns.place)
    height = read_length(table, row, columns.index("height"), columns.unit("height"))
    if columns.place == "clock":
        return read_clock(table, row.cell(at), row, at, columns.sense), height
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
    if names := _corner_names(first):
        try:
            height, value = map(read_name, names)
        except InputError as fault:
            raise table.error(fault.what, table.header, cure=_WIDE_CURE) from fault
        if height.quantity == "height" and value.quantity in VALUES:
            if [height.written, value.written] != [n.strip().lower() for n in names]:
                words = f'"{first}" is read as {height.written} \\ {value.written}'
                table.warn(words, table.header)
            return height, value
    what = f'the first cell, "{first[:40]}", does not say heights and readings'
    raise table.error(what, table.header, cure=_WIDE_CURE)


def _corner_names(text: str) -> list[str] | None:
    """The two names that the first cell of a wide sheet holds; None of any other."""
    for mark in "\\/":
        if mark in text:
            parts = text.split(mark)
            one = mark == "/" and _quantity(text)
            return None if one or len(parts) != 2 else [part.strip() for part in parts]
    return None


def _quantity(name: str) -> str:
    """The quantity that a name says; empty if none, or not with its unit."""
    try:
        return read_name(name).quantity
    except InputError:
        return ""


def _azimuths(table: SheetTable, sense: Sense) -> dict[int, float]:
    """Read the column heads: column index and azimuth, degrees."""
    found: dict[int, float] = {}
    bare: list[str] = []
    for index, name in enumerate(table.header.cells):
        if index == 0 or not name or name.lower() == TURN:
            continue
        if _quantity(name) == "note":
            continue
        if _CLOCK.fullmatch(name):
            azimuth = read_clock(table, name, table.header, index, sense)
        elif parts := _AZIMUTH.fullmatch(name):
            azimuth = read_azimuth(table, parts[1], table.header, index)
        elif name[:1].isdigit() and " " not in name:
            azimuth = read_azimuth(table, name, table.header, index)
            bare.append(name)
        elif not _holds_numbers(table, index):
            table.warn(f'no reading is taken from "{name}"', table.header)
            continue
        else:
            what = f'the column head "{name[:40]}" is no azimuth'
            raise table.error(what, table.header, cure=_WIDE_CURE)
        if azimuth in found.values():
            what = f"azimuth {azimuth:g} is there twice"
            cure = "Give each azimuth one column (360deg is 0deg)"
            raise table.error(what, table.header, index, cure=cure)
        found[index] = azimuth
    if not found:
        raise table.error("no column has an azimuth", table.header, cure=_WIDE_CURE)
    if bare:
        what = f"the heads {bare[0]} to {bare[-1]} are read as degrees"
        table.warn(what, table.header)
    return found


def _holds_numbers(table: SheetTable, index: int) -> bool:
    """Whether any cell of a column, or its name, has a digit in it."""
    texts = [table.header.cell(index), *(row.cell(index) for row in table.rows)]
    return any(sign.isdigit() for text in texts for sign in text)


def _column_named(table: SheetTable, wanted: str) -> int | None:
    """Find the column of notes, or that of turns."""
    names = [_quantity(name) or name.lower() for name in table.header.cells]
    found = [i for i, name in enumerate(names) if i > 0 and name == wanted]
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
