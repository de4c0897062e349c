"""Weighted interval scheduling: pieces on a line that do not overlap, worth most.

References
----------
Kleinberg, J. and Tardos, E. (2006). Algorithm Design, section 6.1 (cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.units import Float, Int

#: What rounding may add to where an interval ends.
_EXACT = 1e-9


@dataclass(frozen=True)
class Intervals:
    """Intervals of one line, and what each is worth on several lines alike.

    Attributes
    ----------
    label : int array (n, 2)
        What each of them is, for who made it.
    start, end : array (n,)
        Ends rising.
    before : int array (n,)
        How many end where it starts, or before.
    worth : array (n, f)
        On each of ``f`` lines; -inf where it cannot lie there.
    """

    label: Int
    start: Float
    end: Float
    before: Int
    worth: Float

    @classmethod
    def of(cls, label: Int, start: Float, end: Float, worth: Float) -> Intervals:
        """In the order of their ends."""
        order = np.lexsort((start, end))
        start, end = start[order], end[order]
        before = np.searchsorted(end, start + _EXACT, side="right")
        return cls(label[order], start, end, before, worth[order])

    def most(self) -> Float:
        """What each line is worth at most; (f,).

        Examples
        --------
        Of three, the one in the middle is in the way of both others:

        >>> table = Intervals.of(
        ...     np.zeros((3, 2), int),
        ...     np.array([0.0, 1.0, 2.0]),
        ...     np.array([2.0, 3.0, 4.0]),
        ...     np.array([[3.0, 3.0], [5.0, 7.0], [3.0, 3.0]]),
        ... )
        >>> table.most().tolist()
        [6.0, 7.0]
        """
        table = np.zeros((self.end.size + 1, self.worth.shape[1]))
        for k, (before, worth) in enumerate(zip(self.before, self.worth, strict=True)):
            np.maximum(table[k], table[before] + worth, out=table[k + 1])
        return np.asarray(table[-1])

    def chosen(
        self, line: int, *, barred: Float | None = None, apart: float = 0.0
    ) -> list[int]:
        """The intervals of one line that are worth most, in their order.

        Parameters
        ----------
        line : int
        barred : array, optional
            Where none may start or end ...
        apart : float
            ... nor nearer to it than this.
        """
        worth = self.worth[:, line].copy()
        for point in () if barred is None else barred:
            near = np.minimum(np.abs(self.start - point), np.abs(self.end - point))
            worth[near < apart - _EXACT] = -np.inf
        table = np.zeros(self.end.size + 1)
        taken = np.zeros(self.end.size, dtype=bool)
        for k, before in enumerate(self.before):
            with_it = table[before] + worth[k]
            taken[k] = with_it > table[k]
            table[k + 1] = max(table[k], with_it)
        found, k = [], self.end.size
        while k > 0:
            k -= 1
            if taken[k]:
                found.append(k)
                k = int(self.before[k])
        return found[::-1]
