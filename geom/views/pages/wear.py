"""Pages of a record: wear.html says what its wear is, heats.html shows its walls."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from geom.compare.panels import panels_of
from geom.compare.zones import call_actions
from geom.design import Design
from geom.parallel import Second
from geom.record.changepoints.steps import Step
from geom.record.regions import Region, Regions
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion, mass_unit
from geom.record.store.store import Record
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
#: Pictures that a second process draws: with wear-map.png half of the work.
_DRAWN_BESIDE = ("zones", "ledger")


def wear_pictures(
    wear: Wear,
    design: Design,
    depths: Sequence[Depth],
    *,
    second: Second | None = None,
) -> dict[str, bytes]:
    """The pictures of the page but for its walls, as PNG, by name.

    Parameters
    ----------
    depths : sequence of Depth
        Survey after survey; may be empty.
    second : Second, optional
        Draws some of them.
    """
    begun = (second or Second()).begin(_draw_some, (wear, design, depths, True))
    return _draw_some((wear, design, depths, False)) | begun()


def _draw_some(task: tuple[Wear, Design, Sequence[Depth], bool]) -> dict[str, bytes]:
    """The pictures that another process draws, or the others."""
    wear, design, depths, others = task
    return {
        name: draw()
        for name, draw in _drawers(wear, design, depths).items()
        if (name in _DRAWN_BESIDE) == others
    }


def _drawers(
    wear: Wear, design: Design, depths: Sequence[Depth]
) -> dict[str, Callable[[], bytes]]:
    """What draws each picture."""
    wear_map, regions = wear_map_of(wear, design), wear.regions
    long = wear.rates["heat"].long
    bars = [RateBars("", long)]
    marks = [mark for step in wear.steps for mark in step_marks(step, regions)]
    hottest = tables.hottest_zone(regions)
    draw: dict[str, Callable[[], bytes]] = {
        "wear": partial(wear_png, wear_map),
        "doubt": partial(uncertainty_png, wear_map),
        "levels": partial(level_bars_png, design, regions, bars, per="heat"),
        "clock": partial(clock_png, design, regions, bars, per="heat"),
        "time": partial(
            zone_time_png, design, wear.series, hottest, long[hottest], wear.steps
        ),
        "zones": partial(zone_times_png, design, wear.series, long, marks),
    }
    if depths:
        draw["depths"] = partial(depth_times_png, design, depths)
    if wear.longest:
        draw["longest"] = partial(_longest_png, wear)
    if wear.material.repairs:
        draw["cost"] = partial(material_png, design, wear.material.repairs)
    if wear.ledger:
        draw["ledger"] = partial(
            ledger_png, design, record_grid(design), panels_of(design), wear.ledger
        )
    return draw


@dataclass(frozen=True)
class WallPages:
    """What is shown of the newest walls of a record.

    Attributes
    ----------
    heats : bytes
        The page ``heats.html``.
    worn : tuple of Occasion
        Whose walls, as heats left them, are drawn small; more are left out.
    small : list of bytes
        Their pictures, PNG.
    left_out : int
    """

    heats: bytes
    worn: tuple[Occasion, ...]
    small: list[bytes]
    left_out: int


def begin_walls(
    record: Record, occasions: Sequence[Occasion], title: str, second: Second
) -> Callable[[], WallPages]:
    """Have the newest walls shown; what is given waits for that."""
    return second.begin(show_walls, (record, tuple(occasions), title))


def show_walls(task: tuple[Record, tuple[Occasion, ...], str]) -> WallPages:
    """Read the newest walls of a campaign, each once, and show them."""
    record, occasions, title = task
    some = occasions[-MOST:]
    walls = [record.wall(occasion) for occasion in some]
    worn = [wall for wall in walls if wall.occasion and wall.occasion.is_as_worn]
    shown = worn[-SMALL:]
    return WallPages(
        heats_bytes(walls, title=title, left_out=len(occasions) - len(some)),
        tuple(wall.occasion for wall in shown if wall.occasion),
        draw_small_walls((record.design, [wall.cutback for wall in shown])),
        len(worn) - len(shown),
    )


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
    walls: WallPages | None = None,
    *,
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped.

    Parameters
    ----------
    depths : sequence of Depth
        The deepest cut-back, survey after survey.
    walls : WallPages, optional
        As heats left them.
    pictures : mapping of str to bytes, optional
        From `wear_pictures`, if they are drawn already.
    """
    if pictures is None:
        pictures = wear_pictures(wear, design, depths)
    shown = walls.worn if walls else ()
    of_walls = walls.small if walls else []
    scale = {"scale": scale_png(design)} if shown else {}
    return page_bytes(
        "wear.html.jinja",
        design,
        {**pictures, **scale, **{f"wall {k}": p for k, p in enumerate(of_walls)}},
        **_heading(wear, design),
        **_to_know(wear, design),
        **_rests_on(wear, design, depths),
        walls=[_wall_name(occasion, wear) for occasion in shown],
        walls_left_out=walls.left_out if walls else 0,
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
