"""Where every part of the wall lies now and what a heat takes of it.

Left alone, a part of a panel goes on from where the last survey has it by the panel's
mean rate and what the part wears beyond that, heat after heat.  The mean rate is the
greater of long- and short-term rate; the lesser is kept beside it, since it may be the
true one.

All of it is drawn: walls and rates that the surveys allow, errors of panels hanging
together as the surveys say.

Where repairs leave the deepest places, and how that drifts from repair to repair.

A repair puts the wall back about as the one before did: a little deeper here, a little
less there.  What is left after every repair is laid a straight line through, panel by
panel, over the heats; it goes on as that line does, each repair as far off it as
repairs have been.  A heat goes deeper than that by what it wears, which the forecast of
the wall left alone watches.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.compare.panels import PanelState
from geom.quantity import K95, Quantity
from geom.record.changepoints.steps import Step
from geom.record.forecast.smoothing import ShrunkRates, shrink_rates
from geom.record.forecast.subpanels import SubpanelWear, subpanel_wear
from geom.record.forecast.variance_components import (
    HeatVariance,
    heat_variance,
    variance_components,
)
from geom.record.regions import Regions
from geom.record.store.occasion import Occasion
from geom.record.wear.rates import Rates, wear_rates
from geom.record.wear.series import WearSeries
from geom.stats.lines import UNKNOWNS, StraightLine, fit_lines
from geom.units import Bool, Float, Int

StateOf = Callable[[Occasion], PanelState]

#: Draws of everything; the ends of an interval are then sure to about 0.06 of a
#: standard uncertainty.
DRAWS = 2000


#: By how much parts can wear more than they did on average, as panels do.
_HARDER = 0.5, 2.0
#: Mean wear this many standard uncertainties from zero tells how much harder.
_CLEAR = 3.0
#: How a heat's scatter of a part stands to that of its panel, at most; rates of less
#: than so many mm a heat do not tell.
_MOST, _SLOW = 6.0, 0.1
#: Share of what a part errs by beyond its panel's mean that the panel's parts share:
#: errors reach about as far as a panel does.  Our own choice, no source.
_TOGETHER = 0.5


@dataclass(frozen=True)
class Trajectories:
    """Places of the wall of which both depth and rate are known, and how they go on.

    Attributes
    ----------
    panel : int array (q,)
        That each place lies in.
    depth : array (q,), mm
        Best estimate of cut-back now.
    depths : array (q, draws), mm
    rate : array (q,), mm a heat
        Best estimate of the governing rate.
    governing, lesser : array (q, draws), mm a heat
        The greater of long- and short-term rate, and the other.  In the lesser, places
        do not err by themselves: the first of many that do passes sooner than is sure,
        and this is for the end that must not come too soon.
    scatter : array (q, draws), mm
        What a heat takes more or less than its mean.
    spot_after, spot_depth : array (q, draws), heats and mm
        When the next spot falls out, inf for never, and how deep; these and scatter
        may be (1, 1).
    short : bool array (q,)
        Where the short-term rate governs.
    since : int array (q,)
        First heat that the long-term rate is told from; 0: the first of all.
    """

    panel: Int
    depth: Float
    depths: Float
    rate: Float
    governing: Float
    lesser: Float
    scatter: Float
    spot_after: Float
    spot_depth: Float
    short: Bool
    since: Int


def simulate_unrepaired(
    series: WearSeries,
    rates: Rates,
    last: Occasion,
    *,
    state_of: StateOf,
    steps: Sequence[Step],
    rng: np.random.Generator,
) -> Trajectories:
    """The wall as the last survey has it, not repaired from then on.

    Parameters
    ----------
    series : WearSeries
        Of one campaign.
    rates : Rates
        Per heat.
    last : Occasion
    state_of : callable
        The survey of an occasion, panel by panel.
    steps : sequence of Step
    rng : Generator
    """
    scatter = heat_variance(series)
    gone = [one.heats for one in series.spells]
    rate_of, since = _long_term(series, rates, steps)
    long = _settled(series, rate_of, scatter, sum(gone))
    short = _settled(series, rates.short, scatter, sum(gone[-rates.short_over :]))
    greater = np.isfinite(short.value) & ~(long.value >= short.value)
    least = np.isfinite(short.value) & ~greater
    governing = np.where(greater, short.value, long.value)
    lesser = np.where(least, short.value, long.value)
    parts = subpanel_wear(series, state_of)
    state = state_of(last)
    extra, depth = parts.extra.ravel(), state.part.ravel()
    panel = np.repeat(np.arange(governing.size), parts.extra.shape[1])
    told = np.isfinite(depth) & np.isfinite(extra) & np.isfinite(governing[panel])
    panel, extra = panel[told], extra[told]
    harder, milder = (_harder(parts, rate)[panel] for rate in (governing, lesser))
    rate = governing[panel] + harder * extra
    quick = (harder * extra)[:, None] + harder[:, None] * _errors(parts, told, rng)
    quick += _drawn(short, long, greater, rng)[panel]
    slow = _drawn(short.shared, long.shared, least, rng)[panel]
    slow += (milder * extra)[:, None]
    after, spot = parts.spots.draws(rng, (governing.size, DRAWS))
    return Trajectories(
        panel=panel,
        depth=depth[told],
        depths=_depths(state, told, rng),
        rate=rate,
        governing=quick,
        lesser=slow,
        scatter=_strayed(scatter, governing, rate, panel, parts.stray, rng),
        spot_after=after[panel],
        spot_depth=spot[panel],
        short=greater[panel],
        since=since[panel],
    )


def _errors(parts: SubpanelWear, told: Bool, rng: np.random.Generator) -> Float:
    """Draws of the errors of what parts wear beyond their panels; (q, draws)."""
    own, back = parts.sd.ravel()[told], parts.back.ravel()[told]
    alone = np.hypot(own, np.sqrt(1.0 - _TOGETHER) * back)
    drawn = alone[:, None] * rng.standard_normal((own.size, DRAWS))
    shared = rng.standard_normal((parts.mean.size, DRAWS))
    panel = np.flatnonzero(told) // parts.sd.shape[1]
    return np.asarray(drawn + np.sqrt(_TOGETHER) * back[:, None] * shared[panel])


def _harder(parts: SubpanelWear, rate: Float) -> Float:
    """How much more than on average panels wear at a rate, and so their parts; (p,)."""
    mean, sd = np.nan_to_num(parts.mean), np.nan_to_num(parts.mean_sd)
    clear = mean > np.maximum(_CLEAR * sd, _SLOW)
    harder = np.divide(rate, mean, out=np.ones_like(rate), where=clear)
    return np.asarray(np.clip(np.nan_to_num(harder, nan=1.0), *_HARDER))


def _drawn(
    short: ShrunkRates, long: ShrunkRates, which: Bool, rng: np.random.Generator
) -> Float:
    """Draws of the short-term rate where asked for, else of the long; (p, draws)."""
    value = np.where(which, short.value, long.value)
    spread = short.spread.where(which, long.spread)
    return np.asarray(value[:, None] + spread.draws(rng, DRAWS))


def _strayed(  # noqa: PLR0917
    scatter: HeatVariance,
    mean: Float,
    rate: Float,
    panel: Int,
    stray: float,
    rng: np.random.Generator,
) -> Float:
    """Draws of the scatter of parts: their panel's, in proportion, and their own.

    Parameters
    ----------
    scatter : HeatScatter
    mean : array (p,), mm a heat
        Of panels.
    rate : array (q,), mm a heat
        Of parts.
    panel : int array (q,)
    stray : float
    rng : Generator
    """
    part = np.clip(rate / np.maximum(mean[panel], _SLOW), 0.0, _MOST)
    drawn = part[:, None] * scatter.draws(rng, DRAWS)[panel]
    if stray > 0.0:
        own = stray * np.maximum(rate, 0.0)
        drawn += own[:, None] * rng.standard_normal(drawn.shape)
    return np.asarray(drawn)


def _settled(
    series: WearSeries,
    quantities: Sequence[Quantity | None],
    scatter: HeatVariance,
    heats: int,
) -> ShrunkRates:
    """Rates of panels, no better known than so many heats let them be."""
    found = shrink_rates(*_told(series, quantities), series.regions)
    over = float(np.sqrt(max(heats, 1)))
    spread = replace(
        found.spread,
        wall=np.maximum(found.spread.wall, scatter.spread.wall / over),
        level=np.maximum(found.spread.level, scatter.spread.level / over),
    )
    return replace(found, spread=spread)


def _told(
    series: WearSeries, quantities: Sequence[Quantity | None]
) -> tuple[Float, Float]:
    """Value and sd of every piece; NaN where not told.

    The sd is that of the normal variable with an interval as wide.  Of one spell alone
    there is no interval: then its wear counts with the errors of its surveys, and what
    heats differ by comes in with the least that is held of it.
    """
    rows = [
        (q.value, (q.high95 - q.low95) / (2.0 * K95)) if q else (np.nan, np.nan)
        for q in quantities
    ]
    value, sd = np.array(rows, dtype=np.float64).T
    if len(series.spells) == 1:
        heats = max(series.spells[0].heats, 1)
        value, sd = series.wear[0] / heats, np.sqrt(series.variance[0]) / heats
    return value, sd


def _long_term(
    series: WearSeries, rates: Rates, steps: Sequence[Step]
) -> tuple[tuple[Quantity | None, ...], Int]:
    """Long-term rates, those of pieces that a step touched counted since then.

    Returns
    -------
    rates : tuple of Quantity or None, one a piece
    since : int array (p,)
        First heat of the wear that counts, one a panel; 0 where all counts.
    """
    regions = series.regions
    panel = list(regions.of_kind("panel"))
    found = list(rates.long)
    since = np.zeros(len(panel), dtype=np.int64)
    for step in sorted(steps, key=lambda one: one.first.end.place):
        later = wear_rates(_from(series, step), rates.exposure).long
        inside = step.inside(regions)
        inside &= np.array([one is not None for one in later])
        for i in np.flatnonzero(inside):
            found[i] = later[i]
        since[inside[panel]] = step.first.start.heat + 1
    return tuple(found), since


def _from(series: WearSeries, step: Step) -> WearSeries:
    """The spells from a step on."""
    first = series.spells.index(step.first)
    kept = np.arange(len(series.spells)) >= first
    return series_of(series, kept)


def series_of(series: WearSeries, kept: Bool) -> WearSeries:
    """Some of the spells."""
    parts = ("start", "end", "start_variance", "end_variance", "sides")
    spells = tuple(s for s, k in zip(series.spells, kept, strict=True) if k)
    return replace(
        series, spells=spells, **{name: getattr(series, name)[kept] for name in parts}
    )


def _depths(state: PanelState, told: Bool, rng: np.random.Generator) -> Float:
    """Draws of cut-back of the parts that are told; (q, draws), mm.

    As much of their errors as the panels' means err by hangs together as those means
    do; of the rest, the parts of a panel share some.
    """
    sd = np.maximum(np.nan_to_num(state.sd), 1e-9)
    alike = state.covariance / sd[:, None] / sd[None, :]
    np.fill_diagonal(alike, 1.0)
    strength, axes = np.linalg.eigh(alike)
    root = axes * np.sqrt(np.maximum(strength, 0.0))
    panel = np.flatnonzero(told) // state.part.shape[1]
    part = state.part_sd.ravel()[told]
    shared = np.minimum(sd[panel], part)
    own = np.sqrt(part**2 - shared**2)
    common, beside = rng.standard_normal((2, sd.size, DRAWS))
    drawn = np.sqrt(1.0 - _TOGETHER) * rng.standard_normal((part.size, DRAWS))
    drawn += np.sqrt(_TOGETHER) * beside[panel]
    drawn *= own[:, None]
    drawn += shared[:, None] * (root @ common)[panel]
    return np.asarray(state.part.ravel()[told][:, None] + drawn)


#: Fewest surveys after a repair that a drift is told from.
FEWEST = 4


@dataclass(frozen=True)
class _Lines:
    """Straight lines through every piece; s pieces, n repairs.

    Attributes
    ----------
    line : StraightLine
    unit : array (s,), mm2
        Variance of what one repair is off its line, pooled over pieces of a kind.
    wide : float
        How much wider than a normal interval one from so few is.
    """

    line: StraightLine
    unit: Float
    wide: float


def simulate_repaired(
    series: WearSeries,
    last: Occasion,
    *,
    state_of: StateOf,
    rng: np.random.Generator,
) -> Trajectories | None:
    """The wall as repairs leave it, going on as repairs went so far.

    Parameters
    ----------
    series : WearSeries
        Of one campaign.
    last : Occasion
    state_of : callable
        The survey of an occasion, panel by panel.
    rng : Generator

    Returns
    -------
    Course or None
        None with fewer than `FEWEST` surveys after a repair.
    """
    regions = series.regions
    left = {one.start for one in series.spells} | {last}
    left = {one for one in left if one.stage == "after repair"}
    repairs = sorted(left, key=lambda one: one.place)
    if len(repairs) < FEWEST:
        return None
    states = [state_of(one) for one in repairs]
    heat = np.array([one.heat for one in repairs], dtype=np.float64)
    depth = np.stack([one.deepest for one in states])
    errors = np.stack([one.deepest_sd**2 for one in states])
    lines = _lines(heat, depth, regions)
    panel = list(regions.of_kind("panel"))
    line, unit = lines.line, lines.unit
    drift = shrink_rates(
        line.slope,
        lines.wide * np.sqrt(unit * line.slope_variance),
        regions,
        by_share=False,
    )
    middle = shrink_rates(
        line.level,
        lines.wide * np.sqrt(unit * line.level_variance),
        regions,
        by_share=False,
    )
    beyond = unit.copy()
    told = np.isfinite(errors)
    mean = np.nansum(errors, axis=0) / np.maximum(told.sum(axis=0), 1)
    beyond[panel] = np.maximum(beyond[panel] - mean, 0.0)
    off = variance_components(np.sqrt(beyond), regions)
    gone = last.heat - line.middle[panel]
    drifts, slower = (
        one.value[:, None] + one.spread.draws(rng, DRAWS)
        for one in (drift, drift.shared)
    )
    here = middle.value[:, None] + middle.spread.draws(rng, DRAWS)
    here += off.draws(rng, DRAWS)
    depth_now = middle.value + drift.value * gone
    told = np.flatnonzero(np.isfinite(depth_now))
    depths = here + drifts * gone[:, None]
    return Trajectories(
        panel=told,
        depth=depth_now[told],
        depths=depths[told],
        rate=drift.value[told],
        governing=drifts[told],
        lesser=slower[told],
        scatter=np.zeros((1, 1)),
        spot_after=np.full((1, 1), np.inf),
        spot_depth=np.zeros((1, 1)),
        short=np.zeros(told.size, dtype=np.bool_),
        since=np.zeros(told.size, dtype=np.int64),
    )


def _lines(heat: Float, depth: Float, regions: Regions) -> _Lines:
    """Lines through the deepest places of panels, and through their means over pieces.

    A panel counts where every repair tells it.
    """
    from scipy.special import stdtrit

    told = np.isfinite(depth).all(axis=0)
    member = regions.member * told
    share = member / np.maximum(member.sum(axis=1, keepdims=True), 1.0)
    some = member.sum(axis=1) > 0.0
    mean = np.where(some, np.where(told, depth, 0.0) @ share.T, np.nan)
    line = fit_lines(heat, mean, variance=np.ones_like(mean))
    freedom = heat.size - UNKNOWNS
    unit = np.full(some.size, np.nan)
    for kind in {one.kind for one in regions.regions}:
        its = [i for i in regions.of_kind(kind) if some[i]]
        unit[its] = line.chi_square[its].mean() / freedom if its else np.nan
    wide = float(stdtrit(freedom, 0.975)) / K95
    return _Lines(line, unit, wide)
