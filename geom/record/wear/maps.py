"""Wear cell by cell over all spells: how fast each place wears, and whether that grows.

Wear per heat is all wear of the spells that tell a cell over all their heats; its trend
is the slope of wear per heat against the number of the heat, spells weighted by their
heats.  Cells that a spell does not tell are not counted in it.

Standard uncertainties come from how the spells scatter.  A few spells scatter by chance
too little or too much, so the scatter of a cell is moderated: it is averaged with what
is to be expected there, which is what its surveys state and what the level as a whole
scatters beyond that, the expectation counted like `map_prior_spells` spells.  So an
interval goes by Student's t with as many more degrees of freedom than the spells have.
Where a survey ends one spell and starts the next, its error is in both with opposite
signs and goes out of the sum; the uncertainty is less by as much as the surveys state
of that.

References
----------
Smyth, G. K. (2004). Linear models and empirical Bayes methods for assessing
    differential expression in microarray experiments. Statistical Applications in
    Genetics and Molecular Biology 3(1), article 3: the moderated variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geom.design import Design
from geom.record.assumptions import ASSUMED
from geom.record.store.grid import record_grid
from geom.record.wear.series import Exposure
from geom.shown import Shown
from geom.surface import Grid
from geom.units import Bool, Float, Int

#: Array of `geom.record.wear.kernels.CELL` records.
CellSums = NDArray[np.void]


@dataclass(frozen=True)
class RateMap(Shown):
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
    def dof(self) -> Float:
        """Degrees of freedom of ``sd``; shape (m, k)."""
        return np.asarray(ASSUMED.map_prior_spells + np.maximum(self.spells - 1.0, 0.0))


@dataclass(frozen=True)
class WearMaps(Shown):
    """Wear cell by cell; m rows of k azimuths.

    Attributes
    ----------
    height : array (m,), mm
    azimuth : array (k,), degrees
    opening : bool array (m, k)
        Cells that are mostly opening.
    trend, trend_sd : array (m, k), mm a heat, per heat
        How wear per heat grows from heat to heat; NaN where fewer than three spells
        tell it.
    per_hour, per_tonne : RateMap or None
        On blast; of iron melted.  None where it was valid of no spell.
    """

    height: Float
    azimuth: Float
    opening: Bool
    per_heat: RateMap
    trend: Float
    trend_sd: Float
    per_hour: RateMap | None
    per_tonne: RateMap | None


def wear_maps(sums: dict[Exposure, CellSums], design: Design) -> WearMaps:
    """Maps from what the spells add up to.

    Parameters
    ----------
    sums : dict of array (m * k,) of `kernels.CELL`
        By what wear is summed against.
    design : Design
        Of the record.
    """
    grid = record_grid(design)
    maps = {against: _rate_map(cells, grid) for against, cells in sums.items()}
    trend, trend_sd = _trend(sums["heat"], grid)
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


def _rate_map(cells: CellSums, grid: Grid) -> RateMap:
    held = cells.reshape(grid.shape)
    count, exposure = held["count"], held["exposure"]
    valid = count > 0.0
    error = held["error"] - 2.0 * held["shared"]
    sd = _sd(
        square=held["wear_2"],
        dof=np.maximum(count - 1.0, 0.0),
        stated=held["stated"] - _over(error, exposure, valid),
        weight=exposure,
        error=error,
        valid=valid,
    )
    rate = np.where(valid, held["wear"], np.nan)
    return RateMap(rate, sd, count.astype(np.int64))


def _trend(cells: CellSums, grid: Grid) -> tuple[Float, Float]:
    """Slope of wear per heat against heat, and its standard uncertainty."""
    held = cells.reshape(grid.shape)
    spread, product = held["heat_2"], held["product"]
    valid = (held["count"] >= ASSUMED.map_trend_spells) & (spread > 0.0)
    slope = _over(product, spread, valid)
    mean, exposure = held["heat"], held["exposure"]
    plain = held["error"] - 2.0 * held["shared"]
    once = held["error_heat"] - held["shared_heat"]
    twice = held["error_heat_2"] - 2.0 * held["shared_heat_2"]
    error = twice - 2.0 * mean * once + mean**2 * plain
    fitted = _over(plain, exposure, valid) + _over(error, spread, valid)
    sd = _sd(
        square=np.maximum(held["wear_2"] - slope * product, 0.0),
        dof=held["count"] - 2.0,
        stated=held["stated"] - fitted,
        weight=spread,
        error=error,
        valid=valid,
    )
    return slope, sd


def _sd(
    *,
    square: Float,
    dof: Float,
    stated: Float,
    weight: Float,
    error: Float,
    valid: Bool,
) -> Float:
    """Standard uncertainty of a mean or a slope fitted to the spells of every cell.

    Parameters
    ----------
    square : array (m, k), mm2
        Sum of squares, weighted by exposure, about what was fitted.
    dof : array (m, k)
        Degrees of freedom it has.
    stated : array (m, k), mm2
        Of it, what is to be expected from what the surveys state.
    weight : array (m, k)
        What the variance of one heat, hour or tonne is divided by.
    error : array (m, k), mm2
        Variance that the surveys state of what was fitted, times ``weight`` twice.
    valid : bool array (m, k)
        False where there is no fit.

    Returns
    -------
    array (m, k)
        NaN where there is no fit.
    """
    dof = np.where(valid, dof, 0.0)
    known = dof > 0.0
    square = np.where(known, square, 0.0)
    stated = np.where(known, np.maximum(stated, 0.0), 0.0)
    beyond = (square - stated).sum(axis=1, keepdims=True)
    every = dof.sum(axis=1, keepdims=True)
    level = np.maximum(beyond / np.maximum(every, 1.0), 0.0)
    fitted = level + _over(error, weight, valid)
    # One spell scatters about nothing: what is expected is what its surveys state.
    expected = np.where(known, level + stated / np.maximum(dof, 1.0), fitted)
    variance = (ASSUMED.map_prior_spells * expected + square) / (
        ASSUMED.map_prior_spells + dof
    )
    part = np.divide(fitted, expected, out=np.ones(fitted.shape), where=expected > 0.0)
    spread = _over(variance * np.maximum(part, 0.0), weight, valid)
    return np.asarray(np.sqrt(spread))


def _over(above: Float, below: Float, valid: Bool) -> Float:
    none = np.full(above.shape, np.nan)
    return np.asarray(np.divide(above, below, out=none, where=valid))
