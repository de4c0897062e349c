"""Nested variance components of many panels: wall, level, side and panel.

A heat that burns hard burns the whole wall, one that is blown from one side burns that
side.  So the errors of panels' rates of wear are correlated, and the earliest of many
panels to pass a limit is not as early as if each erred by itself.  An error is taken as

    sd of the panel * (wall + level + side + own),

four independent parts whose variances add to 1.  Their shares are seen from how much
better the mean of a level, of a side and of the whole wall is known than its panels.

The same parts hold for the variance between heats, `heat_variance`: how much more or
less than its mean a heat takes.  A panel is measured too poorly to show by itself how
its wear scatters from heat to heat.  What share of the wear it is, is pooled over all
panels of a level and half of those next to it, and so it is of levels; sides are pooled
all round.  To what is seen beyond the surveys' errors comes a prior, since few heats
tell little: `heat_share` of the wear, worth `heat_share_spells` heats.

References
----------
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed., section 2.6 (a variance that
is held before, worth so many observations).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.record.assumptions import ASSUMED
from geom.record.regions import Regions
from geom.record.wear.series import WearSeries
from geom.units import Bool, Float


@dataclass(frozen=True)
class VarianceComponents:
    """Errors of p panels in four parts; standard deviations, all in one unit.

    Attributes
    ----------
    wall, level, side, own : array (p,)
        Panels in order, azimuth running fastest.
    """

    wall: Float
    level: Float
    side: Float
    own: Float

    @property
    def sd(self) -> Float:
        """Of all parts together; shape (p,)."""
        return np.sqrt(sum(part**2 for part in self._parts()))

    def draws(self, rng: np.random.Generator, count: int) -> Float:
        """Draws of the error; (p, count)."""
        rows = self.own.size // HOURS
        drawn = self.own[:, None] * rng.standard_normal((self.own.size, count))
        table = drawn.reshape(rows, HOURS, count)
        shared = ((self.wall, (1, 1)), (self.level, (rows, 1)), (self.side, (1, HOURS)))
        for sd, shape in shared:
            chance = rng.standard_normal((*shape, count))
            table += sd.reshape(rows, HOURS, 1) * chance
        return drawn

    def where(self, some: Bool, other: VarianceComponents) -> VarianceComponents:
        """Of some panels this, of the rest another."""
        pairs = zip(self._parts(), other._parts(), strict=True)
        return VarianceComponents(*(np.where(some, own, rest) for own, rest in pairs))

    def _parts(self) -> tuple[Float, Float, Float, Float]:
        return self.wall, self.level, self.side, self.own


def variance_components(sd: Float, regions: Regions) -> VarianceComponents:
    """Part the errors of panels.

    Parameters
    ----------
    sd : array (s,)
        Of every piece, wall, levels, sides and panels among them; NaN where not known.
    """
    panel = np.nan_to_num(sd[regions.of_kind("panel")])
    wall, level, side = _correlations(sd, regions)
    parts = np.array([wall, level - wall, side - wall, 1.0 - level - side + wall])
    parts = np.maximum(parts, 0.0)
    return VarianceComponents(*(panel * part for part in np.sqrt(parts / parts.sum())))


def _correlations(sd: Float, regions: Regions) -> tuple[float, float, float]:
    """Correlation between panels of the wall, of a level and of a side.

    The variance of a mean of n panels with one correlation r between them is
    (sum of variances * (1 - r) + r * (sum of sds) ** 2) / n ** 2.
    """
    panel = np.nan_to_num(sd[regions.of_kind("panel")]).reshape(-1, HOURS)
    level = _correlation(sd[regions.of_kind("level")], panel)
    side = _correlation(sd[regions.of_kind("side")], panel.T)
    square = float((panel**2).sum())
    rows = float((panel.sum(axis=1) ** 2).sum()) - square
    columns = float((panel.sum(axis=0) ** 2).sum()) - square
    rest = float(panel.sum()) ** 2 - square - rows - columns
    whole = float(sd[regions.of_kind("wall")[0]]) * np.count_nonzero(panel)
    known = square + level * rows + side * columns
    wall = (whole**2 - known) / rest if rest > 0.0 else 0.0
    wall = float(np.clip(np.nan_to_num(wall), 0.0, min(level, side)))
    return wall, level, side


def _correlation(mean_sd: Float, panel: Float) -> float:
    """One correlation within groups of panels, a group a row."""
    count = np.count_nonzero(panel, axis=1)
    square, product = (panel**2).sum(axis=1), panel.sum(axis=1) ** 2
    use = ~np.isnan(mean_sd) & (count > 1)
    above = ((mean_sd[use] * count[use]) ** 2 - square[use]).sum()
    most = (product[use] - square[use]).sum()
    return float(np.clip(above / most, 0.0, 1.0)) if most > 0.0 else 0.0


@dataclass(frozen=True)
class HeatVariance:
    """Scatter of a heat's wear beyond what the surveys explain.

    Attributes
    ----------
    components : VarianceComponents
        Of p panels, mm.
    dof : float
        Degrees of freedom that it is known with.
    """

    components: VarianceComponents
    dof: float

    def draws(self, rng: np.random.Generator, count: int) -> Float:
        """Draws of what a heat takes more than the mean, its sd drawn too."""
        wide = np.sqrt(self.dof / rng.chisquare(self.dof, count))
        return np.asarray(wide * self.components.draws(rng, count))


def heat_variance(series: WearSeries) -> HeatVariance:
    """What scatter the spells show."""
    regions = series.regions
    rate, square, dof = _observed(series)
    pooled = np.zeros_like(square)
    panel, level, side, wall = (
        regions.of_kind(kind) for kind in ("panel", "level", "side", "wall")
    )
    of_rows = np.nan_to_num(rate[level])
    pooled[panel] = _by_level(square[panel], of_rows)
    pooled[level] = _by_level(square[level], of_rows)
    pooled[side] = max(float(np.nan_to_num(square[side]).mean()), 0.0)
    pooled[wall] = np.maximum(np.nan_to_num(square[wall]), 0.0)
    before = (ASSUMED.heat_share * rate) ** 2
    both = (dof * pooled + ASSUMED.heat_share_spells * before) / (
        dof + ASSUMED.heat_share_spells
    )
    return HeatVariance(
        variance_components(np.sqrt(both), regions), dof + ASSUMED.heat_share_spells
    )


def _observed(series: WearSeries) -> tuple[Float, Float, float]:
    """Mean wear of a heat, variance of it less that of the surveys, and its dof.

    The variance may be negative; it is NaN where fewer than two spells tell.
    """
    valid = np.isfinite(series.wear)
    heats = np.array([spell.heats for spell in series.spells], dtype=np.float64)[
        :, None
    ]
    count = valid.sum(axis=0)
    gone = np.maximum((heats * valid).sum(axis=0), 1.0)
    rate = np.nansum(series.wear, axis=0) / gone
    square = np.nansum((series.wear - rate * heats) ** 2 / heats, axis=0)
    errors = np.nansum(series.variance / heats, axis=0) / np.maximum(count, 1)
    found = square / np.maximum(count - 1, 1) - errors
    dof = max(float(np.median(count)) - 1.0, 0.0)
    return rate, np.where(count > 1, found, np.nan), dof


def _by_level(square: Float, rate: Float) -> Float:
    """Variance of panels or levels, by rows, in proportion to the square of the wear.

    Pooled over a row and half of those next to it, not below zero.
    """
    rows = square.reshape(rate.size, -1)
    valid = ~np.isnan(rows)
    size = rate**2
    seen = _smooth(np.where(valid, rows, 0.0).sum(axis=1))
    due = _smooth(valid.sum(axis=1) * size)
    part = np.divide(seen, due, out=np.zeros_like(due), where=due > 0.0)
    found = np.maximum(part, 0.0) * size
    return np.repeat(found, rows.shape[1])


def _smooth(row: Float) -> Float:
    kernel = np.array([ASSUMED.next_level, 1.0, ASSUMED.next_level])
    return np.convolve(np.pad(row, 1), kernel, mode="valid")
