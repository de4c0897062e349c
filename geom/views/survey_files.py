"""The files of a survey, each by its own writer, in one go."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from geom.compare.excess import expected_excess
from geom.compare.findings import Findings
from geom.design import Design
from geom.readings import CloudReadings, RodReadings
from geom.repair import Works
from geom.surface.radial import RadialSurface
from geom.views.document import document_bytes
from geom.views.glb import glb_bytes
from geom.views.map import map_png
from geom.views.mesh import wall_mesh
from geom.views.netcdf import write_netcdf
from geom.views.ply import ply_bytes
from geom.views.report import Pictures, report_bytes
from geom.views.sections import level_png, upright_png
from geom.views.sheet import sheet_bytes
from geom.views.solid import rebuild_solid, stl_bytes
from geom.views.unrolled import stations
from geom.views.vtp import write_vtp
from geom.views.workmap import workmap_png

#: In the order they are written.
FILES: tuple[str, ...] = (
    "findings.json",
    "surface.nc",
    "lining.glb",
    "lining.ply",
    "lining.vtp",
    "rebuild.stl",
    "map.png",
    "report.html",
    "repair-sheet.pdf",
)


def _quiet(_name: str) -> None:
    """Tell nobody."""


def write_files(
    folder: Path,
    *,
    design: Design,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    works: Works,
    tick: Callable[[str], None] = _quiet,
) -> list[Path]:
    """Write every file of a survey.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    design : Design
        The drawing that ``surface`` was made against.
    readings : RodReadings or CloudReadings
    surface : RadialSurface
    findings : Findings
    works : Works
        Of those findings.
    tick : callable
        Called with the name of each file once it is written.

    Returns
    -------
    list of Path
        The files, in the order of `FILES`.  The same input gives the same bytes.

    Raises
    ------
    ValueError
        If ``surface`` was made against another drawing.
    """
    if surface.design is not design:
        raise ValueError("the surface was made against another design")
    written = []
    for steps in (
        _numbers(folder, surface, findings, works),
        _shapes(folder, surface, findings),
        _pages(folder, readings, surface, findings, works),
    ):
        for path in steps:
            written.append(path)
            tick(path.name)
    return written


def _numbers(
    folder: Path, surface: RadialSurface, findings: Findings, works: Works
) -> Iterator[Path]:
    yield _put(folder / "findings.json", document_bytes(findings, works))
    path = folder / "surface.nc"
    write_netcdf(path, surface, findings)
    yield path


def _shapes(folder: Path, surface: RadialSurface, findings: Findings) -> Iterator[Path]:
    maps, mesh = findings.maps, wall_mesh(surface)
    glb = glb_bytes(mesh, surface, title=findings.title)
    yield _put(folder / "lining.glb", glb)
    yield _put(folder / "lining.ply", ply_bytes(mesh, surface, maps=maps))
    path = folder / "lining.vtp"
    write_vtp(path, mesh, surface, maps=maps)
    yield path
    drawn = surface.grid.design_radius[:, None]
    excess = expected_excess(maps.cutback, maps.cutback_sd, drawn)
    yield _put(folder / "rebuild.stl", stl_bytes(rebuild_solid(surface, excess)))


def _pages(
    folder: Path,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    works: Works,
) -> Iterator[Path]:
    wall = map_png(readings, surface, findings)
    yield _put(folder / "map.png", wall)
    pictures = Pictures(
        map=wall,
        work=workmap_png(surface, findings, works.plan),
        level=level_png(surface, findings),
        upright=upright_png(surface, findings),
    )
    azimuth, height = stations(readings.rod)
    dots = list(zip(azimuth.tolist(), height.tolist(), strict=True))
    page = report_bytes(surface, findings, works, pictures, dots=dots)
    yield _put(folder / "report.html", page)
    sheet = sheet_bytes(surface, findings, works, workmap=pictures.work)
    yield _put(folder / "repair-sheet.pdf", sheet)


def _put(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path
