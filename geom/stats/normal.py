"""Normal variables: joint draws, partial moments, and the area swept beyond a circle.

A root R of a covariance, R R^T = C, turns independent standard normal draws into draws
with that covariance.  Two roots serve: that of Cholesky for a table that is positive
definite, and that of the eigenvectors for one that is so but for rounding.  Which one
is taken changes the draws of a seed, not their law.

With X normal of mean m and standard deviation s, and a circle of radius R, a radius
R + X sweeps per radian the areas

    excess    E[((R + X)^2 - R^2) / 2 ; X > 0] = R E[X+] + E[X+^2] / 2
    shortfall E[(R^2 - (R + X)^2) / 2 ; X < 0] = R E[X-] - E[X-^2] / 2

with, for u = m / s, E[X+] = m Phi(u) + s phi(u) and
E[X+^2] = (m^2 + s^2) Phi(u) + m s phi(u): moments of the censored normal.

References
----------
Abramowitz, M. and Stegun, I. A. (1964). Handbook of Mathematical Functions, 26.7.4
(Student's t of an even number of degrees of freedom in closed form).
Gentle (2009), Computational Statistics, section 7.4: multivariate normal draws.
Johnson, N. L., Kotz, S. and Balakrishnan, N. (1994). Continuous Univariate
Distributions, vol. 1, 2nd ed., chapter 13, section 10.1 (truncated and censored
normal; cited from memory).  The partial moments follow by direct integration; the tests
integrate numerically.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from geom.units import Float


def cholesky_root(covariance: Float) -> Float:
    """Lower triangular root of a positive definite table (n, n).

    Raises
    ------
    numpy.linalg.LinAlgError
        If it is not positive definite.
    """
    return np.asarray(np.linalg.cholesky(covariance))


def eigen_root(covariance: Float) -> Float:
    """Root (n, n) by eigenvectors; eigenvalues below zero by rounding count as zero."""
    strength, axes = np.linalg.eigh(covariance)
    return np.asarray(axes * np.sqrt(np.maximum(strength, 0.0)))


def joint_normal(
    covariance: Float,
    rng: np.random.Generator | int,
    n: int,
    *,
    root: Callable[[Float], Float] = cholesky_root,
) -> Float:
    """Draw normal variables of mean 0 and a given covariance.

    Parameters
    ----------
    covariance : array (m, m)
    rng : Generator or int
        Is asked for one (m, n) block of standard normal draws; or the seed of one.
    n : int
        Draws.
    root : callable
        `cholesky_root` or `eigen_root`.

    Returns
    -------
    array (m, n)

    Examples
    --------
    >>> table = np.array([[4.0, 1.0], [1.0, 1.0]])
    >>> made = joint_normal(table, np.random.default_rng(0), 100_000)
    >>> np.cov(made).round(1).tolist()
    [[4.0, 1.0], [1.0, 1.0]]
    """
    shape = (len(covariance), n)
    factor = root(covariance)
    standard = (
        _standard(rng, *shape) if isinstance(rng, int) else rng.standard_normal(shape)
    )
    return np.asarray(factor @ standard)


@lru_cache(maxsize=1)
def _standard(seed: int, m: int, n: int) -> Float:
    """Standard normal draws (m, n), of which many tables in turn take the same."""
    return np.random.default_rng(seed).standard_normal((m, n))


_ROOT_2PI = float(np.sqrt(2.0 * np.pi))


def expected_excess(mean: Float, sd: Float, radius: Float) -> Float:
    """Expected area outside the circle.

    Parameters
    ----------
    mean, sd : array, mm
        Of X; ``sd`` may be zero.
    radius : array, mm
        Broadcasts.

    Returns
    -------
    array, mm2 per radian
        NaN where ``mean`` is NaN.

    Examples
    --------
    >>> float(expected_excess(np.array(10.0), np.array(0.0), np.array(100.0)))
    1050.0
    """
    first, second = _partial_moments(mean, sd)
    return np.asarray(radius * first + 0.5 * second)


def expected_shortfall(mean: Float, sd: Float, radius: Float) -> Float:
    """Expected area inside the circle, positive; as `expected_excess`.

    Examples
    --------
    >>> float(expected_shortfall(np.array(-10.0), np.array(0.0), np.array(100.0)))
    950.0
    """
    first, second = _partial_moments(-np.asarray(mean), sd)
    return np.asarray(radius * first - 0.5 * second)


def exceedance_probability(mean: Float, sd: Float, limit: float) -> Float:
    """Probability that X exceeds a limit; arrays broadcast, NaN stays NaN."""
    from scipy.special import ndtr

    mean, sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(sd, float))
    certain = (mean > limit).astype(np.float64)
    certain = np.where(np.isnan(mean), np.nan, certain)
    z = np.divide(mean - limit, sd, out=np.zeros_like(mean), where=sd > 0)
    return np.where(sd > 0, ndtr(z), certain)


def heavy_exceedance(mean: Float, sd: Float, limit: float, freedom: float) -> Float:
    """Probability that X exceeds a limit, the variance of X itself known roughly.

    X has Student's t distribution of so many degrees of freedom, scaled to the standard
    deviation ``sd``: a normal X whose variance is as well known as from so many
    values.  With 4 its 95 % interval is that of the normal, mean plus and minus 1.96
    sd (2.776 / sqrt(2) = 1.963); within, it is more sure of the nearer side of a limit.

    Parameters
    ----------
    mean, sd : array
        Broadcast; NaN stays NaN.
    freedom : float
        More than 2.

    Examples
    --------
    >>> value = heavy_exceedance(np.array([0.0, 1.0]), np.array(1.0), 0.0, 4.0)
    >>> value.round(3)
    array([0.5  , 0.885])
    """
    wide = float(np.sqrt(_variance(freedom)))
    mean, sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(sd, float))
    certain = exceedance_probability(mean, np.zeros_like(mean), limit)
    z = np.divide(mean - limit, sd, out=np.zeros_like(mean), where=sd > 0)
    return np.where(sd > 0, _student(wide * z, freedom), certain)


def _student(t: Float, freedom: float) -> Float:
    """Distribution function of Student's t.

    With 4 degrees of freedom it is ``(1 + s)**2 (2 - s) / 4`` of the sine
    ``s = t / sqrt(4 + t**2)``, a tenth of the work; below nil ``1 + s`` is taken as
    ``(1 - s**2) / (1 - s)``, which loses no digits.
    """
    from scipy.special import stdtr

    if freedom != 4.0:
        return np.asarray(stdtr(freedom, t))
    t = np.clip(t, -1e150, 1e150)
    square = 4.0 / (4.0 + t * t)
    sine = 0.5 * t * np.sqrt(square)
    whole = 1.0 + np.abs(sine)
    past = np.where(sine < 0.0, square / whole, whole)
    return np.asarray(0.25 * past * past * (2.0 - sine))


def heavy_quantile(share: float, freedom: float) -> float:
    """How many standard deviations `heavy_exceedance` has that share below.

    Examples
    --------
    >>> round(heavy_quantile(0.975, 4.0), 3)
    1.963
    """
    from scipy.special import stdtrit

    return float(stdtrit(freedom, share) / np.sqrt(_variance(freedom)))


def _variance(freedom: float) -> float:
    """Of Student's t."""
    return freedom / (freedom - 2.0)


def hermite_excess(mean: Float, sd: Float, radius: Float) -> list[Float]:
    """Coefficients of the excess in Hermite polynomials of the standardised X.

    For jointly normal X of cells i and j with correlation rho, the covariance of their
    excesses is ``sum_k c_k(i) c_k(j) rho**k / k!`` (Mehler's formula), where
    ``c_k = s**k E[d^k f / dX^k]`` (Stein's identity).

    Returns
    -------
    list of array
        c_1 ... c_4, mm2 per radian.  Beyond the fourth the terms only matter for
        cells closer to each other than a correlation length.
    """
    from scipy.special import ndtr

    sd = np.maximum(sd, 1e-9)
    u = mean / sd
    first, _ = _partial_moments(mean, sd)
    above, density = ndtr(u), np.exp(-0.5 * u**2) / _ROOT_2PI
    radius = np.asarray(radius, dtype=np.float64)
    return [
        sd * (radius * above + first),
        sd * (radius * density + sd * above),
        sd * density * (sd - radius * u),
        sd * density * (radius * (u**2 - 1.0) - u * sd),
    ]


def squares_sd(mean: Float, covariance: Float) -> float:
    """Standard deviation of the sum of squares of jointly normal variables.

    Its variance is ``4 m' C m + 2 sum C**2``.

    Examples
    --------
    >>> round(squares_sd(np.zeros(2), np.array([[1.0, 0.5], [0.5, 1.0]])) ** 2, 9)
    5.0
    >>> round(squares_sd(np.array([3.0, 4.0]), np.eye(2)) ** 2, 9)
    104.0
    """
    variance = 4.0 * mean @ covariance @ mean + 2.0 * np.sum(covariance**2)
    return float(np.sqrt(np.maximum(variance, 0.0)))


def _partial_moments(mean: Float, sd: Float) -> tuple[Float, Float]:
    """E[X+] and E[X+^2]."""
    from scipy.special import ndtr

    mean, sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(sd, float))
    u = np.divide(mean, sd, out=np.where(mean > 0, 40.0, -40.0), where=sd > 0)
    above, density = ndtr(u), np.exp(-0.5 * u**2) / _ROOT_2PI
    first = np.maximum(mean * above + sd * density, 0.0)
    second = np.maximum((mean**2 + sd**2) * above + mean * sd * density, 0.0)
    return first, second
