"""Pages of a record: wear.html says what its wear is, heats.html shows its walls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from geom.design import Design
from geom.record.store.occasion import Occasion
from geom.record.study import Depth, Wear
from geom.units import say_both
from geom.views.cautions import CAUTIONS
from geom.views.charts.heat_charts import spells_per_point
from geom.views.pages.page import page_bytes
from geom.views.pages.wear_pictures import ShownRecord, wear_pictures
from geom.views.say import (
    DEFERS,
    plain,
    say_time,
    upfirst,
)
from geom.views.tables import wear as tables
from geom.views.tables.wear_cards import (
    effort_words,
    ledger_rows,
    ledger_words,
    no_step_words,
    wear_cards,
)

#: Calls to stop that are listed.
_STOPS = 6


def campaign_and_heats(wear: Wear) -> str:
    """Which campaign, and which of its heats."""
    first, last = wear.spells[0].first_heat, wear.spells[-1].last_heat
    heats = f"heat {last}" if first == last else f"heats {first} to {last}"
    name = plain(wear.campaign, most=60)
    return f"Campaign {name}, {heats}" if name else heats.capitalize()


def wear_page(
    wear: Wear,
    design: Design,
    depths: Sequence[Depth] = (),
    shown: ShownRecord | None = None,
    *,
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped.

    Parameters
    ----------
    depths : sequence of Depth
        The deepest cut-back, survey after survey.
    shown : ShownRecord, optional
        Walls as heats left them.
    pictures : mapping of str to bytes, optional
        From `wear_pictures`, if they are drawn already.
    """
    if pictures is None:
        pictures = wear_pictures(wear, design, depths)
    worn = shown.worn if shown else ()
    small = shown.small if shown else {}
    return page_bytes(
        "wear.html.jinja",
        design,
        {**pictures, **small},
        **_heading(wear, design),
        **_to_know(wear, design),
        **_rests_on(wear, design, depths),
        walls=[_wall_name(occasion, wear) for occasion in worn],
        walls_left_out=shown.worn_left_out if shown else 0,
        cautions=CAUTIONS,
    )


def _wall_name(occasion: Occasion, wear: Wear) -> tuple[str, str]:
    """Which heat left a wall so, and whether wear stepped there."""
    stepped = occasion.heat in {step.first.first_heat for step in wear.steps}
    return f"Heat {occasion.heat}", "step" if stepped else ""


def _heading(wear: Wear, design: Design) -> dict[str, object]:
    made = f"Made {say_time(wear.created)} by daubline {plain(wear.version, most=40)}."
    return {
        "title": plain(wear.title),
        "whose": campaign_and_heats(wear),
        "lining": plain(wear.lining),
        "made": made,
        "brick_line": say_both(design.repair.brick_threshold, design.length_unit),
    }


def _to_know(wear: Wear, design: Design) -> dict[str, object]:
    stops = tables.stop_lines(wear.stops, design)
    more = len(stops) - _STOPS
    forecasts = (*wear.forecasts, *wear.repaired)
    rules = dict.fromkeys(tables.say_rule(forecast) for forecast in forecasts)
    return {
        "stops": stops[:_STOPS],
        "stops_more": f"And {more} more places; see wear.json." if more > 0 else "",
        "warnings": [
            upfirst(tables.say_warning(warning, design)) for warning in wear.warnings
        ],
        "cards": dict(
            zip(
                ("wear", "time", "longest", "cost"),
                wear_cards(wear, design),
                strict=True,
            )
        ),
        "steps": tables.step_lines(wear.steps, design),
        "pattern": tables.pattern_line(wear, design),
        "forecasts": tables.forecast_rows(wear.forecasts, design),
        "repaired": tables.forecast_rows(wear.repaired, design),
        "repaired_as_now": f"{upfirst(tables.REPAIRED_AS_NOW)}.",
        "rules": list(rules),
        "defers": f"{upfirst(DEFERS)}.",
        "ledger": ledger_rows(wear, design),
        "ledger_words": ledger_words(wear, design),
        "effort_words": effort_words(wear, design),
    }


def _rests_on(wear: Wear, design: Design, depths: Sequence[Depth]) -> dict[str, object]:
    worn = sum(depth.is_as_worn for depth in depths)
    return {
        "columns": tables.rate_columns(wear),
        "rates": tables.rate_rows(wear.regions, tables.rate_quantities(wear), design),
        "short_over": wear.rates["heat"].short_over,
        "zones_remark": _together(len(wear.spells), "spells, their mean"),
        "depths_remark": _together(worn, "heats, the deepest of them"),
        "spells_words": tables.spells_words(wear),
        "spells": tables.spell_rows(wear),
        "spells_left_out": len(wear.spells) > tables.LISTED,
        "no_step": no_step_words(wear),
        "gaps": tables.uncounted(wear.occasions, wear.gaps),
    }


def _together(count: int, words: str) -> str:
    """What one point of a picture stands for, where it is more than one."""
    each = spells_per_point(count)
    return "" if each < 2 else f"Each point: {each} {words}."
