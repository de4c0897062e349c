"""Points that crowd where the wall lies further out, and what that does to cells.

A scan may be denser on deep wall than on the wall next to it: a scanner in the hand is
nearer to it for longer, a beam meets it at a better angle.  How many points a cell has
then says something of how deep it is, and where in a cell points lie leans to its deep
end.  A linear estimate that asks only what points measured is too deep by it at the
edges of lost bricks: sampling is preferential.

Near any place the density is taken to go with ``exp(b x)``, x the cut-back and b the
rate of crowding, learned from how points share themselves out among the cells of a
block.  Given b, the numbers of points are Poisson variates, and one Newton step of the
likelihood from the kriged estimate moves cells by ``b C (n - l)``: C is the covariance
of their errors, n - l the points that they have beyond those that were to be expected.
Within a cell the mean over points lies off that over the area by ``b`` times the
variance of the wall in it, as far as the wall rises from edge to edge.

References
----------
Diggle, P. J., Menezes, R. and Su, T. (2010). Geostatistical inference under
preferential sampling. Applied Statistics 59(2), 191-232 (the model; from memory).
Liang, K.-Y. and Zeger, S. L. (1986). Longitudinal data analysis using generalized
linear models. Biometrika 73(1), 13-22 (variance from the scores of groups; memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.cells import Cells
from geom.surface.clouds.kriging import LocalKriging
from geom.surface.grid import Grid
from geom.units import Bool, Float

#: Newton steps for the rate and the longest of them, per mm; of the estimate.
_STEPS, _LONGEST, _ROUNDS = 8, 0.05, 2


@dataclass(frozen=True)
class Crowding:
    """How points crowd.

    Attributes
    ----------
    rate : float, 1/mm
        Of the logarithm of their density with cut-back.
    sd : float, mm
        What cells may be off by after that, in the mean: by the rate's standard
        uncertainty, and as edges of bricks are no normal field.
    shift : array (m, k), mm
        What cells are moved by on its account.
    slope : array (m, k)
        Over its mean.
    """

    rate: float
    sd: float
    shift: Float
    slope: Float


def crowding(
    cells: Cells,
    mean: Float,
    wanted: Bool,
    *,
    local: LocalKriging,
    scatter: Float,
    grid: Grid,
) -> Crowding:
    """Learn the rate, and move the kriged estimates by it.

    Parameters
    ----------
    mean : array (m, k), mm
        Best estimate of cut-back by kriging.
    wanted : bool array (m, k)
        Cells that it is of.
    scatter : array (m, k), mm2
        Variance of the mean of a cell's own points.
    """
    wanted = wanted & ~grid.opening & np.isfinite(mean)
    count = np.where(wanted & cells.own, cells.count, 0.0)
    start = np.where(wanted, mean, 0.0)
    slope = np.zeros(grid.shape)
    rate, sd = crowding_rate(count, start, wanted)
    for _ in range(_ROUNDS):
        moved = start + rate * slope
        expected = _expected(count, moved, wanted, rate)
        # cells of many points are known without being counted
        few = wanted & (expected < ASSUMED.few_points)
        beyond = _by_errors(local, np.where(few, count - expected, 0.0), scatter, grid)
        uneven = np.where(count > 0.0, _within_cells(cells, moved, wanted), 0.0)
        slope = np.where(wanted, beyond - local.apply(uneven), 0.0)
    usual = float(np.abs(slope[wanted]).mean()) if wanted.any() else 0.0
    unsure = usual * float(np.hypot(sd, ASSUMED.crowding_form * rate))
    return Crowding(rate, unsure, rate * slope, slope / max(usual, 1e-12))


def crowding_rate(count: Float, mean: Float, wanted: Bool) -> tuple[float, float]:
    """Rate of crowding within blocks of cells and its standard uncertainty, 1/mm.

    Whatever the density of a block is, points fall into its cells by chance in
    proportion to ``exp(b x)``: a conditional likelihood without the densities.  By how
    much the scores of blocks vary tells how well the rate is known (Liang and Zeger).

    Parameters
    ----------
    count, mean : array (m, k)
        Points of cells and their cut-back, mm.
    wanted : bool array (m, k)
    """
    side = ASSUMED.block_sides[-1]
    row, column = np.nonzero(wanted)
    across = -(-count.shape[1] // side)
    _, block = np.unique((row // side) * across + column // side, return_inverse=True)
    points, wall = count[wanted], mean[wanted]
    if not points.sum():
        return 0.0, ASSUMED.crowding_rate
    size = int(block.max()) + 1
    total = np.bincount(block, points, size)
    deepest = np.full(size, -np.inf)
    np.maximum.at(deepest, block, wall)
    off = wall - deepest[block]
    # it is not expected to be much, on either side
    known = 1.0 / ASSUMED.crowding_rate**2
    rate, information = 0.0, 0.0
    for _ in range(_STEPS):
        share = np.exp(rate * off)
        share /= np.bincount(block, share, size)[block]
        middle = np.bincount(block, share * off, size)
        square = np.bincount(block, share * (off - middle[block]) ** 2, size)
        expected = share * total[block]
        fisher = float(total @ square)
        pull = np.bincount(block, (points - expected) * off, size)
        # counts may vary more than by chance, and density within a block
        spread = max(float(pull @ pull) / max(fisher, 1e-300), 1.0)
        information = fisher / spread
        score = float(pull.sum()) / spread - known * rate
        rate += float(np.clip(score / (information + known), -_LONGEST, _LONGEST))
    return rate, 1.0 / float(np.sqrt(information + known))


def _expected(count: Float, mean: Float, wanted: Bool, rate: float) -> Float:
    """Points that cells were to have, by the density around; (m, k)."""
    from scipy.ndimage import uniform_filter

    tilt = np.where(wanted, np.exp(rate * (mean - mean[wanted].mean())), 0.0)
    size = 2 * ASSUMED.block_sides[-1] + 1

    def around(field: Float) -> Float:
        return np.asarray(uniform_filter(field, size, mode=["nearest", "wrap"]))

    return around(count) / np.maximum(around(tilt), 1e-12) * tilt


def _by_errors(local: LocalKriging, beyond: Float, scatter: Float, grid: Grid) -> Float:
    """The covariance of kriging's errors times a field; (m, k).

    With W the weights, K the covariance of the field and N that of the scatter it is
    ``(I - W) K (I - W)' + W N W'``.
    """
    weights, field = local.weights, beyond.ravel()
    back = weights.T @ field
    missed = local.field_times((field - back).reshape(beyond.shape), grid).ravel()
    found = missed - weights @ missed + weights @ (scatter.ravel() * back)
    return np.asarray(found).reshape(beyond.shape)


def _within_cells(cells: Cells, mean: Float, wanted: Bool) -> Float:
    """Variance of the wall within cells, mm2; (m, k).

    It goes with the square of how the wall rises from cell to cell: by how much, points
    that share a cell say.  Even slopes make a twelfth of it, upright edges more.
    """
    up = np.gradient(mean, axis=0)
    around = 0.5 * (np.roll(mean, -1, axis=1) - np.roll(mean, 1, axis=1))
    steep = np.where(wanted, up**2 + around**2, 0.0)
    shared = wanted & cells.own & (cells.near.freedom > 0.0)
    flat = shared & (steep < ASSUMED.flat_rise**2)
    steeper = shared & (steep > ASSUMED.steep_rise**2)
    if not flat.any() or not steeper.any():
        return steep / 12.0
    squares, freedom = cells.near.squares, cells.near.freedom
    noise = float(squares[flat].sum() / freedom[flat].sum())
    more = float(np.sum(squares[steeper] - noise * freedom[steeper]))
    part = more / float(np.sum(freedom[steeper] * steep[steeper]))
    return steep * float(np.clip(part, 0.0, 1.0))
