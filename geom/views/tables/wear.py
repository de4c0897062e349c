"""What a record lists and what a study of its wear comes to, in sentences and rows.

Text throughout, the shop's unit first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from geom.design import Design
from geom.design.text_file import join_words
from geom.quantity import Quantity
from geom.record.changepoints.steps import Step
from geom.record.forecast.first_passage import HORIZON
from geom.record.forecast.forecast import Forecast
from geom.record.regions import Regions
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record
from geom.record.study import (
    FewSpells,
    ForecastsTried,
    NoLeastLining,
    PartlyStated,
    Wear,
    WearWarning,
)
from geom.record.wear.ovality import Harmonics
from geom.record.wear.series import TONNE, find_spells
from geom.units import say_both
from geom.views.say import (
    count_of,
    figures,
    iron_unit,
    plain,
    say_harmonics,
    say_rate,
    say_region,
    say_spell,
    say_survey_gap,
    say_wear,
    say_wear_interval,
    upfirst,
)

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
_MEASURED = {"hour": "hours on blast", "tonne": "iron melted"}
OCCASION_HEADING = ("heat", "stage", "date", "hours", "melted", "campaign")
#: Columns of numbers.
NUMBERS = ("heat", "hours", "melted")


@dataclass(frozen=True)
class ForecastRow:
    """When one piece passes one limit."""

    where: str
    limit: str
    heats: str
    interval: str
    now: str
    room: str
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
    """The whole wall and its zones, then the soonest of the rest."""
    named = [each for each in forecasts if each.region.name]
    others = [each for each in forecasts if not each.region.name]
    soonest = sorted(others, key=_by_first_passage)[:_SOONEST]
    return [_forecast_row(each, design) for each in (*named, *soonest)]


def _by_first_passage(forecast: Forecast) -> tuple[bool, float]:
    heats = forecast.heats
    return not forecast.stop, math.inf if heats is None else heats.value


def _forecast_row(forecast: Forecast, design: Design) -> ForecastRow:
    unit = design.length_unit
    heats = (
        ("cannot be told", "") if forecast.heats is None else say_heats(forecast.heats)
    )
    return ForecastRow(
        where=say_region(forecast.region, design),
        limit=forecast.limit,
        heats=heats[0],
        interval=heats[1],
        now=say_both(forecast.at.value, unit),
        room=say_both(forecast.room.value, unit),
        rate=_rate(forecast.rate, design),
        rule=say_governing(forecast),
        again=_again(forecast),
        stop=forecast.stop,
    )


def _again(forecast: Forecast) -> str:
    """Within how many whole heats to survey again; empty where to stop or far off."""
    heats = math.floor(forecast.survey_within)
    if forecast.stop or forecast.heats is None or forecast.survey_within >= HORIZON:
        return ""
    return f"survey again within {count_of(heats, 'heat')}"


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


def say_warning(warning: WearWarning) -> str:
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
        case NoLeastLining(missing):
            return (
                f"only the brick threshold is forecast: {' and '.join(missing)} in "
                "[shell] of the design file would give the heats until the least "
                "lining is left"
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
    unit = design.length_unit
    return [
        f"{upfirst(say_region(step.region, design))}: from {say_spell(step.first)} on "
        f"{say_wear(step.after.value, unit)} a heat, before "
        f"{say_wear(step.before.value, unit)}; change "
        f"{say_wear(step.change.value, unit)}, 95 %: "
        f"{say_wear_interval(step.change, unit)}. Were there no step, one like it "
        f"would be seen in {_chance(step.chance)} of such records."
        for step in steps
    ]


def _chance(chance: float) -> str:
    if chance < _SLIGHT:
        return "fewer than 1 in 1000"
    return f"about 1 in {round(1.0 / chance)}" if chance < 0.5 else f"{chance:.0%}"


def pattern_lines(pattern: Sequence[Harmonics], design: Design) -> list[str]:
    """How wear lies round the wall; zones of which the same is stated in one line."""
    zones: dict[str, list[str]] = {}
    for zone_pattern in pattern:
        words = plain(say_harmonics(zone_pattern, design), most=300)
        zones.setdefault(words, []).append(say_region(zone_pattern.zone, design))
    return [
        f"{upfirst(join_words(names, last='and'))}: {words}"
        for words, names in zones.items()
    ]


def wear_facts(wear: Wear, design: Design) -> list[tuple[str, str, str]]:
    """What is looked at first: name, value, remark."""
    long = wear.rates["heat"].long
    hottest = hottest_zone(wear.regions)
    facts = [
        (
            "Surveyed",
            f"{wear.spells[-1].end.heat - wear.spells[0].start.heat} heats",
            f"{wear.occasions[0].date} to {wear.occasions[-1].date}",
        )
    ]
    for i in dict.fromkeys((hottest, wear.regions.of_kind("wall")[0])):
        name = say_region(wear.regions.regions[i], design)
        value, interval = _rate(long[i], design)
        facts.append((f"Wear a heat, {name}", value, f"95 %: {interval or '–'}"))
    soonest = min(wear.forecasts, key=_by_first_passage, default=None)
    if soonest is not None and soonest.heats is not None:
        value, interval = say_heats(soonest.heats)
        where = say_region(soonest.region, design)
        facts.append(
            ("Soonest limit", value, f"95 %: {interval}; {where}, {soonest.limit}")
        )
    return facts


def hottest_zone(regions: Regions) -> int:
    """Place of the melting zone; of the whole wall where there is none."""
    named = [i for i in regions.of_kind("zone") if regions.regions[i].name == _HOTTEST]
    return (named or regions.of_kind("wall"))[0]


def rate_columns(wear: Wear, design: Design) -> list[str]:
    """Headings of the rates; of iron, by what the shop weighs it in."""
    an = {"hour": "an hour", "tonne": f"a {iron_unit(design)[0]}"}
    return [
        *(f"{window}, a heat" for window in ("Long", "Short")),
        *(f"Long, {an[per]}" for per in wear.rates if per != "heat"),
    ]


def rate_quantities(wear: Wear, design: Design) -> list[Sequence[Quantity | None]]:
    """What stands under the headings of `rate_columns`."""
    heat, one = wear.rates["heat"], {"tonne": iron_unit(design)[1]}
    others = [
        [rate and rate.times(one.get(per, 1.0)) for rate in found.long]
        for per, found in wear.rates.items()
        if per != "heat"
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
            tuple(_rate(column[i], design) for column in columns),
        )
        for i in (*regions.of_kind("wall"), *regions.of_kind("zone"))
    ]


def _rate(rate: Quantity | None, design: Design) -> tuple[str, str]:
    return ("not told", "") if rate is None else say_rate(rate, design)


def spells_words(wear: Wear, design: Design) -> str:
    """How many surveys and spells there are, and what they lasted."""
    spells = wear.spells
    heats = sum(spell.heats for spell in spells)
    parts = [
        f"{count_of(len(wear.occasions), 'survey')}, "
        f"{count_of(len(spells), 'spell')} of wear, {count_of(heats, 'heat')}"
    ]
    hours = [spell.hours for spell in spells if spell.hours is not None]
    melted = [spell.melted / TONNE for spell in spells if spell.melted is not None]
    if hours:
        parts.append(f"{figures(sum(hours))} hours on blast")
    if melted:
        unit, one = iron_unit(design)
        parts.append(f"{figures(sum(melted) / one)} {unit}s melted")
    gaps = f" {count_of(len(wear.gaps), 'gap')} between them." if wear.gaps else ""
    return f"{', '.join(parts)}.{gaps}"


def spell_rows(wear: Wear, design: Design) -> list[tuple[str, str, str, str, str]]:
    """The last spells: which, from which survey to which, hours and iron melted."""
    one = TONNE * iron_unit(design)[1]
    return [
        (
            say_spell(spell),
            f"{spell.start.words}, {spell.start.date}",
            f"{spell.end.words}, {spell.end.date}",
            "not told" if spell.hours is None else f"{spell.hours:.1f}",
            "not told" if spell.melted is None else figures(spell.melted / one),
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
    return [
        _heading(wear),
        *stops,
        *_rate_lines(wear, design),
        *(f"Step: {words}" for words in step_lines(wear.steps, design)),
        *(f"Round the wall: {words}" for words in pattern_lines(wear.pattern, design)),
        *(
            f"{upfirst(row.where)}, {_passage(row)}"
            for row in forecast_rows(wear.forecasts, design)
            if not row.stop
        ),
        *(
            f"Repaired as now, {_passage(row)}"
            for row in forecast_rows(wear.repaired, design)
        ),
        *(f"Not counted: {say_survey_gap(gap)}." for gap in wear.gaps),
        *(f"Mind: {say_warning(warning)}." for warning in wear.warnings),
    ]


def _heading(wear: Wear) -> str:
    whose = plain(wear.title, most=120)
    count = len(wear.spells)
    spells = "one spell" if count == 1 else f"{count:,} spells"
    heats = sum(spell.heats for spell in wear.spells)
    first, last = wear.spells[0].first_heat, wear.spells[-1].last_heat
    lasted = "one heat" if heats == 1 else f"{heats:,} heats"
    others = len(wear.campaigns) - 1
    more = f"; the record holds {others} more" if others else ""
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


def _passage(row: ForecastRow) -> str:
    interval = f", 95 %: {row.interval}" if row.interval else ""
    return f"{row.limit}: passed in {row.heats}{interval}"


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
        *(f"No wear is told: {say_survey_gap(gap)}" for gap in gaps),
    ]


def occasion_row(occasion: Occasion, design: Design) -> tuple[str, ...]:
    """One survey under `OCCASION_HEADING`; empty where not known."""
    unit, one = iron_unit(design)
    melted = (occasion.melted or 0.0) / TONNE / one
    short = "t" if unit == "tonne" else f"{unit}s"
    return (
        str(occasion.heat),
        occasion.stage,
        occasion.date.isoformat(),
        "" if occasion.hours is None else f"{occasion.hours:.1f}",
        "" if occasion.melted is None else f"{melted:.1f} {short}",
        plain(occasion.campaign),
    )
