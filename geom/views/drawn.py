"""What a survey is drawn into: pictures and the printed sheet, begun as soon as may be.

Drawing takes a third of a survey and needs nothing that comes after it.  A second
process imports what it takes while the first fits the wall, draws the wall while the
first plans the repair, and the repair while the first writes the other files.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # so that the second process begins before the first imports these
    from geom.compare.findings import Findings
    from geom.design import Design
    from geom.parallel import Second
    from geom.readings import CloudReadings, RodReadings
    from geom.repair import RepairPackage
    from geom.surface.radial import RadialSurface
    from geom.units import Float
    from geom.views.charts.wear_map import WearMap


@dataclass(frozen=True)
class WallPictures:
    """Of findings, each as PNG bytes."""

    map: bytes
    level: bytes
    upright: bytes


@dataclass(frozen=True)
class RepairDrawings:
    """Of a repair: what to do on the unrolled wall, PNG, and the repair sheet, PDF."""

    work: bytes
    sheet: bytes


@dataclass(frozen=True)
class Drawings:
    """Of a survey; each waits until it is drawn."""

    wall: Callable[[], WallPictures]
    repair: Callable[[], RepairDrawings]


def get_ready(paper: bool) -> None:
    """Import what it takes to draw pictures, and on paper."""
    from geom.views.charts import survey_maps, wear_map  # noqa: F401
    from geom.views.charts.figure import drawing_style, new_figure, render

    with drawing_style():
        render(new_figure(1.0, 1.0), dpi=10)
    if paper:
        from geom.views.paper import repair_sheet, style  # noqa: F401

        style.get_ready()
        style.paragraph("", style.BODY)


def begin_wall(
    second: Second,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
) -> Callable[[], WallPictures]:
    """Have the wall drawn; what is given waits for its pictures."""
    return second.begin(draw_wall, (readings.rod, *_shown(surface, findings)))


def begin_repair(
    second: Second, surface: RadialSurface, findings: Findings, works: RepairPackage
) -> Callable[[], RepairDrawings]:
    """Have the repair drawn; as `begin_wall`."""
    return second.begin(draw_repair, (*_shown(surface, findings), works))


def _shown(
    surface: RadialSurface, findings: Findings
) -> tuple[RadialSurface, Findings]:
    """What is drawn: nothing of how a laser's cells are known, a hundred megabytes."""
    shown = replace(surface, posterior=surface.posterior.fitted)
    return shown, replace(findings, surface=shown)


def draw_wall(task: tuple[RodReadings, RadialSurface, Findings]) -> WallPictures:
    """Draw map and sections."""
    from geom.views.charts.sections import level_sections, upright_sections
    from geom.views.charts.survey_maps import map_png

    readings, surface, findings = task
    return WallPictures(
        map=map_png(readings, surface, findings),
        level=level_sections(surface, findings),
        upright=upright_sections(surface, findings),
    )


def draw_repair(task: tuple[RadialSurface, Findings, RepairPackage]) -> RepairDrawings:
    """Draw what is to be done."""
    from geom.views.charts.survey_maps import workmap_png
    from geom.views.paper.repair_sheet import repair_sheet_bytes

    surface, findings, works = task
    return RepairDrawings(
        work=workmap_png(surface, findings, works.plan),
        sheet=repair_sheet_bytes(surface, findings, works),
    )


def draw_wear(task: tuple[WearMap, str]) -> bytes:
    """Draw wear and how well it is known, to hand on by itself; PNG."""
    from geom.views.charts.wear_map import wear_map_png

    wear_map, title = task
    return wear_map_png(wear_map, title=title)


def draw_small_walls(task: tuple[Design, Sequence[Float]]) -> list[bytes]:
    """Draw walls small, from their cut-back (m, k) on the record's grid; PNG each."""
    from geom.record.store.grid import record_grid
    from geom.views.charts.wear_map import small_wall_png

    design, walls = task
    grid = record_grid(design)
    return [small_wall_png(design, grid, cutback) for cutback in walls]
