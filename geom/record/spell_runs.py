"""Spells of a long record taken together in runs, the last ones singly.

A step is looked for at every spell of a short record.  Of a long one the earlier spells
are first taken together in even runs, so that the work does not grow with the record;
where between two runs a step begins is then seen among their spells.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.units import Bool, Float, Int

#: Spells up to which each is a run; of more, so many of the last are, and the rest
#: make so many runs.
_EACH, _LAST, _RUNS = 50, 20, 30


@dataclass(frozen=True)
class SpellRuns:
    """Runs of n spells.

    Attributes
    ----------
    weight : array (n,)
        Of the spells, 1 on average.
    """

    weight: Float

    @cached_property
    def first(self) -> Int:
        """First spell of each run; shape (runs,)."""
        n = self.weight.size
        if n <= _EACH:
            return np.arange(n)
        early = np.linspace(0, n - _LAST, _RUNS, endpoint=False).astype(np.int64)
        return np.concatenate([early, np.arange(n - _LAST, n)])

    @property
    def long(self) -> float:
        """Spells in a run on average."""
        return self.weight.size / self.first.size

    @cached_property
    def worth(self) -> Float:
        """Weight of each run, 1 on average; shape (runs,)."""
        total = np.add.reduceat(self.weight, self.first)
        return np.asarray(total / total.mean())

    def means(self, table: Float) -> Float:
        """Weighted means over runs; (n, ...) to (runs, ...)."""
        weight = self.weight.reshape(-1, *[1] * (table.ndim - 1))
        total = np.add.reduceat(table * weight, self.first, axis=0)
        return np.asarray(total / np.add.reduceat(weight, self.first, axis=0))

    def counts(self, which: Bool) -> Int:
        """How many spells of each run; (n, ...) to (runs, ...)."""
        return np.asarray(np.add.reduceat(which.astype(np.int64), self.first, axis=0))

    def place(self, heights: Float, run: int, *, before: int, after: int) -> int:
        """First spell of a step that a run begins, looked for in it and the one before.

        Where the means on both sides differ most, in standard uncertainties.

        Parameters
        ----------
        heights : array (n,)
            Of the step, spell by spell.
        run : int
        before, after : int
            Spells that there must be on either side.
        """
        ends, n = np.append(self.first, self.weight.size), self.weight.size
        low = min(max(int(ends[max(run, 1) - 1]) + 1, before), n - after)
        high = max(min(int(ends[run + 1]), n - after + 1), low + 1)
        total = np.cumsum(self.weight)
        sums = np.cumsum(self.weight * heights)
        tried = np.arange(low, high)
        w, s = total[tried - 1], sums[tried - 1]
        rest = total[-1] - w
        change = (sums[-1] - s) / rest - s / w
        return low + int(np.argmax(change**2 * w * rest))
