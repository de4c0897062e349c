"""The pictures of wear.html and wear-map.png.

Those of what is measured are drawn by a second process while the first forecasts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import panels_of
from geom.design import Design
from geom.parallel import Second
from geom.record.changepoints.steps import Step
from geom.record.forecast.forecast import LongestHeat
from geom.record.regions import Region, Regions
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion, mass_unit
from geom.record.store.store import Record
from geom.record.study import (
    Depth,
    MeasuredWear,
    RestOfWear,
    Wear,
    deepest_found,
)
from geom.record.wear.series import EXPOSURES, TONNE, Exposure, Spell, exposures
from geom.units import KG_PER, Float
from geom.views.charts.change_map import scale_png
from geom.views.charts.heat_charts import (
    LongestBar,
    StepMark,
    depth_times_png,
    longest_png,
    material_png,
    zone_time_png,
    zone_times_png,
)
from geom.views.charts.wear_charts import RateBars, clock_png, level_bars_png
from geom.views.charts.wear_map import (
    WearMap,
    ledger_png,
    small_walls,
    uncertainty_png,
    wear_map_png,
    wear_png,
)
from geom.views.pages.heats import PageWalls
from geom.views.say import plain
from geom.views.tables import wear as tables

#: The newest surveys of a record that one page holds, and its newest small pictures.
MOST, SMALL = 60, 24
#: Surveys that the deepest cut-back is followed through, the last ones.
_FOLLOWED = 1000
#: Share of the lower of two regions that must lie at the other's heights.
_SHARED = 0.5


@dataclass(frozen=True)
class MeasuredPictures:
    """Pictures of what is measured, PNG.

    Attributes
    ----------
    still : bytes
        The file ``wear-map.png``.
    page : dict of bytes
        Those of the page, by name.
    """

    still: bytes
    page: dict[str, bytes]


def draw_measured(task: tuple[MeasuredWear, Design]) -> MeasuredPictures:
    """Draw what is measured."""
    wear, design = task
    wear_map, regions = _wear_map(wear, design), wear.series.regions
    bars = [RateBars("", wear.long)]
    marks = [mark for step in wear.steps for mark in step_marks(step, regions)]
    hottest = tables.hottest_zone(regions)
    return MeasuredPictures(
        still=draw_still((wear, design)),
        page={
            "wear": wear_png(wear_map),
            "doubt": uncertainty_png(wear_map),
            "levels": level_bars_png(design, regions, bars, per="heat"),
            "clock": clock_png(design, regions, bars, per="heat"),
            "time": zone_time_png(
                design, wear.series, hottest, wear.long[hottest], wear.steps
            ),
            "zones": zone_times_png(design, wear.series, wear.long, marks),
        },
    )


def draw_still(task: tuple[MeasuredWear, Design]) -> bytes:
    """Draw wear and how well it is known, to hand on by itself; PNG."""
    wear, design = task
    first, last = wear.series.spells[0].first_heat, wear.series.spells[-1].last_heat
    title = f"{plain(wear.title, most=70)}: heats {first} to {last}"
    return wear_map_png(_wear_map(wear, design), title=title)


def _wear_map(wear: MeasuredWear, design: Design) -> WearMap:
    """Mean wear per heat of the whole wall."""
    rate = wear.per_heat
    return WearMap(design, record_grid(design), rate.rate, rate.sd, "heat")


def wear_pictures(
    wear: Wear, design: Design, depths: Sequence[Depth]
) -> dict[str, bytes]:
    """The pictures of the page but for its walls, as PNG, by name.

    Parameters
    ----------
    depths : sequence of Depth
        Survey after survey; may be empty.
    """
    return (
        draw_measured((wear.measured, design)).page
        | _depths(design, depths)
        | draw_rest((wear.rest, design))
    )


@dataclass(frozen=True)
class ShownRecord:
    """What is shown of a campaign before its wear is known.

    Attributes
    ----------
    walls : PageWalls
        The newest; ``left_out`` are older.
    worn : tuple of Occasion
        Whose walls, as heats left them, are drawn small; ``worn_left_out`` are older.
    small : dict of bytes
        Their pictures, and the scale of those, PNG, by name.
    depths : tuple of Depth
    page : dict of bytes
        The picture of those, by name.
    """

    walls: PageWalls
    left_out: int
    worn: tuple[Occasion, ...]
    worn_left_out: int
    small: dict[str, bytes]
    depths: tuple[Depth, ...]
    page: dict[str, bytes]


def show_record(task: tuple[Record, tuple[Occasion, ...]]) -> ShownRecord:
    """Read the newest surveys of a campaign, each once, and show them."""
    record, occasions = task
    walls = {occasion: record.wall(occasion) for occasion in occasions[-MOST:]}
    worn = [occasion for occasion in walls if occasion.is_as_worn]
    small = worn[-SMALL:]
    depths = deepest_found(record, occasions[-_FOLLOWED:])
    return ShownRecord(
        walls=PageWalls.of(list(walls.values())),
        left_out=len(occasions) - len(walls),
        worn=tuple(small),
        worn_left_out=len(worn) - len(small),
        small=_small_walls(record.design, [walls[o].cutback for o in small]),
        depths=depths,
        page=_depths(record.design, depths),
    )


def _small_walls(design: Design, cutback: Sequence[Float]) -> dict[str, bytes]:
    """Walls drawn small, and their scale."""
    drawn = small_walls(design, record_grid(design), cutback)
    named = {f"wall {k}": picture for k, picture in enumerate(drawn)}
    return {"scale": scale_png(design)} | named if drawn else {}


def _depths(design: Design, depths: Sequence[Depth]) -> dict[str, bytes]:
    return {"depths": depth_times_png(design, depths)} if depths else {}


def draw_rest(task: tuple[RestOfWear, Design]) -> dict[str, bytes]:
    """Draw how long the next heat may be, and what repairs put in."""
    rest, design = task
    drawn = {}
    if rest.longest:
        drawn["longest"] = _longest_png(rest.occasions, rest.spells, rest.longest)
    if rest.repairs:
        drawn["cost"] = material_png(design, rest.repairs)
    if rest.ledger:
        grid, panels = record_grid(design), panels_of(design)
        drawn["ledger"] = ledger_png(design, grid, panels, rest.ledger)
    return drawn


def _longest_png(
    occasions: Sequence[Occasion],
    spells: Sequence[Spell],
    longest: Sequence[LongestHeat],
) -> bytes:
    """In hours on blast; in the shop's unit of iron, or in heats, where need be."""
    unit = mass_unit(occasions)
    per_heat = {by: exposures(spells, by) for by in EXPOSURES}
    heats = per_heat["heat"]
    known: Exposure = next(
        (by for by in ("hour", "tonne") if np.isfinite(per_heat[by]).any()), "heat"
    )
    size = {"heat": 1.0, "hour": 1.0, "tonne": float(KG_PER[unit]) / TONNE}[known]
    lengths = per_heat[known][np.isfinite(per_heat[known])] / size
    lengths /= heats[np.isfinite(per_heat[known])]
    words = {"hour": "hours on blast", "tonne": f"iron, {unit}", "heat": "heats"}
    bars = []
    for each in longest:
        length = {"hour": each.hours, "tonne": each.tonnes, "heat": each.heats}[known]
        if length is not None:
            name = f"{tables.LIMITS[each.limit]}, 95 %"
            bars.append(LongestBar(name, length.times(1.0 / size)))
    return longest_png(lengths.tolist(), bars, words[known])


class BegunPages:
    """What another process shows of a campaign; each of it waits until that is done.

    Attributes
    ----------
    record : callable
        Gives what is shown before wear is known.
    measured : callable or None
        Gives pictures of what is measured, once that was handed over.
    """

    def __init__(
        self, record: Record, occasions: tuple[Occasion, ...], second: Second
    ) -> None:
        self.record = second.begin(show_record, (record, occasions))
        self.measured: Callable[[], MeasuredPictures] | None = None
        self._design, self._second = record.design, second

    def draw(self, wear: MeasuredWear) -> Callable[[], MeasuredPictures]:
        """Have what is measured drawn."""
        self.measured = self._second.begin(draw_measured, (wear, self._design))
        return self.measured

    def show_rest(self, wear: Wear) -> Callable[[], dict[str, bytes]]:
        """Have drawn what was found after that."""
        return self._second.begin(draw_rest, (wear.rest, self._design))


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
