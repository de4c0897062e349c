"""What a study of wear comes to, in a few plain sentences."""

from __future__ import annotations

from geom.design import Design
from geom.record.wear import Wear
from geom.views.wear_tables import (
    forecast_rows,
    pattern_lines,
    rate_rows,
    step_lines,
    stop_lines,
)
from geom.views.words import plain


def said_of(wear: Wear, design: Design) -> list[str]:
    """One sentence a line: calls to stop first, then rates, steps and forecast.

    Parameters
    ----------
    wear : Wear
    design : Design
        Of the record.
    """
    stops = [f"Stop and inspect: {words}" for words in stop_lines(wear.stops, design)]
    return [
        _heading(wear),
        *stops,
        *_rates(wear, design),
        *(f"Step: {words}" for words in step_lines(wear.steps, design)),
        *(f"Round the wall: {words}" for words in pattern_lines(wear.pattern, design)),
        *_forecast(wear, design),
        *_repaired(wear, design),
        *(f"Not counted: {words}." for words in wear.gaps),
        *(f"Mind: {words}." for words in wear.warnings),
    ]


def _heading(wear: Wear) -> str:
    whose = plain(wear.title, most=120)
    count = len(wear.spells)
    spells = "one spell" if count == 1 else f"{count:,} spells"
    heats = sum(one.heats for one in wear.spells)
    first, last = wear.spells[0].start.heat + 1, wear.spells[-1].end.heat
    lasted = "one heat" if heats == 1 else f"{heats:,} heats"
    others = len(wear.campaigns) - 1
    more = f"; the record holds {others} more" if others else ""
    return (
        f"Wear of {whose}: {spells} of wear, {lasted}, between heats {first} and "
        f"{last}{more}"
    )


def _rates(wear: Wear, design: Design) -> list[str]:
    rows = rate_rows(wear.pieces, [wear.rates["heat"].long], design)
    return [
        f"{_upper(row.where)}: {value} a heat" + (f", 95 %: {span}" if span else "")
        for row in rows
        for value, span in row.rates
    ]


def _forecast(wear: Wear, design: Design) -> list[str]:
    return [
        f"{_upper(row.where)}, {row.limit}: passed in {row.heats}"
        + (f", 95 %: {row.interval}" if row.interval else "")
        for row in forecast_rows(wear.forecasts, design)
        if not row.stop
    ]


def _repaired(wear: Wear, design: Design) -> list[str]:
    return [
        f"Repaired as now, {row.limit}: passed in {row.heats}"
        + (f", 95 %: {row.interval}" if row.interval else "")
        for row in forecast_rows(wear.repaired, design)
    ]


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
