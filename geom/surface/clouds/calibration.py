"""Leave-group-out calibration of the fitted wall's variance where the wall is occluded.

The shadows of a scan are turned round the wall, so that they fall on wall that was seen
after all.  Blocks in them are left out, predicted from the others, and compared with
what they read.  Where they miss by more than the fitted wall owns to, its variance in
the shadows is inflated; where by less, it is drawn in.  So it is with the sum over all
of a shadow, which volumes hang on: misses that go the same way all over inflate it
further.  No refit is needed: what is left out of a fit with fixed hyperparameters
follows in closed form.

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning,
eq. 5.12 (leaving one out); with blocks of the inverse for groups, as in the inverse of
a partitioned matrix, eq. A.11.
"""

from __future__ import annotations

import numpy as np

from geom.surface.gp.conditional import ConditionalGP
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

#: Turns of the shadows, degrees, and fewest blocks that a turn must leave out.
_STEP, _FEWEST = 15, 3
#: Blocks around that have a say: Gaussian in height (mm) and azimuth (degrees).
_HEIGHT, _AZIMUTH = 60.0, 45.0
#: What the fitted wall's own word counts for, in blocks.
_PRIOR_BLOCKS = 3.0
#: The same for the sum over a shadow, in turns; and how many turns a full circle of
#: them counts for, as they overlap.
_PRIOR_TURNS, _EFFECTIVE_TURNS = 3.0, 8.0
#: By how much sums over shadows vary more than the fitted wall owns to, before the scan
#: is asked: marks of single tuyeres and spalls that nothing around them hints at.  From
#: walls of the bench, see docs/benchmarks.md.
_SURPRISE = 2.0


def variance_inflation(gp: ConditionalGP, occluded: Bool, grid: Grid) -> Float:
    """Factor on the variance of the fitted wall where it is occluded; (m, k).

    Parameters
    ----------
    gp : ConditionalGP
        Fitted to blocks of cells.
    occluded : bool array (m, k)
        Cells that no cloud shows.
    grid : Grid
    """
    count = len(gp.observed)
    azimuth = gp.observed.places.azimuth[:count]
    height = gp.observed.places.height[:count]
    inverse = gp.inverse_cholesky.T @ gp.inverse_cholesky
    row = np.clip(np.searchsorted(grid.edge, height) - 1, 0, grid.height.size - 1)
    squared, times_out = np.zeros(count), np.zeros(count)
    sums: list[float] = []
    for angle in range(_STEP, 360, _STEP):
        column = np.round((azimuth - angle) / 360.0 * grid.azimuth.size).astype(int)
        out = np.flatnonzero(occluded[row, column % grid.azimuth.size])
        if out.size >= _FEWEST:
            each, of_sum = _left_out(inverse, gp.weights, out)
            squared[out] += each
            times_out[out] += 1.0
            sums.append(of_sum)
    tested = times_out > 0
    if not tested.any():
        return np.ones(grid.shape)
    ratio = squared[tested] / times_out[tested]
    # Kernel mean of ratios at each cell: (m, blocks) times (blocks, k).
    up = np.exp(-0.5 * ((grid.height[:, None] - height[tested]) / _HEIGHT) ** 2)
    apart = np.mod(grid.azimuth[:, None] - azimuth[tested] + 180.0, 360.0) - 180.0
    across = np.exp(-0.5 * (apart / _AZIMUTH) ** 2).T
    inflation = (_PRIOR_BLOCKS + (up * ratio) @ across) / (_PRIOR_BLOCKS + up @ across)
    counts = _EFFECTIVE_TURNS * len(sums) / (360 // _STEP - 1)
    dof = _PRIOR_TURNS + counts
    prior = _PRIOR_TURNS * _SURPRISE
    of_sum = (prior + counts * float(np.mean(sums))) / dof
    # That variance is itself estimated from few turns: Student's t has more of it.
    of_sum *= dof / max(dof - 2.0, 1.0)
    usual = float(inflation[occluded].mean()) if occluded.any() else 1.0
    return np.asarray(inflation * max(1.0, of_sum / usual))


def _left_out(inverse: Float, weights: Float, out: Int) -> tuple[Float, float]:
    """Squared residuals of blocks left out together, and of their sum, in variances.

    Parameters
    ----------
    inverse : array (n, n)
        Of the covariance of all readings.
    weights : array (n,)
        That inverse times the readings.
    out : int array (q,)
        Which are left out.
    """
    covariance = np.linalg.inv(inverse[np.ix_(out, out)])
    residual = covariance @ weights[out]
    of_sum = float(residual.sum() ** 2 / covariance.sum())
    return np.asarray(residual**2 / np.diag(covariance)), of_sum
