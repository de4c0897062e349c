"""Monte-Carlo trajectories of depth: where the wall is now and what a heat takes of it.

Unrepaired, a part of a panel goes on from where the last survey has it by the panel's
mean rate and what the part wears beyond that, heat after heat.  The mean rate is the
greater of long- and short-term rate; the lesser is kept next to it, since it may be the
true one.  Walls and rates are drawn from what the surveys allow, errors of panels
correlated as the surveys say.

Repaired as so far, a repair puts the wall back about as the one before did: a little
deeper here, a little less there.  A straight line is laid over the heats through what
is left after every repair, panel by panel; it goes on as that line does, each repair as
far off it as repairs have been.  A heat goes deeper than that by what it wears, which
the forecast of the unrepaired wall watches.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from geom.compare.panels import PanelState
from geom.quantity import K95, Quantity, student_k95
from geom.record.assumptions import ASSUMED
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
from geom.record.wear.rates import Rates, long_rates
from geom.record.wear.series import WearSeries
from geom.stats.normal import eigen_root, joint_normal
from geom.stats.regression import UNKNOWNS, StraightLine, fit_lines
from geom.units import Bool, Float, Int

#: The survey of an occasion, panel by panel.
StateOf = Callable[[Occasion], PanelState]

#: Draws of everything; the ends of an interval are then sure to about 0.06 of a
#: standard uncertainty.
DRAWS = 2000


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
    spall_after, spall_depth : array (p, draws), heats and mm
        When the next spall of each panel falls out, inf for never, and how deep; these
        and scatter may be (1, 1).
    short : bool array (q,)
        Where the short-term rate governs.
    since : int array (q,)
        First heat that the long-term rate counts from; 0: the first of all.
    """

    panel: Int
    depth: Float
    depths: Float
    rate: Float
    governing: Float
    lesser: Float
    scatter: Float
    spall_after: Float
    spall_depth: Float
    short: Bool
    since: Int

    def of_panel(self, places: slice) -> Trajectories:
        """Those of some places of one panel; its spalls once for all of them."""
        panel = self.panel[places][:1]
        rows = {"spall_after": panel, "spall_depth": panel}
        parts = {
            part.name: array if len(array) == 1 else array[rows.get(part.name, places)]
            for part in fields(self)
            for array in [getattr(self, part.name)]
        }
        return Trajectories(**parts)


def _runs(panel: Int) -> list[tuple[int, slice]]:
    """Places of each panel, which stand together: its number, and where they are."""
    first = np.flatnonzero(np.diff(panel, prepend=-1))
    ends = [*first[1:].tolist(), panel.size]
    return [
        (int(panel[start]), slice(start, end))
        for start, end in zip(first.tolist(), ends, strict=True)
    ]


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
    """
    scatter = heat_variance(series)
    heats = [spell.heats for spell in series.spells]
    rate_of, since = _long_term(series, rates, steps)
    long = _shrunk(series, rate_of, scatter, sum(heats))
    short = _shrunk(series, rates.short, scatter, sum(heats[-rates.short_over :]))
    greater = np.isfinite(short.value) & ~(long.value >= short.value)
    least = np.isfinite(short.value) & ~greater
    governing = np.where(greater, short.value, long.value)
    lesser = np.where(least, short.value, long.value)
    parts = subpanel_wear(series, state_of)
    state = state_of(last)
    extra, depth = parts.extra.ravel(), state.part.ravel()
    panel = np.repeat(np.arange(governing.size), parts.extra.shape[1])
    valid = np.isfinite(depth) & np.isfinite(extra) & np.isfinite(governing[panel])
    panel, extra = panel[valid], extra[valid]
    ratio, lesser_ratio = (
        _speed_ratio(parts, rate)[panel] for rate in (governing, lesser)
    )
    rate = governing[panel] + ratio * extra
    quick = _part_errors(parts, valid, rng)
    of_panels = _rate_draws(short, long, greater, rng)
    slow = np.empty_like(quick)
    slower = _rate_draws(short.shared, long.shared, least, rng)
    for p, run in _runs(panel):  # panel by panel, whose draws stay in the cache
        quick[run] *= ratio[run, None]
        quick[run] += (ratio[run] * extra[run])[:, None]
        quick[run] += of_panels[p]
        slow[run] = slower[p] + (lesser_ratio[run] * extra[run])[:, None]
    after, spall = parts.spalls.draws(rng, (governing.size, DRAWS))
    return Trajectories(
        panel=panel,
        depth=depth[valid],
        depths=_depth_draws(state, valid, rng),
        rate=rate,
        governing=quick,
        lesser=slow,
        scatter=_heat_scatter(scatter, governing, rate, panel, parts.stray, rng),
        spall_after=after,
        spall_depth=spall,
        short=greater[panel],
        since=since[panel],
    )


def _part_errors(parts: SubpanelWear, valid: Bool, rng: np.random.Generator) -> Float:
    """Draws of the errors of what parts wear beyond their panels; (q, draws)."""
    own, systematic = parts.sd.ravel()[valid], parts.systematic.ravel()[valid]
    alone = np.hypot(own, np.sqrt(1.0 - ASSUMED.common_error_share) * systematic)
    drawn = rng.standard_normal((own.size, DRAWS))
    shared = rng.standard_normal((parts.mean.size, DRAWS))
    together = np.sqrt(ASSUMED.common_error_share) * systematic
    for p, run in _runs(np.flatnonzero(valid) // parts.sd.shape[1]):
        drawn[run] *= alone[run, None]
        drawn[run] += together[run, None] * shared[p]
    return np.asarray(drawn)


def _speed_ratio(parts: SubpanelWear, rate: Float) -> Float:
    """Rate of panels over their mean wear, and so of their parts; (p,)."""
    mean, sd = np.nan_to_num(parts.mean), np.nan_to_num(parts.mean_sd)
    clear = mean > np.maximum(ASSUMED.clear_rate * sd, ASSUMED.slow_part)
    ratio = np.divide(rate, mean, out=np.ones_like(rate), where=clear)
    return np.asarray(np.clip(np.nan_to_num(ratio, nan=1.0), *ASSUMED.part_speed))


def _rate_draws(
    short: ShrunkRates, long: ShrunkRates, which: Bool, rng: np.random.Generator
) -> Float:
    """Draws of the short-term rate where asked for, else of the long; (p, draws)."""
    value = np.where(which, short.value, long.value)
    errors = short.errors.where(which, long.errors)
    return np.asarray(value[:, None] + errors.draws(rng, DRAWS))


def _heat_scatter(  # noqa: PLR0917
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
    mean : array (p,), mm a heat
        Of panels.
    rate : array (q,), mm a heat
        Of parts.
    panel : int array (q,)
    """
    part = np.clip(
        rate / np.maximum(mean[panel], ASSUMED.slow_part), 0.0, ASSUMED.drift_ratio
    )
    of_panels = scatter.draws(rng, DRAWS)
    if stray > 0.0:
        drawn = rng.standard_normal((panel.size, DRAWS))
    else:
        drawn = np.zeros((panel.size, DRAWS))
    own = stray * np.maximum(rate, 0.0)
    for p, run in _runs(panel):
        drawn[run] *= own[run, None]
        drawn[run] += part[run, None] * of_panels[p]
    return np.asarray(drawn)


def _shrunk(
    series: WearSeries,
    quantities: Sequence[Quantity | None],
    scatter: HeatVariance,
    heats: int,
) -> ShrunkRates:
    """Rates of panels, no better known than so many heats let them be."""
    found = shrink_rates(*_value_and_sd(series, quantities), series.regions)
    over = float(np.sqrt(max(heats, 1)))
    errors = replace(
        found.errors,
        wall=np.maximum(found.errors.wall, scatter.components.wall / over),
        level=np.maximum(found.errors.level, scatter.components.level / over),
    )
    return replace(found, errors=errors)


def _value_and_sd(
    series: WearSeries, quantities: Sequence[Quantity | None]
) -> tuple[Float, Float]:
    """Value and sd of every piece; NaN where not known.

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
    panel = regions.of_kind("panel")
    found = list(rates.long)
    spell = np.arange(len(series.spells))
    since = np.zeros(len(panel), dtype=np.int64)
    for step in sorted(steps, key=lambda step: step.first.end.place):
        first = series.spells.index(step.first)
        later = long_rates(series.subset(spell >= first), rates.exposure)
        inside = step.inside(regions)
        inside &= np.array([rate is not None for rate in later])
        for i in np.flatnonzero(inside):
            found[i] = later[i]
        since[inside[panel]] = step.first.first_heat
    return tuple(found), since


def _depth_draws(state: PanelState, valid: Bool, rng: np.random.Generator) -> Float:
    """Draws of cut-back of the parts that are surveyed; (q, draws), mm.

    As much of their errors as the panels' means err by hangs together as those means
    do; of the rest, the parts of a panel share some.
    """
    sd = np.maximum(np.nan_to_num(state.sd), 1e-9)
    correlation = state.covariance / sd[:, None] / sd[None, :]
    np.fill_diagonal(correlation, 1.0)
    panel = np.flatnonzero(valid) // state.part.shape[1]
    part = state.part_sd.ravel()[valid]
    shared = np.minimum(sd[panel], part)
    own = np.sqrt(part**2 - shared**2)
    common = joint_normal(correlation, rng, DRAWS, root=eigen_root)
    in_panel = rng.standard_normal((sd.size, DRAWS))
    drawn = rng.standard_normal((part.size, DRAWS))
    alone = np.sqrt(1.0 - ASSUMED.common_error_share)
    together = np.sqrt(ASSUMED.common_error_share)
    middle = state.part.ravel()[valid]
    for p, run in _runs(panel):
        drawn[run] *= alone
        drawn[run] += together * in_panel[p]
        drawn[run] *= own[run, None]
        drawn[run] += shared[run, None] * common[p]
        drawn[run] += middle[run, None]
    return np.asarray(drawn)


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

    Returns
    -------
    Trajectories or None
        None with fewer than `drift_repairs` surveys after a repair.
    """
    regions = series.regions
    surveys = {spell.start for spell in series.spells} | {last}
    repairs = sorted(
        (survey for survey in surveys if survey.stage == "after repair"),
        key=lambda survey: survey.place,
    )
    if len(repairs) < ASSUMED.drift_repairs:
        return None
    states = [state_of(repair) for repair in repairs]
    heat = np.array([repair.heat for repair in repairs], dtype=np.float64)
    depth = np.stack([state.deepest for state in states])
    errors = np.stack([state.deepest_sd**2 for state in states])
    line, unit = _lines(heat, depth, regions)
    panel = regions.of_kind("panel")
    # how much wider than a normal interval one from so few repairs is
    widening = float(student_k95(heat.size - UNKNOWNS)) / K95
    drift, middle = (
        shrink_rates(
            value, widening * np.sqrt(unit * part), regions, proportional=False
        )
        for value, part in (
            (line.slope, line.slope_variance),
            (line.level, line.level_variance),
        )
    )
    beyond = unit.copy()
    valid = np.isfinite(errors)
    mean = np.nansum(errors, axis=0) / np.maximum(valid.sum(axis=0), 1)
    beyond[panel] = np.maximum(beyond[panel] - mean, 0.0)
    off = variance_components(np.sqrt(beyond), regions)
    gone = last.heat - line.middle[panel]
    drifts, slower = (
        rates.value[:, None] + rates.errors.draws(rng, DRAWS)
        for rates in (drift, drift.shared)
    )
    here = middle.value[:, None] + middle.errors.draws(rng, DRAWS)
    here += off.draws(rng, DRAWS)
    depth_now = middle.value + drift.value * gone
    valid = np.flatnonzero(np.isfinite(depth_now))
    depths = here + drifts * gone[:, None]
    return Trajectories(
        panel=valid,
        depth=depth_now[valid],
        depths=depths[valid],
        rate=drift.value[valid],
        governing=drifts[valid],
        lesser=slower[valid],
        scatter=np.zeros((1, 1)),
        spall_after=np.full((1, 1), np.inf),
        spall_depth=np.zeros((1, 1)),
        short=np.zeros(valid.size, dtype=np.bool_),
        since=np.zeros(valid.size, dtype=np.int64),
    )


def _lines(heat: Float, depth: Float, regions: Regions) -> tuple[StraightLine, Float]:
    """Lines through the deepest places of panels, and through their means over pieces.

    A panel counts where every repair tells it.

    Returns
    -------
    line : StraightLine
        Of s pieces.
    unit : array (s,), mm2
        Variance of one repair about its line, pooled over pieces of a kind.
    """
    valid = np.isfinite(depth).all(axis=0)
    member = regions.member * valid
    share = member / np.maximum(member.sum(axis=1, keepdims=True), 1.0)
    some = member.sum(axis=1) > 0.0
    mean = np.where(some, np.where(valid, depth, 0.0) @ share.T, np.nan)
    line = fit_lines(heat, mean)
    dof = heat.size - UNKNOWNS
    unit = np.full(some.size, np.nan)
    for kind in {region.kind for region in regions.regions}:
        members = [i for i in regions.of_kind(kind) if some[i]]
        unit[members] = line.chi_square[members].mean() / dof if members else np.nan
    return line, unit
