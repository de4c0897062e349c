"""The files of a survey, each by its own writer, in one go.

The files of a change: numbers, maps, picture and page.

The files of a study of wear.

The files of two campaigns beside each other.

The files of a recheck.

The files of a blank rod sheet: to be typed into, and to be printed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from geom.compare.findings import Findings
from geom.design import Design
from geom.errors import InputError
from geom.readings import CloudReadings, RodReadings
from geom.record.campaigns.compare import Comparison
from geom.record.change.result import Change
from geom.record.store.store import Record
from geom.record.study import Wear, deepest_found
from geom.repair import RepairPackage
from geom.repair.acceptance.result import Recheck
from geom.sampling.plan import SamplingPlan
from geom.stats.partial_moments import expected_excess
from geom.surface.radial import RadialSurface
from geom.views.cautions import CAUTIONS
from geom.views.charts.change_map import change_png, levels_png, scale_png, wall_png
from geom.views.charts.cutback_map import map_png
from geom.views.charts.sections import level_sections, upright_sections
from geom.views.charts.unrolled import stations
from geom.views.charts.work_map import workmap_png
from geom.views.document import as_json, document_bytes
from geom.views.meshes.formats import glb_bytes, ply_bytes, write_vtp
from geom.views.meshes.mesh import wall_mesh
from geom.views.meshes.solid import rebuild_solid, stl_bytes
from geom.views.netcdf import (
    write_change_netcdf,
    write_netcdf,
    write_wear_netcdf,
)
from geom.views.pages.campaigns import campaigns_page
from geom.views.pages.change import change_page
from geom.views.pages.heats import MOST, heats_bytes
from geom.views.pages.report import ReportPictures, report_bytes
from geom.views.pages.wear import still_png, wear_page
from geom.views.paper.certificate import certificate_bytes
from geom.views.paper.repair_sheet import repair_sheet_bytes
from geom.views.paper.rod_sheet import rod_sheet_bytes
from geom.views.paper.rod_workbook import is_filled_in, workbook_bytes

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
    works: RepairPackage,
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
    works : RepairPackage
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
    folder: Path, surface: RadialSurface, findings: Findings, works: RepairPackage
) -> Iterator[Path]:
    yield _put(
        folder / "findings.json", document_bytes(findings, works, surface.design)
    )
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
    works: RepairPackage,
) -> Iterator[Path]:
    wall = map_png(readings, surface, findings)
    yield _put(folder / "map.png", wall)
    pictures = ReportPictures(
        map=wall,
        work=workmap_png(surface, findings, works.plan),
        level=level_sections(surface, findings),
        upright=upright_sections(surface, findings),
    )
    azimuth, height = stations(readings.rod)
    dots = list(zip(azimuth.tolist(), height.tolist(), strict=True))
    page = report_bytes(surface, findings, works, pictures, dots=dots)
    yield _put(folder / "report.html", page)
    sheet = repair_sheet_bytes(surface, findings, works, workmap=pictures.work)
    yield _put(folder / "repair-sheet.pdf", sheet)


def _put(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


#: In the order they are written.
CHANGE_FILES: tuple[str, ...] = (
    "change.json",
    "change.nc",
    "change.png",
    "change.html",
)


def write_change(folder: Path, change: Change, design: Design) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    change : Change
    design : Design
    """
    (folder / CHANGE_FILES[0]).write_bytes(change_document(change))
    write_change_netcdf(folder / CHANGE_FILES[1], change, design)
    picture = change_png(change, design)
    (folder / CHANGE_FILES[2]).write_bytes(picture)
    pictures = {
        "change": picture,
        "first": wall_png(change, design, last=False),
        "last": wall_png(change, design, last=True),
        "scale": scale_png(design),
        "levels": levels_png(change, design),
    }
    (folder / CHANGE_FILES[3]).write_bytes(change_page(change, design, pictures))


def change_document(change: Change) -> bytes:
    """The ``daubline.change/1`` document as UTF-8 JSON."""
    told = change.to_dict() | {"cautions": list(CAUTIONS)}
    return as_json(told)


#: In the order they are written.
WEAR_FILES: tuple[str, ...] = (
    "wear.json",
    "wear.nc",
    "wear-map.png",
    "wear.html",
    "heats.html",
)
#: Surveys that the deepest cut-back is followed through, the last ones.
_FOLLOWED = 1000


def write_wear_files(
    folder: Path,
    wear: Wear,
    record: Record,
    tick: Callable[[str], None] | None = None,
) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    wear : Wear
    record : Record
        That it is of.
    tick : callable, optional
        Told the name of each file as it is begun.
    """
    say = tick if tick is not None else _silent
    say(WEAR_FILES[0])
    (folder / WEAR_FILES[0]).write_bytes(wear_document(wear))
    say(WEAR_FILES[1])
    about = {
        "title": f"wear of {wear.title}",
        "campaign": wear.campaign,
        "created": wear.created,
        "source": f"daubline {wear.version}",
    }
    write_wear_netcdf(folder / WEAR_FILES[1], wear.maps, record.design, about)
    say(WEAR_FILES[2])
    (folder / WEAR_FILES[2]).write_bytes(still_png(wear, record.design))
    say(WEAR_FILES[3])
    found = [one for one in wear.occasions if one.is_as_worn][-_FOLLOWED:]
    depths = deepest_found(record, found)
    (folder / WEAR_FILES[3]).write_bytes(wear_page(wear, record.design, depths))
    say(WEAR_FILES[4])
    walls = [record.wall(one) for one in wear.occasions[-MOST:]]
    left_out = len(wear.occasions) - len(walls)
    page = heats_bytes(walls, title=wear.title, left_out=left_out)
    (folder / WEAR_FILES[4]).write_bytes(page)


def wear_document(wear: Wear) -> bytes:
    """What ``wear.json`` holds, as UTF-8."""
    told = wear.to_dict() | {"cautions": list(CAUTIONS)}
    return as_json(told)


def _silent(words: str) -> None:
    """Say nothing."""


#: In the order they are written.
CAMPAIGNS_FILES: tuple[str, ...] = ("campaigns.json", "campaigns.html")


def write_campaigns(folder: Path, told: Comparison) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    told : Comparison
    """
    (folder / CAMPAIGNS_FILES[0]).write_bytes(campaigns_document(told))
    (folder / CAMPAIGNS_FILES[1]).write_bytes(campaigns_page(told))


def campaigns_document(told: Comparison) -> bytes:
    """The ``daubline.campaigns/1`` document as UTF-8 JSON.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no such numbers.
    """
    return as_json(told.to_dict())


#: In the order they are written.
RECHECK_FILES: tuple[str, ...] = ("recheck.json", "certificate.pdf")


def write_recheck(folder: Path, recheck: Recheck, design: Design) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    recheck : Recheck
    design : Design
    """
    told = recheck.to_dict() | {"cautions": list(CAUTIONS)}
    (folder / RECHECK_FILES[0]).write_bytes(as_json(told))
    (folder / RECHECK_FILES[1]).write_bytes(certificate_bytes(recheck, design))


WORKBOOK, PAPER = "rod-sheet.xlsx", "rod-sheet.pdf"


def write_rod_sheet(
    folder: Path, design: Design, plan: SamplingPlan, *, title: str
) -> None:
    """Write both.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    design : Design
    plan : SamplingPlan
    title : str
    """
    (folder / WORKBOOK).write_bytes(workbook_bytes(design, plan, title=title))
    (folder / PAPER).write_bytes(rod_sheet_bytes(design, plan, title=title))


def refuse_filled_in(folder: Path) -> None:
    """Say no to a folder whose rod sheet holds readings: a blank one would end them.

    Raises
    ------
    InputError
        If it does, or cannot be told to be blank.
    """
    there = folder / WORKBOOK
    if there.exists() and is_filled_in(there):
        raise InputError(
            "this rod sheet has been written on; a blank one would take its place",
            file=there,
            cure="Rename it, or name another folder with --out",
        )
