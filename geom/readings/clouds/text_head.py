"""The head of a text of points: comments, names of the columns, the first row."""

from __future__ import annotations

import codecs
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from geom.errors import InputError
from geom.readings.clouds.files import length_of, reading
from geom.readings.clouds.source import no_points
from geom.readings.clouds.text_rows import Layout, is_silent
from geom.units import MM_PER

#: Bytes past which a line is no row of coordinates.
LONGEST_LINE = 64 * 1024

_MARKS = (";", ",", "\t", " ")
_NUMBER = re.compile(
    r"[+-]?((\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|nan|inf|infinity)", re.IGNORECASE
)
_NAME = re.compile(rf"([xyz])(?:[\s_(\[]+({'|'.join(MM_PER)})[)\]]?)?", re.IGNORECASE)
_CURE = (
    "A row is x y z, separated by blanks, tabs, commas or semicolons, decimals with a "
    "point; one row above may name the columns x, y, z"
)
_LOOKED_AT = 1024 * 1024


@dataclass(frozen=True)
class Head:
    """What stands above the rows, and how they are written.

    Attributes
    ----------
    start : int
        Byte of the first row.
    layout : Layout
    millimetres : float or None
        In a unit, where the names of the columns name one: ``x_mm``.
    """

    start: int
    layout: Layout
    millimetres: float | None


def read_head(name: str) -> Head:
    """Read the head of a text.

    Raises
    ------
    InputError
        If there is no row, the first one is not three numbers, or the names above it
        are not x, y and z.
    """
    length_of(name)
    named = False
    unit: float | None = None
    with reading(name) as file:
        for number, start, line in _lines(file, name):
            if is_silent(line):
                continue
            if (layout := _layout(line)) is not None:
                return Head(start, layout, unit)
            axes = None if named else _axes(line)
            if axes is None:
                raise bad_row(name, number, line)
            named, unit = True, _unit(axes, name, number)
    raise no_points(name)


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
    try:
        with Path(path).open("rb") as file:
            for _, _, line in _lines(file, os.fspath(path)):
                if not is_silent(line):
                    return _layout(line) is not None or _axes(line) is not None
                if file.tell() > _LOOKED_AT:
                    break
    except (OSError, ValueError):
        return False
    return False


def bad_row(name: str, number: int, line: bytes) -> InputError:
    """Make the error for a line that is no row of points."""
    text = line.strip().decode("utf-8", "backslashreplace")
    said = "".join(c if c.isprintable() else " " for c in text)[:40]
    what = f'"{said}" is not three numbers'
    return InputError(what, file=name, place=f"line {number}", cure=_CURE)


def too_long(name: str, number: int) -> InputError:
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
            raise too_long(name, number)
        yield number, start, line.rstrip(b"\r\n")
        number, start = number + 1, start + len(line)


def _refuse_utf16(file: BufferedReader, name: str) -> None:
    marked = file.read(2) in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
    file.seek(0)
    if marked:
        cure = "Save it as plain text in UTF-8"
        raise InputError("it is UTF-16 text, not UTF-8", file=name, cure=cure)


def _cells(line: bytes, mark: str) -> list[str]:
    text = line.decode("utf-8", "replace").strip(" \r\n")
    cells = text.split(None if mark == " " else mark)
    return [cell.strip() for cell in cells]


def _layout(line: bytes) -> Layout | None:
    """Find how a row is written; None if it is no row of three numbers."""
    for mark in _MARKS:
        cells = _cells(line, mark)[:3]
        if len(cells) == 3 and all(_NUMBER.fullmatch(cell) for cell in cells):
            return Layout(mark)
    return None


def _axes(line: bytes) -> list[str] | None:
    """Read the units that the names of x, y, z carry, empty where none."""
    for mark in _MARKS:
        cells = [cell.strip("\"'") for cell in _cells(line, mark)[:3]]
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
