"""Variances of many units, each moderated by those of its kind.

Three repeats say little of how much repeats differ.  A hundred units over three repeats
say more, yet not a hundred times more, because one repeat moves them all.  So the
variance seen in each unit is moderated by what is usual among its kind, and trusted
with as many degrees of freedom as there really are.

References
----------
Smyth (2004), Linear models and empirical Bayes methods for assessing differential
expression in microarray experiments, Stat. Appl. Genet. Mol. Biol. 3, article 3,
section 6: moderated variance, and its prior from moments of the logarithms.
Satterthwaite (1946), An approximate distribution of estimates of variance components,
Biometrics Bulletin 2, 110-114: degrees of freedom of a mean of variances.
"""

from __future__ import annotations

import numpy as np

from geom.quantity import student_k95
from geom.stats.assumptions import ASSUMED
from geom.units import Bool, Float, Int

#: Degrees of freedom that are as good as endless.
_MANY = 1e9


_TINY = 1e-300


def moderated_variance(
    residual: Float, dof: Float, kind: Int, level: Float
) -> tuple[Float, Float]:
    """Variances of units, each moderated by those of its kind.

    Parameters
    ----------
    residual : array (n, s)
        Of a fit to each unit, whitened.
    dof : array (s,)
        Degrees of freedom of each.
    kind : int array (s,)
        Number of the kind of each unit.
    level : array (s,)
        What was fitted, because variance may go with it.

    Returns
    -------
    variance : array (s,)
        NaN where nothing is known.
    reach : array (s,)
        Half-width of a 95 % interval over the standard deviation.  What all units of a
        kind do in step is known with the degrees of freedom of one of them, the rest
        with those that moderation finds; both parts of the interval are added in
        quadrature.
    """
    square = np.sum(residual**2, axis=0)
    variance, reach = np.full(kind.size, np.nan), np.full(kind.size, np.nan)
    for group in by_kind(kind):
        some = dof[group] > 0.0
        if not some.any():
            continue
        own = np.where(some, dof[group], 0.0)
        usual, prior = _prior_variance(
            square[group][some], own[some], level[group], some
        )
        mean = float(own[some].mean())
        scaled = (residual[:, group] / np.sqrt(usual))[:, some]
        common, effective = _common_share(scaled, mean)
        lent = np.where(
            some, min(prior, mean * (effective - 1.0)), min(prior, mean * effective)
        )
        total = np.where(lent + own > 0.0, lent + own, np.nan)
        variance[group] = (lent * usual + np.where(some, square[group], 0.0)) / total
        of_common = student_k95(min(mean, _MANY))
        of_rest = student_k95(np.minimum(total, _MANY))
        reach[group] = np.sqrt(common * of_common**2 + (1.0 - common) * of_rest**2)
    return variance, reach


def variance_floor(residual: Float, dof: Float, kind: Int) -> Float:
    """Least that the mean square of a kind is by chance, over its expectation; (s,).

    Residuals (n, s), degrees of freedom and kinds are as for `moderated_variance`.
    """
    from scipy.special import chdtri

    least = np.ones(kind.size)
    for group in by_kind(kind):
        some = group[dof[group] > 0.0]
        if some.size:
            mean = float(dof[some].mean())
            common, effective = _common_share(residual[:, some], mean)
            worth = mean / (common**2 + (1.0 - common) ** 2 / effective)
            least[group] = chdtri(worth, ASSUMED.mean_square_chance) / worth
    return least


def by_kind(kind: Int) -> list[Int]:
    """Indices of the units of each kind."""
    return [np.flatnonzero(kind == k) for k in range(int(kind.max(initial=-1)) + 1)]


def _prior_variance(
    square: Float, dof: Float, level: Float, some: Bool
) -> tuple[Float, float]:
    """Prior variance of each unit of a kind and its degrees of freedom.

    As in Smyth (2004), about a line in the logarithm of the level, because what is high
    mostly varies more.

    Parameters
    ----------
    square, dof : array (m,)
        Sums of squares of the units that have them.
    level : array (k,)
        Of all units of the kind.
    some : bool array (k,)
        Which of them are the m.
    """
    from scipy.special import digamma, polygamma

    variance = square / dof
    pooled = float(square.sum() / dof.sum())
    if variance.size < 2 or pooled <= 0.0:
        return np.full(level.size, max(pooled, _TINY)), 0.0
    log = np.log(np.maximum(variance, ASSUMED.low_variance * pooled))
    log = log - digamma(0.5 * dof) + np.log(0.5 * dof)
    chance = float(polygamma(1, 0.5 * dof).mean())
    slope, size = _trend(log, level, some)
    log = log - slope * size[some]
    trend = np.exp(slope * size)
    wider = float(log.var(ddof=1)) - chance
    if wider <= 0.0:
        return trend * (square / trend[some]).sum() / dof.sum(), _MANY
    half = _trigamma_inverse(wider)
    usual = np.exp(log.mean() + digamma(half) - np.log(half))
    return trend * float(usual), 2.0 * half


def _trend(log: Float, level: Float, some: Bool) -> tuple[float, Float]:
    """Slope of log variance against log level, and the log levels.

    The slope is between 0 and 2 (standard deviation in proportion to level) and shrunk
    to 0 as far as it is uncertain (James and Stein); 0 where there are few units.
    """
    size = np.abs(level)
    usual = float(np.median(size[some]))
    size = np.log(np.maximum(size, max(ASSUMED.low_level * usual, _TINY)))
    size = np.where(np.isfinite(size), size, np.log(max(usual, _TINY)))
    centred = size[some] - size[some].mean()
    spread = float(centred @ centred)
    if log.size < ASSUMED.fewest_units or spread <= 0.0:
        return 0.0, size
    slope = float(centred @ log) / spread
    residual = log - log.mean() - slope * centred
    noise = float(residual @ residual) / (log.size - 2.0) / spread
    slope *= max(0.0, 1.0 - noise / max(slope**2, _TINY))
    return float(np.clip(slope, 0.0, 2.0)), size


def _trigamma_inverse(value: float) -> float:
    """Where the trigamma function has a value, by Newton's steps (Smyth 2004)."""
    from scipy.special import polygamma

    at = 0.5 + 1.0 / value
    for _ in range(50):
        tri = float(polygamma(1, at))
        step = tri * (1.0 - tri / value) / float(polygamma(2, at))
        at += step
        if abs(step) < 1e-10 * at:
            break
    return at


def _common_share(residual: Float, dof: float) -> tuple[float, float]:
    """How far units of a kind vary together.

    Parameters
    ----------
    residual : array (n, m)
        Of m units.
    dof : float
        Degrees of freedom of one unit.

    Returns
    -------
    common : float, 0 to 1
        Share of their variance that all have in common, from the variance of their
        mean.
    effective : float, 1 to m
        How many independent units they are worth in the rest: from the mean square of
        the correlation between two, less what chance gives, because that is how the
        mean of their variances scatters (Satterthwaite).
    """
    m = residual.shape[1]
    if m < 2:
        return 0.0, 1.0
    square = np.sum(residual**2, axis=0)
    if dof <= 2.0:  # one unit's own scatter says too little of its scale
        square = np.full(m, square.mean())
    scaled = residual / np.sqrt(np.maximum(square, _TINY))
    mean = scaled.mean(axis=1)
    between = float(np.sum(mean**2))
    common = float(np.clip(between - (1.0 - between) / (m - 1.0), 0.0, 1.0))
    if dof <= 1.0:
        return common, float(m)
    rest = scaled - mean[:, None]
    rest = rest / np.sqrt(np.maximum(np.sum(rest**2, axis=0), _TINY))
    pairs = float(np.sum((rest @ rest.T) ** 2) - m) / (m * (m - 1.0))
    chance = 1.0 / dof
    together = float(np.clip((pairs - chance) / (1.0 - chance), 0.0, 1.0))
    return common, m / (1.0 + (m - 1.0) * together)
