"""Pages of a record: wear.html says what its wear is, heats.html shows its walls."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geom.compare.zones import call_actions
from geom.design import Design
from geom.parallel import Second
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record
from geom.record.store.survey_file import RecordedWall
from geom.record.study import Depth, MeasuredWear, Wear, study_title
from geom.surface.grid import Grid, make_grid
from geom.units import Float, say_both
from geom.views.cautions import CAUTIONS
from geom.views.charts.change_map import scale_png
from geom.views.charts.heat_charts import spells_per_point
from geom.views.drawn import draw_small_walls
from geom.views.pages.page import page_bytes, page_script
from geom.views.pages.viewer_data import HeatView, wall_data
from geom.views.pages.wear_pictures import (
    MeasuredPictures,
    draw_measured,
    wear_pictures,
)
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
#: Cells of the page, mm and how many round: many surveys have to fit in.
_ROW, _COLUMNS = 25.0, 180
#: The newest surveys of a record that one page holds, and its newest small pictures.
MOST, SMALL = 60, 24


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


class BegunPages:
    """What another process shows of a record; each of it waits until that is done.

    Attributes
    ----------
    walls : callable
        Gives the newest walls.
    measured : callable or None
        Gives pictures of what is measured, once that was handed over.
    """

    def __init__(
        self, record: Record, campaign: str | None, title: str | None, second: Second
    ) -> None:
        occasions = record.of_campaign(campaign)
        name = title or study_title(record, campaign)
        self.walls = second.begin(show_walls, (record, occasions, name))
        self.measured: Callable[[], MeasuredPictures] | None = None
        self._design, self._second = record.design, second

    def show(self, wear: MeasuredWear) -> Callable[[], MeasuredPictures]:
        """Have what is measured drawn."""
        self.measured = self._second.begin(draw_measured, (wear, self._design))
        return self.measured


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
