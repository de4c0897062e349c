"""A sheet as a table of texts, from CSV or a workbook: header, rows, decimal mark."""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from geom.design.text_file import nearest_word, read_bytes, read_text
from geom.errors import InputError
from geom.units import parse_number

_SPREADSHEET_ERRORS = re.compile(
    r"#(N/A|REF!|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.I
)
_NUMBER_CURE = (
    "Write 18.375 or 18 3/8, without a unit or a mark. A fraction that a spreadsheet "
    "turned into a date must be typed again in a cell formatted as text"
)
_COMMA_CURE = "Write decimals with a point, or separate the columns with ;"


#: Largest table that is read; a reading a row, or a row of them for each height.
MOST_ROWS, MOST_COLUMNS, MOST_CELLS = 20_000, 400, 400_000


@dataclass(frozen=True)
class SheetRow:
    """One row: its number in the file, counted from 1, and its cells, trimmed."""

    number: int
    cells: tuple[str, ...]

    def cell(self, index: int) -> str:
        """Text of a cell; empty past the row's end."""
        return self.cells[index] if index < len(self.cells) else ""

    @property
    def is_empty(self) -> bool:
        """Whether it holds nothing, or a comment."""
        return not (first := next(filter(None, self.cells), "")) or is_comment(first)


@dataclass(frozen=True)
class SheetTable:
    """A sheet as it was written.

    Attributes
    ----------
    file : str
        As the caller named it.
    rows : tuple of SheetRow
        Those that say something.
    decimal_comma : bool
        Whether decimals may be written with a comma.
    """

    file: str
    header: SheetRow
    rows: tuple[SheetRow, ...]
    decimal_comma: bool = False

    def place(self, row: SheetRow, index: int | None = None) -> str:
        """Say where a row, or a cell in it, is."""
        where = f"row {row.number}"
        return where if index is None else f"{where}, column {self.column(index)}"

    def column(self, index: int) -> str:
        """Say a column by its head, or by its number where it has none."""
        return self.header.cell(index) or str(index + 1)

    def error(
        self, what: str, row: SheetRow, index: int | None = None, *, cure: str
    ) -> InputError:
        """Make the error for a row, or for a cell in it."""
        place = self.place(row, index)
        return InputError(what, file=self.file, place=place, cure=cure)

    def parsed(self, text: str, row: SheetRow, index: int) -> float:
        """Read the text of a cell, or part of it, as a number.

        Raises
        ------
        InputError
            If it is none.
        """
        try:
            return parse_number(text, decimal_comma=self.decimal_comma)
        except ValueError as fault:
            comma = "," in text and not self.decimal_comma
            cure = _COMMA_CURE if comma else _NUMBER_CURE
            raise self.error(str(fault), row, index, cure=cure) from fault

    def layout(
        self,
        read: Callable[[str], str],
        needed: Mapping[str, str],
        *,
        cure: str,
        twice: str = "there are two columns for {}",
        keep: str = "Keep one of them",
    ) -> dict[str, int]:
        """Which column holds which quantity.

        Parameters
        ----------
        read : callable
            From the name of a column to its quantity; raises `InputError`.
        needed : dict
            Quantities that must be there, and how their columns are named.
        cure, keep : str
            Of one that is missing, of one that is ``twice`` there.
        """
        found: dict[str, int] = {}
        for index, name in enumerate(self.header.cells):
            if not name:
                continue
            quantity = read(name)
            if quantity in found:
                raise self.error(twice.format(quantity), self.header, cure=keep)
            found[quantity] = index
        for quantity, name in needed.items():
            if quantity not in found:
                what = f"the column {name} is missing"
                raise self.error(what, self.header, cure=cure)
        return found

    def refuse_unknown(self, name: str, known: Sequence[str], *, cure: str) -> None:
        """Refuse the name of a column that is none of those known."""
        if name.strip().lower() not in known:
            like = nearest_word(name.strip().lower(), known)
            what = f'unknown column "{name[:40]}"; the nearest known is "{like}"'
            raise self.error(what, self.header, cure=cure)

    def refuse_unnamed(self) -> None:
        """Refuse what is written in columns that have no name.

        Raises
        ------
        InputError
            With the first such cell.
        """
        for row in self.rows:
            for index, cell in enumerate(row.cells):
                if cell and not self.header.cell(index):
                    what = f'"{cell[:40]}" is in column {index + 1}, which has no name'
                    cure = (
                        "Name the column or empty the cell; a cell that holds the "
                        "separator itself must stand in double quotes"
                    )
                    raise self.error(what, row, cure=cure)


def read_table(path: str | os.PathLike[str]) -> SheetTable:
    """Read a CSV sheet; columns are separated by ``,``, ``;`` or tabs.

    Comment lines (``#``) and blank lines are left out.

    Raises
    ------
    InputError
        If the file cannot be read, is not UTF-8 text, or its quotes do not close.
    """
    file = os.fspath(path)
    lines = list(_lines(read_text(path)))
    refuse_oversize(len(lines) - 1, 0, file)
    if not lines:
        cure = "Write the column names into the first row"
        raise InputError("the sheet holds nothing but comments", file=file, cure=cure)
    mark = _separator(lines[0][1])
    rows = (
        SheetRow(number, _cells(line, mark, number, file)) for number, line in lines
    )
    return as_table(rows, file=file, decimal_comma=mark == ";")


def read_row(line: str, separator: str) -> tuple[str, ...]:
    """Cells of a line as `read_table` would find them; none of a line passed over.

    Raises
    ------
    InputError
        If its quotes do not close.
    """
    read = [_cells(text, separator, number, "") for number, text in _lines(line)]
    kept = [cells for cells in read if not SheetRow(1, cells).is_empty]
    return kept[0] if len(kept) == 1 else ()


def refuse_oversize(rows: int, columns: int, file: str, *, cells: int = 0) -> None:
    """Refuse a table that nobody filled in rod by rod.

    Raises
    ------
    InputError
        If it is past `MOST_ROWS`, `MOST_COLUMNS` or `MOST_CELLS`.
    """
    long = rows > MOST_ROWS or columns > MOST_COLUMNS
    if long or cells > MOST_CELLS:
        raise InputError(
            f"it has more than {MOST_ROWS} rows or {MOST_COLUMNS} columns"
            if long
            else f"it has more than {MOST_CELLS} cells",
            file=file,
            cure="Keep nothing but the readings in it; points of a scan are a cloud: "
            "save them as x, y, z",
        )


def as_table(
    rows: Iterable[SheetRow], *, file: str, decimal_comma: bool = False
) -> SheetTable:
    """Make a table of rows: the first that says something is the header.

    Raises
    ------
    InputError
        If there is no header or no row below it.
    """
    header, *below = _kept(rows, file) or [SheetRow(1, ())]
    width = max((i + 1 for i, cell in enumerate(header.cells) if cell), default=0)
    refuse_oversize(len(below), width, file)
    header = SheetRow(header.number, header.cells[:width])
    table = SheetTable(file, header, tuple(below), decimal_comma)
    if not below:
        cure = "Write the readings below the column names"
        raise table.error("the sheet holds no readings", header, cure=cure)
    return table


def _kept(rows: Iterable[SheetRow], file: str) -> list[SheetRow]:
    """Those that say something; no more are looked at than a table may have."""
    kept, cells = [], 0
    for row in rows:
        if not row.is_empty:
            kept.append(row)
            cells += len(row.cells)
            refuse_oversize(len(kept) - 1, 0, file, cells=cells)
    return kept


def is_comment(text: str) -> bool:
    """Tell whether a line or row that starts so is a comment, not a fault left there.

    Examples
    --------
    >>> is_comment("# rod 2"), is_comment("#N/A")
    (True, False)
    """
    return text.startswith("#") and _SPREADSHEET_ERRORS.match(text) is None


def _lines(text: str) -> Iterator[tuple[int, str]]:
    """Give the lines that say something, with their true numbers."""
    for number, raw in enumerate(io.StringIO(text, newline=None), 1):
        line = raw.rstrip("\n")
        # A spreadsheet quotes a comment that holds the separator.
        if line.strip() and not is_comment(line.lstrip(' \t"')):
            yield number, line


def _separator(header: str) -> str:
    return next((mark for mark in ";\t" if mark in header), ",")


def _cells(line: str, mark: str, number: int, file: str) -> tuple[str, ...]:
    try:
        (cells,) = csv.reader([line], delimiter=mark, strict=True)
    except csv.Error as fault:
        what = f"its double quotes do not pair up within the line ({fault})"
        cure = "Close the quote on the same line, or leave the quotes out"
        place = f"row {number}"
        raise InputError(what, file=file, place=place, cure=cure) from fault
    return tuple(cell.strip() for cell in cells)


_LARGEST_UNPACKED = 32 * 1024 * 1024
_SAVE = "Open it in a spreadsheet program and save it again as .xlsx, or as CSV UTF-8"
_TYPE_AGAIN = "Type the number itself into the cell, or save the workbook again"
_SHEET = "rod"


def read_workbook(path: str | os.PathLike[str]) -> SheetTable:
    """Read the sheet named ``rod``, or else the first sheet, of a workbook.

    Row numbers are those of the spreadsheet.

    Raises
    ------
    InputError
        If the file is no workbook, or a cell holds a date, a fault, true or false, or a
        formula without its result.
    """
    file = os.fspath(path)
    content = read_bytes(path)
    _refuse_no_workbook(content, file)
    shown, written = (
        _workbook_rows(content, file, results=results) for results in (True, False)
    )
    numbered = enumerate(zip(shown, written, strict=True), 1)
    rows = (
        SheetRow(number, tuple(_texts(result, formula, number, file)))
        for number, (result, formula) in numbered
    )
    return as_table(rows, file=file)


def _refuse_no_workbook(content: bytes, file: str) -> None:
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        what = "it is an old or a locked workbook"
        raise InputError(what, file=file, cure=f"Unlock it. {_SAVE}")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            unpacked = sum(part.file_size for part in archive.infolist())
    except Exception as fault:
        raise InputError("it is no workbook (XLSX)", file=file, cure=_SAVE) from fault
    if unpacked > _LARGEST_UNPACKED:
        what = f"unpacked it is longer than {_LARGEST_UNPACKED // 1024**2} MiB"
        raise InputError(what, file=file, cure="Keep nothing but the rod sheet in it")


def _workbook_rows(
    content: bytes, file: str, *, results: bool
) -> list[tuple[Any, ...]]:
    """Read all rows: the results of formulas, or the formulas."""
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(
                io.BytesIO(content), read_only=True, data_only=results
            )
            named = [s for s in book.worksheets if s.title.strip().lower() == _SHEET]
            sheet = (named or book.worksheets)[0]
            sheet.reset_dimensions()
            rows: list[tuple[Any, ...]] = []
            cells = 0
            for row in sheet.iter_rows(values_only=True):  # gaps are given as rows
                cells += len(row)
                refuse_oversize(len(rows), len(row), file, cells=cells)
                rows.append(tuple(row))
            book.close()
    except InputError:
        raise
    except Exception as fault:
        what = f"the workbook cannot be read; it seems damaged ({type(fault).__name__})"
        raise InputError(what, file=file, cure=_SAVE) from fault
    return rows


def _texts(
    results: tuple[Any, ...], formulas: tuple[Any, ...], number: int, file: str
) -> Iterator[str]:
    """Give each cell of a row as the text a person would have typed."""
    for index, (result, formula) in enumerate(zip(results, formulas, strict=True)):
        try:
            yield _text(result, formula)
        except InputError as fault:
            place = f"row {number}, column {_letters(index)}"
            raise fault.at(file=file, place=place) from fault


def _text(result: object, formula: object) -> str:
    if result is None:
        if formula is not None:
            what = "the formula in this cell was saved without its result"
            raise InputError(what, cure=_TYPE_AGAIN)
        return ""
    if isinstance(result, datetime.date | datetime.time | datetime.timedelta):
        what = f"the spreadsheet took this cell for a date or a time ({result})"
        cure = "Format the cell as text, then type the number or the fraction again"
        raise InputError(what, cure=cure)
    if isinstance(result, bool):
        raise InputError(f"{result} is not a number", cure=_TYPE_AGAIN)
    if isinstance(result, int | float):
        return f"{result:.12g}"
    return str(result).strip()


def _letters(index: int) -> str:
    """Name a column as spreadsheets do: A ... Z, AA ...

    Examples
    --------
    >>> _letters(0), _letters(27)
    ('A', 'AB')
    """
    above, here = divmod(index, 26)
    return (_letters(above - 1) if above else "") + chr(ord("A") + here)
