"""How fast every piece of wall wears: over the campaign, of late, and the trend.

Wear in a spell is the rate times what the spell saw (heats, hours or tonnes), plus
scatter from heat to heat, plus the errors of both surveys.  Rates are fitted by
generalised least squares, robustly, and their intervals hold the truth 95 times in 100
for few spells as for many: see docs/record.md.

How wear scatters from heat to heat, beyond what the errors of surveys explain.

References
----------
Paule and Mandel (1982), Consensus values and weighting factors, J. Res. Natl. Bur.
Stand. 87, 377-385: scatter beyond stated errors, from the sum of squares that is due.

Survey error of a mean rate that comes back in every heat.

The same stations read a wall that wears much the same every heat, so part of what a
survey errs by beside and between its readings is the same every time.  It cancels in
what changes, and stays in any mean, however many heats that is of.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geom.quantity import K95, Quantity
from geom.record.regions import ALL_ROUND, Region, Regions
from geom.record.wear.series import WearSeries
from geom.record.wear.spells import Exposure
from geom.record.wear.survey_errors import SpellErrors, SpellWear, spell_wear
from geom.stats.lines import fit_whitened_lines
from geom.stats.robust import robust_fit
from geom.stats.shrinkage import moderated_variance, variance_floor
from geom.units import Bool, Float, Int

#: Correlation of the errors of any two surveys of a worn wall, where a piece wears as
#: its kind does on average.  From whole campaigns on invented walls (scripts/bench),
#: read at 48 or 120 stations after each of ten heats: of the variance that surveys of
#: the worn wall state, 0.18 to 0.23 came back every heat in sides and 0.13 to 0.24 in
#: panels.  Our own choice, no source.
SYSTEMATIC_SHARE = 0.2
_OF_PANELS = 0.15
#: In what goes all round it was 0.03 to 0.04 with 120 stations and 0.13 to 0.25 with
#: 48, which miss more of what lasts.  So it grows with the stated variance over the
#: square of the wear: `SYSTEMATIC_SHARE` where that is `_POOR`, never less than this.
_POOR, _ALL_ROUND = 0.06, 0.05
#: It goes with the rate, because what is missed every heat is part of what wears every
#: heat; from here to there, as a part of what it is on average.
_SLOW, _FAST = 0.3, 4.0
_HALVINGS, _ROUNDS, _TINY = 40, 3, 1e-300


@dataclass(frozen=True)
class ExcessVariance:
    """What is known of scatter; s pieces.

    Attributes
    ----------
    beyond : array (s,), mm2 per exposure
        Variance of wear beyond the errors of surveys, as found for the piece's kind.
    share : array (s,)
        Correlation of the errors of any two surveys of the worn wall.
    multiple : array (s,)
        How many times that variance the piece's own is, moderated; NaN where nothing is
        known.
    reach : array (s,)
        Half-width of a 95 % interval from scatter over its standard deviation.
    """

    beyond: Float
    share: Float
    multiple: Float
    reach: Float


def excess_variance(seen: SpellWear, kind: Int) -> ExcessVariance:
    """Scatter of wear about one rate, robustly.

    Parameters
    ----------
    seen : SpellWear
    kind : int array (s,)
        Which pieces are of a kind, numbered from 0.
    """
    share = np.full(kind.size, SYSTEMATIC_SHARE)
    pulled, loss = seen.wear, np.ones(kind.size)
    for _ in range(_ROUNDS):
        errors = seen.errors(share)
        beyond = _beyond(seen, pulled, errors, kind)
        pulled, loss = _pulled(seen, errors, beyond)
        x, y = errors.whitened(beyond * seen.column, seen.column, pulled)
        multiple, reach = moderated_variance(
            _left(x, y) * np.sqrt(loss), _freedom(seen), kind, _slope(x, y)
        )
        used, share = share, _share(_slope(x, y), seen, kind)
    return ExcessVariance(beyond, used, multiple, reach)


def _share(rate: Float, seen: SpellWear, kind: Int) -> Float:
    """How errors of surveys of the worn wall go together, with the rate; (s,)."""
    kinds = int(kind.max(initial=-1)) + 1
    told = seen.told.any(axis=0)
    fast = np.where(told, np.abs(rate), 0.0)
    count = np.maximum(np.bincount(kind, told, kinds), 1.0)
    usual = np.maximum(np.bincount(kind, fast, kinds) / count, _TINY)
    like = np.clip(fast / usual[kind], _SLOW, _FAST)
    return np.asarray(_on_average(fast, seen, kind) * like)


def _on_average(fast: Float, seen: SpellWear, kind: Int) -> Float:
    """The same where a piece wears as its kind does on average; (s,)."""
    kinds = int(kind.max(initial=-1)) + 1
    times = np.maximum(seen.told.sum(axis=0), 1)
    stated = np.where(seen.told, seen.end_variance, 0.0).sum(axis=0) / times
    wear = fast * (seen.exposure.mean() if seen.exposure.size else 0.0)
    square = np.maximum(np.bincount(kind, wear**2, kinds), _TINY)
    poor = np.bincount(kind, np.where(fast > 0.0, stated, 0.0), kinds) / square
    all_round = np.clip(
        SYSTEMATIC_SHARE * poor[kind] / _POOR, _ALL_ROUND, SYSTEMATIC_SHARE
    )
    sided = np.where(np.array(seen.kinds) == "panel", _OF_PANELS, SYSTEMATIC_SHARE)
    return np.where(np.isin(seen.kinds, ALL_ROUND), all_round, sided)


def _beyond(seen: SpellWear, wear: Float, errors: SpellErrors, kind: Int) -> Float:
    """Scatter beyond stated errors, one for each kind (Paule and Mandel); (s,).

    The most that it is but for chance: weights that allow for too much scatter cost a
    little, those that allow for too little make intervals too narrow.
    """
    freedom = _freedom(seen)
    kinds = int(kind.max(initial=-1)) + 1
    x, y = errors.whitened(np.zeros_like(wear), seen.column, wear)
    due = np.bincount(kind, freedom * variance_floor(_left(x, y), freedom, kind), kinds)

    def excess(beyond: Float) -> Float:
        x, y = errors.whitened(beyond[kind] * seen.column, seen.column, wear)
        square = np.sum(_left(x, y) ** 2, axis=0)
        square = np.where(freedom > 0.0, square, 0.0)
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


def _pulled(seen: SpellWear, errors: SpellErrors, beyond: Float) -> tuple[Float, Float]:
    """Wear with spells out of line pulled in, and what that loses; (n, s) and (s,)."""
    extra = beyond * seen.column
    x, y = errors.whitened(extra, seen.column, seen.wear)
    fit = robust_fit(x[None], y, seen.told)
    return errors.coloured(extra, fit.winsorised), fit.variance_factor


def _slope(x: Float, y: Float) -> Float:
    """Least squares of one unknown; (s,)."""
    return np.asarray(np.sum(x * y, axis=0) / np.maximum(np.sum(x * x, axis=0), _TINY))


def _left(x: Float, y: Float) -> Float:
    """What it leaves over; (n, s)."""
    return np.asarray(y - x * _slope(x, y))


def _freedom(seen: SpellWear) -> Float:
    return np.asarray(np.maximum(seen.told.sum(axis=0) - 1.0, 0.0))


#: Spells that the short rate is taken over, the last ones; our own choice: few enough
#: to follow a change, enough that one heat does not decide.
SHORT_OVER = 3
#: A trend takes this many spells: a line through two has nothing to be judged by.
_TREND = 3
#: However little wear scatters, intervals allow for this part of the variance that the
#: surveys state.  In whole campaigns on invented walls (scripts/bench) errors of wear
#: had a third to four fifths of it; our own choice, no source.
_OF_STATED = 0.35
_TINY_RATE = 1e-300


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
    scatter = excess_variance(seen, kind)
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
    seen: SpellWear, scatter: ExcessVariance, among: Bool, *, of_few: bool = False
) -> _Fitted:
    """The rate over some spells; of a few, out of line is what all spells say."""
    errors = seen.errors(scatter.share, among)
    x, y = errors.whitened(scatter.beyond * seen.column, seen.column, seen.wear)
    scale = np.sqrt(scatter.multiple) if of_few else None
    fit = robust_fit(x[None], y, errors.told, scale=scale)
    pull = x / np.maximum(np.sum(x * x, axis=0), _TINY_RATE)
    return _fitted(seen, scatter, errors, value=fit.unknowns[0], pull=pull)


def _trend(seen: SpellWear, scatter: ExcessVariance, kind: Int) -> _Fitted:
    """Slope of the rate against the running total; scatter is that about the slope."""
    errors = seen.errors(scatter.share)
    away = seen.total - (seen.total.mean() if seen.total.size else 0.0)
    moving = seen.column * away[:, None]
    extra = scatter.beyond * seen.column
    x, rising, y = errors.whitened(extra, seen.column, moving, seen.wear)
    fit = robust_fit(np.stack([x, rising]), y, errors.told)
    line = fit_whitened_lines(x, rising, fit.winsorised, errors.told)
    from_middle = rising - line.middle * x
    left = fit.winsorised - line.level * x - line.slope * from_middle
    own = np.where(errors.told.sum(axis=0) >= _TREND, line.dof, 0.0)
    left = np.where(own > 0.0, left * np.sqrt(fit.variance_factor), 0.0)
    multiple, reach = moderated_variance(left, own, kind, line.level)
    about = replace(
        scatter, multiple=multiple, reach=np.where(own > 0.0, reach, np.nan)
    )
    pull = from_middle * line.slope_variance
    return _fitted(seen, about, errors, value=line.slope, pull=pull)


def _fitted(
    seen: SpellWear,
    scatter: ExcessVariance,
    errors: SpellErrors,
    *,
    value: Float,
    pull: Float,
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


def systematic_variance(region: Region, regions: Regions, worn: Float) -> float:
    """Variance of the mean wear of a piece in a heat that no heats average out, mm2.

    Parameters
    ----------
    piece : Piece
        One of the record's, or neighbouring ones together.
    pieces : Pieces
    worn : array (n, s), mm2
        Stated variance of every piece in every spell, of the survey of the worn wall
        alone: a wall put back is much the same everywhere, and little of what its
        survey misses comes back.  NaN where not surveyed.
    """
    known = np.isfinite(worn)
    total = np.where(known, worn, 0.0).sum(axis=0)
    usual = np.where(
        known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), np.nan
    )
    if region in regions.regions:
        own = float(usual[regions.regions.index(region)])
        if np.isfinite(own):
            return SYSTEMATIC_SHARE * own
    return SYSTEMATIC_SHARE * _at_most(region, regions, usual)


def _at_most(region: Region, regions: Regions, usual: Float) -> float:
    """Stated variance of neighbouring pieces together, bounded from that of each.

    To what the ring of their rows errs by comes what sides err by beside that, which
    hangs together up the wall as rings do.
    """
    levels = list(regions.of_kind("level"))
    middle = [_middle(regions.regions[i]) for i in levels]
    rows = [
        level
        for level, height in zip(levels, middle, strict=True)
        if region.height_from < height < region.height_to
    ]
    inside = regions.member[rows].sum(axis=0) > 0.0
    single = _mean(usual[rows])
    ring = _of_ring(regions, usual, inside)
    together = ring if np.isfinite(ring) else single
    if region.kind in ALL_ROUND:
        return together
    panels = np.array(regions.of_kind("panel"))[inside]
    beside = max(_mean(usual[panels]) - single, 0.0)
    alike = min(together / single, 1.0) if single > 0.0 else 1.0
    return together + alike * beside


def _middle(region: Region) -> float:
    return 0.5 * (region.height_from + region.height_to)


def _of_ring(regions: Regions, usual: Float, inside: Bool) -> float:
    """Of the piece all round that is just those panels; NaN where none is told."""
    for kind in ALL_ROUND:
        for i in regions.of_kind(kind):
            if np.array_equal(regions.member[i] > 0.0, inside):
                return float(usual[i])
    return float("nan")


def _mean(values: Float) -> float:
    """Of what is known; 0 where nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else 0.0
