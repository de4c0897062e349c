"""One sheet of readings in millimetres, with the names that its columns bear.

Also what a column's name says, how its cells are read, and how finely it is written.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np

from geom.design.text_file import close_word, join_words
from geom.errors import InputError
from geom.frame import Sense, azimuth_of_clock, clock_hours, wrap
from geom.readings.assumptions import ASSUMED
from geom.readings.rod import RodKind, RodReadings, Unreachable
from geom.readings.sheets.table import SheetRow, SheetTable
from geom.units import MM_PER, UNIT_NAMES, Float, spelled_out, to_mm, unit_named

VALUES = ("radius", "diameter", "cutback")
LENGTHS = ("height", *VALUES, "sd")
KNOWN = (
    "azimuth_deg",
    "clock",
    *(f"{quantity}_{unit}" for quantity in LENGTHS for unit in MM_PER),
    "note",
)
HEADER_CURE = (
    "A sheet has the columns azimuth_deg (or clock), height_mm, one of radius_mm, "
    "diameter_mm and cutback_mm, and if wanted sd_mm and note (for _mm also _in, _cm, "
    "_m), separated by a comma, a semicolon or a tab"
)

#: What a reading's cell holds where nobody could reach; capitals do not matter.
NO_ACCESS = ("no access", "n/a", "-", "\u2013", "\u2014")
#: What it holds where nobody read yet; such a station may be asked for again.
NOT_READ = ("n/r", "not read")

#: A column's quantity and, after blanks or a mark, its unit in brackets or not.
_NAME = re.compile(
    r"(azimuth|clock|o['\u2019]?\s?clock|height|radius|diameter|cut[\s_-]?back|sd|notes?"
    r"|remarks?)(?:[\s_,;:/(\[-]+([^\d\s)\]]+)[\s)\].]*)?"
)
_WRITTEN_DEGREES = re.compile(
    r"(.*[\d¼-¾⅐-⅞])\s*(?:\u00b0|\u00ba|deg(?:rees?)?\.?)", re.I
)
_WRITTEN_LENGTH = re.compile(r"(.*[\d¼-¾⅐-⅞])\s*([a-z]+\.?|\"|\u2033|'')", re.I)
_DEGREES = ("deg", "degs", "degree", "degrees", "\u00b0", "\u00ba")

_MAX_LENGTH = 1e7  # mm; what is merely implausible is refused later, with its cause


@dataclass(frozen=True)
class Reading:
    """One reading; mm and degrees.

    Attributes
    ----------
    row : SheetRow
        Where it stands.
    index : int
        Column its value stands in.
    """

    row: SheetRow
    index: int
    azimuth: float
    height: float
    value: float
    sd: float
    note: str


@dataclass(frozen=True)
class Sheet:
    """The readings of one file.

    Attributes
    ----------
    table : SheetTable
        What they were read from.
    kind : {'radius', 'diameter', 'cutback'}
    unit, height_unit : str
        Units of the values and of the heights, as written.
    wide : bool
        Whether it has a column per azimuth.
    height_index, sd_index : int
        Columns that hold the heights and, if there is one (else -1), the sd.
    no_access : tuple of (azimuth, height)
        Stations that nobody could reach; degrees and mm.
    step : float, mm
        Finest division the values are written in.
    """

    table: SheetTable
    kind: RodKind
    unit: str
    height_unit: str
    wide: bool
    height_index: int
    sd_index: int
    readings: tuple[Reading, ...]
    no_access: tuple[tuple[float, float], ...]
    step: float

    @property
    def column(self) -> str:
        """What names the values' quantity and unit: ``radius_in``."""
        return f"{self.kind}_{self.unit}"

    @property
    def azimuth(self) -> Float:
        """Shape (n,), degrees in [0, 360)."""
        return self._array("azimuth")

    @property
    def height(self) -> Float:
        """Shape (n,), mm."""
        return self._array("height")

    @property
    def value(self) -> Float:
        """Shape (n,), mm."""
        return self._array("value")

    @property
    def sd(self) -> Float:
        """Shape (n,), mm; NaN where not stated."""
        return self._array("sd")

    def _array(self, name: str) -> Float:
        return np.array([getattr(r, name) for r in self.readings], dtype=np.float64)

    def error(
        self, what: str, *, cure: str, at: int | None = None, index: int | None = None
    ) -> InputError:
        """Make the error for one reading (its value or another column), or for all."""
        if at is None:
            return self.table.error(what, self.table.header, cure=cure)
        reading = self.readings[at]
        index = reading.index if index is None else index
        return self.table.error(what, reading.row, index, cure=cure)

    def to_readings(self) -> RodReadings:
        """Hand the readings over as one survey."""
        name = Path(self.table.file).name
        places = (
            self.table.place(r.row, r.index if self.wide else None)
            for r in self.readings
        )
        return RodReadings(
            kind=(self.kind,) * len(self.readings),
            azimuth=self.azimuth,
            height=self.height,
            value=self.value,
            sd=self.sd,
            step=np.full(len(self.readings), self.step),
            place=tuple(f"{name}, {place}" for place in places),
            note=tuple(r.note for r in self.readings),
            no_access=Unreachable(*np.reshape(self.no_access, (-1, 2)).T),
        )


@dataclass(frozen=True)
class ColumnName:
    """One column: ``radius`` and ``in``, say; ``clock`` and ``note`` have no unit.

    A column that holds something else has no quantity.
    """

    quantity: str
    unit: str

    @property
    def written(self) -> str:
        """As `KNOWN` has it."""
        return f"{self.quantity}_{self.unit}" if self.unit else self.quantity


def read_name(name: str) -> ColumnName:
    """Read a column's name, as people write it; capitals and blanks do not matter.

    Raises
    ------
    InputError
        Without a place, if it is nearly one that is known, or its unit is missing or
        unknown.

    Examples
    --------
    >>> read_name(" Radius_IN "), read_name("Height, inch")
    (ColumnName(quantity='radius', unit='in'), ColumnName(quantity='height', unit='in'))
    >>> read_name("read_by").quantity
    ''
    """
    plain = " ".join(name.lower().split())
    if plain in KNOWN:
        quantity, _, unit = plain.partition("_")
        return ColumnName(quantity, unit)
    quantity, unit = "", ""
    if (parts := _NAME.fullmatch(plain)) is not None:
        quantity, unit = _quantity(parts[1]), parts[2] or ""
    if quantity in ("clock", "note") and not unit:
        return ColumnName(quantity, "")
    if quantity == "azimuth" and unit in _DEGREES:
        return ColumnName(quantity, "deg")
    if quantity in LENGTHS and unit_named(unit):
        return ColumnName(quantity, unit_named(unit))
    if quantity == "azimuth":
        what = f'the column "{name}" must name its unit, degrees'
        raise InputError(what, cure="Write azimuth_deg")
    if quantity in LENGTHS:
        units = join_words(f"{quantity}_{known}" for known in MM_PER)
        wrong = f'names a unit that is not known, "{unit}"' if unit else "names no unit"
        raise InputError(f'the column "{name}" {wrong}', cure=f"Write {units}")
    if like := close_word(plain, KNOWN):
        what = f'unknown column "{name[:40]}"; the nearest known is "{like}"'
        raise InputError(what, cure=HEADER_CURE)
    return ColumnName("", "")


def _quantity(word: str) -> str:
    letters = "".join(sign for sign in word if sign.isalpha())
    if letters.endswith("clock"):
        return "clock"
    return "note" if letters.startswith(("note", "remark")) else letters


def tidy_cells(table: SheetTable, units: Mapping[int, str]) -> SheetTable:
    """A sheet whose cells hold numbers alone where they repeat their column's unit.

    Parameters
    ----------
    table : SheetTable
        As it was written.
    units : mapping of int to str
        Units of the columns to be tidied: of length, or ``deg``; of hours ``""``.
    """
    rows = [list(row.cells) for row in table.rows]
    for index, unit in units.items():
        done: list[SheetRow] = []
        for row, cells in zip(table.rows, rows, strict=True):
            if (tidied := without_unit(row.cell(index), unit)) != row.cell(index):
                cells[index] = tidied
                done.append(row)
        if done:
            first = done[0].cell(index)
            more = f", and {len(done) - 1} more alike" if len(done) > 1 else ""
            table.warn(f'"{first}" is read without its unit{more}', done[0], index)
    return replace(
        table,
        rows=tuple(
            SheetRow(row.number, tuple(cells))
            for row, cells in zip(table.rows, rows, strict=True)
        ),
    )


def without_unit(text: str, unit: str) -> str:
    """A number as written, without the unit after it if that is its column's.

    Examples
    --------
    >>> without_unit("400 mm", "mm"), without_unit("400 in", "mm")
    ('400', '400 in')
    >>> without_unit("30\u00b0", "deg"), without_unit('18 3/8"', "in")
    ('30', '18 3/8')
    """
    if unit == "deg":
        parts = _WRITTEN_DEGREES.fullmatch(text)
        return parts[1] if parts else text
    parts = _WRITTEN_LENGTH.fullmatch(text) if unit else None
    return parts[1] if parts and unit_named(parts[2]) == unit else text


def says_no_access(text: str) -> bool:
    """Whether a cell says that nobody could reach its station.

    Examples
    --------
    >>> says_no_access("No access"), says_no_access("-1/4")
    (True, False)
    """
    return " ".join(text.lower().split()) in NO_ACCESS


def says_not_read(text: str) -> bool:
    """Whether a cell says that its station was not read."""
    return " ".join(text.lower().split()) in NOT_READ


def read_clock(
    table: SheetTable, text: str, row: SheetRow, index: int, sense: Sense
) -> float:
    """Read an hour of the clock laid on the furnace; azimuth, degrees.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        hours = clock_hours(text)
    except ValueError as fault:
        what = f'"{text[:40]}" is no hour of a clock'
        cure = "Write the hour: 3, 3:30, 3 1/2, 3 o'clock or half past 3"
        raise table.error(what, row, index, cure=cure) from fault
    return float(wrap(round(azimuth_of_clock(hours, sense), 9)))


def read_azimuth(table: SheetTable, text: str, row: SheetRow, index: int) -> float:
    """Read an azimuth, 0 to 360 degrees; 360 is 0.

    Raises
    ------
    InputError
        If it is none, or lies outside: nothing is wrapped.
    """
    found = table.parsed(text, row, index)
    if not 0.0 <= found <= 360.0:
        what = f"azimuth {text} is not in 0 to 360 degrees"
        cure = "Count it from azimuth 0 of the design file, the way azimuth_sense says"
        raise table.error(what, row, index, cure=cure)
    return 0.0 if found == 360.0 else found + 0.0


def read_length(table: SheetTable, row: SheetRow, index: int, unit: str) -> float:
    """Read a cell as a length; mm.

    Raises
    ------
    InputError
        If it is none, or longer than anything at a furnace.
    """
    text = row.cell(index)
    named = parts[2] if (parts := _WRITTEN_LENGTH.fullmatch(text)) else ""
    if (other := unit_named(named)) and other != unit:
        column = table.column(index)
        what = f'"{text}" is in {UNIT_NAMES[other]}, its column in {UNIT_NAMES[unit]}'
        cure = f'Write it in {unit} under "{column}", or keep {other} in its own column'
        raise table.error(what, row, index, cure=cure)
    found = to_mm(table.parsed(text, row, index), unit)
    if not abs(found) <= _MAX_LENGTH:
        what = f"{row.cell(index)} {unit} is no length at a furnace"
        cure = "Check the number and the unit in the column's name"
        raise table.error(what, row, index, cure=cure)
    return found


def written_step(table: SheetTable, readings: tuple[Reading, ...], unit: str) -> float:
    """Find the finest division the values are written in; mm."""
    texts = (r.row.cell(r.index) for r in readings)
    found = finest_division(texts, unit=unit, decimal_comma=table.decimal_comma)
    return float(found * MM_PER[unit])


def refuse_mixed_marks(table: SheetTable, indices: list[int]) -> None:
    """Refuse decimals written with a comma here and a point there.

    In such a sheet a point may set off thousands, and 1.250 would be read wrongly.

    Parameters
    ----------
    table : SheetTable
        The sheet as it was written.
    indices : list of int
        The columns that hold numbers.

    Raises
    ------
    InputError
        With the first cell whose mark is not that of the first.
    """
    first = ""
    for row in table.rows if table.decimal_comma else ():
        for index in indices:
            mark = next((m for m in ".," if m in row.cell(index)), "")
            if mark and first and mark != first:
                what = f"{row.cell(index)} has another decimal mark than the rows above"
                cure = (
                    "Write all decimals of the sheet with a comma, or all with a point"
                )
                raise table.error(what, row, index, cure=cure)
            first = first or mark


def finest_division(
    texts: Iterable[str], *, unit: str, decimal_comma: bool = False
) -> Fraction:
    """Find the finest division that a column of numbers is written in.

    Parameters
    ----------
    texts : iterable of str
        Numbers as written, each one that `geom.units.parse_number` reads.
    unit : str
        They are in.
    decimal_comma : bool
        Whether decimals may be written with a comma.

    Returns
    -------
    Fraction
        In ``unit``.  Of fractions, one part of the largest denominator; of decimals,
        one of the last place.  Inch decimals that are all quarters, eighths ... 64ths
        count as the fractions they are, unless that could be chance.

    Examples
    --------
    >>> finest_division(["18", "18 3/8", "18 1/2"], unit="in")
    Fraction(1, 8)
    >>> finest_division(["455", "460.5"], unit="mm")
    Fraction(1, 10)
    >>> finest_division(["18.375", "18.5", "18.125"], unit="in")
    Fraction(1, 8)
    """
    spelled = {spelled_out(text, decimal_comma=decimal_comma) for text in texts}
    parts = {int(text.split("/")[1]) for text in spelled if "/" in text}
    decimals = [text for text in spelled if "/" not in text]
    places = max(map(_places, decimals), default=0)
    broken = {value for value in map(Fraction, decimals) if value.denominator > 1}
    if unit == "in" and (parts or not _by_chance(broken, places)):
        written = {value.denominator for value in broken}
        if all(ASSUMED.finest_division % part == 0 for part in written):
            return Fraction(1, max(parts | written | {1}))
    steps = [Fraction(1, part) for part in parts]
    if places or not parts:
        steps.append(Fraction(1, 10**places))
    return min(steps)


def _places(decimal: str) -> int:
    """Count the decimals a number is written with."""
    exponent = Decimal(decimal).as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _by_chance(broken: set[Fraction], places: int) -> bool:
    """Tell whether decimals may be whole parts of an inch without being meant so.

    A number read to ``p`` places is a whole number of ``d``-ths in ``d`` of ``10**p``
    cases.
    """
    finest = max((value.denominator for value in broken), default=1)
    return (
        finest < ASSUMED.coarsest_division
        or (finest / 10**places) ** len(broken) > ASSUMED.division_chance
    )
