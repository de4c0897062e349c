"""What residuals of a scan share all round the wall: courses, and the fit's form.

A course of brick that stands deeper all round is shorter than the blocks of cells that
the process is fitted to, and too small against the scatter of single points for the few
cells around a cell to tell it.  A row of cells, all round, tells it well.

The means of rows are readings of a process along the height, whose size and reach are
integrated over: each choice counts by its marginal likelihood (Rasmussen and Williams
2006, eq. 2.30 and 5.3).

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning.
MIT Press.
"""

from __future__ import annotations

import itertools

import numpy as np

from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.kriging import spherical
from geom.surface.grid import Grid
from geom.units import Float, Int

#: Likelihood, to the greatest, below which it is nothing next to it.
_TINY = 1e-18


def ring_residual(residual: Float, variance: Float, grid: Grid) -> tuple[Float, Float]:
    """The part of residuals that every height has all round.

    Parameters
    ----------
    residual : array (m, k), mm
        Of cells with points of their own off the fitted wall; else NaN.
    variance : array (m, k), mm2
        By scatter of those.

    Returns
    -------
    mean : array (m,), mm
    covariance : array (m, m), mm2
    """
    observed = np.isfinite(residual)
    count = observed.sum(axis=1)
    rows = np.flatnonzero(count >= ASSUMED.course_cells)
    if rows.size < 2:
        return np.zeros(count.size), np.zeros((count.size, count.size))
    # what lies around is not all round: streaks and losses, of which each row's cells
    # with points show another part
    short = np.where(observed, residual - _around(residual), 0.0)
    value = short.sum(axis=1)[rows] / count[rows]
    off = np.where(
        observed, short - (short.sum(axis=1) / np.maximum(count, 1))[:, None], 0
    )
    uneven = (off**2).sum(axis=1)[rows] / (count[rows] - 1.0)
    scatter = np.where(observed, variance, 0.0).sum(axis=1)[rows] / count[rows]
    scatter = np.maximum(uneven, scatter) / count[rows]
    rise = np.abs(grid.height[:, None] - grid.height[None, :])
    found = []
    for reach, size in itertools.product(ASSUMED.course_reaches, ASSUMED.course_sizes):
        if size > 0.0 or reach == ASSUMED.course_reaches[0]:
            prior = size**2 * spherical(rise / reach)
            found.append((prior, _factored(value, scatter, prior, rows)[1]))
    log = np.array([likelihood for _, likelihood in found])
    weight = np.exp(log - log.max())
    # most are so unlikely that no digit of the sums comes from them
    some = np.flatnonzero(weight > _TINY)
    weight = weight[some] / weight.sum()
    given = [_given(value, scatter, found[k][0], rows) for k in some]
    means = np.stack([mean for mean, _ in given])
    mean = weight @ means
    off = (means - mean) * np.sqrt(weight)[:, None]
    covariance = off.T @ off
    for part, (_, one) in zip(weight, given, strict=True):
        covariance += part * one
    return mean, covariance


def _around(residual: Float) -> Float:
    """Mean of the known residuals around every cell; 0 where none is."""
    from scipy.ndimage import uniform_filter

    observed = np.isfinite(residual)
    total, share = (
        uniform_filter(field, ASSUMED.course_window, mode=["constant", "wrap"])
        for field in (np.where(observed, residual, 0.0), observed.astype(np.float64))
    )
    return np.where(share > 1e-9, total / np.maximum(share, 1e-9), 0.0)


def _factored(
    value: Float, scatter: Float, prior: Float, rows: Int
) -> tuple[Float, float]:
    """Cholesky's factor of the rows' covariance, and their log marginal likelihood."""
    from scipy.linalg import solve_triangular

    root = np.linalg.cholesky(prior[np.ix_(rows, rows)] + np.diag(scatter))
    white = solve_triangular(root, value, lower=True, check_finite=False)
    log = -0.5 * float(white @ white) - float(np.log(np.diag(root)).sum())
    return np.asarray(root, dtype=np.float64), log


def _given(
    value: Float, scatter: Float, prior: Float, rows: Int
) -> tuple[Float, Float]:
    """Mean and covariance of all rows."""
    from scipy.linalg import solve_triangular

    root, _ = _factored(value, scatter, prior, rows)
    sides = np.column_stack([value, prior[rows]])
    white = solve_triangular(root, sides, lower=True, check_finite=False)
    known = white[:, 1:]
    return known.T @ white[:, 0], prior - known.T @ known
