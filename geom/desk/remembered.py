"""Prior covariances worked out once, while hyperparameters are held.

A place's covariance with another, or with the nodes of a net, stays the same as long
as hyperparameters do: of a sheet with one reading more, one row and one column are new.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.surface.gp.covariance import Covariance, GridCrossCovariance
from geom.surface.gp.kernels import Points2D
from geom.units import Float, Int

#: Entries of a table past which nothing is remembered.
_MOST = 4_000_000
#: Nets whose tables are kept.
_NETS = 3


class _Places:
    """Places in the order they were first met."""

    def __init__(self) -> None:
        self._numbers: dict[tuple[float, float], int] = {}
        self._azimuth: list[float] = []
        self._height: list[float] = []

    def __len__(self) -> int:
        return len(self._numbers)

    def number(self, places: Points2D) -> Int:
        """Number of each place, new ones taken in; (n,)."""
        found, numbers = [], self._numbers
        for key in zip(places.azimuth.tolist(), places.height.tolist(), strict=True):
            if key not in numbers:
                numbers[key] = len(numbers)
                self._azimuth.append(key[0])
                self._height.append(key[1])
            found.append(numbers[key])
        return np.array(found)

    def part(self, start: int, stop: int | None = None) -> Points2D:
        """Some of them, by their numbers."""
        some = slice(start, stop)
        return Points2D(np.array(self._azimuth[some]), np.array(self._height[some]))


class _Room:
    """A table with room for more rows and columns than are filled."""

    def __init__(self) -> None:
        self._room: Float = np.zeros((0, 0))

    @property
    def columns(self) -> int:
        """Filled or not."""
        return int(self._room.shape[1])

    def of(self, rows: int, columns: int) -> Float:
        """That many rows and columns of it, what was in it before kept."""
        old = self._room
        if rows > old.shape[0] or columns > old.shape[1]:
            wanted = [
                have if ask <= have else ask + ask // 8 if have else ask
                for ask, have in zip((rows, columns), old.shape, strict=True)
            ]
            self._room = np.empty(wanted)
            self._room[: old.shape[0], : old.shape[1]] = old
        return self._room[:rows, :columns]


class _Rows:
    """A table that grows by rows, one for each place."""

    def __init__(self) -> None:
        self._places, self._room = _Places(), _Room()

    def of(self, places: Points2D, work: Callable[[Points2D], Float]) -> Float:
        """Rows of places, the new ones worked out; (n, q), not to be written into."""
        old = len(self._places)
        numbers = self._places.number(places)
        count = len(self._places)
        if count > old:
            added = work(self._places.part(old))
            self._room.of(count, added.shape[1])[old:] = added
        table = self._room.of(count, self._room.columns)
        return table if np.array_equal(numbers, np.arange(count)) else table[numbers]


class _Pairs:
    """A table of pairs of places that grows by rows and columns."""

    def __init__(self) -> None:
        self._room = _Room()
        self._left, self._right = _Places(), _Places()
        self._last: tuple[Points2D, Points2D, Float] | None = None

    def of(
        self,
        left: Points2D,
        right: Points2D,
        work: Callable[[Points2D, Points2D], Float],
    ) -> Float:
        """The table of some, what is new of it worked out; (left, right)."""
        last = self._last
        if last is None or last[0] is not left or last[1] is not right:
            last = self._last = left, right, self._found(left, right, work)
        return last[2].copy()

    def _found(
        self,
        left: Points2D,
        right: Points2D,
        work: Callable[[Points2D, Points2D], Float],
    ) -> Float:
        old, known = len(self._left), len(self._right)
        rows, columns = self._left.number(left), self._right.number(right)
        table = self._room.of(len(self._left), len(self._right))
        if len(self._left) > old:
            table[old:] = work(self._left.part(old), self._right.part(0))
        if old and len(self._right) > known:
            table[:old, known:] = work(self._left.part(0, old), self._right.part(known))
        return table[np.ix_(rows, columns)]

    def full_with(self, left: int, right: int) -> bool:
        """Whether that many places more may be too many to remember."""
        return (len(self._left) + left) * (len(self._right) + right) > _MOST


@dataclass(frozen=True)
class RememberedCovariance(Covariance):
    """A prior with its hyperparameters filled in, whose covariances are remembered.

    It is for one thread at a time.
    """

    @cached_property
    def _remembered(self) -> dict[str, _Pairs]:
        return {}

    @cached_property
    def _nets(self) -> dict[bytes, _Rows]:
        return {}

    def between(self, left: Points2D, right: Points2D) -> Float:
        """Covariance matrix, mm2; shape (len(left), len(right))."""
        pairs = self._remembered.setdefault("pairs", _Pairs())
        if pairs.full_with(len(left), len(right)):
            self._remembered.clear()
            return super().between(left, right)
        return pairs.of(left, right, super().between)

    def over_net(self, places: Points2D, height: Float, azimuth: Float) -> Float:
        """Covariance of places with every node of a net, mm2, not to be written into.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees

        Returns
        -------
        array (n, m * k)
            Azimuth runs fastest.
        """

        def rows_of(some: Points2D) -> Float:
            table = GridCrossCovariance(self, some, azimuth).rows(height)
            return table.reshape(len(some), -1)

        if len(places) * height.size * azimuth.size > _MOST:
            return rows_of(places)
        key = height.tobytes() + b"|" + azimuth.tobytes()
        net = self._nets.pop(key, None) or _Rows()
        self._nets[key] = net
        while len(self._nets) > _NETS:
            del self._nets[next(iter(self._nets))]
        return net.of(places, rows_of)
