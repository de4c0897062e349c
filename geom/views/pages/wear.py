"""Pages of a record: wear.html says what its wear is, heats.html shows its walls."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geom.compare.panels import panels_of
from geom.compare.zones import call_actions
from geom.design import Design
from geom.parallel import Second
from geom.record.changepoints.steps import Step
from geom.record.regions import Region, Regions
from geom.record.store.grid import record_grid
from geom.record.store.occasion import mass_unit
from geom.record.store.survey_file import RecordedWall
from geom.record.study import Depth, Wear
from geom.record.wear.series import EXPOSURES, TONNE, Exposure, exposures
from geom.surface.grid import Grid, make_grid
from geom.units import KG_PER, Float, say_both
from geom.views.cautions import CAUTIONS
from geom.views.charts.change_map import scale_png
from geom.views.charts.heat_charts import (
    LongestBar,
    StepMark,
    depth_times_png,
    longest_png,
    material_png,
    spells_per_point,
    zone_time_png,
    zone_times_png,
)
from geom.views.charts.wear_charts import RateBars, clock_png, level_bars_png
from geom.views.charts.wear_map import (
    WearMap,
    ledger_png,
    uncertainty_png,
    wear_png,
)
from geom.views.drawn import draw_small_walls, draw_wear
from geom.views.pages.page import page_bytes, page_script
from geom.views.pages.viewer_data import HeatView, wall_data
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

#: Share of the lower of two regions that must lie at the other's heights.
_SHARED = 0.5
#: Calls to stop that are listed.
_STOPS = 6
#: Cells of the page, mm and how many round: many surveys have to fit in.
_ROW, _COLUMNS = 25.0, 180
#: The newest surveys of a record that one page holds, and its newest small pictures.
MOST, SMALL = 60, 24


def wear_pictures(
    wear: Wear, design: Design, depths: Sequence[Depth]
) -> dict[str, bytes]:
    """The pictures of the page but for its walls, as PNG, by name.

    Parameters
    ----------
    depths : sequence of Depth
        Survey after survey; may be empty.
    """
    wear_map, regions = wear_map_of(wear, design), wear.regions
    long = wear.rates["heat"].long
    bars = [RateBars("", long)]
    marks = [mark for step in wear.steps for mark in step_marks(step, regions)]
    hottest = tables.hottest_zone(regions)
    pictures = {
        "wear": wear_png(wear_map),
        "doubt": uncertainty_png(wear_map),
        "levels": level_bars_png(design, regions, bars, per="heat"),
        "clock": clock_png(design, regions, bars, per="heat"),
        "time": zone_time_png(design, wear.series, hottest, long[hottest], wear.steps),
        "zones": zone_times_png(design, wear.series, long, marks),
    }
    if depths:
        pictures["depths"] = depth_times_png(design, depths)
    if wear.longest:
        pictures["longest"] = _longest_png(wear)
    if wear.material.repairs:
        pictures["cost"] = material_png(design, wear.material.repairs)
    if wear.ledger:
        pictures["ledger"] = ledger_png(
            design, record_grid(design), panels_of(design), wear.ledger
        )
    return pictures


def begin_walls(
    walls: Sequence[RecordedWall], second: Second
) -> Callable[[], list[bytes]]:
    """Have the newest walls drawn small; what is given waits for their pictures."""
    shown = walls[-SMALL:]
    if not shown:
        return list
    cutback = [wall.cutback for wall in shown]
    return second.begin(draw_small_walls, (shown[0].design, cutback))


def _longest_png(wear: Wear) -> bytes:
    """In hours on blast; in the shop's unit of iron, or in heats, where need be."""
    unit = mass_unit(wear.occasions)
    per_heat = {by: exposures(wear.spells, by) for by in EXPOSURES}
    heats = per_heat["heat"]
    known: Exposure = next(
        (by for by in ("hour", "tonne") if np.isfinite(per_heat[by]).any()), "heat"
    )
    size = {"heat": 1.0, "hour": 1.0, "tonne": float(KG_PER[unit]) / TONNE}[known]
    lengths = per_heat[known][np.isfinite(per_heat[known])] / size
    lengths /= heats[np.isfinite(per_heat[known])]
    words = {"hour": "hours on blast", "tonne": f"iron, {unit}", "heat": "heats"}
    bars = []
    for each in wear.longest:
        length = {"hour": each.hours, "tonne": each.tonnes, "heat": each.heats}[known]
        if length is not None:
            name = f"{tables.LIMITS[each.limit]}, 95 %"
            bars.append(LongestBar(name, length.times(1.0 / size)))
    return longest_png(lengths.tolist(), bars, words[known])


def begin_still(wear: Wear, design: Design, second: Second) -> Callable[[], bytes]:
    """Have wear-map.png drawn: wear and how well it is known, to hand on by itself."""
    first, last = wear.spells[0].first_heat, wear.spells[-1].last_heat
    title = f"{plain(wear.title, most=70)}: heats {first} to {last}"
    return second.begin(draw_wear, (wear_map_of(wear, design), title))


def wear_map_of(wear: Wear, design: Design) -> WearMap:
    """Mean wear per heat of the whole wall."""
    rate = wear.maps.per_heat
    return WearMap(design, record_grid(design), rate.rate, rate.sd, "heat")


def step_marks(step: Step, regions: Regions) -> list[StepMark]:
    """The zones that a step lies in."""
    shown = regions.of_kind("zone") or regions.of_kind("wall")
    heat = step.first.first_heat
    return [
        StepMark(i, heat)
        for i in shown
        if _same_heights(step.region, regions.regions[i])
    ]


def _same_heights(one: Region, other: Region) -> bool:
    """Whether two regions lie at much the same heights."""
    shared = min(one.height_to, other.height_to) - max(
        one.height_from, other.height_from
    )
    lower = min(p.height_to - p.height_from for p in (one, other))
    return shared >= _SHARED * lower


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
    walls: Sequence[RecordedWall] = (),
    *,
    pictures: Mapping[str, bytes] | None = None,
    small: Callable[[], list[bytes]] | None = None,
) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped.

    Parameters
    ----------
    depths : sequence of Depth
        The deepest cut-back, survey after survey.
    walls : sequence of RecordedWall
        As heats left them; the newest are shown.
    pictures : mapping of str to bytes, optional
        From `wear_pictures`, if they are drawn already.
    small : callable, optional
        Waits for their pictures, from `begin_walls`.
    """
    shown = walls[-SMALL:]
    if pictures is None:
        pictures = wear_pictures(wear, design, depths)
    of_walls = (small or begin_walls(walls, Second()))()
    scale = {"scale": scale_png(design)} if shown else {}
    return page_bytes(
        "wear.html.jinja",
        design,
        {**pictures, **scale, **{f"wall {k}": p for k, p in enumerate(of_walls)}},
        **_heading(wear, design),
        **_to_know(wear, design),
        **_rests_on(wear, design, depths),
        walls=[_wall_name(wall, wear) for wall in shown],
        walls_left_out=len(walls) - len(shown),
        cautions=CAUTIONS,
    )


def _wall_name(wall: RecordedWall, wear: Wear) -> tuple[str, str]:
    """Which heat left a wall so, and whether wear stepped there."""
    if wall.occasion is None:
        return plain(wall.title, most=40), ""
    stepped = wall.occasion.heat in {step.first.first_heat for step in wear.steps}
    return f"Heat {wall.occasion.heat}", "step" if stepped else ""


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


def heats_bytes(
    walls: Sequence[RecordedWall], *, title: str, left_out: int = 0
) -> bytes:
    """The page as UTF-8 HTML, self-contained.

    Parameters
    ----------
    walls : sequence of RecordedWall
        Of one drawing, on one grid, in order.
    left_out : int
        Older surveys that are not shown.
    """
    design = walls[-1].design
    cells = _PageGrid.of(design, walls[-1])
    script = page_script("main.js")
    return page_bytes(
        "heats.html.jinja",
        design,
        {},
        title=plain(title),
        lining=plain(design.name),
        left_out=left_out,
        script=script.safe,
        wall_data=wall_data(design, cells.grid, [cells.view(wall) for wall in walls]),
        shell=design.shell_radius is not None,
        heats=True,
    )


@dataclass(frozen=True)
class _PageGrid:
    """The page's own grid: cells picked out of a survey's, none made up.

    Attributes
    ----------
    rows, columns : int array
        Places of the survey's cells that are shown.
    """

    grid: Grid
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    @classmethod
    def of(cls, design: Design, wall: RecordedWall) -> _PageGrid:
        """Of one drawing; all its surveys have the grid of ``wall``."""
        profile = design.profile
        grid = make_grid(
            design,
            surveyed=(profile.bottom, profile.top),
            spacing=_ROW,
            columns=min(_COLUMNS, wall.azimuth.size),
        )
        rows = np.abs(grid.height[:, None] - wall.height[None, :]).argmin(axis=1)
        apart = wall.azimuth.size / grid.azimuth.size
        columns = np.rint(np.arange(grid.azimuth.size) * apart).astype(np.intp)
        return cls(grid, rows, columns)

    def view(self, wall: RecordedWall) -> HeatView:
        """One survey on it."""
        cutback, sd = self._picked(wall.cutback), self._picked(wall.cutback_sd)
        repair = wall.design.repair
        name = wall.title if wall.occasion is None else wall.occasion.words
        return HeatView.without_zones(
            plain(name, most=60),
            cutback,
            sd,
            call_actions(self.grid, cutback, sd, repair),
            threshold=repair.brick_threshold,
        )

    def _picked(self, field: Float) -> Float:
        return np.asarray(field[np.ix_(self.rows, self.columns)])
