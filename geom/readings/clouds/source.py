"""What a point cloud is to the rest of the package: a source of runs of points."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from geom.errors import InputError
from geom.units import Float

#: Numbers as a file holds them, in the machine's own byte order.
Coordinate = NDArray[np.int32] | NDArray[np.float32] | NDArray[np.float64]


#: Scale and offset of coordinates that are held as they are.
ONES, ZEROS = np.ones(3), np.zeros(3)
for _constant in (ONES, ZEROS):
    _constant.setflags(write=False)


@dataclass(frozen=True)
class Points:
    """A run of points as the file holds them.

    Attributes
    ----------
    x, y, z : array (n,)
        int32, float32 or float64, finite; perhaps a view with gaps between its numbers.
    scale, offset : array (3,)
        What is held, times scale, plus offset, is the coordinate in the file's unit.
    """

    x: Coordinate
    y: Coordinate
    z: Coordinate
    scale: Float = field(default_factory=lambda: ONES)
    offset: Float = field(default_factory=lambda: ZEROS)

    def __len__(self) -> int:
        return int(self.x.size)

    def coordinates(self) -> Float:
        """Coordinates, array (n, 3), in the file's unit."""
        stored = np.stack([self.x, self.y, self.z], axis=1).astype(np.float64)
        return stored * self.scale + self.offset


@dataclass(frozen=True)
class Piece:
    """A part of a file that can be read by itself.

    Attributes
    ----------
    start, stop : int
        In whatever the source counts: points, bytes or scans; ``stop`` is outside.
    """

    start: int
    stop: int


class CloudSource(Protocol):
    """A point cloud in a file, read as often and in as many pieces as wanted.

    A source holds no open file and can be handed to another thread or process.
    """

    @property
    def name(self) -> str:
        """The file as the caller named it."""

    @property
    def millimetres(self) -> float | None:
        """Millimetres in the file's unit, where the file itself fixes it."""

    @property
    def count(self) -> int | None:
        """How many points the file says it holds, those left out among them."""

    @property
    def station(self) -> tuple[float, float, float] | None:
        """Where the scanner stood, in the file's frame and unit, where it says."""

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the whole file into parts of at most about ``most`` points."""

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the file, or one piece of it, in runs of at most ``size`` points.

        Raises
        ------
        InputError
            Where the file breaks off or holds no points; and, without a piece, at the
            end if there was no point in the whole of it.
        """


def cut(piece: Piece, most: float) -> tuple[Piece, ...]:
    """Cut a piece into equal ones of at most ``most``.

    Examples
    --------
    >>> cut(Piece(0, 10), 4)
    (Piece(start=0, stop=3), Piece(start=3, stop=6), Piece(start=6, stop=10))
    """
    length = piece.stop - piece.start
    parts = max(1, min(length, int(-(-length // max(1.0, most)))))
    edges = [piece.start + length * part // parts for part in range(parts + 1)]
    return tuple(map(Piece, edges[:-1], edges[1:]))


def refuse_empty(
    runs: Iterable[Points], name: str, piece: Piece | None
) -> Iterator[Points]:
    """Hand runs on; refuse a whole file that has no point in it.

    Raises
    ------
    InputError
        At the end, if there was none and ``piece`` is None.
    """
    empty = True
    for run in runs:
        if len(run):
            empty = False
            yield run
    if empty and piece is None:
        raise no_points_error(name)


def no_points_error(name: str) -> InputError:
    """Make the error for a cloud without points."""
    what = "it holds no points (those without finite coordinates are not counted)"
    return InputError(what, file=name, cure="Export the cloud again")
