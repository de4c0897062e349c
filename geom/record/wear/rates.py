"""How fast every piece of wall wears: over the campaign, of late, and the trend.

Wear in a spell is the rate times what the spell saw (heats, hours or tonnes), plus
scatter from heat to heat, plus the errors of both surveys (`survey_errors`).  Rates are
fitted by generalised least squares, robustly, and their intervals hold the truth 95
times in 100 for few spells as for many: see docs/record.md.

The scatter, excess variance beyond what the errors explain, is a variance ``tau2`` per
unit of exposure.  It is found for each kind of piece together, from the sum of squares
that is due, robustly, and then moderated piece by piece.

References
----------
Paule and Mandel (1982), Consensus values and weighting factors, J. Res. Natl. Bur.
Stand. 87, 377-385: scatter beyond stated errors, from the sum of squares that is due.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from geom.quantity import K95, Quantity
from geom.record.assumptions import ASSUMED
from geom.record.regions import ALL_ROUND
from geom.record.wear.series import Exposure, WearSeries
from geom.record.wear.survey_errors import SpellErrors, SpellWear, spell_wear
from geom.shown import Shown
from geom.stats.regression import fit_whitened_lines, robust_fit
from geom.stats.shrinkage import moderated_variance, variance_floor
from geom.units import Bool, Float, Int

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


@dataclass(frozen=True)
class Rates(Shown):
    """Rates of wear; s pieces.

    Attributes
    ----------
    exposure : {'heat', 'hour', 'tonne'}
    long : tuple of Quantity or None, mm per exposure
        Over all spells of the campaign; None where nothing is known.
    short : tuple of Quantity or None, mm per exposure
        Over the last ``short_over`` spells that cover the piece.
    trend : tuple of Quantity or None, mm per exposure, per exposure of running total
        How the rate changes as the campaign goes on; None with fewer than three spells.
    spells : tuple of int
        How many cover each piece.
    heat_sd : array (s,), mm
        Standard deviation of the wear of one heat beyond what the surveys' errors
        explain; NaN where nothing is known.
    """

    _units: ClassVar[str] = "mm a heat, hour or tonne"

    exposure: Exposure
    long: tuple[Quantity | None, ...]
    short: tuple[Quantity | None, ...]
    trend: tuple[Quantity | None, ...]
    spells: tuple[int, ...]
    short_over: int
    heat_sd: Float


def wear_rates(series: WearSeries, exposure: Exposure) -> Rates:
    """Rates of wear of every piece, in the campaign of the last spell.

    Parameters
    ----------
    exposure : {'heat', 'hour', 'tonne'}
        What wear is counted per.  A spell that does not state its hours, or what was
        melted in it, is left out of that rate.
    """
    observed = spell_wear(series, exposure)
    return rates_of(observed, _kinds(observed), exposure)


def long_rates(series: WearSeries, exposure: Exposure) -> tuple[Quantity | None, ...]:
    """Long-term rates alone; as those of `wear_rates`."""
    observed = spell_wear(series, exposure)
    scatter = excess_variance(observed, _kinds(observed))
    return _rate(observed, scatter, observed.valid).quantities()


def _kinds(observed: SpellWear) -> Int:
    """Which pieces are of a kind, numbered from 0; (s,)."""
    several = sorted(set(observed.kinds))
    return np.array([several.index(name) for name in observed.kinds], dtype=np.int64)


def rates_of(observed: SpellWear, kind: Int, exposure: Exposure) -> Rates:
    """Rates from wear spell by spell.

    Parameters
    ----------
    kind : int array (s,)
        Which pieces are of a kind and pooled in their scatter, numbered from 0.
    exposure : {'heat', 'hour', 'tonne'}
    """
    scatter = excess_variance(observed, kind)
    long = _rate(observed, scatter, observed.valid)
    short = _rate(observed, scatter, observed.last(ASSUMED.short_spells), of_few=True)
    return Rates(
        exposure=exposure,
        long=long.quantities(),
        short=short.quantities(),
        trend=_trend(observed, scatter, kind).quantities(),
        spells=tuple(int(n) for n in observed.valid.sum(axis=0)),
        short_over=ASSUMED.short_spells,
        heat_sd=_heat_sd(observed, long),
    )


@dataclass(frozen=True)
class _Fitted:
    """One fitted unknown and its variances; arrays (s,).

    Attributes
    ----------
    random : array
        Variance from what does not repeat: scatter, and surveys for their part.
    stated : array
        What of it the surveys state.
    systematic : array
        Variance from errors of surveys that repeat.
    per_tau2 : array
        What scatter of 1 mm2 per exposure adds to the variance.
    coverage_factor : array
        Half-width of a 95 % interval from ``random`` over its root; NaN where nothing
        is known.
    """

    value: Float
    random: Float
    stated: Float
    systematic: Float
    per_tau2: Float
    coverage_factor: Float

    def quantities(self) -> tuple[Quantity | None, ...]:
        """With 95 % intervals, never closer than the surveys' errors allow."""
        by_scatter = self.coverage_factor**2 * self.random + K95**2 * self.systematic
        least = ASSUMED.least_stated_share * self.stated
        by_surveys = K95**2 * (least + self.systematic)
        reach = np.sqrt(np.maximum(by_scatter, by_surveys))
        sd = np.sqrt(np.maximum(self.random, least) + self.systematic)
        return tuple(
            Quantity(v, u, v - r, v + r) if np.isfinite(v) and np.isfinite(r) else None
            for v, u, r in zip(
                self.value.tolist(), sd.tolist(), reach.tolist(), strict=True
            )
        )


def _rate(
    observed: SpellWear, scatter: ExcessVariance, among: Bool, *, of_few: bool = False
) -> _Fitted:
    """The rate over some spells; of few, outliers are by the scatter of all."""
    errors = observed.errors(scatter.share, among)
    x, y = errors.whiten(
        scatter.tau2 * observed.exposures, observed.exposures, observed.wear
    )
    scale = np.sqrt(scatter.multiple) if of_few else None
    fit = robust_fit(x[None], y, errors.valid, scale=scale)
    pull = x / np.maximum(np.sum(x * x, axis=0), _TINY)
    return _fitted(observed, scatter, errors, value=fit.unknowns[0], pull=pull)


def _trend(observed: SpellWear, scatter: ExcessVariance, kind: Int) -> _Fitted:
    """Slope of the rate against the running total; scatter is that about the slope."""
    errors = observed.errors(scatter.share)
    progress = observed.total - (observed.total.mean() if observed.total.size else 0.0)
    moving = observed.exposures * progress[:, None]
    extra = scatter.tau2 * observed.exposures
    x, rising, y = errors.whiten(extra, observed.exposures, moving, observed.wear)
    fit = robust_fit(np.stack([x, rising]), y, errors.valid)
    line = fit_whitened_lines(x, rising, fit.winsorised, errors.valid)
    from_middle = rising - line.middle * x
    left = fit.winsorised - line.level * x - line.slope * from_middle
    dof = np.where(errors.valid.sum(axis=0) >= ASSUMED.trend_spells, line.dof, 0.0)
    left = np.where(dof > 0.0, left * np.sqrt(fit.variance_factor), 0.0)
    multiple, coverage_factor = moderated_variance(left, dof, kind, line.level)
    about = replace(
        scatter,
        multiple=multiple,
        coverage_factor=np.where(dof > 0.0, coverage_factor, np.nan),
    )
    pull = from_middle * line.slope_variance
    return _fitted(observed, about, errors, value=line.slope, pull=pull)


def _fitted(
    observed: SpellWear,
    scatter: ExcessVariance,
    errors: SpellErrors,
    *,
    value: Float,
    pull: Float,
) -> _Fitted:
    """An unknown with its variances; ``pull`` (n, s) is of whitened wear on it."""
    extra = scatter.tau2 * observed.exposures
    (systematic,) = errors.whiten(extra, errors.systematic)
    influence = errors.influence(extra, pull)
    whole = np.sum(pull**2, axis=0)
    per_tau2 = np.sum(influence**2 * observed.exposures, axis=0)
    return _Fitted(
        value=value,
        random=scatter.multiple * whole,
        stated=np.maximum(whole - scatter.tau2 * per_tau2, 0.0),
        systematic=np.sum(pull * systematic, axis=0) ** 2,
        per_tau2=per_tau2,
        coverage_factor=scatter.coverage_factor,
    )


def _heat_sd(observed: SpellWear, rate: _Fitted) -> Float:
    """Standard deviation of the wear of one heat beyond what surveys explain, mm."""
    with np.errstate(divide="ignore", invalid="ignore"):
        tau2 = np.maximum(rate.random - rate.stated, 0.0) / rate.per_tau2
        exposure_of_heat = np.sum(observed.exposure) / np.sum(observed.heats)
    return np.asarray(np.sqrt(tau2 * exposure_of_heat))
