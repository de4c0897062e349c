"""Straight lines through many series at once, by weighted least squares.

Both columns of the line and what was observed are whitened, so that errors become alike
and independent, and the line is taken through those about its own middle, where errors
of level and slope are independent.

References
----------
ISO/TS 28037:2010, Determination and use of straight-line calibration functions: clause
6 (unequal uncertainty).
Natrella (1963), Experimental Statistics, NBS Handbook 91, section 5-4.1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geom.units import Bool, Float

#: Unknowns of a line.
UNKNOWNS = 2
#: A spread of x less than this part of its square is rounding: there is no line.
_SAME_X = 1e-24


@dataclass(frozen=True)
class StraightLine:
    """A line fitted to each of s series; in the units of x and y.

    Attributes
    ----------
    middle : array (s,)
        The x where errors of ``level`` and ``slope`` are independent.
    level : array (s,)
        The line's value there.
    slope : array (s,)
        NaN for a series with fewer than two different x.
    level_variance, slope_variance : array (s,)
        As the stated variances make them.
    chi_square : array (s,)
        Sum of the squared residuals, whitened.
    dof : array (s,)
        Observations less `UNKNOWNS`.
    """

    middle: Float
    level: Float
    slope: Float
    level_variance: Float
    slope_variance: Float
    chi_square: Float
    dof: Float


def fit_lines(x: ArrayLike, y: ArrayLike, variance: ArrayLike = 1.0) -> StraightLine:
    """Fit a line to each series of observations.

    Parameters
    ----------
    x : array (n,)
        Known exactly.
    y : array (n, s)
        An observation that is NaN is left out.
    variance : array (n, s), optional
        Of each observation, above zero; broadcasts.

    Examples
    --------
    >>> line = fit_lines([0.0, 1.0, 2.0], [[1.0], [3.1], [4.9]])
    >>> line.slope.round(3).tolist(), line.level.tolist(), line.middle.tolist()
    ([1.95], [3.0], [1.0])
    """
    y = np.asarray(y, dtype=np.float64)
    x = np.broadcast_to(np.asarray(x, dtype=np.float64)[:, None], y.shape)
    valid = np.isfinite(x) & np.isfinite(y)
    columns = np.where(valid, np.stack([np.ones_like(y), x, y]), 0.0)
    columns /= np.sqrt(np.where(valid, np.asarray(variance, dtype=np.float64), 1.0))
    one, across, up = columns
    return fit_whitened_lines(one, across, up, valid)


def fit_whitened_lines(one: Float, x: Float, y: Float, valid: Bool) -> StraightLine:
    """Fit a line to whitened columns.

    Parameters
    ----------
    one, x, y : array (n, s)
        Ones, x and y, each whitened alike; 0 where not valid.
    valid : bool array (n, s)
    """
    count = valid.sum(axis=0).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        level_variance = 1.0 / np.sum(one * one, axis=0)
        middle = np.sum(one * x, axis=0) * level_variance
        from_middle = x - middle * one
        spread = np.sum(from_middle**2, axis=0)
        spread = np.where(spread > _SAME_X * np.sum(x * x, axis=0), spread, np.nan)
        level = np.sum(one * y, axis=0) * level_variance
        from_level = y - level * one
        slope = np.sum(from_middle * from_level, axis=0) / spread
        residual = from_level - slope * from_middle
        return StraightLine(
            middle=middle,
            level=level,
            slope=slope,
            level_variance=level_variance,
            slope_variance=1.0 / spread,
            chi_square=np.sum(residual**2, axis=0),
            dof=count - UNKNOWNS,
        )
