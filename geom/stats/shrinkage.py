"""Variances of pieces of wall, each moderated by those of its kind.

Three heats say little of how much heats differ.  A hundred panels over three heats say
more, yet not a hundred times more, because a hot heat wears them all.  So the variance
seen in each piece is moderated by what is usual among its kind, and trusted with as
many degrees of freedom as there really are.

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

from geom.units import Bool, Float, Int

#: What a mean square is by chance no less than in 84 of 100 cases: as one standard
#: deviation of a normal variable.
_CHANCE = 0.84
#: Degrees of freedom that are as good as endless.
_MANY = 1e9
#: Whether scatter goes with the rate is asked of no fewer pieces than this.
_MANY_PIECES = 8
#: Rates under this part of the usual one are taken for as much, and variances, too.
_SLOW, _FAINT = 0.1, 1e-6
_TINY = 1e-300


def moderated(
    left: Float, freedom: Float, kind: Int, rate: Float
) -> tuple[Float, Float]:
    """Variances of pieces, each moderated by those of its kind.

    Parameters
    ----------
    left : array (n, s)
        What a fit leaves over, whitened.
    freedom : array (s,)
        Degrees of freedom of each.
    kind : int array (s,)
    rate : array (s,)
        Rates of wear, because scatter may go with them.

    Returns
    -------
    variance : array (s,)
        NaN where nothing is known.
    reach : array (s,)
        Half-width of a 95 % interval over the standard deviation.  What all pieces of a
        kind do in step is known with the degrees of freedom of one of them, the rest
        with those that moderation finds; both parts of the interval are added in
        quadrature.
    """
    square = np.sum(left**2, axis=0)
    variance, reach = np.full(kind.size, np.nan), np.full(kind.size, np.nan)
    for its in by_kind(kind):
        some = freedom[its] > 0.0
        if not some.any():
            continue
        own = np.where(some, freedom[its], 0.0)
        usual, prior = _usual(square[its][some], own[some], rate[its], some)
        mean = float(own[some].mean())
        in_step, worth = _in_step((left[:, its] / np.sqrt(usual))[:, some], mean)
        lent = np.where(
            some, min(prior, mean * (worth - 1.0)), min(prior, mean * worth)
        )
        known = np.where(lent + own > 0.0, lent + own, np.nan)
        variance[its] = (lent * usual + np.where(some, square[its], 0.0)) / known
        parts = in_step * _student(mean) ** 2 + (1.0 - in_step) * _student(known) ** 2
        reach[its] = np.sqrt(parts)
    return variance, reach


def least_by_chance(left: Float, freedom: Float, kind: Int) -> Float:
    """Least that the mean square of a kind is by chance, over what it should be; (s,).

    Parameters
    ----------
    left : array (n, s)
        What a fit leaves over, whitened.
    freedom : array (s,)
        Degrees of freedom of each piece.
    kind : int array (s,)
    """
    from scipy.special import chdtri

    least = np.ones(kind.size)
    for its in by_kind(kind):
        some = its[freedom[its] > 0.0]
        if some.size:
            mean = float(freedom[some].mean())
            in_step, worth = _in_step(left[:, some], mean)
            worth = mean / (in_step**2 + (1.0 - in_step) ** 2 / worth)
            least[its] = chdtri(worth, _CHANCE) / worth
    return least


def by_kind(kind: Int) -> list[Int]:
    """Places of the pieces of each kind."""
    return [np.flatnonzero(kind == one) for one in range(int(kind.max(initial=-1)) + 1)]


def _student(freedom: float | Float) -> Float:
    """97.5 % point of Student's t."""
    from scipy.special import stdtrit

    return np.asarray(stdtrit(np.minimum(freedom, _MANY), 0.975))


def _usual(
    square: Float, freedom: Float, rate: Float, some: Bool
) -> tuple[Float, float]:
    """Prior variance of each piece of a kind and its degrees of freedom.

    As in Smyth (2004), about a line in the logarithm of the rate, because what wears
    fast mostly scatters more.

    Parameters
    ----------
    square, freedom : array (m,)
        Sums of squares of the pieces that have them.
    rate : array (k,)
        Of all pieces of the kind.
    some : bool array (k,)
        Which of them are the m.
    """
    from scipy.special import digamma, polygamma

    variance = square / freedom
    pooled = float(square.sum() / freedom.sum())
    if variance.size < 2 or pooled <= 0.0:
        return np.full(rate.size, max(pooled, _TINY)), 0.0
    log = np.log(np.maximum(variance, _FAINT * pooled))
    log = log - digamma(0.5 * freedom) + np.log(0.5 * freedom)
    chance = float(polygamma(1, 0.5 * freedom).mean())
    slope, size = _goes_with(log, rate, some)
    log = log - slope * size[some]
    trend = np.exp(slope * size)
    wider = float(log.var(ddof=1)) - chance
    if wider <= 0.0:
        return trend * (square / trend[some]).sum() / freedom.sum(), _MANY
    half = _trigamma_inverse(wider)
    usual = np.exp(log.mean() + digamma(half) - np.log(half))
    return trend * float(usual), 2.0 * half


def _goes_with(log: Float, rate: Float, some: Bool) -> tuple[float, Float]:
    """How scatter goes with the rate: slope of the logarithms, and those of the rates.

    The slope is between 0 and 2 (scatter in proportion to wear) and drawn to 0 as far
    as it is uncertain (James and Stein); 0 where there are few pieces.
    """
    fast = np.abs(rate)
    usual = float(np.median(fast[some]))
    size = np.log(np.maximum(fast, max(_SLOW * usual, _TINY)))
    size = np.where(np.isfinite(size), size, np.log(max(usual, _TINY)))
    away = size[some] - size[some].mean()
    spread = float(away @ away)
    if log.size < _MANY_PIECES or spread <= 0.0:
        return 0.0, size
    slope = float(away @ log) / spread
    left = log - log.mean() - slope * away
    noise = float(left @ left) / (log.size - 2.0) / spread
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


def _in_step(left: Float, freedom: float) -> tuple[float, float]:
    """How far pieces of a kind scatter together.

    Parameters
    ----------
    left : array (n, m)
    freedom : float

    Returns
    -------
    in_step : float, 0 to 1
        Share of their variance that all have in common, from the variance of their
        mean.
    worth : float, 1 to m
        How many independent pieces they are worth in the rest: from the mean square of
        the correlation between two, less what chance gives, because that is how the
        mean of their variances scatters (Satterthwaite).
    """
    m = left.shape[1]
    if m < 2:
        return 0.0, 1.0
    square = np.sum(left**2, axis=0)
    if freedom <= 2.0:  # one piece's own scatter says too little of its scale
        square = np.full(m, square.mean())
    alike = left / np.sqrt(np.maximum(square, _TINY))
    mean = alike.mean(axis=1)
    between = float(np.sum(mean**2))
    in_step = float(np.clip(between - (1.0 - between) / (m - 1.0), 0.0, 1.0))
    if freedom <= 1.0:
        return in_step, float(m)
    rest = alike - mean[:, None]
    rest = rest / np.sqrt(np.maximum(np.sum(rest**2, axis=0), _TINY))
    pairs = float(np.sum((rest @ rest.T) ** 2) - m) / (m * (m - 1.0))
    chance = 1.0 / freedom
    together = float(np.clip((pairs - chance) / (1.0 - chance), 0.0, 1.0))
    return in_step, m / (1.0 + (m - 1.0) * together)
