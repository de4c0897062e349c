"""The file a cloud lies in: opening it, its length, and what goes wrong with it.

What is handed on of the numbers in a file: plain kinds of number, finite ones.

Points as records of equal length, one after the other.

``.npy``: an array of numpy, a row a point or with the fields x, y, z.
"""

from __future__ import annotations

import os
import stat
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom.design.text_file import read_bytes
from geom.errors import InputError
from geom.readings.clouds.source import (
    ONES,
    ZEROS,
    Coordinate,
    Piece,
    Points,
    cut,
    no_points_error,
    refuse_empty,
)
from geom.units import Bool, Float

AGAIN = "Copy it again from where it came from, or export it again"


def file_length(name: str) -> int:
    """Length of a file, bytes.

    Raises
    ------
    InputError
        If there is no such file, or it is a folder, no plain file, or empty.
    """
    try:
        found = Path(name).stat()
    except (OSError, ValueError):
        read_bytes(name)  # says what is wrong
        raise
    if stat.S_ISREG(found.st_mode) and found.st_size:
        return found.st_size
    if stat.S_ISREG(found.st_mode) or stat.S_ISDIR(found.st_mode):
        read_bytes(name)
    what = "it is no plain file"
    raise InputError(what, file=name, cure="Save the cloud to a file first")


@contextmanager
def open_binary(name: str) -> Iterator[BufferedReader]:
    """Open a file; whatever the system refuses while it is read is told as bad input.

    Raises
    ------
    InputError
        If the file cannot be opened or read.
    """
    try:
        with Path(name).open("rb") as file:
            yield file
    except OSError as fault:
        why = os.strerror(fault.errno) if fault.errno else str(fault)
        cure = "Check the name, and who may read the file"
        raise InputError(f"it cannot be read ({why})", file=name, cure=cure) from fault


@contextmanager
def library_errors(told: Callable[[str], InputError]) -> Iterator[None]:
    """Tell what a library raises as bad input.

    Parameters
    ----------
    told : callable
        Makes the error of the first line that the library said.
    """
    try:
        yield
    except InputError:
        raise
    except BaseException as fault:
        # Libraries written in Rust panic past Exception.
        if not isinstance(fault, Exception) and type(fault).__name__ != _PANIC:
            raise
        said = (str(fault).strip().splitlines() or [type(fault).__name__])[0]
        raise told(said[:100]) from fault


_PANIC = "PanicException"


def read_exactly(file: BufferedReader, many: int, name: str) -> NDArray[np.uint8]:
    """Read so many bytes from where the file stands.

    Raises
    ------
    InputError
        If the file ends before.
    """
    content = np.empty(many, np.uint8)
    start = file.tell()
    got = file.readinto(content.data)
    if got < many:
        raise truncated_error(name, start + got, start + many)
    return content


def truncated_error(name: str, ends: int, promised: int) -> InputError:
    """Make the error for a file that is shorter than it says."""
    what = f"the file ends here, but its header promises {promised} bytes"
    return InputError(what, file=name, place=f"byte {ends}", cure=AGAIN)


def damaged_error(name: str, what: str, place: str | None = None) -> InputError:
    """Make the error for a file that cannot be as it is."""
    return InputError(what, file=name, place=place, cure=AGAIN)


#: What numbers of other kinds are turned into; nothing narrower loses a digit.
_TURNED = {
    "i1": np.int32, "u1": np.int32, "i2": np.int32, "u2": np.int32, "i4": np.int32,
    "u4": np.float64, "i8": np.float64, "u8": np.float64,
    "f2": np.float32, "f4": np.float32, "f8": np.float64,
}  # fmt: skip


def is_coordinate(kind: np.dtype[Any]) -> bool:
    """Tell whether a kind of number can be a coordinate.

    Examples
    --------
    >>> is_coordinate(np.dtype(">f4")), is_coordinate(np.dtype(bool))
    (True, False)
    """
    return kind.str[1:] in _TURNED


def as_native(values: NDArray[Any]) -> Coordinate:
    """Numbers as int32, float32 or float64 of this machine; the same ones if they are.

    Parameters
    ----------
    values : array (n,)
        Of a kind that `is_coordinate`.

    Returns
    -------
    array (n,)
        A view, where kind and byte order are right and every number is aligned.
    """
    kind = np.dtype(_TURNED[values.dtype.str[1:]])
    if values.dtype == kind and values.flags.aligned:
        return values
    turned: Coordinate = values.astype(kind)
    return turned


def finite_points(
    x: Coordinate,
    y: Coordinate,
    z: Coordinate,
    scale: Float = ONES,
    offset: Float = ZEROS,
) -> Points:
    """Points less those that have NaN or infinity for a coordinate."""
    if all(_all_finite(values) for values in (x, y, z)):
        return Points(x, y, z, scale, offset)
    good = np.isfinite(x) & np.isfinite(y) & np.isfinite(z)
    return select_points(Points(x, y, z, scale, offset), good)


def select_points(points: Points, good: Bool) -> Points:
    """Those points that are good.

    Parameters
    ----------
    points : Points
    good : bool array (n,)
    """
    if good.all():
        return points
    x, y, z = (values[good] for values in (points.x, points.y, points.z))
    return Points(x, y, z, points.scale, points.offset)


def _all_finite(values: Coordinate) -> bool:
    """Tell whether all are finite: if their sum is, they are."""
    if values.dtype.kind == "i":
        return True
    with np.errstate(over="ignore", invalid="ignore"):
        total = values.sum(dtype=np.float64)
    return bool(np.isfinite(total)) or bool(np.isfinite(values).all())


_AXES = ("x", "y", "z")
_AT_ONCE = 64 * 1024 * 1024
_LONGEST = 1024 * 1024


@dataclass(frozen=True)
class RecordCloud:
    """A cloud of equal records.

    Attributes
    ----------
    name : str
    start : int
        Byte of the first record.
    count : int
    record : dtype
        With the fields ``x``, ``y`` and ``z``.
    """

    name: str
    start: int
    count: int
    record: np.dtype[Any]
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the records into runs of at most ``most``."""
        return cut(Piece(0, self.count), most)

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece; views into the records."""
        return refuse_empty(
            self._runs(size, piece or Piece(0, self.count)), self.name, piece
        )

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        long = self.record.itemsize
        size = max(1, min(size, _AT_ONCE // long))
        with open_binary(self.name) as file:
            file.seek(self.start + piece.start * long)
            for first in range(piece.start, piece.stop, size):
                many = min(size, piece.stop - first)
                rows = read_exactly(file, many * long, self.name).view(self.record)
                yield finite_points(
                    as_native(rows["x"]), as_native(rows["y"]), as_native(rows["z"])
                )


def open_records(
    name: str, start: int, count: int, record: np.dtype[Any], *, after: int = 0
) -> RecordCloud:
    """Make a cloud of records, checked against the file's length.

    Parameters
    ----------
    name : str
    start, count : int
    record : dtype
        With the fields ``x``, ``y`` and ``z``.
    after : int
        Bytes that are promised to follow the records.

    Raises
    ------
    InputError
        If the file is too short or has no record.
    """
    if count <= 0:
        raise no_points_error(name)
    promised = start + count * record.itemsize + after
    if (ends := file_length(name)) < promised:
        raise truncated_error(name, ends, promised)
    return RecordCloud(name, start, count, record)


def xyz_record(
    name: str,
    kinds: Sequence[np.dtype[Any]],
    offsets: Sequence[int],
    long: int,
) -> np.dtype[Any]:
    """Describe a record by its fields x, y and z alone.

    Parameters
    ----------
    name : str
    kinds : three dtypes
    offsets : three ints
        Byte of each in the record.
    long : int
        Bytes of the whole record.

    Raises
    ------
    InputError
        If a record is longer than a mebibyte.
    """
    if long > _LONGEST:
        what = f"its header promises {long} bytes for a single point"
        raise InputError(what, file=name, cure="Export coordinates only, one a point")
    return np.dtype(
        {"names": _AXES, "formats": kinds, "offsets": offsets, "itemsize": long}
    )


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
        return refuse_empty(
            self._runs(max(1, size), piece or Piece(0, self.count)), self.name, piece
        )

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        with open_binary(self.name) as file:
            for first in range(piece.start, piece.stop, size):
                many = min(size, piece.stop - first)
                x, y, z = (self._part(file, axis, first, many) for axis in range(3))
                yield finite_points(x, y, z)

    def _part(
        self, file: BufferedReader, axis: int, first: int, many: int
    ) -> Coordinate:
        long = self.number.itemsize
        file.seek(self.start + (axis * self.count + first) * long)
        return as_native(read_exactly(file, many * long, self.name).view(self.number))


def open_npy(name: str) -> RecordCloud | ColumnCloud:
    """Open an array file; nothing but its header is read.

    Raises
    ------
    InputError
        If it is none, holds Python objects, or is not an array of points.
    """
    ends = file_length(name)
    shape, by_column, kind, start = _header(name)
    if kind.hasobject:
        what = "it holds Python objects, which are never unpacked from a file"
        raise InputError(what, file=name, cure=_CURE)
    if kind.names is not None:
        return _fields(name, shape, kind, start)
    if len(shape) != 2 or shape[1] < 3 or not is_coordinate(kind):
        raise _no_points_in(name, str(kind), shape)
    count, columns = shape
    long = kind.itemsize
    if by_column:
        if ends < (promised := start + count * columns * long):
            raise truncated_error(name, ends, promised)
        return ColumnCloud(name, start, count, kind)
    record = xyz_record(name, [kind] * 3, [0, long, 2 * long], columns * long)
    return open_records(name, start, count, record)


def _fields(
    name: str, shape: tuple[int, ...], kind: np.dtype[Any], start: int
) -> RecordCloud:
    fields: Mapping[str, Any] = kind.fields or {}
    axes = [fields[axis] for axis in _AXES if axis in fields]
    if len(shape) != 1 or len(axes) != 3 or not all(is_coordinate(a[0]) for a in axes):
        raise _no_points_in(name, ", ".join(kind.names or ()), shape)
    kinds, offsets = [axis[0] for axis in axes], [axis[1] for axis in axes]
    record = xyz_record(name, kinds, offsets, kind.itemsize)
    return open_records(name, start, shape[0], record)


def _no_points_in(name: str, held: str, shape: tuple[int, ...]) -> InputError:
    said = f"{held[:40]} in the shape {str(shape)[:40]}"
    return InputError(f"it is an array of {said}, not of points", file=name, cure=_CURE)


def _header(name: str) -> tuple[tuple[int, ...], bool, np.dtype[Any], int]:
    """Read shape, order, kind of number, and the byte where the numbers start."""

    def told(said: str) -> InputError:
        place = f"byte {file.tell()}, its header"
        return damaged_error(name, f"it is no array file of numpy ({said})", place)

    with open_binary(name) as file, library_errors(told), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        version = np.lib.format.read_magic(file)
        read = _READ[version]
        shape, by_column, kind = read(file)
        if any(isinstance(n, bool) or n < 0 for n in shape):
            raise ValueError("a side of it is not a count")
        start = file.tell()
    if 0 in shape:
        raise no_points_error(name)
    return shape, bool(by_column), kind, start
