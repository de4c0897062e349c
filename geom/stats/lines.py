"""Straight lines through many series at once, with unequal and correlated errors.

Generalised least squares: both columns of the line and what was observed are whitened,
so that errors become alike and independent, and the line is taken through those about
its own middle, where level and slope do not pull at each other.

References
----------
ISO/TS 28037:2010, Determination and use of straight-line calibration functions: clause
6 (unequal uncertainty), clause 9 (correlated), 11.1 (reading the line backwards).
Natrella (1963), Experimental Statistics, NBS Handbook 91, section 5-4.1: scale from the
residuals, variance of a fit and of a prediction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geom.errors import InputError
from geom.units import Bool, Float

#: Unknowns of a line.
UNKNOWNS = 2


@dataclass(frozen=True)
class StraightLine:
    """A line fitted to each of s series; in the units of x and y.

    Attributes
    ----------
    middle : array (s,)
        Where errors of ``level`` and ``slope`` are independent.
    level : array (s,)
        The line's value there.
    slope : array (s,)
    level_variance, slope_variance : array (s,)
    chi_square : array (s,)
        Sum of the squares of what is left over, whitened.
    freedom : array (s,)
        Observations less `UNKNOWNS`.
    unit : array (s,)
        Variance of an observation of stated variance 1: 1 where uncertainties are taken
        as stated, chi-square over freedom where they come from the residuals.
    """

    middle: Float
    level: Float
    slope: Float
    level_variance: Float
    slope_variance: Float
    chi_square: Float
    freedom: Float
    unit: Float

    @property
    def scale(self) -> Float:
        """Standard deviation of what is left over; NaN where nothing is; (s,)."""
        some = self.freedom > 0.0
        out = np.full_like(self.chi_square, np.nan)
        np.divide(self.chi_square, self.freedom, out=out, where=some)
        return np.sqrt(out)

    @property
    def intercept(self) -> Float:
        """Value at x = 0; (s,)."""
        return self.at(0.0)

    @property
    def covariance(self) -> Float:
        """Of intercept and slope; (s, 2, 2)."""
        both = -self.middle * self.slope_variance
        rows = [[self.variance_at(0.0), both], [both, self.slope_variance]]
        return np.moveaxis(np.array(rows, dtype=np.float64), -1, 0)

    def at(self, x: ArrayLike) -> Float:
        """Value of the line; x and result (..., s)."""
        away = np.asarray(x, dtype=np.float64) - self.middle
        return np.asarray(self.level + self.slope * away)

    def variance_at(self, x: ArrayLike) -> Float:
        """Variance of the line's value; x and result (..., s)."""
        away = np.asarray(x, dtype=np.float64) - self.middle
        return np.asarray(self.level_variance + away**2 * self.slope_variance)

    def prediction_variance(self, x: ArrayLike, variance: ArrayLike = 1.0) -> Float:
        """Variance of one more observation about the line's value.

        Parameters
        ----------
        x : array (..., s)
        variance : array (..., s)
            Stated for that observation.
        """
        own = np.asarray(variance, dtype=np.float64) * self.unit
        return np.asarray(self.variance_at(x) + own)

    def reaches(self, y: ArrayLike, variance: ArrayLike = 0.0) -> tuple[Float, Float]:
        """Where the line reaches a value.

        Parameters
        ----------
        y : array (..., s)
        variance : array (..., s)
            Of that value.

        Returns
        -------
        (x, sd), arrays (..., s)
            Linearised: true while the slope is many times its standard uncertainty.
            NaN where the line is level.

        References
        ----------
        ISO/TS 28037:2010, 11.1.
        """
        told = np.asarray(y, dtype=np.float64)
        slope = np.where(self.slope == 0.0, np.nan, self.slope)
        x = self.middle + (told - self.level) / slope
        of_both = self.variance_at(x) + np.asarray(variance, dtype=np.float64)
        return x, np.sqrt(of_both) / np.abs(slope)


def fit_lines(
    x: ArrayLike,
    y: ArrayLike,
    *,
    variance: ArrayLike | None = None,
    covariance: ArrayLike | None = None,
    from_residuals: bool = False,
) -> StraightLine:
    """A line through each series of observations.

    Parameters
    ----------
    x : array (n,) or (n, s)
        Known exactly.
    y : array (n,) or (n, s)
        An observation that is NaN is left out.
    variance : array (n,) or (n, s), optional
        Of each observation.
    covariance : array (n, n) or (s, n, n), optional
        Of the observations, instead of ``variance``.
    from_residuals : bool
        Whether uncertainties are known only against each other and their scale is taken
        from the residuals; always so where neither of the two is given.

    Returns
    -------
    StraightLine
        NaN for a series with fewer than two different x.

    Raises
    ------
    InputError
        If shapes do not fit or a variance is not above zero.

    Examples
    --------
    >>> line = fit_lines([0.0, 1.0, 2.0], [1.0, 3.1, 4.9])
    >>> round(float(line.slope[0]), 3), round(float(line.intercept[0]), 3)
    (1.95, 1.05)
    """
    across, up = _columns(x, y)
    told = np.isfinite(across) & np.isfinite(up)
    columns = np.stack([np.ones_like(up), across, up])
    columns = np.where(told, columns, 0.0)
    if covariance is not None:
        columns = _whitened(columns, _table(covariance, up.shape), told)
    elif variance is not None:
        columns = columns / np.sqrt(_variances(variance, told))
    alone = variance is None and covariance is None
    one, across, up = columns
    return line_through(one, across, up, told, from_residuals=from_residuals or alone)


def line_through(
    one: Float, x: Float, y: Float, told: Bool, *, from_residuals: bool = False
) -> StraightLine:
    """A line through whitened columns.

    Parameters
    ----------
    one, x, y : array (n, s)
        Ones, x and y, each whitened alike; 0 where not told.
    told : bool array (n, s)
    from_residuals : bool
        As for `fit_lines`.
    """
    count = told.sum(axis=0).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        heavy = 1.0 / np.sum(one * one, axis=0)
        middle = np.sum(one * x, axis=0) * heavy
        from_middle = x - middle * one
        spread = np.sum(from_middle**2, axis=0)
        spread = np.where(spread > 1e-24 * np.sum(x * x, axis=0), spread, np.nan)
        level = np.sum(one * y, axis=0) * heavy
        from_level = y - level * one
        slope = np.sum(from_middle * from_level, axis=0) / spread
        chi_square = np.sum((from_level - slope * from_middle) ** 2, axis=0)
        freedom = count - UNKNOWNS
        unit = np.ones_like(slope)
        if from_residuals:
            unit = np.where(freedom > 0.0, chi_square / freedom, np.nan)
        return StraightLine(
            middle=middle,
            level=level,
            slope=slope,
            level_variance=unit * heavy,
            slope_variance=unit / spread,
            chi_square=chi_square,
            freedom=freedom,
            unit=unit,
        )


def _columns(x: ArrayLike, y: ArrayLike) -> tuple[Float, Float]:
    """Both as (n, s)."""
    up = np.asarray(y, dtype=np.float64)
    up = up[:, None] if up.ndim == 1 else up
    across = np.asarray(x, dtype=np.float64)
    across = across[:, None] if across.ndim == 1 else across
    if up.ndim != 2 or across.shape not in ((up.shape[0], 1), up.shape):
        raise InputError(
            f"x of shape {np.shape(x)} and y of shape {np.shape(y)} came",
            cure="Give one x to every observation, in a column or series by series",
        )
    return np.broadcast_to(across, up.shape), up


def _variances(variance: ArrayLike, told: Bool) -> Float:
    own = np.asarray(variance, dtype=np.float64)
    own = own[:, None] if own.ndim == 1 else own
    if own.shape not in ((told.shape[0], 1), told.shape):
        raise InputError(
            f"variances of shape {np.shape(variance)} came for observations of shape "
            f"{told.shape}",
            cure="Give one variance to every observation",
        )
    own = np.where(told, own, 1.0)
    if not (own > 0.0).all():
        raise InputError("Some variances are not above zero", cure="Leave them out")
    return own


def _table(covariance: ArrayLike, shape: tuple[int, int]) -> Float:
    table = np.asarray(covariance, dtype=np.float64)
    n, s = shape
    if table.shape not in ((n, n), (s, n, n)):
        raise InputError(
            f"a covariance of shape {table.shape} came for observations of shape "
            f"{shape}",
            cure="Give one row and one column to every observation",
        )
    return np.broadcast_to(table, (s, n, n))


def _whitened(columns: Float, table: Float, told: Bool) -> Float:
    """Columns (c, n, s) over the root of each series' covariance (s, n, n)."""
    held = told.T
    both = held[:, :, None] & held[:, None, :]
    table = np.where(both, table, np.eye(told.shape[0]))
    try:
        root = np.linalg.cholesky(table)
    except np.linalg.LinAlgError:
        raise InputError(
            "A covariance is not positive definite",
            cure="Give every observation an error of its own",
        ) from None
    solved = np.linalg.solve(root, columns.transpose(2, 1, 0))
    return np.asarray(solved.transpose(2, 1, 0))
