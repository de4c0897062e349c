"""``.ply``: the vertices of a PLY file, text or binary."""

from __future__ import annotations

from dataclasses import dataclass
from io import BufferedReader

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.files import AGAIN, cut_off, length_of, reading
from geom.readings.clouds.ply_header import (
    ASCII,
    Element,
    PlyHeader,
    read_ply_header,
)
from geom.readings.clouds.records import RecordCloud, record_cloud, record_of
from geom.readings.clouds.source import no_points
from geom.readings.clouds.text_cloud import TextCloud, row_bytes
from geom.readings.clouds.text_rows import Layout

_AXES = ("x", "y", "z")
_CURE = "Export the vertices alone, as numbers named x, y and z"
_BLOCK = 4 * 1024 * 1024
_SHORTEST_ROW = len("0 0 0\n")


def open_ply(name: str) -> RecordCloud | TextCloud:
    """Open a PLY file: its element ``vertex`` is the cloud; others are passed over.

    Raises
    ------
    InputError
        If it is none, has no vertices or is shorter than its header says.
    """
    length_of(name)
    with reading(name) as file:
        header = read_ply_header(file, name)
        body = _body(header, name)
        if header.form == ASCII:
            return _ascii(file, name, header.start, body)
        return _binary(name, header.start, body)


@dataclass(frozen=True)
class _Body:
    """The vertices, where their x, y and z are, and the elements around them."""

    before: tuple[Element, ...]
    vertex: Element
    axes: tuple[int, int, int]
    after: tuple[Element, ...]


def _body(header: PlyHeader, name: str) -> _Body:
    names = [element.name for element in header.elements]
    if "vertex" not in names:
        raise _refused(name, "it has no element named vertex")
    at = names.index("vertex")
    before, vertex = header.elements[:at], header.elements[at]
    if vertex.count == 0:
        raise no_points(name)
    if not vertex.fixed:
        raise _refused(name, "its vertices hold lists")
    for element in before:
        if element.count and not element.fixed:
            what = f"the element {element.name[:40]} before the vertices holds lists"
            raise _refused(name, what)
    x, y, z = (vertex.index(axis) for axis in _AXES)
    if x is None or y is None or z is None:
        raise _refused(name, "its vertices are without one of the numbers x, y and z")
    return _Body(before, vertex, (x, y, z), header.elements[at + 1 :])


def _refused(name: str, what: str) -> InputError:
    return InputError(what, file=name, place="its header", cure=_CURE)


def _binary(name: str, start: int, body: _Body) -> RecordCloud:
    vertex = body.vertex
    kinds = [vertex.properties[axis].kind for axis in body.axes]
    offsets = [vertex.offset(axis) for axis in body.axes]
    record = record_of(name, kinds, offsets, vertex.least)
    start += sum(e.count * e.least for e in body.before)
    after = sum(e.count * e.least for e in body.after)
    return record_cloud(name, start, vertex.count, record, after=after)


def _ascii(file: BufferedReader, name: str, start: int, body: _Body) -> TextCloud:
    ends, count = length_of(name), body.vertex.count
    before, after = (sum(e.count for e in part) for part in (body.before, body.after))
    least = start + before + count * _SHORTEST_ROW + after - 1
    if ends < least:
        raise cut_off(name, ends, least)
    edges = [start]
    for lines in (before, count, after):
        if (edge := _byte_after(file, edges[-1], lines)) is None:
            what = f"the file ends here, but its header promises {lines} more lines"
            place = f"byte {ends}"
            raise InputError(what, file=name, place=place, cure=AGAIN)
        edges.append(edge)
    _, first, stop, end = edges
    file.seek(end)
    if file.read(_BLOCK).strip():
        what = "here are more lines than the header promises"
        raise InputError(what, file=name, place=f"byte {end}", cure=AGAIN)
    layout = Layout(" ", body.axes, silent=False)
    return TextCloud(
        name, first, stop, layout, row_bytes(name, first, stop), count=count
    )


def _byte_after(file: BufferedReader, start: int, lines: int) -> int | None:
    """Find the byte after so many lines; the last of the file needs no end."""
    file.seek(start)
    at, ended = start, True
    while lines and (block := file.read(_BLOCK)):
        there = block.count(b"\n")
        if there >= lines:
            ends = np.flatnonzero(np.frombuffer(block, np.uint8) == ord("\n"))
            return at + int(ends[lines - 1]) + 1
        lines, at, ended = lines - there, at + len(block), block.endswith(b"\n")
    return at if lines == 0 or (lines == 1 and not ended) else None
