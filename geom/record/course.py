"""Where the deepest places of the wall lie now and what a heat takes of them.

Left alone, a panel's deepest place goes on from where the last survey has it by ratio
times mean rate, heat after heat.  The mean rate is the greater of long- and short-term
rate; the lesser is kept beside it, since it may be the true one.

All of it is drawn: walls and rates that the surveys allow, errors of panels hanging
together as the surveys say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.compare.panels import PanelState
from geom.quantity import K95, Quantity
from geom.record.deepest_wear import deepest_wear
from geom.record.heat_scatter import HeatScatter, heat_scatter
from geom.record.occasion import Occasion
from geom.record.series import WearSeries
from geom.record.settled import Settled, settled
from geom.record.steps import Step
from geom.record.wear_rate import Rates, wear_rates
from geom.units import Bool, Float, Int

StateOf = Callable[[Occasion], PanelState]

#: Draws of everything; the ends of an interval are then sure to about 0.06 of a
#: standard uncertainty.
DRAWS = 2000


@dataclass(frozen=True)
class Course:
    """Deepest places of p panels, and how they go on.

    Attributes
    ----------
    told : bool array (p,)
        Panels of which both place and rate are known; no other counts.
    depth : array (p,), mm
        Best estimate of cut-back at the deepest place now.
    depths : array (p, draws), mm
    rate : array (p,), mm a heat
        Best estimate of the governing rate.
    governing, lesser : array (p, draws), mm a heat
        The greater of long- and short-term rate, and the other.  In the lesser, panels
        do not err by themselves: the first of many that do passes sooner than is sure,
        and this is for the end that must not come too soon.
    scatter : array (p, draws), mm
        What a heat takes more or less than its mean.
    short : bool array (p,)
        Where the short-term rate governs.
    since : int array (p,)
        First heat that the long-term rate is told from; 0: the first of all.
    """

    told: Bool
    depth: Float
    depths: Float
    rate: Float
    governing: Float
    lesser: Float
    scatter: Float
    short: Bool
    since: Int


def left_alone(
    series: WearSeries,
    rates: Rates,
    last: Occasion,
    *,
    state_of: StateOf,
    steps: Sequence[Step],
    rng: np.random.Generator,
) -> Course:
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
    scatter = heat_scatter(series)
    gone = [one.heats for one in series.spells]
    rate_of, since = _long_term(series, rates, steps)
    long = _settled(series, rate_of, scatter, sum(gone))
    short = _settled(series, rates.short, scatter, sum(gone[-rates.short_over :]))
    greater = np.isfinite(short.value) & ~(long.value >= short.value)
    least = np.isfinite(short.value) & ~greater
    deepest = deepest_wear(series, state_of)
    ratio = deepest.draws(rng, DRAWS)
    rate = np.where(greater, short.value, long.value) * deepest.ratio
    state = state_of(last)
    told = np.isfinite(state.deepest) & np.isfinite(rate)
    by_mean = deepest.ratio[:, None]
    return Course(
        told=told,
        depth=state.deepest,
        depths=state.deepest[:, None] + errors_of(state, rng),
        rate=rate,
        governing=ratio * _drawn(short, long, greater, rng),
        lesser=by_mean * _drawn(short.shared, long.shared, least, rng),
        scatter=_strayed(scatter, deepest.ratio, deepest.stray * rate).draws(
            rng, DRAWS
        ),
        short=greater,
        since=since,
    )


def _drawn(
    short: Settled, long: Settled, which: Bool, rng: np.random.Generator
) -> Float:
    """Draws of the short-term rate where asked for, else of the long; (p, draws)."""
    value = np.where(which, short.value, long.value)
    spread = short.spread.where(which, long.spread)
    return np.asarray(value[:, None] + spread.draws(rng, DRAWS))


def _strayed(scatter: HeatScatter, ratio: Float, stray: Float) -> HeatScatter:
    """Scatter of the deepest place: that of the mean times ratio, and its own."""
    spread = scatter.spread.times(ratio)
    own = np.hypot(spread.own, np.maximum(np.nan_to_num(stray), 0.0))
    return replace(scatter, spread=replace(spread, own=own))


def _settled(
    series: WearSeries,
    quantities: Sequence[Quantity | None],
    scatter: HeatScatter,
    heats: int,
) -> Settled:
    """Rates of panels, no better known than so many heats let them be."""
    found = settled(*_told(series, quantities), series.pieces)
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
    pieces = series.pieces
    panel = list(pieces.of_kind("panel"))
    found = list(rates.long)
    since = np.zeros(len(panel), dtype=np.int64)
    for step in sorted(steps, key=lambda one: one.first.end.place):
        later = wear_rates(_from(series, step), rates.exposure).long
        inside = step.inside(pieces)
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
    parts = ("start", "end", "start_variance", "end_variance")
    spells = tuple(s for s, k in zip(series.spells, kept, strict=True) if k)
    return replace(
        series, spells=spells, **{name: getattr(series, name)[kept] for name in parts}
    )


def errors_of(state: PanelState, rng: np.random.Generator) -> Float:
    """Draws of the errors of the deepest places; (p, draws), mm.

    They hang together as those of their panels' means do.
    """
    sd = np.maximum(np.nan_to_num(state.sd), 1e-9)
    alike = state.covariance / sd[:, None] / sd[None, :]
    np.fill_diagonal(alike, 1.0)
    strength, axes = np.linalg.eigh(alike)
    root = axes * np.sqrt(np.maximum(strength, 0.0))
    chance = root @ rng.standard_normal((sd.size, DRAWS))
    return np.asarray(np.nan_to_num(state.deepest_sd)[:, None] * chance)
