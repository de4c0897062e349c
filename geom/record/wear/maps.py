"""Wear cell by cell over all spells: how fast each place wears, and whether that grows.

Wear per heat is all wear of the spells that tell a cell over all their heats; its trend
is the slope of wear per heat against the number of the heat, spells weighted by their
heats.  Cells that a spell does not tell are not counted in it.

Standard uncertainties come from how the spells scatter.  A few spells scatter by chance
too little or too much, so the scatter of a cell is moderated: it is averaged with what
is to be expected there, which is what its surveys state and what the level as a whole
scatters beyond that, the expectation counted like `WORTH` spells.  So an interval goes
by Student's t with ``WORTH`` more degrees of freedom than the spells have.  Where a
survey ends one spell and starts the next, its error is in both with opposite signs and
goes out of the sum; the uncertainty is less by as much as the surveys state of that.

References
----------
Smyth, G. K. (2004). Linear models and empirical Bayes methods for assessing
    differential expression in microarray experiments. Statistical Applications in
    Genetics and Molecular Biology 3(1), article 3: the moderated variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.record.store.grid import record_grid
from geom.record.wear.spells import Exposure
from geom.surface import Grid
from geom.units import Bool, Float, Int

#: As many spells as what is to be expected of the scatter counts for.
WORTH = 4.0
#: Spells that a trend needs.
_LEAST = 3


@dataclass(frozen=True)
class RateMap:
    """Wear of every cell per heat, hour or tonne; NaN where no spell tells it.

    Attributes
    ----------
    rate, sd : array (m, k), mm
        Mean over the spells, and its standard uncertainty.
    spells : int array (m, k)
        How many tell the cell.
    """

    rate: Float
    sd: Float
    spells: Int

    @property
    def freedom(self) -> Float:
        """Degrees of freedom of ``sd``; shape (m, k)."""
        return np.asarray(WORTH + np.maximum(self.spells - 1.0, 0.0))


@dataclass(frozen=True)
class WearMaps:
    """Wear cell by cell; m rows of k azimuths.

    Attributes
    ----------
    height : array (m,), mm
    azimuth : array (k,), degrees
    opening : bool array (m, k)
        Cells that are mostly opening.
    per_heat : RateMap
    trend, trend_sd : array (m, k), mm a heat, per heat
        How wear per heat grows from heat to heat; NaN where fewer than three spells
        tell it.
    per_hour, per_tonne : RateMap or None
        On blast; of iron melted.  None where it was told of no spell.
    """

    height: Float
    azimuth: Float
    opening: Bool
    per_heat: RateMap
    trend: Float
    trend_sd: Float
    per_hour: RateMap | None
    per_tonne: RateMap | None


def wear_maps(tables: dict[Exposure, Float], design: Design) -> WearMaps:
    """Maps from what the spells add up to.

    Parameters
    ----------
    tables : dict of array (m * k, KEPT)
        By what wear is summed against; see `spell_kernels`.
    design : Design
        Of the record.
    """
    grid = record_grid(design)
    maps = {against: _rate_map(table, grid) for against, table in tables.items()}
    trend, trend_sd = _trend(tables["heat"], grid)
    return WearMaps(
        height=grid.height,
        azimuth=grid.azimuth,
        opening=grid.opening,
        per_heat=maps["heat"],
        trend=trend,
        trend_sd=trend_sd,
        per_hour=maps.get("hour"),
        per_tonne=maps.get("tonne"),
    )


def _rate_map(table: Float, grid: Grid) -> RateMap:
    from geom.record.wear import kernels as keep

    held = table.reshape(*grid.shape, keep.KEPT)
    count, exposure = held[..., keep.COUNT], held[..., keep.EXPOSURE]
    told = count > 0.0
    error = held[..., keep.ERROR] - 2.0 * held[..., keep.SHARED]
    one = _Fit(
        square=held[..., keep.WEAR_2],
        free=np.maximum(count - 1.0, 0.0),
        stated=held[..., keep.STATED] - _over(error, exposure, told),
        weight=exposure,
        error=error,
        told=told,
    )
    rate = np.where(told, held[..., keep.WEAR], np.nan)
    return RateMap(rate, one.sd(), count.astype(np.int64))


def _trend(table: Float, grid: Grid) -> tuple[Float, Float]:
    """Slope of wear per heat against heat, and its standard uncertainty."""
    from geom.record.wear import kernels as keep

    held = table.reshape(*grid.shape, keep.KEPT)
    spread, product = held[..., keep.HEAT_2], held[..., keep.PRODUCT]
    told = (held[..., keep.COUNT] >= _LEAST) & (spread > 0.0)
    slope = _over(product, spread, told)
    mean, exposure = held[..., keep.HEAT], held[..., keep.EXPOSURE]
    plain, once, twice = (
        held[..., keep.ERROR + k] - times * held[..., keep.SHARED + k]
        for k, times in enumerate((2.0, 1.0, 2.0))
    )
    error = twice - 2.0 * mean * once + mean**2 * plain
    fitted = _over(plain, exposure, told) + _over(error, spread, told)
    one = _Fit(
        square=np.maximum(held[..., keep.WEAR_2] - slope * product, 0.0),
        free=held[..., keep.COUNT] - 2.0,
        stated=held[..., keep.STATED] - fitted,
        weight=spread,
        error=error,
        told=told,
    )
    return slope, one.sd()


@dataclass(frozen=True)
class _Fit:
    """A mean or a slope fitted to the spells of every cell; arrays (m, k).

    Attributes
    ----------
    square : mm2
        Sum of squares, weighted by exposure, about what was fitted.
    free
        Degrees of freedom it has.
    stated : mm2
        Of it, what is to be expected from what the surveys state.
    weight
        What the variance of one heat, hour or tonne is divided by.
    error : mm2
        Variance that the surveys state of what was fitted, times ``weight`` twice.
    told : bool
        False where there is no fit.
    """

    square: Float
    free: Float
    stated: Float
    weight: Float
    error: Float
    told: Bool

    def sd(self) -> Float:
        """Standard uncertainty of what was fitted; NaN where there is none."""
        free = np.where(self.told, self.free, 0.0)
        known = free > 0.0
        square = np.where(known, self.square, 0.0)
        stated = np.where(known, np.maximum(self.stated, 0.0), 0.0)
        beyond = (square - stated).sum(axis=1, keepdims=True)
        every = free.sum(axis=1, keepdims=True)
        level = np.maximum(beyond / np.maximum(every, 1.0), 0.0)
        fitted = level + _over(self.error, self.weight, self.told)
        # One spell scatters about nothing: what is expected is what its surveys state.
        expected = np.where(known, level + stated / np.maximum(free, 1.0), fitted)
        variance = (WORTH * expected + square) / (WORTH + free)
        part = np.divide(
            fitted, expected, out=np.ones(fitted.shape), where=expected > 0.0
        )
        spread = _over(variance * np.maximum(part, 0.0), self.weight, self.told)
        return np.asarray(np.sqrt(spread))


def _over(above: Float, below: Float, told: Bool) -> Float:
    none = np.full(above.shape, np.nan)
    return np.asarray(np.divide(above, below, out=none, where=told))
