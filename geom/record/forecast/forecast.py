"""Forecasts: heats until limits are passed.

A limit counts at every place of a piece of wall: parts of panels go on from where the
last survey has them, each by the rate of its panel and what it wears beyond that, and
the first to pass its limit is the piece's.  The value and the lower end of the interval
take the governing rate, the greater of long- and short-term rate, the lower end with
spalls that may come besides; the upper end takes the lesser rate, since that may be
the true one.

It is no leave to run: local codes and licensed practice decide.

The rule is that of pressure-equipment practice, which is given an uncertainty here:

    long-term rate  = (initial - actual) / time between the two
    short-term rate = (previous - actual) / time between the two
    remaining life  = (actual - required) / the greater of the two

and the wall is looked at again within half of the life.

References
----------
API 510 and API 570 (inspection of pressure vessels and of piping), formulas for
corrosion rate, remaining life and inspection interval, as quoted in published training
notes; worked values in ``tests/published/test_remaining_life.py``.  The greatest
interval that those codes allow besides is theirs, for steel, and is not taken over.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from geom.design import Design
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.changepoints.steps import Step
from geom.record.forecast.first_passage import (
    HORIZON,
    Limit,
    earliest_passage,
    first_passage_time,
    limits_of,
    longest_heat,
    passage_with_spall,
)
from geom.record.forecast.trajectories import (
    StateOf,
    Trajectories,
    simulate_repaired,
    simulate_unrepaired,
)
from geom.record.regions import Region, Regions
from geom.record.store.occasion import Occasion
from geom.record.wear.rates import Rates
from geom.record.wear.series import EXPOSURES, Spell, WearSeries, mean_heat
from geom.units import Bool, Float

Going = Literal["left alone", "repaired as now"]
#: Which rate governs: the greater of the two, or the drift of what repairs leave.
Governing = Literal["long-term", "short-term", "drift"]


#: Panels listed by themselves: those that pass first.
SOONEST = 6


@dataclass(frozen=True)
class Coverage:
    """How often 95 % intervals of forecasts held the truth, by the bench.

    Attributes
    ----------
    readings : int
        Of every survey.
    least, most : int
        Range, of 100 cases.
    """

    readings: int
    least: int
    most: int


#: Where simulated campaigns of known truth were followed on.
COVERAGE = (Coverage(120, 91, 100), Coverage(48, 85, 100))


@dataclass(frozen=True)
class Forecast:
    """Heats until a piece of wall passes a limit.

    Attributes
    ----------
    limit : {'brick threshold', 'least lining'}
    heats : Quantity or None
        Value is the median; an end is inf, and the sd, where the limit is not passed
        within 999 heats.  None where it cannot be known.
    at : Quantity, mm
        Cut-back now at the place that is expected to pass first.
    room : Quantity, mm
        From there to its limit.
    rate : Quantity, mm a heat
        That governs there.
    governing : {'long-term', 'short-term', 'drift'}
        Which rate it is.
    since : int
        Heat from which the long-term rate counts, after a step; 0 for all.
    stop : bool
        Stop and inspect: the least lining may be passed within the next heat, or is.
        To pass the brick threshold changes the repair and stops nobody.
    going : {'left alone', 'repaired as now'}
        What is done to the wall from now on.
    in_one : Quantity or None
        The same, in mean heats, if all is one long heat; of the whole wall alone.
    """

    region: Region
    limit: Limit
    heats: Quantity | None
    at: Quantity
    room: Quantity
    rate: Quantity
    governing: Governing
    since: int
    stop: bool
    going: Going = "left alone"
    in_one: Quantity | None = None

    @property
    def survey_within(self) -> int:
        """Heats within which to survey again: half of the lower end, at least 1."""
        low = 0.0 if self.heats is None else self.heats.low95
        return max(1, math.floor(ASSUMED.survey_again * min(low, HORIZON)))


@dataclass(frozen=True)
class LongestHeat:
    """How long the next heat may last until the wall passes a limit somewhere.

    Hours and iron are heats times those of a mean heat of the campaign.

    Attributes
    ----------
    heats : Quantity
        Mean heats; ``low95`` is what the limit is kept in with 39 of 40 such walls.
    hours, tonnes : Quantity or None
        The same on blast and in iron; None where no spell states them.
    """

    limit: Limit
    heats: Quantity
    hours: Quantity | None
    tonnes: Quantity | None


def longest_heats(
    forecasts: Sequence[Forecast], spells: Sequence[Spell]
) -> tuple[LongestHeat, ...]:
    """The longest next heat, limit by limit, from the wall as it was surveyed last.

    Parameters
    ----------
    forecasts : sequence of Forecast
        Of the whole wall left alone; others are passed over.
    """
    hours, tonnes = (mean_heat(spells, by) for by in EXPOSURES[1:])
    return tuple(
        LongestHeat(
            each.limit,
            each.in_one,
            None if hours is None else each.in_one.times(hours),
            None if tonnes is None else each.in_one.times(tonnes),
        )
        for each in forecasts
        if each.in_one is not None
    )


def forecast(
    series: WearSeries,
    rates: Rates,
    design: Design,
    last: Occasion,
    *,
    state_of: StateOf,
    steps: Sequence[Step] = (),
    seed: int = 0,
) -> tuple[Forecast, ...]:
    """Heats until the brick threshold and the least lining, the wall left alone.

    Parameters
    ----------
    series : WearSeries
        Spells of other campaigns than the last one's do not count.
    rates : Rates
        Per heat.
    design : Design
        Its shell gives the second limit; without one there is only the first.
    last : Occasion
        The survey that the forecast starts from.
    steps : sequence of Step
        Long-term rates of what a step touched count from then on.
    seed : int
        Of the draws.

    Returns
    -------
    tuple of Forecast
        The wall and its zones, then the panels that pass first, limit by limit.  A
        piece of which the last survey covers no panel is left out.
    """
    series = _of_last_campaign(series)
    if not series.spells:
        return ()
    rng = np.random.default_rng(seed)
    trajectories = simulate_unrepaired(
        series, rates, last, state_of=state_of, steps=steps, rng=rng
    )
    large = series.regions.of_kind("wall", "zone")
    found: list[Forecast] = []
    for limit in limits_of(series.regions, design):
        passage = _Passage(series.regions, trajectories, *limit, "left alone")
        pieces = passage.forecasts([*large, *passage.soonest()])
        found += [replace(wall, in_one=passage.in_one_heat()) for wall in pieces[:1]]
        found += pieces[1:]
    return tuple(found)


def forecast_repaired(
    series: WearSeries,
    design: Design,
    last: Occasion,
    *,
    state_of: StateOf,
    seed: int = 0,
) -> tuple[Forecast, ...]:
    """Heats until what repairs leave of the whole wall passes the limits.

    Parameters
    ----------
    series, design, last, state_of, seed
        As for `forecast`.

    Returns
    -------
    tuple of Forecast
        Of the wall, limit by limit, *repaired as now*; none with fewer than four
        surveys after a repair.
    """
    series = _of_last_campaign(series)
    rng = np.random.default_rng(seed)
    trajectories = simulate_repaired(series, last, state_of=state_of, rng=rng)
    if trajectories is None:
        return ()
    wall = series.regions.of_kind("wall")
    found: list[Forecast] = []
    for limit in limits_of(series.regions, design):
        passage = _Passage(series.regions, trajectories, *limit, "repaired as now")
        found += passage.forecasts(wall)
    return tuple(found)


def _of_last_campaign(series: WearSeries) -> WearSeries:
    name = series.spells[-1].campaign if series.spells else ""
    kept = np.array([spell.campaign == name for spell in series.spells], dtype=np.bool_)
    return series if kept.all() else series.subset(kept)


class _Passage:
    """How panels pass one limit."""

    def __init__(
        self,
        regions: Regions,
        trajectories: Trajectories,
        limit: Limit,
        depth: Float,
        going: Going,
    ) -> None:
        self.regions, self.trajectories, self.limit = regions, trajectories, limit
        self.depth, self.going = depth[trajectories.panel], going
        self.panel, first = np.unique(trajectories.panel, return_index=True)
        # panel by panel, whose places' draws stay in the cache
        self.places = [
            slice(start, end)
            for start, end in zip(
                first, [*first[1:], trajectories.panel.size], strict=True
            )
        ]
        passed = [self._passed(places) for places in self.places]
        # of each panel, sooner, in between and later; (panels, draws)
        self.first = [
            np.stack(way) for way in zip(*(p[0] for p in passed), strict=True)
        ]
        best = np.concatenate([p[1] for p in passed] or [np.empty(0)])
        short_of = HORIZON + self.depth - trajectories.depth
        self.order = np.where(np.isfinite(best), best, short_of)

    def _passed(self, places: slice) -> tuple[tuple[Float, Float, Float], Float]:
        """Heats until the first of some places passes, sooner, in between and later.

        Returns
        -------
        first : three arrays (draws,)
        best : array (q,)
            Median of each place.
        """
        way = self.trajectories.of_panel(places)
        room = self.depth[places, None] - way.depths
        each = first_passage_time(room, way.governing, way.scatter)
        expected = each.min(axis=0)
        late = first_passage_time(room, way.lesser, way.scatter).min(axis=0)
        early = _with_spall(first_passage_time, expected, room, way)
        return (early, expected, late), _medians(each)

    def soonest(self) -> list[int]:
        """Pieces that are the panels to pass first."""
        panel = self.regions.of_kind("panel")
        sooner = np.full(len(panel), np.inf)
        np.minimum.at(sooner, self.trajectories.panel, self.order)
        first = np.argsort(sooner, kind="stable")[:SOONEST]
        return [panel[i] for i in first if np.isfinite(sooner[i])]

    def forecasts(self, chosen: Sequence[int]) -> list[Forecast]:
        """Forecasts of some pieces; none of those of which no place is known."""
        groups = self.regions.member[list(chosen)][:, self.panel] > 0.0
        first = (earliest_passage(heats, groups) for heats in self.first)
        place = np.searchsorted(self.panel, self.trajectories.panel)
        return [
            self._forecast(self.regions.regions[i], some[place], _heats(*heats))
            for i, some, *heats in zip(chosen, groups, *first, strict=True)
            if some.any()
        ]

    def in_one_heat(self) -> Quantity:
        """Mean heats that one heat may last until the first place passes."""
        ways = [self._in_one_heat(places) for places in self.places]
        early, expected, late = (np.min(way, axis=0) for way in zip(*ways, strict=True))
        return _heats(early, expected, late)

    def _in_one_heat(self, places: slice) -> tuple[Float, Float, Float]:
        """Of the first of some places, sooner, in between and later; (draws,) each."""
        way = self.trajectories.of_panel(places)
        room = self.depth[places, None] - way.depths
        expected, late = (
            longest_heat(room, rate, way.scatter).min(axis=0)
            for rate in (way.governing, way.lesser)
        )
        return _with_spall(longest_heat, expected, room, way), expected, late

    def _forecast(self, region: Region, some: Bool, heats: Quantity) -> Forecast:
        trajectories = self.trajectories
        place = int(np.flatnonzero(some)[np.argmin(self.order[some])])
        at = Quantity.of_samples(
            trajectories.depths[place], value=float(trajectories.depth[place])
        )
        limit = float(self.depth[place])
        governing: Governing = (
            "short-term" if trajectories.short[place] else "long-term"
        )
        if self.going == "repaired as now":
            governing = "drift"
        since = int(trajectories.since[place]) if governing == "long-term" else 0
        return Forecast(
            region=region,
            limit=self.limit,
            heats=heats,
            at=at,
            room=Quantity(limit - at.value, at.sd, limit - at.high95, limit - at.low95),
            rate=Quantity.of_samples(
                trajectories.governing[place], value=float(trajectories.rate[place])
            ),
            governing=governing,
            since=since,
            stop=self.limit == "least lining" and heats.low95 <= ASSUMED.stop_within,
            going=self.going,
        )


def _with_spall(
    passage: Callable[[Float, Float, Float], Float],
    expected: Float,
    room: Float,
    way: Trajectories,
) -> Float:
    """Heats until the first of the places of a panel passes, spalls counted."""
    return passage_with_spall(
        passage, expected, room, way.governing, way.scatter,
        after=way.spall_after[0], depth=way.spall_depth[0],
    )  # fmt: skip


def _medians(table: Float) -> Float:
    """Of each row; `numpy.median` takes five times as long for rows of no NaN."""
    half = table.shape[1] // 2
    parted = np.partition(table, half, axis=1)
    if table.shape[1] % 2:
        return np.asarray(parted[:, half])
    return np.asarray(0.5 * (parted[:, :half].max(axis=1) + parted[:, half]))


def _heats(early: Float, expected: Float, late: Float) -> Quantity:
    """Median of even wear; lower end with spalls, upper end by the lesser rate."""
    # no number between a finite draw and inf
    value, low, high = (
        float(np.quantile(draws, part, method="inverted_cdf"))
        for draws, part in ((expected, 0.5), (early, 0.025), (late, 0.975))
    )
    sd = float(np.std(expected)) if np.isfinite(expected).all() else math.inf
    return Quantity(value, sd, low, max(high, value))
