"""Excess variance: how wear scatters beyond what the errors of surveys explain.

A heat takes more or less than the mean, by a variance ``tau2`` per unit of exposure.
It is found for each kind of piece together, from the sum of squares that is due,
robustly, and then moderated piece by piece.

References
----------
Paule and Mandel (1982), Consensus values and weighting factors, J. Res. Natl. Bur.
Stand. 87, 377-385: scatter beyond stated errors, from the sum of squares that is due.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.assumptions import ASSUMED
from geom.record.regions import ALL_ROUND
from geom.record.wear.survey_errors import SpellErrors, SpellWear
from geom.stats.robust import robust_fit
from geom.stats.shrinkage import moderated_variance, variance_floor
from geom.units import Float, Int

#: Halvings of the bracket of ``tau2``, and rounds of variance and systematic share.
_HALVINGS, _ROUNDS = 40, 3
_TINY = 1e-300


@dataclass(frozen=True)
class ExcessVariance:
    """What is known of scatter; s pieces.

    Attributes
    ----------
    tau2 : array (s,), mm2 per exposure
        Variance of wear beyond the errors of surveys, as found for the piece's kind.
    share : array (s,)
        Correlation of the errors of any two surveys of the worn wall.
    multiple : array (s,)
        How many times that variance the piece's own is, moderated; NaN where nothing is
        known.
    coverage_factor : array (s,)
        Half-width of a 95 % interval from scatter over its standard deviation.
    """

    tau2: Float
    share: Float
    multiple: Float
    coverage_factor: Float


def excess_variance(observed: SpellWear, kind: Int) -> ExcessVariance:
    """Scatter of wear about one rate, robustly.

    Parameters
    ----------
    observed : SpellWear
    kind : int array (s,)
        Which pieces are of a kind, numbered from 0.
    """
    share = np.full(kind.size, ASSUMED.systematic_share)
    wear, factor = observed.wear, np.ones(kind.size)
    for _ in range(_ROUNDS):
        errors = observed.errors(share)
        tau2 = _paule_mandel(observed, wear, errors, kind)
        wear, factor = _winsorised(observed, errors, tau2)
        x, y = errors.whiten(tau2 * observed.exposures, observed.exposures, wear)
        multiple, coverage_factor = moderated_variance(
            _residuals(x, y) * np.sqrt(factor), _dof(observed), kind, _slope(x, y)
        )
        used, share = share, _systematic_share(_slope(x, y), observed, kind)
    return ExcessVariance(tau2, used, multiple, coverage_factor)


def _systematic_share(rate: Float, observed: SpellWear, kind: Int) -> Float:
    """Correlation of errors of surveys of the worn wall, by the rate; (s,)."""
    kinds = int(kind.max(initial=-1)) + 1
    valid = observed.valid.any(axis=0)
    speed = np.where(valid, np.abs(rate), 0.0)
    count = np.maximum(np.bincount(kind, valid, kinds), 1.0)
    usual = np.maximum(np.bincount(kind, speed, kinds) / count, _TINY)
    relative = np.clip(speed / usual[kind], ASSUMED.slow_wear, ASSUMED.fast_wear)
    return np.asarray(_usual_share(speed, observed, kind) * relative)


def _usual_share(speed: Float, observed: SpellWear, kind: Int) -> Float:
    """The same where a piece wears as its kind does on average; (s,)."""
    kinds = int(kind.max(initial=-1)) + 1
    times = np.maximum(observed.valid.sum(axis=0), 1)
    variance = np.where(observed.valid, observed.end_variance, 0.0)
    stated = variance.sum(axis=0) / times
    wear = speed * (observed.exposure.mean() if observed.exposure.size else 0.0)
    square = np.maximum(np.bincount(kind, wear**2, kinds), _TINY)
    poor = np.bincount(kind, np.where(speed > 0.0, stated, 0.0), kinds) / square
    most = ASSUMED.systematic_share
    ring = np.clip(
        most * poor[kind] / ASSUMED.poor_survey, ASSUMED.ring_systematic_share, most
    )
    panel = np.array(observed.kinds) == "panel"
    sided = np.where(panel, ASSUMED.panel_systematic_share, most)
    return np.where(np.isin(observed.kinds, ALL_ROUND), ring, sided)


def _paule_mandel(
    observed: SpellWear, wear: Float, errors: SpellErrors, kind: Int
) -> Float:
    """Scatter beyond stated errors, one for each kind; (s,).

    The most that it is but for chance: weights that allow for too much scatter cost a
    little, those that allow for too little make intervals too narrow.
    """
    dof = _dof(observed)
    kinds = int(kind.max(initial=-1)) + 1
    x, y = errors.whiten(np.zeros_like(wear), observed.exposures, wear)
    floor = variance_floor(_residuals(x, y), dof, kind)
    due = np.bincount(kind, dof * floor, kinds)

    def excess(tau2: Float) -> Float:
        extra = tau2[kind] * observed.exposures
        x, y = errors.whiten(extra, observed.exposures, wear)
        square = np.sum(_residuals(x, y) ** 2, axis=0)
        square = np.where(dof > 0.0, square, 0.0)
        return np.asarray(np.bincount(kind, square, kinds) - due)

    low = np.zeros(kinds)
    high = np.full(kinds, 1e-9)
    while (short := excess(high) > 0.0).any():
        high = np.where(short, 4.0 * high, high)
    high[excess(low) <= 0.0] = 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        more = excess(middle) > 0.0
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return np.asarray(high[kind])


def _winsorised(
    observed: SpellWear, errors: SpellErrors, tau2: Float
) -> tuple[Float, Float]:
    """Wear with outlying spells pulled in, and what that loses; (n, s) and (s,)."""
    extra = tau2 * observed.exposures
    x, y = errors.whiten(extra, observed.exposures, observed.wear)
    fit = robust_fit(x[None], y, observed.valid)
    return errors.unwhiten(extra, fit.winsorised), fit.variance_factor


def _slope(x: Float, y: Float) -> Float:
    """Least squares of one unknown; (s,)."""
    return np.asarray(np.sum(x * y, axis=0) / np.maximum(np.sum(x * x, axis=0), _TINY))


def _residuals(x: Float, y: Float) -> Float:
    """What least squares leaves over; (n, s)."""
    return np.asarray(y - x * _slope(x, y))


def _dof(observed: SpellWear) -> Float:
    return np.asarray(np.maximum(observed.valid.sum(axis=0) - 1.0, 0.0))
