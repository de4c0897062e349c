"""Heats until limits are passed.

A limit counts at every place of a piece of wall: parts of panels go on from where the
last survey has them, each by the rate of its panel and what it wears beyond that, and
the first to pass its limit is the piece's.  The value and the lower end of the interval
take the governing rate, the greater of long- and short-term rate, the lower end with
spots that may fall out besides; the upper end takes the lesser rate, since that may be
the true one.

It is no leave to run: local codes and licensed practice decide.

Rates of wear and the life that is left, as in pressure-equipment practice.

From the thickness of a wall at first, at the survey before and now:

    long-term rate  = (initial - actual) / time between the two
    short-term rate = (previous - actual) / time between the two
    remaining life  = (actual - required) / governing rate

The greater of the two rates governs, and the wall is looked at again within half of
the life.  Thickness and time may be in any units, the same throughout; here time is
counted in heats.

These are plain numbers, as that practice has them, without an uncertainty:
`geom.record.forecast.forecast` takes the rule over and gives it one.

References
----------
API 510 and API 570 (inspection of pressure vessels and of piping), formulas for
corrosion rate, remaining life and inspection interval, as quoted in published training
notes; worked values in ``tests/published/test_remaining_life.py``.  The greatest
interval that those codes allow besides is theirs, for steel, and is not taken over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.changepoints.steps import Step
from geom.record.forecast.first_passage import (
    HORIZON,
    Limit,
    earliest_passage,
    first_passage_time,
    first_passage_with_spall,
    limits_of,
)
from geom.record.forecast.trajectories import (
    StateOf,
    Trajectories,
    series_of,
    simulate_repaired,
    simulate_unrepaired,
)
from geom.record.regions import Region, Regions
from geom.record.store.occasion import Occasion
from geom.record.wear.rates import Rates
from geom.record.wear.series import WearSeries
from geom.units import Bool, Float

Governs = Literal["long-term", "short-term"]

#: What the rule is called wherever it is told.
RULE = "greater of long- and short-term rate (as in pressure-equipment practice)"
#: The wall is surveyed again within this part of the life that is left.
PART = 0.5


@dataclass(frozen=True)
class RemainingLife:
    """Life of a wall by its governing rate.

    Attributes
    ----------
    rate : float
        That governs, thickness lost in a unit of time.
    governs : {'long-term', 'short-term'}
    life : float
        Time until no more than the required thickness is left: 0 where it is not left
        now, inf where the wall does not wear.
    interval : float
        Time within which to look again.
    """

    rate: float
    governs: Governs
    life: float
    interval: float


def rate_between(before: float, actual: float, *, over: float) -> float:
    """Thickness lost in a unit of time.

    Parameters
    ----------
    before, actual : float
        Thickness at first (long-term) or at the survey before (short-term), and now.
    over : float
        Time between the two.

    Examples
    --------
    >>> rate_between(12.0, 10.0, over=5.0)
    0.4
    """
    if not over > 0.0:
        raise InputError(
            f"time {over:g} between two surveys is not greater than 0",
            cure="Give the time from the earlier survey to the later",
        )
    return (before - actual) / over


def governing(long_term: float, short_term: float | None) -> Governs:
    """Which rate governs: the greater; long-term where they are equal or one is none.

    Examples
    --------
    >>> governing(0.005, 0.010)
    'short-term'
    """
    if short_term is None or not short_term > long_term:
        return "long-term"
    return "short-term"


def remaining_life(
    actual: float,
    required: float,
    *,
    long_term: float,
    short_term: float | None = None,
) -> RemainingLife:
    """Life that is left of a wall.

    Parameters
    ----------
    actual, required : float
        Thickness now, and the least there must be.
    long_term, short_term : float
        Rates; of one survey only there is no short-term rate.

    Examples
    --------
    >>> remaining_life(10.0, 7.0, long_term=0.4, short_term=0.5).life
    6.0
    """
    governs = governing(long_term, short_term)
    rate = long_term
    if governs == "short-term" and short_term is not None:
        rate = short_term
    if actual <= required:
        life = 0.0
    else:
        life = (actual - required) / rate if rate > 0.0 else math.inf
    return RemainingLife(rate, governs, life, PART * life)


Going = Literal["left alone", "repaired as now"]

#: Panels told by themselves: those that pass first.
SOONEST = 6
#: Heats ahead within which the wall is to be stopped and inspected.
NEAR = 1.0
DEFERS = (
    "this forecast does not say that the lining is safe to run; local codes and "
    "licensed practice decide"
)
#: What forecasts were found worth where campaigns of known truth were followed on.
TRIED = (
    "in simulated campaigns the intervals of forecasts held the truth in 91 to 100 of "
    "100 cases where every survey had 120 readings, in 85 to 100 where it had 48; "
    "where they did not, a spot fell out, nearly always, that no survey foretold, and "
    "the limit was passed sooner. Look after every heat"
)
#: The rule where the wall is repaired as now.
DRIFT = "straight line through what repairs left so far"


@dataclass(frozen=True)
class Forecast:
    """Heats until a piece of wall passes a limit.

    Attributes
    ----------
    piece : Piece
    limit : {'brick threshold', 'least lining'}
    heats : Quantity or None
        Value is the median; an end is inf, and the sd, where the limit is not passed
        within 999 heats.  None where it cannot be told.
    at : Quantity, mm
        Cut-back now at the place that is expected to pass first.
    room : Quantity, mm
        From there to its limit.
    rate : Quantity, mm a heat
        That governs there.
    rule : str
        In force, and which rate it comes to here.
    stop : bool
        Stop and inspect: the limit may be passed within the next heat, or is.
    going : {'left alone', 'repaired as now'}
        What is done to the wall from now on.
    """

    region: Region
    limit: Limit
    heats: Quantity | None
    at: Quantity
    room: Quantity
    rate: Quantity
    rule: str
    stop: bool
    going: Going = "left alone"

    @property
    def survey_within(self) -> int:
        """Heats within which to survey again: half of the lower end, at least 1."""
        low = 0.0 if self.heats is None else self.heats.low95
        return max(1, math.floor(PART * min(low, HORIZON)))

    @property
    def words(self) -> str:
        """In plain sentences; mm, and azimuth in the drawing's degrees."""
        stop = "stop and inspect; " if self.stop else ""
        within = "heat" if self.survey_within == 1 else f"{self.survey_within} heats"
        return (
            f"{where_of(self.region)}, {self.going}: the {self.limit} is "
            f"{_passed(self.heats)}; {stop}survey again within the next {within}. "
            f"{self.room.value:.0f} mm of room ({self.room.low95:.0f} to "
            f"{self.room.high95:.0f}), {self.rate.value:.1f} mm a heat "
            f"({self.rate.low95:.1f} to {self.rate.high95:.1f}), by the rule: "
            f"{self.rule}. {DEFERS[0].upper()}{DEFERS[1:]}."
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
        Its shell and ``least_lining`` give the second limit; without them there is
        only the first, see `geom.record.forecast.first_passage.why_no_least_lining`.
    last : Occasion
        The survey that the forecast starts from.
    state_of : callable
        The survey of an occasion, panel by panel.
    steps : sequence of Step
        Long-term rates of what a step touched are told since then.
    seed : int
        Of the draws.

    Returns
    -------
    tuple of Forecast
        The wall and its zones, then the panels that pass first, limit by limit.  A
        piece of which the last survey tells no panel is left out.
    """
    series = _of_last_campaign(series)
    if not series.spells:
        return ()
    rng = np.random.default_rng(seed)
    course = simulate_unrepaired(
        series, rates, last, state_of=state_of, steps=steps, rng=rng
    )
    large = _large(series.regions, "wall", "zone")
    told: list[Forecast] = []
    for limit in limits_of(series.regions, design):
        passing = _Passing(series.regions, course, *limit, "left alone")
        told += passing.told([*large, *passing.soonest()])
    return tuple(told)


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
    course = simulate_repaired(series, last, state_of=state_of, rng=rng)
    if course is None:
        return ()
    wall = _large(series.regions, "wall")
    told: list[Forecast] = []
    for limit in limits_of(series.regions, design):
        passing = _Passing(series.regions, course, *limit, "repaired as now")
        told += passing.told(wall)
    return tuple(told)


def where_of(region: Region) -> str:
    """A piece of wall in words; mm and degrees."""
    if region.name:
        return region.name
    sides = f"{region.azimuth_from:.0f}° to {region.azimuth_to:.0f}°"
    return f"{sides}, {region.height_from:.0f} to {region.height_to:.0f} mm"


def _passed(heats: Quantity | None) -> str:
    if heats is None:
        return "passed nobody can tell when"
    if heats.high95 <= 0.0:
        return "passed already"
    if not math.isfinite(heats.low95):
        return f"not passed within {HORIZON:.0f} heats"
    low = _count(heats.low95)
    if not math.isfinite(heats.value):
        soonest = f"after {low} at the soonest"
        return f"not passed within {HORIZON:.0f} heats (95 %: {soonest})"
    value = _count(heats.value)
    if not math.isfinite(heats.high95):
        least = f"after {low} at the soonest, maybe not within {HORIZON:.0f}"
        return f"passed after {value} heats (95 %: {least})"
    return f"passed after {value} heats (95 %: {low} to {_count(heats.high95)})"


def _count(heats: float) -> str:
    return f"{heats:.1f}" if heats < 10.0 else f"{heats:.0f}"


def _of_last_campaign(series: WearSeries) -> WearSeries:
    name = series.spells[-1].campaign if series.spells else ""
    kept = np.array([one.campaign == name for one in series.spells], dtype=np.bool_)
    return series if kept.all() else series_of(series, kept)


def _large(regions: Regions, *kinds: Literal["wall", "zone"]) -> list[int]:
    return [i for kind in kinds for i in regions.of_kind(kind)]


class _Passing:
    """How panels pass one limit."""

    def __init__(
        self,
        regions: Regions,
        course: Trajectories,
        limit: Limit,
        depth: Float,
        going: Going,
    ) -> None:
        self.regions, self.course, self.limit = regions, course, limit
        self.depth, self.going = depth[course.panel], going
        room = self.depth[:, None] - course.depths
        self.slow = first_passage_time(room, course.lesser, course.scatter)
        self.even = first_passage_time(room, course.governing, course.scatter)
        self.soon = first_passage_with_spall(
            self.even,
            room,
            course.governing,
            course.scatter,
            after=course.spot_after,
            depth=course.spot_depth,
        )
        best = np.median(self.even, axis=1)
        short_of = HORIZON + self.depth - course.depth
        self.order = np.where(np.isfinite(best), best, short_of)

    def soonest(self) -> list[int]:
        """Pieces that are the panels to pass first."""
        panel = self.regions.of_kind("panel")
        sooner = np.full(len(panel), np.inf)
        np.minimum.at(sooner, self.course.panel, self.order)
        first = np.argsort(sooner, kind="stable")[:SOONEST]
        return [panel[i] for i in first if np.isfinite(sooner[i])]

    def told(self, chosen: Sequence[int]) -> list[Forecast]:
        """Forecasts of some pieces; none of those of which no place is told."""
        groups = self.regions.member[list(chosen)][:, self.course.panel] > 0.0
        ways = self.soon, self.even, self.slow
        first = (earliest_passage(heats, groups) for heats in ways)
        return [
            self._one(self.regions.regions[i], some, _heats(*heats))
            for i, some, *heats in zip(chosen, groups, *first, strict=True)
            if some.any()
        ]

    def _one(self, region: Region, some: Bool, heats: Quantity) -> Forecast:
        course = self.course
        place = int(np.flatnonzero(some)[np.argmin(self.order[some])])
        at = Quantity.of_samples(course.depths[place], value=float(course.depth[place]))
        limit = float(self.depth[place])
        return Forecast(
            region=region,
            limit=self.limit,
            heats=heats,
            at=at,
            room=Quantity(limit - at.value, at.sd, limit - at.high95, limit - at.low95),
            rate=Quantity.of_samples(
                course.governing[place], value=float(course.rate[place])
            ),
            rule=self._rule(place),
            stop=heats.low95 <= NEAR,
            going=self.going,
        )

    def _rule(self, place: int) -> str:
        if self.going == "repaired as now":
            return DRIFT
        if self.course.short[place]:
            return f"{RULE}; here the short-term rate governs"
        since = int(self.course.since[place])
        told = f", told since heat {since}" if since else ""
        return f"{RULE}; here the long-term rate governs{told}"


def _heats(soon: Float, even: Float, slow: Float) -> Quantity:
    """Median of even wear; lower end with spots, upper end by the lesser rate."""
    (value,) = _quantiles(even, [0.5])
    (low,), (high,) = _quantiles(soon, [0.025]), _quantiles(slow, [0.975])
    sd = float(np.std(even)) if np.isfinite(even).all() else math.inf
    return Quantity(float(value), sd, float(low), float(max(high, value)))


def _quantiles(draws: Float, parts: list[float]) -> Float:
    """Of draws that may be inf, without a number between a finite one and inf."""
    return np.asarray(np.quantile(draws, parts, method="inverted_cdf"))
