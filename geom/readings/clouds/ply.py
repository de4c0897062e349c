"""``.ply``: the vertices of a PLY file, text or binary.

The header is read here and the points as of any other records or rows of text, not by
plyfile 1.1.5: a million points of text take it 23 s, here 1.3 s, and are held whole;
ten million binary ones take it 261 s read and 0.34 s mapped into memory, here 0.48 s
(see `geom.readings.clouds.binary` for why no file is mapped).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from io import BufferedReader
from typing import Any

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.binary import (
    AXES,
    RecordCloud,
    damaged_error,
    file_length,
    open_binary,
    open_records,
    truncated_error,
    xyz_record,
)
from geom.readings.clouds.source import no_points_error
from geom.readings.clouds.text import RowFormat, TextCloud, row_bytes

ASCII, LITTLE, BIG = "ascii", "binary_little_endian", "binary_big_endian"

_MAX_HEADER = 64 * 1024  # bytes
_BLOCK = 4 * 1024 * 1024  # bytes read at once
_SHORTEST_ROW = len("0 0 0\n")
_CURE = "Export the vertices alone, as numbers named x, y and z"
_END = re.compile(rb"\nend_header[ \t]*\r?\n")
_COUNT = re.compile(r"\d{1,15}")
_KINDS = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4",
    "uint": "u4", "float": "f4", "double": "f8",
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4",
    "uint32": "u4", "float32": "f4", "float64": "f8",
}  # fmt: skip


@dataclass(frozen=True)
class PlyProperty:
    """A property of an element.

    Attributes
    ----------
    kind : dtype
        Of the number; of a list, that of its length.
    """

    name: str
    kind: np.dtype[Any]
    is_list: bool = False


@dataclass(frozen=True)
class PlyElement:
    """An element: its name, how many of it there are, and what each holds."""

    name: str
    count: int
    properties: tuple[PlyProperty, ...] = ()

    @property
    def fixed_size(self) -> bool:
        """Whether each of them is as long as the other."""
        return not any(p.is_list for p in self.properties)

    @property
    def min_bytes(self) -> int:
        """Bytes that each takes in binary at least: lists are empty."""
        return sum(p.kind.itemsize for p in self.properties)

    def offset(self, index: int) -> int:
        """Byte of a property in the element, in binary."""
        return sum(p.kind.itemsize for p in self.properties[:index])

    def index(self, name: str) -> int | None:
        """Place of a property among the properties."""
        names = [p.name for p in self.properties]
        return names.index(name) if name in names else None


@dataclass(frozen=True)
class PlyHeader:
    """What a header says.

    Attributes
    ----------
    form : str
        ``ascii``, ``binary_little_endian`` or ``binary_big_endian``.
    start : int
        Byte after the header.
    """

    form: str
    elements: tuple[PlyElement, ...]
    start: int


def read_ply_header(file: BufferedReader, name: str) -> PlyHeader:
    """Read a header.

    Raises
    ------
    InputError
        If it does not end within 64 KiB, or a line of it is not understood.
    """
    content = file.read(_MAX_HEADER)
    if not content.startswith((b"ply\n", b"ply\r\n")):
        raise damaged_error(
            name, 'it does not begin with "ply" as a PLY file does', "byte 0"
        )
    if (end := _END.search(content)) is None:
        raise damaged_error(
            name, "the header has no end up to here", f"byte {len(content)}"
        )
    lines = content[: end.start()].decode("ascii", "replace").split("\n")
    form, elements = "", list[PlyElement]()
    for number, line in enumerate(lines[1:], 2):
        try:
            form = _read_line(line.split(), form, elements)
        except (ValueError, KeyError, IndexError) as fault:
            what = f'"{_printable(line)}" is not understood'
            raise damaged_error(name, what, f"line {number}") from fault
    if not form:
        raise damaged_error(name, "the header does not say its format", "its header")
    big = form == BIG
    return PlyHeader(
        form, tuple(_with_byte_order(e, big=big) for e in elements), end.end()
    )


def _read_line(words: list[str], form: str, elements: list[PlyElement]) -> str:
    """Take in one line; give the format as far as it is known."""
    match words:
        case [] | ["comment" | "obj_info", *_]:
            pass
        case ["format", named, "1.0"] if named in (ASCII, LITTLE, BIG) and not form:
            return named
        case ["element", name, count] if _COUNT.fullmatch(count):
            if name in (e.name for e in elements):
                raise ValueError(name)
            elements.append(PlyElement(name, int(count)))
        case ["property", "list", length, number, name] if number in _KINDS:
            _add(elements, PlyProperty(name, np.dtype(_KINDS[length]), is_list=True))
        case ["property", number, name]:
            _add(elements, PlyProperty(name, np.dtype(_KINDS[number])))
        case _:
            raise ValueError(words)
    return form


def _add(elements: list[PlyElement], added: PlyProperty) -> None:
    last = elements[-1]
    if last.index(added.name) is not None:
        raise ValueError(added.name)
    elements[-1] = replace(last, properties=(*last.properties, added))


def _with_byte_order(element: PlyElement, *, big: bool) -> PlyElement:
    """Give the numbers of an element the byte order of the file."""
    properties = tuple(
        replace(p, kind=p.kind.newbyteorder(">" if big else "<"))
        for p in element.properties
    )
    return replace(element, properties=properties)


def _printable(line: str) -> str:
    return "".join(c if c.isprintable() else " " for c in line.strip())[:40]


def open_ply(name: str) -> RecordCloud | TextCloud:
    """Open a PLY file: its element ``vertex`` is the cloud; others are passed over.

    Raises
    ------
    InputError
        If it is none, has no vertices or is shorter than its header says.
    """
    file_length(name)
    with open_binary(name) as file:
        header = read_ply_header(file, name)
        body = _body(header, name)
        if header.form == ASCII:
            return _ascii(file, name, header.start, body)
        return _binary(name, header.start, body)


@dataclass(frozen=True)
class _Body:
    """The vertices, where their x, y and z are, and the elements around them."""

    before: tuple[PlyElement, ...]
    vertex: PlyElement
    axes: tuple[int, int, int]
    after: tuple[PlyElement, ...]


def _body(header: PlyHeader, name: str) -> _Body:
    names = [element.name for element in header.elements]
    if "vertex" not in names:
        raise _unusable(name, "it has no element named vertex")
    at = names.index("vertex")
    before, vertex = header.elements[:at], header.elements[at]
    if vertex.count == 0:
        raise no_points_error(name)
    if not vertex.fixed_size:
        raise _unusable(name, "its vertices hold lists")
    for element in before:
        if element.count and not element.fixed_size:
            what = f"the element {element.name[:40]} before the vertices holds lists"
            raise _unusable(name, what)
    x, y, z = (vertex.index(axis) for axis in AXES)
    if x is None or y is None or z is None:
        raise _unusable(name, "its vertices are without one of the numbers x, y and z")
    return _Body(before, vertex, (x, y, z), header.elements[at + 1 :])


def _unusable(name: str, what: str) -> InputError:
    return InputError(what, file=name, place="its header", cure=_CURE)


def _binary(name: str, start: int, body: _Body) -> RecordCloud:
    vertex = body.vertex
    kinds = [vertex.properties[axis].kind for axis in body.axes]
    offsets = [vertex.offset(axis) for axis in body.axes]
    record = xyz_record(name, kinds, offsets, vertex.min_bytes)
    start += sum(e.count * e.min_bytes for e in body.before)
    after = sum(e.count * e.min_bytes for e in body.after)
    return open_records(name, start, vertex.count, record, after=after)


def _ascii(file: BufferedReader, name: str, start: int, body: _Body) -> TextCloud:
    end, count = file_length(name), body.vertex.count
    before, after = (sum(e.count for e in part) for part in (body.before, body.after))
    least = start + before + count * _SHORTEST_ROW + after - 1
    if end < least:
        raise truncated_error(name, end, least)
    edges = [start]
    for lines in (before, count, after):
        if (edge := _byte_after(file, edges[-1], lines)) is None:
            what = f"the file ends here, but its header promises {lines} more lines"
            raise damaged_error(name, what, f"byte {end}")
        edges.append(edge)
    _, first, stop, rest = edges
    file.seek(rest)
    if file.read(_BLOCK).strip():
        what = "here are more lines than the header promises"
        raise damaged_error(name, what, f"byte {rest}")
    row_format = RowFormat(" ", body.axes, comments=False)
    return TextCloud(
        name, first, stop, row_format, row_bytes(name, first, stop), count=count
    )


def _byte_after(file: BufferedReader, start: int, lines: int) -> int | None:
    """Find the byte after so many lines; the last of the file needs no end."""
    file.seek(start)
    at, ended = start, True
    while lines and (block := file.read(_BLOCK)):
        complete = block.count(b"\n")
        if complete >= lines:
            ends = np.flatnonzero(np.frombuffer(block, np.uint8) == ord("\n"))
            return at + int(ends[lines - 1]) + 1
        lines, at, ended = lines - complete, at + len(block), block.endswith(b"\n")
    return at if lines == 0 or (lines == 1 and not ended) else None
