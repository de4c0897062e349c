"""What a survey is drawn into: pictures, meshes and the printed sheet, begun early.

Drawing takes half of a survey and needs nothing that comes after it.  A second process
imports what it takes while the first fits the wall, draws the wall while the first
plans the repair, the plan while the first looks into what comes with it, and the sheet
while the first writes the other files.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:  # so that the second process begins before the first imports these
    from geom.compare.findings import Findings
    from geom.parallel import Second
    from geom.readings import CloudReadings, RodReadings
    from geom.repair import RepairPackage, RepairPlan
    from geom.surface import Posterior
    from geom.surface.radial import RadialSurface


@dataclass(frozen=True)
class WallDrawings:
    """Of findings: pictures as PNG bytes, the wall in the round as GLB, PLY and VTP."""

    map: bytes
    level: bytes
    upright: bytes
    glb: bytes
    ply: bytes
    vtp: bytes


@dataclass(frozen=True)
class PlanDrawings:
    """Of a plan: what to do on the unrolled wall, PNG, and every brick in it, GLB."""

    work: bytes
    masonry: bytes


@dataclass(frozen=True)
class Drawings:
    """Of a survey; each waits until it is drawn.

    Attributes
    ----------
    sheet : callable
        The repair sheet, PDF.
    """

    wall: Callable[[], WallDrawings]
    plan: Callable[[], PlanDrawings]
    sheet: Callable[[], bytes]

    @classmethod
    def here(
        cls,
        readings: RodReadings | CloudReadings,
        surface: RadialSurface,
        findings: Findings,
        works: RepairPackage,
    ) -> Drawings:
        """Drawn by this process, each when it is first asked for."""
        return cls(
            wall=cache(lambda: draw_wall((readings.rod, surface, findings))),
            plan=cache(lambda: draw_plan((surface, findings, works.plan))),
            sheet=cache(lambda: draw_sheet((surface, findings, works))),
        )


def get_ready(_: None = None) -> None:
    """Import what it takes to draw a survey."""
    _draw_nothing()
    import shapely  # noqa: F401
    import trimesh.exchange.gltf  # noqa: F401

    from geom.views.charts import sections, survey_maps  # noqa: F401
    from geom.views.paper import repair_sheet, style  # noqa: F401

    style.get_ready()
    style.paragraph("", style.BODY)
    gc.freeze()  # none of this is looked through again for garbage


def get_ready_for_wear(_: None = None) -> None:
    """Import what it takes to show a record and its wear."""
    _draw_nothing()
    from geom.views.pages import wear_pictures  # noqa: F401


def _draw_nothing() -> None:
    """Draw an empty picture, for which matplotlib imports the rest of itself."""
    from geom.views.charts.figure import drawing_style, new_figure, render

    with drawing_style():
        render(new_figure(1.0, 1.0), dpi=10)


@dataclass(frozen=True)
class BegunWall:
    """What another process draws of a wall; waits until that is drawn."""

    second: Second
    shown: tuple[RadialSurface, Findings]
    wall: Callable[[], WallDrawings]

    def with_plan(self, plan: RepairPlan) -> BegunPlan:
        """Have a plan of its repair drawn too."""
        return BegunPlan(self, self.second.begin(draw_plan, (*self.shown, plan)))


@dataclass(frozen=True)
class BegunPlan:
    """What another process draws of a wall and of the plan of its repair."""

    begun: BegunWall
    plan: Callable[[], PlanDrawings]

    def with_repair(self, works: RepairPackage) -> Drawings:
        """Have the repair sheet drawn too."""
        task = *self.begun.shown, works
        sheet = self.begun.second.begin(draw_sheet, task)
        return Drawings(wall=self.begun.wall, plan=self.plan, sheet=sheet)


def begin_wall(
    second: Second,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
) -> BegunWall:
    """Have the wall drawn."""
    shown = _shown(surface, findings)
    return BegunWall(second, shown, second.begin(draw_wall, (readings.rod, *shown)))


def _shown(
    surface: RadialSurface, findings: Findings
) -> tuple[RadialSurface, Findings]:
    """What is drawn: nothing of the joint posterior, up to a hundred megabytes.

    Nor areas of the grid that were asked for: they are worked out anew where needed.
    """
    nothing = cast("Posterior", None)
    shown = replace(surface, posterior=nothing, grid=replace(surface.grid))
    return shown, replace(findings, surface=shown)


def draw_wall(task: tuple[RodReadings, RadialSurface, Findings]) -> WallDrawings:
    """Draw map and sections, and write the wall in the round."""
    from geom.views.charts.sections import level_sections, upright_sections
    from geom.views.charts.survey_maps import map_png
    from geom.views.meshes.formats import glb_bytes, ply_bytes, vtp_bytes
    from geom.views.meshes.mesh import wall_mesh

    readings, surface, findings = task
    mesh = wall_mesh(surface)
    drawn = WallDrawings(
        map=map_png(readings, surface, findings),
        level=level_sections(surface, findings),
        upright=upright_sections(surface, findings),
        glb=glb_bytes(mesh, surface, title=findings.title),
        ply=ply_bytes(mesh, surface, maps=findings.maps),
        vtp=vtp_bytes(mesh, surface, maps=findings.maps),
    )
    gc.collect()  # figures and scenes lie in cycles, 60 MB
    return drawn


def draw_plan(task: tuple[RadialSurface, Findings, RepairPlan]) -> PlanDrawings:
    """Draw what is to be done, on the unrolled wall and in the round."""
    from geom.views.charts.survey_maps import workmap_png
    from geom.views.meshes.masonry import masonry_bytes
    from geom.views.meshes.mesh import wall_mesh

    surface, findings, plan = task
    mesh = wall_mesh(surface)
    return PlanDrawings(
        work=workmap_png(surface, findings, plan),
        masonry=masonry_bytes(mesh, surface, plan, title=findings.title),
    )


def draw_sheet(task: tuple[RadialSurface, Findings, RepairPackage]) -> bytes:
    """Draw how it is done, on paper."""
    from geom.views.paper.repair_sheet import repair_sheet_bytes

    return repair_sheet_bytes(*task)
