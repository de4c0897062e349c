"""A sheet as a table of texts, from CSV or a workbook: header, rows, decimal mark."""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
import warnings
import zipfile
from bisect import bisect
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from geom.design.text_file import as_text, join_words, nearest_known, read_bytes
from geom.errors import InputError, warn_coped
from geom.units import fractions_of_date, parse_number

_SPREADSHEET_ERRORS = re.compile(
    r"#(N/A|REF!|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.I
)
_NUMBER_CURE = (
    "Write 18.375 or 18 3/8, without a unit or a mark. A fraction that a spreadsheet "
    "turned into a date must be typed again in a cell formatted as text"
)
_COMMA_CURE = "Write decimals with a point, or separate the columns with ;"
_TIME = re.compile(r"\d{1,2}:\d\d(:\d\d)?")
_DIGITS = re.compile(r"[-+]?\d+")
#: Tells a row of names of columns from one of other words.
IsHeader = Callable[[tuple[str, ...]], bool]
#: Rows above the names of the columns that are looked through for them.
_MOST_TITLES = 30


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

    def filled(self, index: int, text: str) -> SheetRow:
        """The same with a text in a cell that holds none."""
        cells = [*self.cells, *[""] * (index + 1 - len(self.cells))]
        cells[index] = cells[index] or text
        return SheetRow(self.number, tuple(cells))

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
    merged : tuple of (column, first row, last row)
        Cells of a workbook that were merged downwards; rows by their numbers.
    labels : tuple of str
        Of a table in memory: what each of its rows, numbered from 1, is called there.
    """

    file: str
    header: SheetRow
    rows: tuple[SheetRow, ...]
    decimal_comma: bool = False
    merged: tuple[tuple[int, int, int], ...] = ()
    labels: tuple[str, ...] = ()

    def place(self, row: SheetRow, index: int | None = None) -> str:
        """Say where a row, or a cell in it, is."""
        where = f"row {row.number}"
        if self.labels:
            where = self.labels[row.number - 1] if row.number else "columns"
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

    def warn(self, what: str, row: SheetRow, index: int | None = None) -> None:
        """Say what was coped with in a row, or in a cell of it."""
        warn_coped(what, file=self.file, place=self.place(row, index))

    def filled_down(self, indices: Iterable[int]) -> SheetTable:
        """The same with every row of a merged cell holding it, in some columns."""
        at = {row.number: k for k, row in enumerate(self.rows)}
        numbers, rows = sorted(at), list(self.rows)
        for index in indices:
            merged = [
                (self.rows[at[top]], last)
                for column, top, last in self.merged
                if column == index and top in at and self.rows[at[top]].cell(index)
            ]
            for first, last in merged:
                low, high = bisect(numbers, first.number), bisect(numbers, last)
                for k in (at[number] for number in numbers[low:high]):
                    rows[k] = rows[k].filled(index, first.cell(index))
            if merged:
                first, last = merged[0]
                more = f", and {len(merged) - 1} more alike" if merged[1:] else ""
                what = f'"{first.cell(index)}" is merged down to row {last}'
                self.warn(f"{what} and read for each{more}", first, index)
        return replace(self, rows=tuple(rows))

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
            raise self._number_error(text, str(fault), row, index) from fault

    def _number_error(
        self, text: str, what: str, row: SheetRow, index: int
    ) -> InputError:
        if maybe := fractions_of_date(text):
            what = f'"{text}" is a date; it may have been {join_words(maybe)}'
        elif _TIME.fullmatch(text):
            what = f'"{text}" is a time of the day, not a number'
        elif "," in text and not self.decimal_comma:
            what += ": it has a decimal comma where commas separate the columns"
            return self.error(what, row, index, cure=_COMMA_CURE)
        return self.error(what, row, index, cure=_NUMBER_CURE)

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
            if not name or not (quantity := read(name)):
                continue
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
            like = nearest_known(name.strip().lower(), known)
            what = f'unknown column "{name[:40]}"{like}'
            raise self.error(what, self.header, cure=cure)

    def refuse_unnamed(self) -> None:
        """Refuse what is written in columns that have no name.

        Raises
        ------
        InputError
            With the first such cell.
        """
        width = len(self.header.cells)
        for row in self.rows:
            filled = [cell for cell in row.cells if cell]
            split = len(filled) > width and not self.decimal_comma
            if split and all(_DIGITS.fullmatch(cell) for cell in filled):
                what = (
                    f"there are {len(filled)} numbers under {width} names, as if "
                    "decimals had commas where commas separate the columns"
                )
                raise self.error(what, row, cure=_COMMA_CURE)
            for index, cell in enumerate(row.cells):
                if cell and not self.header.cell(index):
                    what = f'"{cell[:40]}" is in column {index + 1}, which has no name'
                    cure = (
                        "Name the column or empty the cell; a cell that holds the "
                        "separator itself must stand in double quotes"
                    )
                    raise self.error(what, row, cure=cure)


def read_table(
    path: str | os.PathLike[str], *, is_header: IsHeader | None = None
) -> SheetTable:
    """Read a CSV sheet; columns are separated by ``,``, ``;`` or tabs.

    Comment lines (``#``) and blank lines are left out.

    Parameters
    ----------
    path : path
        Of the sheet.
    is_header : callable, optional
        Tells a row of names of columns from a title above it, and lets text be
        Latin-1 where it is not UTF-8; without, the first row holds the names.

    Raises
    ------
    InputError
        If the file cannot be read, is no text, or its quotes do not close.
    """
    file = os.fspath(path)
    lines = list(_lines(_decoded(read_bytes(path), file, cope=is_header is not None)))
    refuse_oversize(len(lines) - 1, 0, file)
    if not lines:
        cure = "Write the column names into the first row"
        raise InputError("the sheet holds nothing but comments", file=file, cure=cure)
    top, mark = _header_line([line for _, line in lines], is_header)
    _warn_titles([number for number, _ in lines[:top]], file)
    rows = (
        SheetRow(number, _cells(line, mark, number, file))
        for number, line in lines[top:]
    )
    return as_table(rows, file=file, decimal_comma=mark != ",")


def _decoded(content: bytes, file: str, *, cope: bool) -> str:
    """Text of a sheet: UTF-8, or what older programs write in its place."""
    try:
        return as_text(content, file)
    except InputError as fault:
        if not cope or not isinstance(fault.__cause__, UnicodeDecodeError):
            raise
        try:
            text = as_text(content, file, encoding="cp1252")
        except InputError:
            raise fault from None
    warn_coped("it is not UTF-8 text, and read as Latin-1", file=file)
    return text


def _header_line(lines: list[str], is_header: IsHeader | None) -> tuple[int, str]:
    """Which line names the columns, and what separates them."""
    for top, line in enumerate(lines[:_MOST_TITLES] if is_header else ()):
        for mark in (*_SEPARATORS, ","):
            try:
                cells = _cells(line, mark, 1, "")
            except InputError:
                continue
            if is_header is not None and is_header(cells):
                return top, mark
    return 0, _separator(lines[0])


def _warn_titles(numbers: list[int], file: str) -> None:
    if numbers:
        first, last = numbers[0], numbers[-1]
        rows = f"row {first}" if first == last else f"rows {first} to {last}"
        what = "what stands above the names of the columns is passed over"
        warn_coped(what, file=file, place=rows)


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
    rows: Iterable[SheetRow],
    *,
    file: str,
    decimal_comma: bool = False,
    is_header: IsHeader | None = None,
) -> SheetTable:
    """Make a table of rows: the first that says something is the header.

    With ``is_header`` it is the first that this tells of, if there is one.

    Raises
    ------
    InputError
        If there is no header or no row below it.
    """
    kept = _kept(rows, file) or [SheetRow(1, ())]
    heads = enumerate(kept[:_MOST_TITLES] if is_header else ())
    top = next((k for k, row in heads if is_header and is_header(row.cells)), 0)
    _warn_titles([row.number for row in kept[:top]], file)
    header, *below = kept[top:]
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


_SEPARATORS = (";", "\t")


def _separator(header: str) -> str:
    return next((mark for mark in _SEPARATORS if mark in header), ",")


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
_SHEET, _MOST_MERGED = "rod", 2000
_MERGED = re.compile(
    rb"<(?:\w+:)?mergeCell\s+ref=\"([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})\""
)


def read_workbook(
    path: str | os.PathLike[str], *, is_header: IsHeader | None = None
) -> SheetTable:
    """Read the sheet named ``rod``, or else the first sheet, of a workbook.

    Row numbers are those of the spreadsheet; ``is_header`` as for `read_table`.

    Raises
    ------
    InputError
        If the file is no workbook, or a cell holds a date, a fault, true or false, or a
        formula without its result.
    """
    file = os.fspath(path)
    content = read_bytes(path)
    _refuse_no_workbook(content, file)
    (shown, merged), (written, _) = (
        _workbook_rows(content, file, results=results) for results in (True, False)
    )
    numbered = enumerate(zip(shown, written, strict=True), 1)
    rows = (
        SheetRow(number, tuple(_texts(result, formula, number, file)))
        for number, (result, formula) in numbered
    )
    table = as_table(rows, file=file, decimal_comma=True, is_header=is_header)
    return replace(table, merged=merged)


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
) -> tuple[list[tuple[Any, ...]], tuple[tuple[int, int, int], ...]]:
    """Read all rows, the results of formulas or the formulas, and what is merged."""
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
            merged = _merged_down(content, sheet)
            book.close()
    except InputError:
        raise
    except Exception as fault:
        what = f"the workbook cannot be read; it seems damaged ({type(fault).__name__})"
        raise InputError(what, file=file, cure=_SAVE) from fault
    return rows, merged


def _merged_down(content: bytes, sheet: Any) -> tuple[tuple[int, int, int], ...]:
    """Cells merged within one column: which, its first row, its last."""
    from openpyxl.utils import column_index_from_string

    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        xml = archive.read(sheet._worksheet_path)
    found = []
    for part in _MERGED.finditer(xml):
        first, top, last, bottom = (each.decode() for each in part.groups())
        if first == last:
            found.append((column_index_from_string(first) - 1, int(top), int(bottom)))
    return tuple(found[:_MOST_MERGED])


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
    if isinstance(result, datetime.time | datetime.timedelta):
        return str(result).removesuffix(":00").removeprefix("0")
    if isinstance(result, datetime.date):
        what = f"the spreadsheet took this cell for a date ({result:%Y-%m-%d})"
        if maybe := fractions_of_date(f"{result:%Y-%m-%d}"):
            what += f"; it may have been {join_words(maybe)}"
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
