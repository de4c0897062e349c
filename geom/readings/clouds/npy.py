"""``.npy``: an array of numpy, a row a point or with the fields x, y, z."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BufferedReader
from typing import Any

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.files import (
    cut_off,
    damaged,
    faults_told,
    length_of,
    read_exactly,
    reading,
)
from geom.readings.clouds.kept import finite, is_number, plain
from geom.readings.clouds.records import RecordCloud, record_cloud, record_of
from geom.readings.clouds.source import (
    Coordinate,
    Piece,
    Points,
    cut,
    never_none,
    no_points,
)

_AXES = ("x", "y", "z")
#: Version 3.0 is 2.0 with names in UTF-8; x, y and z are the same in both.
_READ = {
    (1, 0): np.lib.format.read_array_header_1_0,
    (2, 0): np.lib.format.read_array_header_2_0,
    (3, 0): np.lib.format.read_array_header_2_0,
}
_CURE = (
    "Save an array of numbers with a row for each point, x y z first, or one with the "
    "fields x, y and z"
)


@dataclass(frozen=True)
class ColumnCloud:
    """A cloud whose columns lie one after the other (Fortran order).

    Attributes
    ----------
    name : str
    start : int
        Byte of the first x.
    count : int
    number : dtype
    """

    name: str
    start: int
    count: int
    number: np.dtype[Any]
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the rows into runs of at most ``most``."""
        return cut(Piece(0, self.count), most)

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece."""
        return never_none(
            self._runs(max(1, size), piece or Piece(0, self.count)), self.name, piece
        )

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        with reading(self.name) as file:
            for first in range(piece.start, piece.stop, size):
                many = min(size, piece.stop - first)
                x, y, z = (self._part(file, axis, first, many) for axis in range(3))
                yield finite(x, y, z)

    def _part(
        self, file: BufferedReader, axis: int, first: int, many: int
    ) -> Coordinate:
        long = self.number.itemsize
        file.seek(self.start + (axis * self.count + first) * long)
        return plain(read_exactly(file, many * long, self.name).view(self.number))


def open_npy(name: str) -> RecordCloud | ColumnCloud:
    """Open an array file; nothing but its header is read.

    Raises
    ------
    InputError
        If it is none, holds Python objects, or is not an array of points.
    """
    ends = length_of(name)
    shape, by_column, kind, start = _header(name)
    if kind.hasobject:
        what = "it holds Python objects, which are never unpacked from a file"
        raise InputError(what, file=name, cure=_CURE)
    if kind.names is not None:
        return _fields(name, shape, kind, start)
    if len(shape) != 2 or shape[1] < 3 or not is_number(kind):
        raise _no_points_in(name, str(kind), shape)
    count, columns = shape
    long = kind.itemsize
    if by_column:
        if ends < (promised := start + count * columns * long):
            raise cut_off(name, ends, promised)
        return ColumnCloud(name, start, count, kind)
    record = record_of(name, [kind] * 3, [0, long, 2 * long], columns * long)
    return record_cloud(name, start, count, record)


def _fields(
    name: str, shape: tuple[int, ...], kind: np.dtype[Any], start: int
) -> RecordCloud:
    fields: Mapping[str, Any] = kind.fields or {}
    axes = [fields[axis] for axis in _AXES if axis in fields]
    if len(shape) != 1 or len(axes) != 3 or not all(is_number(a[0]) for a in axes):
        raise _no_points_in(name, ", ".join(kind.names or ()), shape)
    kinds, offsets = [axis[0] for axis in axes], [axis[1] for axis in axes]
    record = record_of(name, kinds, offsets, kind.itemsize)
    return record_cloud(name, start, shape[0], record)


def _no_points_in(name: str, held: str, shape: tuple[int, ...]) -> InputError:
    said = f"{held[:40]} in the shape {str(shape)[:40]}"
    return InputError(f"it is an array of {said}, not of points", file=name, cure=_CURE)


def _header(name: str) -> tuple[tuple[int, ...], bool, np.dtype[Any], int]:
    """Read shape, order, kind of number, and the byte where the numbers start."""

    def told(said: str) -> InputError:
        place = f"byte {file.tell()}, its header"
        return damaged(name, f"it is no array file of numpy ({said})", place)

    with reading(name) as file, faults_told(told), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        version = np.lib.format.read_magic(file)
        read = _READ[version]
        shape, by_column, kind = read(file)
        if any(isinstance(n, bool) or n < 0 for n in shape):
            raise ValueError("a side of it is not a count")
        start = file.tell()
    if 0 in shape:
        raise no_points(name)
    return shape, bool(by_column), kind, start
