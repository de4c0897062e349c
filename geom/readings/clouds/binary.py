"""A cloud as records in a file: opening it, its length, what goes wrong, its numbers.

Whatever a header claims is held against the length of the file before memory is set
aside.  Files are read, not mapped: a mapped file that is cut short while it is read
ends the process (SIGBUS), and its pages count as memory (229 MiB for 20 million points
of three float32, against 24 MiB read run by run).
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator, Sequence
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

AXES = ("x", "y", "z")
EXPORT_AGAIN = "Copy it again from where it came from, or export it again"

#: What numbers of other kinds are turned into; nothing narrower loses a digit.
_NATIVE = {
    "i1": np.int32, "u1": np.int32, "i2": np.int32, "u2": np.int32, "i4": np.int32,
    "u4": np.float64, "i8": np.float64, "u8": np.float64,
    "f2": np.float32, "f4": np.float32, "f8": np.float64,
}  # fmt: skip
_MAX_READ = 64 * 1024 * 1024  # bytes at once
_MAX_RECORD = 1024 * 1024  # bytes
#: Of libraries written in Rust; it is raised past Exception.
_PANIC = "PanicException"


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
    """Open a file; what the system refuses while it is read is raised as bad input.

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
def library_errors(as_input_error: Callable[[str], InputError]) -> Iterator[None]:
    """Raise whatever a library raises as bad input.

    Parameters
    ----------
    as_input_error : callable
        Makes the error of the first line of the library's message.
    """
    try:
        yield
    except InputError:
        raise
    except BaseException as fault:
        if not isinstance(fault, Exception) and type(fault).__name__ != _PANIC:
            raise
        lines = str(fault).strip().splitlines() or [type(fault).__name__]
        raise as_input_error(lines[0][:100]) from fault


def read_exactly(file: BufferedReader, size: int, name: str) -> NDArray[np.uint8]:
    """Read so many bytes from where the file stands.

    Raises
    ------
    InputError
        If the file ends before.
    """
    content = np.empty(size, np.uint8)
    start = file.tell()
    got = file.readinto(content.data)
    if got < size:
        raise truncated_error(name, start + got, start + size)
    return content


def truncated_error(name: str, end: int, promised: int) -> InputError:
    """Make the error for a file that is shorter than it says."""
    what = f"the file ends here, but its header promises {promised} bytes"
    return InputError(what, file=name, place=f"byte {end}", cure=EXPORT_AGAIN)


def damaged_error(name: str, what: str, place: str | None = None) -> InputError:
    """Make the error for a file that cannot be as it is."""
    return InputError(what, file=name, place=place, cure=EXPORT_AGAIN)


def is_coordinate(kind: np.dtype[Any]) -> bool:
    """Tell whether a kind of number can be a coordinate.

    Examples
    --------
    >>> is_coordinate(np.dtype(">f4")), is_coordinate(np.dtype(bool))
    (True, False)
    """
    return kind.str[1:] in _NATIVE


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
    kind = np.dtype(_NATIVE[values.dtype.str[1:]])
    if values.dtype == kind and values.flags.aligned:
        return values
    native: Coordinate = values.astype(kind)
    return native


def finite_points(
    x: Coordinate,
    y: Coordinate,
    z: Coordinate,
    scale: Float = ONES,
    offset: Float = ZEROS,
) -> Points:
    """Points less those that have NaN or infinity for a coordinate."""
    points = Points(x, y, z, scale, offset)
    if all(_all_finite(values) for values in (x, y, z)):
        return points
    return select_points(points, np.isfinite(x) & np.isfinite(y) & np.isfinite(z))


def select_points(points: Points, mask: Bool) -> Points:
    """Those points where a mask, bool array (n,), holds."""
    if mask.all():
        return points
    x, y, z = (values[mask] for values in (points.x, points.y, points.z))
    return Points(x, y, z, points.scale, points.offset)


def _all_finite(values: Coordinate) -> bool:
    """Tell whether all are finite: if their sum is, they are."""
    if values.dtype.kind == "i":
        return True
    with np.errstate(over="ignore", invalid="ignore"):
        total = values.sum(dtype=np.float64)
    return bool(np.isfinite(total)) or bool(np.isfinite(values).all())


@dataclass(frozen=True)
class RecordCloud:
    """A cloud of equal records, one after the other, or of whole columns.

    Attributes
    ----------
    start : int
        Byte of the first record.
    record : dtype
        With the fields ``x``, ``y`` and ``z``.
    by_column : bool
        Whether all x come first, then all y, then all z (Fortran order); they are of
        one kind then.
    """

    name: str
    start: int
    count: int
    record: np.dtype[Any]
    by_column: bool = False
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
        size = max(1, min(size, _MAX_READ // self.record.itemsize))
        read = self._read_columns if self.by_column else self._read_records
        with open_binary(self.name) as file:
            for first in range(piece.start, piece.stop, size):
                x, y, z = read(file, first, min(size, piece.stop - first))
                yield finite_points(as_native(x), as_native(y), as_native(z))

    def _read_records(
        self, file: BufferedReader, first: int, count: int
    ) -> list[NDArray[Any]]:
        size = self.record.itemsize
        file.seek(self.start + first * size)
        rows = read_exactly(file, count * size, self.name).view(self.record)
        return [rows[axis] for axis in AXES]

    def _read_columns(
        self, file: BufferedReader, first: int, count: int
    ) -> list[NDArray[Any]]:
        kind = self.record["x"]
        columns = []
        for axis in range(3):
            file.seek(self.start + (axis * self.count + first) * kind.itemsize)
            column = read_exactly(file, count * kind.itemsize, self.name)
            columns.append(column.view(kind))
        return columns


def open_records(
    name: str,
    start: int,
    count: int,
    record: np.dtype[Any],
    *,
    after: int = 0,
    by_column: bool = False,
) -> RecordCloud:
    """Make a cloud of records, checked against the file's length.

    Parameters
    ----------
    name : str
        The file.
    start, count : int
        Byte of the first record, and how many there are.
    record : dtype
        With the fields ``x``, ``y`` and ``z``.
    after : int
        Bytes that are promised to follow the records.
    by_column : bool
        See `RecordCloud`.

    Raises
    ------
    InputError
        If the file is too short or has no record.
    """
    if count <= 0:
        raise no_points_error(name)
    promised = start + count * record.itemsize + after
    if (end := file_length(name)) < promised:
        raise truncated_error(name, end, promised)
    return RecordCloud(name, start, count, record, by_column)


def xyz_record(
    name: str, kinds: Sequence[np.dtype[Any]], offsets: Sequence[int], size: int
) -> np.dtype[Any]:
    """Describe a record by its fields x, y and z alone.

    Parameters
    ----------
    name : str
        The file.
    kinds : three dtypes
        Of x, y and z.
    offsets : three ints
        Byte of each in the record.
    size : int
        Bytes of the whole record.

    Raises
    ------
    InputError
        If a record is longer than a mebibyte.
    """
    if size > _MAX_RECORD:
        what = f"its header promises {size} bytes for a single point"
        raise InputError(what, file=name, cure="Export coordinates only, one a point")
    return np.dtype(
        {"names": AXES, "formats": kinds, "offsets": offsets, "itemsize": size}
    )
