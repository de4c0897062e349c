"""A sheet as a table of texts: header, rows with their numbers, decimal mark."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from geom.design.text_file import read_text
from geom.errors import InputError
from geom.units import parse_number

_FAULTS = re.compile(r"#(N/A|REF!|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.I)
_NUMBER = (
    "Write 18.375 or 18 3/8, without a unit or a mark. A fraction that a spreadsheet "
    "turned into a date must be typed again in a cell formatted as text"
)
_COMMA = "Write decimals with a point, or separate the columns with ;"


@dataclass(frozen=True)
class Row:
    """One row: its number in the file, counted from 1, and its cells, trimmed."""

    number: int
    cells: tuple[str, ...]

    def cell(self, index: int) -> str:
        """Text of a cell; empty past the row's end."""
        return self.cells[index] if index < len(self.cells) else ""

    @property
    def blank(self) -> bool:
        """Whether nothing is written in it."""
        return not any(self.cells)


@dataclass(frozen=True)
class Table:
    """A sheet as it was written.

    Attributes
    ----------
    file : str
        As the caller named it.
    header : Row
    rows : tuple of Row
        Those with something in them.
    decimal_comma : bool
        Whether decimals may be written with a comma.
    """

    file: str
    header: Row
    rows: tuple[Row, ...]
    decimal_comma: bool = False

    def place(self, row: Row, index: int | None = None) -> str:
        """Say where a row, or a cell in it, is."""
        where = f"row {row.number}"
        return where if index is None else f"{where}, column {self.column(index)}"

    def column(self, index: int) -> str:
        """Say a column by its head, or by its number where it has none."""
        return self.header.cell(index) or str(index + 1)

    def refuse(
        self, what: str, row: Row, index: int | None = None, *, cure: str
    ) -> InputError:
        """Make the error for a row, or for a cell in it."""
        place = self.place(row, index)
        return InputError(what, file=self.file, place=place, cure=cure)

    def number(self, row: Row, index: int) -> float:
        """Read a cell as a number.

        Raises
        ------
        InputError
            If it is none.
        """
        text = row.cell(index)
        try:
            return parse_number(text, decimal_comma=self.decimal_comma)
        except ValueError as fault:
            comma = "," in text and not self.decimal_comma
            cure = _COMMA if comma else _NUMBER
            raise self.refuse(str(fault), row, index, cure=cure) from fault


def read_table(path: str | os.PathLike[str]) -> Table:
    """Read a CSV sheet; columns are separated by ``,``, ``;`` or tabs.

    Parameters
    ----------
    path : path

    Returns
    -------
    Table
        Comment lines (``#``) and blank lines left out.

    Raises
    ------
    InputError
        If the file cannot be read, is not UTF-8 text, or its quotes do not close.
    """
    file = os.fspath(path)
    lines = list(_lines(read_text(path), file))
    if not lines:
        cure = "Write the column names into the first row"
        raise InputError("the sheet holds nothing but comments", file=file, cure=cure)
    mark = _separator(lines[0][1])
    rows = (Row(number, _cells(line, mark, number, file)) for number, line in lines)
    return as_table(rows, file=file, decimal_comma=mark == ";")


def as_table(rows: Iterable[Row], *, file: str, decimal_comma: bool = False) -> Table:
    """Make a table of rows: the first that is not blank is the header.

    Raises
    ------
    InputError
        If there is no header or no row below it, or something is written past the
        header's last column.
    """
    header, *below = [row for row in rows if not row.blank] or [Row(1, ())]
    width = max((i + 1 for i, cell in enumerate(header.cells) if cell), default=0)
    header = Row(header.number, header.cells[:width])
    table = Table(file, header, tuple(below), decimal_comma)
    if not below:
        cure = "Write the readings below the column names"
        raise table.refuse("the sheet holds no readings", header, cure=cure)
    for row in below:
        for index, cell in enumerate(row.cells):
            if cell and not header.cell(index):
                what = f'"{cell[:40]}" stands in column {index + 1}, which has no name'
                cure = (
                    "Name the column or empty the cell; a cell that holds the "
                    "separator itself must stand in double quotes"
                )
                raise InputError(what, file=file, place=table.place(row), cure=cure)
    return table


def _lines(text: str, file: str) -> Iterator[tuple[int, str]]:
    """Give the lines that say something, with their true numbers."""
    for number, raw in enumerate(io.StringIO(text, newline=None), 1):
        line = raw.rstrip("\n")
        start = line.lstrip(" \t\ufeff,;")
        if _FAULTS.match(start):
            what = f'"{start[:20]}" is a fault that a spreadsheet left, not a comment'
            cure = "Mend the formula and save the sheet again"
            raise InputError(what, file=file, place=f"row {number}", cure=cure)
        if line.strip() and not line.lstrip().startswith("#"):
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


def name_of(file: str) -> str:
    """Name of a file without its folder, as messages about readings say it."""
    return Path(file).name
