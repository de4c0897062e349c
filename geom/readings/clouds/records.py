"""Points as records of equal length, one after the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.files import cut_off, length_of, read_exactly, reading
from geom.readings.clouds.kept import finite, plain
from geom.readings.clouds.source import Piece, Points, cut, never_none, no_points

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
        return never_none(
            self._runs(size, piece or Piece(0, self.count)), self.name, piece
        )

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        long = self.record.itemsize
        size = max(1, min(size, _AT_ONCE // long))
        with reading(self.name) as file:
            file.seek(self.start + piece.start * long)
            for first in range(piece.start, piece.stop, size):
                many = min(size, piece.stop - first)
                rows = read_exactly(file, many * long, self.name).view(self.record)
                yield finite(plain(rows["x"]), plain(rows["y"]), plain(rows["z"]))


def record_cloud(
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
        raise no_points(name)
    promised = start + count * record.itemsize + after
    if (ends := length_of(name)) < promised:
        raise cut_off(name, ends, promised)
    return RecordCloud(name, start, count, record)


def record_of(
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
