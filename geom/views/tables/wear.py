"""What a record lists and what a study of its wear comes to, in sentences and rows.

Text throughout, the shop's unit first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from geom.design import Design
from geom.quantity import Quantity
from geom.record.changepoints.steps import Step
from geom.record.forecast.first_passage import HORIZON, Limit
from geom.record.forecast.forecast import Forecast, LongestHeat
from geom.record.regions import Region, Regions
from geom.record.store.occasion import Occasion, mass_unit
from geom.record.store.store import Record
from geom.record.study import (
    FewSpells,
    ForecastsTried,
    NoLeastLining,
    PartlyStated,
    Wear,
    WearWarning,
)
from geom.record.wear.series import TONNE, SurveyGap, find_spells
from geom.units import say_both
from geom.views.say import (
    count_of,
    figures,
    plain,
    say_region,
    say_spell,
    say_survey_gap,
    upfirst,
)
from geom.views.say_rates import Per, per_exposure, say_harmonics, say_iron, say_rate

#: Forecasts of levels, sides and panels that are listed, the soonest first.
_SOONEST = 3
#: Spells listed one by one, the last ones.
LISTED = 60
_HOTTEST = "melting zone"
#: Chances less than this are worded as less than this.
_SLIGHT = 0.001
#: What the rule of a forecast is called, and that where the wall is repaired.
_RULE = "greater of long- and short-term rate (as in pressure-equipment practice)"
_DRIFT = "straight line through what repairs left so far"
#: What a forecast of the wall repaired as now means, in words next to it.
REPAIRED_AS_NOW = (
    "repaired as now: after every heat the wall is put back as repairs so far put it "
    "back; what they leave deepest goes on along a straight line, and the limit is "
    "passed when that is"
)
#: What a limit is, where heats until it are given.
LIMITS: dict[Limit, str] = {
    "brick threshold": "until some of it is past the brick line",
    "least lining": "until only the least lining is left",
}
_MEASURED = {"hour": "hours on blast", "tonne": "iron melted"}
OCCASION_HEADING = ("heat", "stage", "date", "hours", "melted", "campaign")
#: Columns of numbers.
NUMBERS = ("heat", "hours", "melted")


@dataclass(frozen=True)
class ForecastRow:
    """Heats until one piece passes the limits; empty where a limit is not stated."""

    where: str
    brick: tuple[str, str]
    lining: tuple[str, str]
    now: str
    rate: tuple[str, str]
    rule: str
    again: str
    stop: bool


@dataclass(frozen=True)
class RateRow:
    """Wear of one piece: value and interval of each rate."""

    where: str
    rates: tuple[tuple[str, str], ...]


def stop_lines(forecasts: Sequence[Forecast], design: Design) -> list[str]:
    """Calls to stop and inspect, one sentence each."""
    unit = design.length_unit
    lines = []
    for forecast in forecasts:
        if not forecast.stop:
            continue
        where = upfirst(say_region(forecast.region, design))
        lines.append(
            f"{where}: {say_both(forecast.at.value, unit)} gone, "
            f"{_room_left(forecast.room, unit)} to the {forecast.limit}; "
            f"{_when(forecast.heats)}."
        )
    return lines


def _room_left(room: Quantity, unit: str) -> str:
    if room.value <= 0.0:
        return f"{say_both(-room.value, unit)} past, no room"
    return f"{say_both(room.value, unit)} left"


def _when(heats: Quantity | None) -> str:
    if heats is None:
        return "when it is passed cannot be told"
    value, interval = say_heats(heats)
    return f"passed in {value}, 95 %: {interval}"


def say_heats(heats: Quantity) -> tuple[str, str]:
    """Heats that are left, and between what.

    Examples
    --------
    >>> say_heats(Quantity(3.4, 0.8, 2.1, 5.2))
    ('3.4 heats', '2.1 to 5.2')
    >>> say_heats(Quantity(120.0, 9.0, 40.0, math.inf))
    ('120 heats', '40 or more')
    """
    value = f"{_count(heats.value)} heats" if math.isfinite(heats.value) else "not soon"
    if not math.isfinite(heats.high95):
        return value, f"{_count(heats.low95)} or more"
    return value, f"{_count(heats.low95)} to {_count(heats.high95)}"


def _count(heats: float) -> str:
    if not math.isfinite(heats):
        return "very many"
    return f"{max(heats, 0.0):.1f}" if heats < 10.0 else f"{heats:.0f}"


def forecast_rows(forecasts: Sequence[Forecast], design: Design) -> list[ForecastRow]:
    """The whole wall and its zones, then the soonest of the rest; one row a piece."""
    pieces: dict[Region, dict[Limit, Forecast]] = {}
    for each in forecasts:
        pieces.setdefault(each.region, {})[each.limit] = each
    named = [some for region, some in pieces.items() if region.name]
    others = [some for region, some in pieces.items() if not region.name]
    soonest = sorted(others, key=_by_first_passage)[:_SOONEST]
    return [_forecast_row(some, design) for some in (*named, *soonest)]


def _by_first_passage(limits: Mapping[Limit, Forecast]) -> tuple[bool, float]:
    heats = [each.heats.value for each in limits.values() if each.heats is not None]
    return not any(each.stop for each in limits.values()), min(heats, default=math.inf)


def _forecast_row(limits: Mapping[Limit, Forecast], design: Design) -> ForecastRow:
    brick, lining = (limits.get(limit) for limit in LIMITS)
    first = brick or lining
    assert first is not None
    return ForecastRow(
        where=say_region(first.region, design),
        brick=_heats_cell(brick),
        lining=_heats_cell(lining),
        now=say_both(first.at.value, design.length_unit),
        rate=rate_words(first.rate, design),
        rule=say_governing(first),
        again=_again(first),
        stop=any(each.stop for each in limits.values()),
    )


def _heats_cell(forecast: Forecast | None) -> tuple[str, str]:
    if forecast is None:
        return "", ""
    if forecast.heats is None:
        return "cannot be told", ""
    return say_heats(forecast.heats)


def _again(forecast: Forecast) -> str:
    """Within how many whole heats to survey again; empty where that is far off."""
    heats = math.floor(forecast.survey_within)
    if forecast.heats is None or forecast.survey_within >= HORIZON:
        return ""
    return f"survey again within {count_of(heats, 'heat')}"


def longest_words(longest: LongestHeat, unit: str) -> tuple[str, str]:
    """How long the next heat may be: the best estimate, and what is sure.

    Parameters
    ----------
    unit : str
        Of the iron.
    """
    amounts: list[tuple[Quantity, Callable[[float], str]]] = []
    if longest.hours is not None:
        amounts.append((longest.hours, say_long))
    if longest.tonnes is not None:
        amounts.append((longest.tonnes, lambda tonnes: say_iron(tonnes, unit)))
    known = amounts or [(longest.heats, lambda heats: f"{_count(heats)} heats")]
    value = " or ".join(say(amount.value) for amount, say in known)
    ends = ", or ".join(_from_to(amount, say) for amount, say in known)
    if not math.isfinite(longest.heats.value):
        value = "very long"
    return value, f"95 %: {ends}"


def _from_to(amount: Quantity, say: Callable[[float], str]) -> str:
    """Both ends of an interval, the unit once; one that is endless is left open."""
    if not math.isfinite(amount.low95):
        return "very long"
    low = say(amount.low95)
    if not math.isfinite(amount.high95):
        return f"{low} or more"
    high = say(amount.high95)
    unit = high.split(" ")[-1] if high.count(" ") == 1 else " ".join(high.split()[1:])
    return f"{low.removesuffix(unit).rstrip()} to {high}"


def say_long(hours: float) -> str:
    """Hours on blast, to a tenth where they are few.

    Examples
    --------
    >>> say_long(11.4), say_long(4.6), say_long(63.2)
    ('11 h', '4.6 h', '63 h')
    """
    words = f"{hours:,.0f}" if hours >= 10.0 else f"{hours:.1f}".removesuffix(".0")
    return f"{words} h"


def say_rule(forecast: Forecast) -> str:
    """The rule in force."""
    return _DRIFT if forecast.governing == "drift" else _RULE


def say_governing(forecast: Forecast) -> str:
    """What the rule comes to for this piece; empty where there is no choice."""
    if forecast.governing == "drift":
        return ""
    counted = f", told since heat {forecast.since}" if forecast.since else ""
    return f"the {forecast.governing} rate governs{counted}"


def say_rule_here(forecast: Forecast) -> str:
    """The rule in force, and what it comes to for this piece."""
    here = say_governing(forecast)
    return f"{say_rule(forecast)}; here {here}" if here else say_rule(forecast)


def say_warning(warning: WearWarning, design: Design) -> str:
    """What has to be known of a study."""
    match warning:
        case FewSpells(count):
            few = "one spell" if count == 1 else f"only {count} spells"
            return (
                f"{few} of wear: how heats differ is hardly known, so rates are wide, "
                "and there is no trend"
            )
        case PartlyStated(exposure, stated, count):
            return (
                f"{_MEASURED[exposure]} told of {stated} of {count} spells: rates per "
                f"{exposure} are of those alone"
            )
        case NoLeastLining(None):
            return (
                "only the brick line is forecast: radius and least_lining in [shell] "
                "of the design file would give the heats until the least lining is "
                "left"
            )
        case NoLeastLining(float(assumed)):
            return (
                "the drawing states no least lining: "
                f"{say_both(assumed, design.length_unit)}, half of the thinnest "
                "drawn, is taken; state what the shop wants left as least_lining in "
                "[shell] of the design file"
            )
        case ForecastsTried((many, few)):
            return (
                "in simulated campaigns the intervals of forecasts held the truth in "
                f"{many.least} to {many.most} of 100 cases where every survey had "
                f"{many.readings} readings, in {few.least} to {few.most} where it had "
                f"{few.readings}; where they did not, a spot fell out, nearly always, "
                "that no survey foretold, and the limit was passed sooner. Look after "
                "every heat"
            )
        case _:
            raise TypeError(warning)


def step_lines(steps: Sequence[Step], design: Design) -> list[str]:
    """Steps in wear, with their evidence."""
    lines = []
    for step in steps:
        before, after, change = (
            say_rate(rate, design) for rate in (step.before, step.after, step.change)
        )
        lines.append(
            f"{upfirst(say_region(step.region, design))}: from {say_spell(step.first)} "
            f"on {after[0]} a heat, before {before[0]}; change {change[0]}, 95 %: "
            f"{change[1]}. Were there no step, one like it would be seen in "
            f"{_chance(step.chance)} of such records."
        )
    return lines


def _chance(chance: float) -> str:
    if chance < _SLIGHT:
        return "fewer than 1 in 1000"
    return f"about 1 in {round(1.0 / chance)}" if chance < 0.5 else f"{chance:.0%}"


def pattern_line(wear: Wear, design: Design) -> str:
    """How wear lies round the wall, of the hottest zone that it is known of."""
    hottest = wear.regions.regions[hottest_zone(wear.regions)]
    known = sorted(wear.pattern, key=lambda found: found.zone != hottest)
    if not known:
        return ""
    words = plain(say_harmonics(known[0], design), most=300)
    return f"{upfirst(say_region(known[0].zone, design))}: {words}."


def hottest_zone(regions: Regions) -> int:
    """Place of the melting zone; of the whole wall where there is none."""
    named = [i for i in regions.of_kind("zone") if regions.regions[i].name == _HOTTEST]
    return (named or regions.of_kind("wall"))[0]


def rate_columns(wear: Wear) -> list[str]:
    """Headings of the rates."""
    unit = mass_unit(wear.occasions)
    return [
        "Long, a heat",
        "Short, a heat",
        *(
            f"Long, per {per_exposure(by, unit).words}"
            for by in wear.rates
            if by != "heat"
        ),
    ]


def rate_quantities(wear: Wear) -> list[Sequence[Quantity | None]]:
    """What stands under the headings of `rate_columns`."""
    heat, unit = wear.rates["heat"], mass_unit(wear.occasions)
    others = [
        [rate and rate.times(per_exposure(by, unit).times) for rate in found.long]
        for by, found in wear.rates.items()
        if by != "heat"
    ]
    return [heat.long, heat.short, *others]


def rate_rows(
    regions: Regions, columns: Sequence[Sequence[Quantity | None]], design: Design
) -> list[RateRow]:
    """Rates of the whole wall and its zones.

    Parameters
    ----------
    columns : sequence of sequences of Quantity or None
        One rate a region, in each.
    """
    return [
        RateRow(
            say_region(regions.regions[i], design),
            tuple(rate_words(column[i], design) for column in columns),
        )
        for i in (*regions.of_kind("wall"), *regions.of_kind("zone"))
    ]


def rate_words(
    rate: Quantity | None, design: Design, per: Per | None = None
) -> tuple[str, str]:
    """A rate and its interval, in words."""
    if rate is None:
        return "not told", ""
    return say_rate(rate.times(per.times) if per else rate, design)


def spells_words(wear: Wear) -> str:
    """How many surveys and spells there are, and what they lasted."""
    spells = wear.spells
    heats = sum(spell.heats for spell in spells)
    parts = [
        f"{count_of(len(wear.occasions), 'survey')}, "
        f"{count_of(len(spells), 'spell')} of wear, {count_of(heats, 'heat')}"
    ]
    hours = [spell.hours for spell in spells if spell.hours is not None]
    tonnes = [spell.melted / TONNE for spell in spells if spell.melted is not None]
    if hours:
        parts.append(f"{figures(sum(hours))} hours on blast")
    if tonnes:
        iron = say_iron(sum(tonnes), mass_unit(wear.occasions))
        parts.append(f"{iron} melted")
    gaps = f" {count_of(len(wear.gaps), 'gap')} between them." if wear.gaps else ""
    return f"{', '.join(parts)}.{gaps}"


def spell_rows(wear: Wear) -> list[tuple[str, str, str, str, str]]:
    """The last spells: which, from which survey to which, hours and iron."""
    return [
        (
            say_spell(spell),
            f"{spell.start.words}, {spell.start.date}",
            f"{spell.end.words}, {spell.end.date}",
            "not told" if spell.hours is None else f"{spell.hours:.1f}",
            _melted(spell.end) or "not told",
        )
        for spell in wear.spells[-LISTED:]
    ]


def summary_lines(wear: Wear, design: Design) -> list[str]:
    """One sentence a line: calls to stop first, then rates, steps and forecast.

    Parameters
    ----------
    design : Design
        Of the record.
    """
    stops = [f"Stop and inspect: {words}" for words in stop_lines(wear.stops, design)]
    unit = mass_unit(wear.occasions)
    return [
        _heading(wear),
        *stops,
        *(
            f"Next heat: about {value} {LIMITS[each.limit]}, {interval}"
            for each in wear.longest
            for value, interval in (longest_words(each, unit),)
        ),
        *_rate_lines(wear, design),
        *(f"Step: {words}" for words in step_lines(wear.steps, design)),
        *filter(None, (pattern_line(wear, design),)),
        *(
            f"{upfirst(row.where)}, {going}: {_passages(row)}"
            for going, rows in (
                ("left alone", wear.forecasts),
                ("repaired as now", wear.repaired),
            )
            for row in forecast_rows(rows, design)
        ),
        *([f"{upfirst(REPAIRED_AS_NOW)}."] if wear.repaired else []),
        *(f"Not counted: {why}." for why in uncounted(wear.occasions, wear.gaps)),
        *(f"Mind: {say_warning(warning, design)}." for warning in wear.warnings),
    ]


def _heading(wear: Wear) -> str:
    whose = plain(wear.title, most=120)
    count = len(wear.spells)
    spells = "one spell" if count == 1 else f"{count:,} spells"
    heats = sum(spell.heats for spell in wear.spells)
    first, last = wear.spells[0].first_heat, wear.spells[-1].last_heat
    lasted = "one heat" if heats == 1 else f"{heats:,} heats"
    others = len(wear.campaigns) - 1
    more = f"; the record holds {count_of(others, 'campaign')} more" if others else ""
    return (
        f"Wear of {whose}: {spells} of wear, {lasted}, between heats {first} and "
        f"{last}{more}"
    )


def _rate_lines(wear: Wear, design: Design) -> list[str]:
    rows = rate_rows(wear.regions, [wear.rates["heat"].long], design)
    return [
        f"{upfirst(row.where)}: {value} a heat"
        + (f", 95 %: {interval}" if interval else "")
        for row in rows
        for value, interval in row.rates
    ]


def _passages(row: ForecastRow) -> str:
    """Heats until each limit that is stated, in a line."""
    cells = zip(("brick line", "least lining"), (row.brick, row.lining), strict=True)
    return "; ".join(
        f"{value} to the {limit}" + (f", 95 %: {interval}" if interval else "")
        for limit, (value, interval) in cells
        if value
    )


def record_heading(record: Record) -> str:
    """Whose record, and how many surveys it holds."""
    surveys = count_of(len(record.occasions), "survey")
    return f"Record: {plain(record.design.name)}: {surveys}"


def spell_lines(record: Record) -> list[str]:
    """How many spells of wear there are, and where none can be counted."""
    spells, gaps = find_spells(record.occasions)
    return [
        f"{count_of(len(spells), 'spell')} of wear from one survey to the next with no "
        "repair between",
        *(f"No wear is told: {why}" for why in uncounted(record.occasions, gaps)),
    ]


def uncounted(occasions: Sequence[Occasion], gaps: Sequence[SurveyGap]) -> list[str]:
    """Heats whose wear is not told, and why: of every campaign its first ones too."""
    first: dict[str, Occasion] = {}
    for occasion in sorted(occasions, key=lambda each: each.place):
        first.setdefault(occasion.campaign, occasion)
    begun = [one for one in first.values() if one.stage == "before repair"]
    return [
        *(
            f"{'' if not one.campaign else plain(one.campaign) + ': '}up to heat "
            f"{one.heat}: the wall as it began was not surveyed"
            for one in begun
        ),
        *map(say_survey_gap, gaps),
    ]


def occasion_row(occasion: Occasion) -> tuple[str, ...]:
    """One survey under `OCCASION_HEADING`; empty where not known."""
    return (
        str(occasion.heat),
        occasion.stage,
        occasion.date.isoformat(),
        "" if occasion.hours is None else f"{occasion.hours:.1f}",
        _melted(occasion),
        plain(occasion.campaign),
    )


def _melted(occasion: Occasion) -> str:
    if occasion.melted is None:
        return ""
    return say_iron(occasion.melted / TONNE, occasion.melted_unit)
