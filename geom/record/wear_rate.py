"""How fast every piece of wall wears: over the campaign, of late, and the trend.

Wear in a spell is the rate times what the spell saw (heats, hours or tonnes), plus
scatter from heat to heat, plus the errors of both surveys.  Rates are fitted by
generalised least squares, robustly, and their intervals hold the truth 95 times in 100
for few spells as for many: see docs/record.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geom.quantity import K95, Quantity
from geom.record.moderated import moderated
from geom.record.robust import Scale, robust_fit
from geom.record.scatter import Scatter, find_scatter
from geom.record.series import WearSeries
from geom.record.spell_wear import SpellErrors, SpellWear, spell_wear
from geom.record.spells import Exposure
from geom.record.straight_line import line_through
from geom.units import Bool, Float, Int

#: Spells that the short rate is taken over, the last ones; our own choice: few enough
#: to follow a change, enough that one heat does not decide.
SHORT_OVER = 3
#: A trend takes this many spells: a line through two has nothing to be judged by.
_TREND = 3
#: However little wear scatters, intervals allow for this part of the variance that the
#: surveys state.  In whole campaigns on invented walls (scripts/bench) errors of wear
#: had a third to four fifths of it; our own choice, no source.
_OF_STATED = 0.35
_TINY = 1e-300


@dataclass(frozen=True)
class Rates:
    """Rates of wear; s pieces.

    Attributes
    ----------
    exposure : {'heat', 'hour', 'tonne'}
    long : tuple of Quantity or None, mm per exposure
        Over all spells of the campaign; None where nothing is known.
    short : tuple of Quantity or None, mm per exposure
        Over the last ``short_over`` spells that tell of the piece.
    trend : tuple of Quantity or None, mm per exposure, per exposure of running total
        How the rate changes as the campaign goes on; None with fewer than three spells.
    spells : tuple of int
        How many tell of each piece.
    short_over : int
    scatter : array (s,), mm
        Standard deviation of the wear of one heat beyond what the surveys' errors
        explain; NaN where nothing is known.
    """

    exposure: Exposure
    long: tuple[Quantity | None, ...]
    short: tuple[Quantity | None, ...]
    trend: tuple[Quantity | None, ...]
    spells: tuple[int, ...]
    short_over: int
    scatter: Float


def wear_rates(
    series: WearSeries, exposure: Exposure, *, campaign: str | None = None
) -> Rates:
    """Rates of wear of every piece.

    Parameters
    ----------
    series : WearSeries
    exposure : {'heat', 'hour', 'tonne'}
        What wear is told per.  A spell that does not tell its hours, or what was melted
        in it, is left out of that rate.
    campaign : str, optional
        Which campaign; that of the last spell unless given.
    """
    seen = spell_wear(series, exposure, campaign=campaign)
    several = sorted(set(seen.kinds))
    kind = np.array([several.index(one) for one in seen.kinds], dtype=np.int64)
    return rates_of(seen, kind, exposure)


def rates_of(seen: SpellWear, kind: Int, exposure: Exposure) -> Rates:
    """Rates from wear spell by spell.

    Parameters
    ----------
    seen : SpellWear
    kind : int array (s,)
        Which pieces are of a kind and told by each other's scatter, numbered from 0.
    exposure : {'heat', 'hour', 'tonne'}
    """
    scatter = find_scatter(seen, kind)
    long = _rate(seen, scatter, seen.told)
    short = _rate(seen, scatter, seen.last(SHORT_OVER), of_few=True)
    return Rates(
        exposure=exposure,
        long=long.told(),
        short=short.told(),
        trend=_trend(seen, scatter, kind).told(),
        spells=tuple(int(n) for n in seen.told.sum(axis=0)),
        short_over=SHORT_OVER,
        scatter=_of_one_heat(seen, long),
    )


@dataclass(frozen=True)
class _Fitted:
    """One fitted unknown, before it is told; arrays (s,).

    Attributes
    ----------
    value : array
    free : array
        Variance from what does not come back: scatter, and surveys for their part.
    stated : array
        What of it the surveys state.
    common : array
        Variance from errors of surveys that come back.
    from_scatter : array
        What scatter of 1 mm2 per exposure adds to the variance.
    expanded : array
        Half-width of a 95 % interval from ``free`` over its root; NaN where nothing is
        known.
    """

    value: Float
    free: Float
    stated: Float
    common: Float
    from_scatter: Float
    expanded: Float

    def told(self) -> tuple[Quantity | None, ...]:
        """With 95 % intervals, never closer than the surveys' errors allow."""
        by_scatter = self.expanded**2 * self.free + K95**2 * self.common
        least = _OF_STATED * self.stated
        by_surveys = K95**2 * (least + self.common)
        reach = np.sqrt(np.maximum(by_scatter, by_surveys))
        sd = np.sqrt(np.maximum(self.free, least) + self.common)
        return tuple(
            Quantity(v, u, v - r, v + r) if np.isfinite(v) and np.isfinite(r) else None
            for v, u, r in zip(
                self.value.tolist(), sd.tolist(), reach.tolist(), strict=True
            )
        )


def _rate(
    seen: SpellWear, scatter: Scatter, among: Bool, *, of_few: bool = False
) -> _Fitted:
    """The rate over some spells; of a few, out of line is what all spells say."""
    errors = seen.errors(scatter.share, among)
    x, y = errors.whitened(scatter.beyond * seen.column, seen.column, seen.wear)
    scale: Float | Scale = np.sqrt(scatter.multiple) if of_few else "proposal 2"
    fit = robust_fit(x[None], y, errors.told, scale=scale)
    pull = x / np.maximum(np.sum(x * x, axis=0), _TINY)
    return _fitted(seen, scatter, errors, value=fit.unknowns[0], pull=pull)


def _trend(seen: SpellWear, scatter: Scatter, kind: Int) -> _Fitted:
    """Slope of the rate against the running total; scatter is that about the slope."""
    errors = seen.errors(scatter.share)
    away = seen.total - (seen.total.mean() if seen.total.size else 0.0)
    moving = seen.column * away[:, None]
    extra = scatter.beyond * seen.column
    x, rising, y = errors.whitened(extra, seen.column, moving, seen.wear)
    fit = robust_fit(np.stack([x, rising]), y, errors.told)
    line = line_through(x, rising, fit.pulled, errors.told)
    from_middle = rising - line.middle * x
    left = fit.pulled - line.level * x - line.slope * from_middle
    own = np.where(errors.told.sum(axis=0) >= _TREND, line.freedom, 0.0)
    left = np.where(own > 0.0, left * np.sqrt(fit.loss), 0.0)
    multiple, reach = moderated(left, own, kind, line.level)
    about = replace(
        scatter, multiple=multiple, reach=np.where(own > 0.0, reach, np.nan)
    )
    pull = from_middle * line.slope_variance
    return _fitted(seen, about, errors, value=line.slope, pull=pull)


def _fitted(
    seen: SpellWear, scatter: Scatter, errors: SpellErrors, *, value: Float, pull: Float
) -> _Fitted:
    """An unknown with its variances; ``pull`` (n, s) is of whitened wear on it."""
    extra = scatter.beyond * seen.column
    (back,) = errors.whitened(extra, errors.common)
    as_told = errors.pull_as_told(extra, pull)
    whole = np.sum(pull**2, axis=0)
    from_scatter = np.sum(as_told**2 * seen.column, axis=0)
    return _Fitted(
        value=value,
        free=scatter.multiple * whole,
        stated=np.maximum(whole - scatter.beyond * from_scatter, 0.0),
        common=np.sum(pull * back, axis=0) ** 2,
        from_scatter=from_scatter,
        expanded=scatter.reach,
    )


def _of_one_heat(seen: SpellWear, rate: _Fitted) -> Float:
    """Standard deviation of the wear of one heat beyond what surveys explain, mm."""
    with np.errstate(divide="ignore", invalid="ignore"):
        beyond = np.maximum(rate.free - rate.stated, 0.0) / rate.from_scatter
        of_a_heat = np.sum(seen.exposure) / np.sum(seen.heats)
    return np.asarray(np.sqrt(beyond * of_a_heat))
