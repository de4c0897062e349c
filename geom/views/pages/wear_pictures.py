"""The pictures of wear.html and wear-map.png.

Those of what is measured are drawn by a second process while the first forecasts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from geom.compare.panels import panels_of
from geom.design import Design
from geom.record.changepoints.steps import Step
from geom.record.regions import Region, Regions
from geom.record.store.grid import record_grid
from geom.record.store.occasion import mass_unit
from geom.record.study import Depth, MeasuredWear, Wear
from geom.record.wear.series import EXPOSURES, TONNE, Exposure, exposures
from geom.units import KG_PER
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
    uncertainty_png,
    wear_map_png,
    wear_png,
)
from geom.views.say import plain
from geom.views.tables import wear as tables

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
    wear: Wear,
    design: Design,
    depths: Sequence[Depth],
    measured: Callable[[], MeasuredPictures] | None = None,
) -> dict[str, bytes]:
    """The pictures of the page but for its walls, as PNG, by name.

    Parameters
    ----------
    depths : sequence of Depth
        Survey after survey; may be empty.
    measured : callable, optional
        Waits for those of what is measured, if they were begun already.
    """
    drawn = {name: draw() for name, draw in _others(wear, design, depths).items()}
    if measured is None:
        return draw_measured((wear.measured, design)).page | drawn
    return measured().page | drawn


def _others(
    wear: Wear, design: Design, depths: Sequence[Depth]
) -> dict[str, Callable[[], bytes]]:
    """What draws each picture of more than is measured."""
    draw: dict[str, Callable[[], bytes]] = {}
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
