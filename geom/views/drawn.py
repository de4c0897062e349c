"""What a survey is drawn into: pictures, meshes and the printed sheet, begun early.

Drawing takes half of a survey and needs nothing that comes after it.  A second process
imports what it takes while the first fits the wall, draws the wall while the first
plans the repair, and the repair while the first writes the other files.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # so that the second process begins before the first imports these
    from geom.compare.findings import Findings
    from geom.parallel import Second
    from geom.readings import CloudReadings, RodReadings
    from geom.repair import RepairPackage
    from geom.surface.radial import RadialSurface


@dataclass(frozen=True)
class WallPictures:
    """Of findings, each as PNG bytes."""

    map: bytes
    level: bytes
    upright: bytes


@dataclass(frozen=True)
class WallMeshes:
    """Of findings, the wall in the round as GLB, PLY and VTP bytes."""

    glb: bytes
    ply: bytes
    vtp: bytes


@dataclass(frozen=True)
class RepairDrawings:
    """Of a repair: the repair sheet, PDF, and every brick in the wall, GLB."""

    sheet: bytes
    masonry: bytes


@dataclass(frozen=True)
class Drawings:
    """Of a survey; each waits until it is drawn.

    Attributes
    ----------
    work : callable
        What to do on the unrolled wall, PNG.
    """

    wall: Callable[[], WallPictures]
    meshes: Callable[[], WallMeshes]
    work: Callable[[], bytes]
    repair: Callable[[], RepairDrawings]

    @classmethod
    def here(
        cls,
        readings: RodReadings | CloudReadings,
        surface: RadialSurface,
        findings: Findings,
        works: RepairPackage,
    ) -> Drawings:
        """Drawn by this process, each when it is first asked for."""
        task = surface, findings, works
        return cls(
            wall=cache(lambda: draw_wall((readings.rod, surface, findings))),
            meshes=cache(lambda: make_meshes((surface, findings))),
            work=cache(lambda: draw_work(task)),
            repair=cache(lambda: draw_repair(task)),
        )


def get_ready(paper: bool) -> None:
    """Import what it takes to draw pictures, and on paper."""
    from geom.views.charts import survey_maps, wear_map  # noqa: F401

    _draw_nothing()
    if paper:
        from geom.views.paper import repair_sheet, style  # noqa: F401

        style.get_ready()
        style.paragraph("", style.BODY)
        import trimesh  # noqa: F401


def get_ready_for_wear(_: None = None) -> None:
    """Import what it takes to show a record and its wear."""
    from geom.views.pages import wear_pictures  # noqa: F401

    _draw_nothing()


def _draw_nothing() -> None:
    """Draw an empty picture, for which matplotlib imports the rest of itself."""
    from geom.views.charts.figure import drawing_style, new_figure, render

    with drawing_style():
        render(new_figure(1.0, 1.0), dpi=10)


@dataclass(frozen=True)
class BegunWall:
    """What another process draws of a wall; each waits until that is drawn."""

    second: Second
    shown: tuple[RadialSurface, Findings]
    pictures: Callable[[], WallPictures]
    meshes: Callable[[], WallMeshes]

    def with_repair(self, works: RepairPackage) -> Drawings:
        """Have its repair drawn too."""
        task = *self.shown, works
        return Drawings(
            wall=self.pictures,
            meshes=self.meshes,
            work=self.second.begin(draw_work, task),
            repair=self.second.begin(draw_repair, task),
        )


def begin_wall(
    second: Second,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
) -> BegunWall:
    """Have the wall drawn."""
    shown = _shown(surface, findings)
    return BegunWall(
        second,
        shown,
        pictures=second.begin(draw_wall, (readings.rod, *shown)),
        meshes=second.begin(make_meshes, shown),
    )


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


def make_meshes(task: tuple[RadialSurface, Findings]) -> WallMeshes:
    """Write the wall in the round."""
    from geom.views.meshes.formats import glb_bytes, ply_bytes, vtp_bytes
    from geom.views.meshes.mesh import wall_mesh

    surface, findings = task
    mesh = wall_mesh(surface)
    return WallMeshes(
        glb=glb_bytes(mesh, surface, title=findings.title),
        ply=ply_bytes(mesh, surface, maps=findings.maps),
        vtp=vtp_bytes(mesh, surface, maps=findings.maps),
    )


def draw_work(task: tuple[RadialSurface, Findings, RepairPackage]) -> bytes:
    """Draw what is to be done."""
    from geom.views.charts.survey_maps import workmap_png

    surface, findings, works = task
    return workmap_png(surface, findings, works.plan)


def draw_repair(
    task: tuple[RadialSurface, Findings, RepairPackage],
) -> RepairDrawings:
    """Draw how it is done, on paper and in the round."""
    from geom.views.meshes.masonry import masonry_bytes
    from geom.views.meshes.mesh import wall_mesh
    from geom.views.paper.repair_sheet import repair_sheet_bytes

    surface, findings, works = task
    mesh = wall_mesh(surface)
    return RepairDrawings(
        sheet=repair_sheet_bytes(surface, findings, works),
        masonry=masonry_bytes(mesh, surface, works.plan, title=findings.title),
    )
