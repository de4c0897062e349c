"""A text of points: ``.xyz``, ``.txt``, ``.csv``, and the body of an ASCII PLY.

A head of comments and perhaps names of columns, then a row for each point, x, y and z
in three of its columns.  polars parses whole blocks of rows; a block that it refuses is
tidied and parsed again, and only then searched for the bad row.
"""

from __future__ import annotations

import codecs
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Any

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.binary import (
    damaged_error,
    file_length,
    finite_points,
    open_binary,
)
from geom.readings.clouds.source import (
    Piece,
    Points,
    cut,
    no_points_error,
    refuse_empty,
)
from geom.units import MM_PER, Float

Rows = tuple[Float, Float, Float]

#: Bytes past which a line is no row of coordinates.
LONGEST_LINE = 64 * 1024

_BLANKS = b" \t\r"
_SEPARATORS = (";", ",", "\t", " ")
_NUMBER = re.compile(
    r"[+-]?((\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|nan|inf|infinity)", re.IGNORECASE
)
_NAME = re.compile(rf"([xyz])(?:[\s_(\[]+({'|'.join(MM_PER)})[)\]]?)?", re.IGNORECASE)
_CURE = (
    "A row is x y z, separated by blanks, tabs, commas or semicolons, decimals with a "
    "point; one row above may name the columns x, y, z"
)
_SAMPLE = 4096  # bytes that tell whether the rest is worth reading as it is
_MAX_COMMENTS = 1024 * 1024  # bytes of them, after which no row is looked for
#: Bytes read at once: enough for all threads, few enough for the processor's cache.
_BLOCK = 4 * 1024 * 1024
_SAMPLE_ROWS = 64 * 1024  # bytes that tell how long a row is


@dataclass(frozen=True)
class RowFormat:
    """How a row is written.

    Attributes
    ----------
    separator : str
        What separates its columns: ``,``, ``;``, a tab, or a blank, which stands for
        any run of blanks and tabs.
    columns : (x, y, z)
        Which columns those are, from 0.
    comments : bool
        Whether blank lines and lines that start with ``#`` or ``//`` are passed over.
    """

    separator: str
    columns: tuple[int, int, int] = (0, 1, 2)
    comments: bool = True


@dataclass(frozen=True)
class TextHead:
    """What stands above the rows, and how they are written.

    Attributes
    ----------
    start : int
        Byte of the first row.
    millimetres : float or None
        In a unit, where the names of the columns name one: ``x_mm``.
    """

    start: int
    row_format: RowFormat
    millimetres: float | None


@dataclass(frozen=True)
class TextCloud:
    """A cloud in rows of text.

    A row belongs to the piece that its first byte lies in.

    Attributes
    ----------
    start, stop : int
        Bytes between which the rows lie.
    row_bytes : float
        Length of a row, about.
    """

    name: str
    start: int
    stop: int
    row_format: RowFormat
    row_bytes: float
    count: int | None = None
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the text into parts of about ``most`` rows."""
        return cut(Piece(self.start, self.stop), most * self.row_bytes)

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece."""
        whole = piece or Piece(self.start, self.stop)
        return refuse_empty(self._runs(max(1, size), whole), self.name, piece)

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        block_bytes = min(_BLOCK, max(_SAMPLE_ROWS, int(size * self.row_bytes)))
        for start, block in self._blocks(block_bytes, piece):
            if (rows := read_rows(block, self.row_format)) is None:
                raise self._bad_row_error(start, block)
            for first in range(0, rows[0].size, size):
                yield finite_points(*(column[first : first + size] for column in rows))

    def _blocks(self, long: int, piece: Piece) -> Iterator[tuple[int, bytes]]:
        """Give whole lines, some at a time, each time with the byte they start at."""
        with open_binary(self.name) as file:
            at = self._first_line(file, piece.start)
            while at < piece.stop:
                block = file.read(min(long, piece.stop - at))
                if not block.endswith(b"\n"):
                    block += self._rest_of_line(file, at, block)
                yield at, block
                at += len(block)

    def _first_line(self, file: BufferedReader, byte: int) -> int:
        """Go to the first line that starts at a byte or after it."""
        if byte <= self.start:
            return file.seek(self.start)
        file.seek(byte - 1)
        if not self._rest_of_line(file, byte - 1, b"").endswith(b"\n"):
            return self.stop
        return file.tell()

    def _rest_of_line(self, file: BufferedReader, at: int, block: bytes) -> bytes:
        rest = file.readline(LONGEST_LINE)
        if len(rest) == LONGEST_LINE:
            raise long_line_error(self.name, self._line(at, block))
        if not block + rest:
            what = "the file became shorter while it was read"
            raise damaged_error(self.name, what, f"byte {at}")
        return rest

    def _bad_row_error(self, start: int, block: bytes) -> InputError:
        before, line = first_bad_line(block, self.row_format)
        return bad_row_error(self.name, self._line(start, b"") + before, line)

    def _line(self, byte: int, block: bytes) -> int:
        """Number of the line that a byte of the file lies in, after some more of it."""
        number = 1 + block.count(b"\n")
        with open_binary(self.name) as file:
            while byte > 0 and (before := file.read(min(byte, _BLOCK))):
                number += before.count(b"\n")
                byte -= len(before)
        return number


def open_text(name: str) -> TextCloud:
    """Open a text of points; nothing but its head is read.

    Raises
    ------
    InputError
        If it is none.
    """
    head = read_head(name)
    stop = file_length(name)
    _refuse_cut_end(name, head, stop)
    return TextCloud(
        name=name,
        start=head.start,
        stop=stop,
        row_format=head.row_format,
        row_bytes=row_bytes(name, head.start, stop),
        millimetres=head.millimetres,
    )


def _refuse_cut_end(name: str, head: TextHead, stop: int) -> None:
    """Refuse a text that breaks off in its last row: no line end, and less of it.

    Only where the rows before are all alike is a row with fewer columns, or fewer
    decimals in its last column, known to be cut.
    """
    with open_binary(name) as file:
        start = file.seek(max(head.start, stop - _SAMPLE_ROWS))
        *rows, last = file.read(stop - start).split(b"\n")
    rows = rows[1:] if start > head.start else rows  # the first one may be a part
    if not last.strip() or is_comment_line(last):
        return
    kept = [row for row in rows if not is_comment_line(row)]
    shapes = {_shape(row, head.row_format.separator) for row in kept}
    columns, decimals = _shape(last, head.row_format.separator)
    if len(shapes) == 1 and (columns, decimals) < shapes.pop():
        shown = last.decode("utf-8", "replace")[:40]
        what = f'the file breaks off in its last row, "{shown}"'
        raise damaged_error(name, what, f"byte {stop - len(last)}")


def _shape(row: bytes, separator: str) -> tuple[int, int]:
    """Columns of a row, and decimals of its last one."""
    cells = _cells(row, separator)
    return len(cells), len(cells[-1].partition(".")[2])


def row_bytes(name: str, start: int, stop: int) -> float:
    """How long a row is, about, from the first rows."""
    with open_binary(name) as file:
        file.seek(start)
        some = file.read(min(_SAMPLE_ROWS, stop - start))
    return max(2.0, len(some) / max(1, some.count(b"\n")))


def looks_like_cloud(path: str | os.PathLike[str]) -> bool:
    """Tell a text of points from a rod sheet by its first row.

    Parameters
    ----------
    path : path
        A ``.csv`` or ``.txt``.

    Returns
    -------
    bool
        Whether the first row, comments aside, begins with three plain numbers or with
        the names x, y, z.  Of a file that cannot be read, False.
    """
    if not Path(path).is_file():  # a pipe would be waited for
        return False
    try:
        with Path(path).open("rb") as file:
            for _, _, line in _lines(file, os.fspath(path)):
                if not is_comment_line(line):
                    return (
                        _row_format(line) is not None or _axis_units(line) is not None
                    )
                if file.tell() > _MAX_COMMENTS:
                    break
    except (OSError, ValueError):
        return False
    return False


def read_head(name: str) -> TextHead:
    """Read the head of a text.

    Raises
    ------
    InputError
        If there is no row, the first one is not three numbers, or the names above it
        are not x, y and z.
    """
    file_length(name)
    named = False
    unit: float | None = None
    with open_binary(name) as file:
        for number, start, line in _lines(file, name):
            if is_comment_line(line):
                continue
            if (row_format := _row_format(line)) is not None:
                return TextHead(start, row_format, unit)
            axes = None if named else _axis_units(line)
            if axes is None:
                raise bad_row_error(name, number, line)
            named, unit = True, _unit(axes, name, number)
    raise no_points_error(name)


def bad_row_error(name: str, number: int, line: bytes) -> InputError:
    """Make the error for a line that is no row of points."""
    text = line.strip().decode("utf-8", "backslashreplace")
    shown = "".join(c if c.isprintable() else " " for c in text)[:40]
    what = f'"{shown}" is not three numbers'
    return InputError(what, file=name, place=f"line {number}", cure=_CURE)


def long_line_error(name: str, number: int) -> InputError:
    """Make the error for a line without an end."""
    what = (
        f"the line is longer than {LONGEST_LINE // 1024} KiB; that is no row of points"
    )
    return InputError(what, file=name, place=f"line {number}", cure=_CURE)


def _lines(file: BufferedReader, name: str) -> Iterator[tuple[int, int, bytes]]:
    """Give number, first byte and content of each line, past a byte order mark."""
    number, start = 1, 0
    _refuse_utf16(file, name)
    if file.read(len(codecs.BOM_UTF8)) == codecs.BOM_UTF8:
        start = len(codecs.BOM_UTF8)
    file.seek(start)
    while line := file.readline(LONGEST_LINE):
        if len(line) == LONGEST_LINE:
            raise long_line_error(name, number)
        yield number, start, line.rstrip(b"\r\n")
        number, start = number + 1, start + len(line)


def _refuse_utf16(file: BufferedReader, name: str) -> None:
    marked = file.read(2) in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
    file.seek(0)
    if marked:
        cure = "Save it as plain text in UTF-8"
        raise InputError("it is UTF-16 text, not UTF-8", file=name, cure=cure)


def _cells(line: bytes, separator: str) -> list[str]:
    text = line.decode("utf-8", "replace").strip(" \r\n")
    cells = text.split(None if separator == " " else separator)
    return [cell.strip() for cell in cells]


def _row_format(line: bytes) -> RowFormat | None:
    """Find how a row is written; None if it is no row of three numbers."""
    for separator in _SEPARATORS:
        cells = _cells(line, separator)[:3]
        if len(cells) == 3 and all(_NUMBER.fullmatch(cell) for cell in cells):
            return RowFormat(separator)
    return None


def _axis_units(line: bytes) -> list[str] | None:
    """Read the units that the names of x, y, z carry, empty where none."""
    for separator in _SEPARATORS:
        cells = [cell.strip("\"'") for cell in _cells(line, separator)[:3]]
        found = [_NAME.fullmatch(cell) for cell in cells]
        if "".join(m[1].lower() for m in found if m) == "xyz":
            return [(m[2] or "").lower() for m in found if m]
    return None


def _unit(axes: list[str], name: str, number: int) -> float | None:
    if len(set(axes)) != 1:
        what = "the columns x, y and z name different units"
        cure = "Export the cloud in one unit"
        raise InputError(what, file=name, place=f"line {number}", cure=cure)
    return float(MM_PER[axes[0]]) if axes[0] else None


def read_rows(block: bytes, row_format: RowFormat) -> Rows | None:
    """Read whole lines.

    Parameters
    ----------
    block : bytes
        Lines with their ends.
    row_format : RowFormat
        How they are written.

    Returns
    -------
    x, y, z : arrays (n,), or None
        None if some line is no such row; see `first_bad_line`.
    """
    some = block[: block.find(b"\n", _SAMPLE) + 1]
    if _parsed(some, row_format) is not None:
        rows = _parsed(block, row_format)
        if rows is not None:
            return rows
    return _parsed(_tidied(block, row_format), row_format)


def first_bad_line(block: bytes, row_format: RowFormat) -> tuple[int, bytes]:
    """Find the first line that is no row: how many lines are before it, and the line.

    Parameters
    ----------
    block : bytes
        Lines of which one at least is none.
    row_format : RowFormat
        How they should be written.
    """
    lines = block.split(b"\n")
    good, bad = 0, len(lines)
    while bad - good > 1:
        middle = (good + bad) // 2
        if read_rows(b"\n".join([*lines[good:middle], b""]), row_format) is None:
            bad = middle
        else:
            good = middle
    return good, lines[good]


def _parsed(block: bytes, row_format: RowFormat) -> Rows | None:
    """Read lines that are written without superfluous blanks."""
    import polars as pl

    if not block:
        empty = np.empty(0)
        return empty, empty, empty
    names = [f"column_{n + 1}" for n in range(max(row_format.columns) + 1)]
    wanted = [names[column] for column in row_format.columns]
    kinds: dict[str, Any] = {n: pl.Float64 if n in wanted else pl.String for n in names}
    try:
        frame = pl.read_csv(
            block,
            columns=wanted,
            has_header=False,
            separator=row_format.separator,
            quote_char=None,
            schema=kinds,
            extra_columns="ignore",
            missing_columns="insert",
        )
    except pl.exceptions.PolarsError:
        return None
    columns = [frame[name] for name in wanted]
    if any(column.null_count() for column in columns):
        return None
    x, y, z = (column.to_numpy(writable=True) for column in columns)
    return x, y, z


def _tidied(block: bytes, row_format: RowFormat) -> bytes:
    """Take superfluous blanks out, and lines that say nothing."""
    separator = row_format.separator.encode()
    text = block.replace(b"\r\n", b"\n")
    if separator != b"\t":
        text = text.replace(b"\t", b" ")
    signs = np.frombuffer(text, np.uint8)
    superfluous = signs == ord(" ")
    before = superfluous | (signs == ord("\n")) | (signs == ord(separator))
    superfluous[1:] &= before[:-1]
    text = signs[~superfluous].tobytes()
    for end in {b"\n", separator} - {b" "}:
        text = text.replace(b" " + end, end)
    text = text.rstrip(b" ")
    return _without_comments(text) if row_format.comments else text


def _without_comments(text: bytes) -> bytes:
    """Leave out blank and comment lines."""
    if b"#" in text or b"//" in text:
        lines = text.split(b"\n")
        text = b"\n".join(line for line in lines if not is_comment_line(line))
    while b"\n\n" in text:
        text = text.replace(b"\n\n", b"\n")
    return text.lstrip(b"\n")


def is_comment_line(line: bytes) -> bool:
    r"""Tell whether a line is blank or a comment.

    Examples
    --------
    >>> [is_comment_line(line) for line in (b" // x y z", b"1 2 3 # near", b"\t")]
    [True, False, True]
    """
    content = line.lstrip(_BLANKS)
    return not content or content.startswith((b"#", b"//"))
