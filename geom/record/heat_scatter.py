"""How much more or less than its mean a heat takes, panel by panel.

A panel is measured too poorly to tell by itself how its wear scatters from heat to
heat.  What share of the wear it is, is told of all panels of a level and half of those
beside it together, and so it is of levels; sides are pooled all round.  To what is seen
beyond the surveys' errors comes what is held before, since few heats tell little:
`_BEFORE` of the wear, worth `_WORTH` heats.

References
----------
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed., section 2.6 (a variance that
is held before, worth so many observations).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.series import WearSeries
from geom.record.shares import Spread, spread_of
from geom.units import Float

#: Held before: heats differ by this share of the wear, and how many heats that is
#: worth.  Our own choice, no source.
_BEFORE, _WORTH = 0.2, 2.0
#: Levels beside a level count this much.
_BESIDE = 0.5


@dataclass(frozen=True)
class HeatScatter:
    """Scatter of a heat's wear beyond what the surveys explain.

    Attributes
    ----------
    spread : Spread
        Of p panels, mm.
    freedom : float
        Degrees of freedom that it is known with.
    """

    spread: Spread
    freedom: float

    def draws(self, rng: np.random.Generator, count: int) -> Float:
        """Draws of what a heat takes more than the mean, its sd drawn too."""
        wide = np.sqrt(self.freedom / rng.chisquare(self.freedom, count))
        return np.asarray(wide * self.spread.draws(rng, count))


def heat_scatter(series: WearSeries) -> HeatScatter:
    """What scatter the spells show.

    Parameters
    ----------
    series : WearSeries
    """
    pieces = series.pieces
    rate, square, freedom = _seen(series)
    pooled = np.zeros_like(square)
    panel, level, side, wall = (
        list(pieces.of_kind(kind)) for kind in ("panel", "level", "side", "wall")
    )
    of_rows = np.nan_to_num(rate[level])
    pooled[panel] = _by_level(square[panel], of_rows)
    pooled[level] = _by_level(square[level], of_rows)
    pooled[side] = max(float(np.nan_to_num(square[side]).mean()), 0.0)
    pooled[wall] = np.maximum(np.nan_to_num(square[wall]), 0.0)
    before = (_BEFORE * rate) ** 2
    both = (freedom * pooled + _WORTH * before) / (freedom + _WORTH)
    return HeatScatter(spread_of(np.sqrt(both), pieces), freedom + _WORTH)


def _seen(series: WearSeries) -> tuple[Float, Float, float]:
    """Mean wear of a heat, variance of it less that of the surveys, and its freedom.

    The variance may be negative; it is NaN where fewer than two spells tell.
    """
    told = np.isfinite(series.wear)
    heats = np.array([one.heats for one in series.spells], dtype=np.float64)[:, None]
    count = told.sum(axis=0)
    gone = np.maximum((heats * told).sum(axis=0), 1.0)
    rate = np.nansum(series.wear, axis=0) / gone
    square = np.nansum((series.wear - rate * heats) ** 2 / heats, axis=0)
    errors = np.nansum(series.variance / heats, axis=0) / np.maximum(count, 1)
    found = square / np.maximum(count - 1, 1) - errors
    freedom = max(float(np.median(count)) - 1.0, 0.0)
    return rate, np.where(count > 1, found, np.nan), freedom


def _by_level(square: Float, rate: Float) -> Float:
    """Variance of panels or levels, by rows, in proportion to the square of the wear.

    Pooled over a row and half of those beside it, not below zero.
    """
    rows = square.reshape(rate.size, -1)
    told = ~np.isnan(rows)
    size = rate**2
    seen = _beside(np.where(told, rows, 0.0).sum(axis=1))
    due = _beside(told.sum(axis=1) * size)
    part = np.divide(seen, due, out=np.zeros_like(due), where=due > 0.0)
    found = np.maximum(part, 0.0) * size
    return np.repeat(found, rows.shape[1])


def _beside(row: Float) -> Float:
    kernel = np.array([_BESIDE, 1.0, _BESIDE])
    return np.convolve(np.pad(row, 1), kernel, mode="valid")
