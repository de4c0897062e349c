"""Wear of the panels per heat as a full table, and the Fourier basis of its rows.

The table has spells by rows of panels by sides.  A ring of `HOURS` sides is its mean,
waves that go once, twice ... five times round it, and one that changes sign from each
side to the next.  As far as no side is privileged, errors and chance in waves of
different order are independent, and all correlation is up and down the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.record.assumptions import ASSUMED
from geom.record.wear.series import PerHeat, WearSeries, per_heat
from geom.units import Bool, Float, Int


@dataclass(frozen=True)
class WearTable:
    """Wear per heat; n spells, r rows of panels, `HOURS` sides.

    Attributes
    ----------
    spells : int array (n,)
        Which of the series' spells: those that cover most of the wall.
    rows : int array (r,)
        Which rows of panels: those that most spells cover.
    wear : array (n, r, sides), mm per heat
        Where a panel is not surveyed: its mean, changed as the rest of its row is in
        that spell, or as the rest of the wall.
    valid : bool array (n, r, sides)
    weight : array (n,)
        Of the spells, 1 on average; see `per_heat`.
    per_heat : PerHeat
        Of all pieces and spells.
    """

    spells: Int
    rows: Int
    wear: Float
    valid: Bool
    weight: Float
    per_heat: PerHeat

    @property
    def mean(self) -> Float:
        """Wear in the mean of all spells, mm per heat; shape (r, sides)."""
        return np.average(self.wear, axis=0, weights=self.weight)

    @property
    def row_mean(self) -> Float:
        """What each row wears in the mean of all spells, mm per heat; shape (r,)."""
        return np.asarray(self.mean.mean(axis=1))


def wear_table(series: WearSeries) -> WearTable:
    """Wear of the panels as a full table.

    Parameters
    ----------
    series : WearSeries
        Its panels run round the wall row by row, as `regions_of` puts them.
    """
    found = per_heat(series)
    panels = series.regions.of_kind("panel")
    shape = (len(found.rate), len(series.regions.of_kind("level")), HOURS)
    wear = found.rate[:, panels].reshape(shape)
    known = np.isfinite(wear)
    rows = np.flatnonzero(_mostly(known.mean(axis=2) >= ASSUMED.row_share))
    wear, known = wear[:, rows], known[:, rows]
    held = known.reshape(len(known), -1).mean(axis=1) if rows.size else np.zeros(0)
    spells = np.flatnonzero(held >= ASSUMED.row_share)
    weight = found.weight[spells]
    return WearTable(
        spells=spells,
        rows=rows,
        wear=_filled(wear[spells], known[spells], weight),
        valid=known[spells],
        weight=weight / weight.mean() if weight.size else weight,
        per_heat=found,
    )


def _mostly(known: Bool) -> Bool:
    """Rows that most spells cover; (n, r) to (r,)."""
    if not len(known):
        return np.zeros(known.shape[1], dtype=np.bool_)
    return np.asarray(known.mean(axis=0) >= ASSUMED.spell_share)


def _filled(wear: Float, known: Bool, weight: Float) -> Float:
    """With what is not surveyed put in."""
    if known.all():
        return wear
    held = known * weight[:, None, None]
    total = np.where(known, wear, 0.0) * weight[:, None, None]
    mean = total.sum(axis=0) / np.maximum(held.sum(axis=0), 1e-9)
    deviation = np.where(known, wear - mean, 0.0)
    count = known.sum(axis=2)
    of_row = deviation.sum(axis=2) / np.maximum(count, 1)
    row_mean = mean.mean(axis=1)
    # rows without a panel change as the wall does: regression on what each row wears
    square = np.sum(np.where(count > 0, row_mean**2, 0.0), axis=1)
    product = np.sum(np.where(count > 0, of_row * row_mean, 0.0), axis=1)
    slope = product / np.maximum(square, 1e-9)
    row = np.where(count > 0, of_row, slope[:, None] * row_mean)
    return np.where(known, wear, mean + row[:, :, None])


#: Highest order: how many times the finest wave goes round.
HIGHEST = HOURS // 2


def _fourier_basis() -> tuple[Float, Int]:
    """Waves and their orders."""
    angle = 2.0 * np.pi * np.arange(HOURS) / HOURS
    waves = [(0, np.ones(HOURS))]
    for order in range(1, HIGHEST):
        waves += [(order, np.cos(order * angle)), (order, np.sin(order * angle))]
    waves.append((HIGHEST, np.cos(HIGHEST * angle)))
    table = np.stack([wave / np.linalg.norm(wave) for _, wave in waves], axis=1)
    return table, np.array([order for order, _ in waves], dtype=np.int64)


#: Waves over sides, one a column, orthonormal; (HOURS, HOURS).  The first is the mean.
BASIS, ORDER = _fourier_basis()
#: How many waves are of each order: 1, 2, 2, 2, 2, 2, 1.
MULTIPLICITY = np.bincount(ORDER).astype(np.float64)
