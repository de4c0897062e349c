"""Wear of the panels per heat as a full table: spells by rows of panels by sides.

Spells of a long record taken together in runs, the last ones singly.

A step is looked for at every spell of a short record.  Of a long one the earlier spells
are first taken together in even runs, so that the work does not grow with the record;
where between two runs a step begins is then seen among their spells.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.panels import HOURS
from geom.record.wear.series import PerHeat, WearSeries, per_heat
from geom.units import Bool, Float, Int

#: Share of its panels that a row, and a spell, must tell to be counted.
_ENOUGH = 0.8
#: Share of the spells that must tell a row.
_MOSTLY = 2.0 / 3.0


@dataclass(frozen=True)
class WearTable:
    """Wear per heat; n spells, r rows of panels, `HOURS` sides.

    Attributes
    ----------
    spells : int array (n,)
        Which of the series' spells: those that tell most of the wall.
    rows : int array (r,)
        Which rows of panels: those that most spells tell.
    wear : array (n, r, sides), mm per heat
        Where a panel is not told: its mean, changed as the rest of its row is in that
        spell, or as the rest of the wall.
    told : bool array (n, r, sides)
    weight : array (n,)
        Of the spells, 1 on average; see `per_heat`.
    per_heat : PerHeat
        Of all pieces and spells.
    """

    spells: Int
    rows: Int
    wear: Float
    told: Bool
    weight: Float
    per_heat: PerHeat

    @property
    def mean(self) -> Float:
        """Wear in the mean of all spells, mm per heat; shape (r, sides)."""
        return np.average(self.wear, axis=0, weights=self.weight)

    @property
    def usual(self) -> Float:
        """What each row wears in the mean of all spells, mm per heat; shape (r,)."""
        return np.asarray(self.mean.mean(axis=1))


def wear_table(series: WearSeries) -> WearTable:
    """Wear of the panels as a full table.

    Parameters
    ----------
    series : WearSeries
        Its panels run round the wall row by row, as `regions_of` puts them.
    """
    told = per_heat(series)
    panels = list(series.regions.of_kind("panel"))
    shape = (len(told.rate), len(series.regions.of_kind("level")), HOURS)
    wear = told.rate[:, panels].reshape(shape)
    known = np.isfinite(wear)
    rows = np.flatnonzero(_mostly(known.mean(axis=2) >= _ENOUGH))
    wear, known = wear[:, rows], known[:, rows]
    held = known.reshape(len(known), -1).mean(axis=1) if rows.size else np.zeros(0)
    spells = np.flatnonzero(held >= _ENOUGH)
    weight = told.weight[spells]
    return WearTable(
        spells=spells,
        rows=rows,
        wear=_filled(wear[spells], known[spells], weight),
        told=known[spells],
        weight=weight / weight.mean() if weight.size else weight,
        per_heat=told,
    )


def _mostly(known: Bool) -> Bool:
    """Rows that most spells tell; (n, r) to (r,)."""
    if not len(known):
        return np.zeros(known.shape[1], dtype=np.bool_)
    return np.asarray(known.mean(axis=0) >= _MOSTLY)


def _filled(wear: Float, known: Bool, weight: Float) -> Float:
    """With what is not told put in."""
    if known.all():
        return wear
    held = known * weight[:, None, None]
    total = np.where(known, wear, 0.0) * weight[:, None, None]
    mean = total.sum(axis=0) / np.maximum(held.sum(axis=0), 1e-9)
    off = np.where(known, wear - mean, 0.0)
    seen = known.sum(axis=2)
    beside = off.sum(axis=2) / np.maximum(seen, 1)
    like = mean.mean(axis=1)
    square = np.sum(np.where(seen > 0, like**2, 0.0), axis=1)
    more = np.sum(np.where(seen > 0, beside * like, 0.0), axis=1)
    share = more / np.maximum(square, 1e-9)
    row = np.where(seen > 0, beside, share[:, None] * like)
    return np.where(known, wear, mean + row[:, :, None])


#: Spells up to which each is a run; of more, so many of the last are, and the rest
#: make so many runs.
_EACH, _LAST, _RUNS = 50, 20, 30


@dataclass(frozen=True)
class Blocks:
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
