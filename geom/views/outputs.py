"""The files of every command: one table of makers each, written by one function.

A table names each file and what makes it: bytes that are written, or a writer that
takes the path itself because its library does.  Files are written in the order of the
table; the folder must exist, and the caller makes it appear whole.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import numpy as np

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
from geom.views.charts.change_map import change_png, levels_png, scale_png, wall_png
from geom.views.charts.cutback_map import map_png
from geom.views.charts.sections import level_sections, upright_sections
from geom.views.charts.work_map import workmap_png
from geom.views.documents import (
    campaigns_document,
    change_document,
    findings_document,
    recheck_document,
    wear_document,
)
from geom.views.meshes.formats import glb_bytes, ply_bytes, vtp_bytes
from geom.views.meshes.masonry import masonry_bytes
from geom.views.meshes.mesh import wall_mesh
from geom.views.meshes.solid import rebuild_solid, stl_bytes
from geom.views.names import (
    CAMPAIGN_FILES,
    CHANGE_FILES,
    FILES,
    PAPER,
    RECHECK_FILES,
    WEAR_FILES,
    WORKBOOK,
)
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

#: Makes the content of a file, or writes it to the path that it is given.
Maker = Callable[[Path], bytes | None]

#: Surveys that the deepest cut-back is followed through, the last ones.
_FOLLOWED = 1000


def _quiet(_name: str) -> None:
    """Say nothing."""


def write_all(
    folder: Path,
    makers: Mapping[str, Maker],
    *,
    begun: Callable[[str], None] = _quiet,
    done: Callable[[str], None] = _quiet,
) -> list[Path]:
    """Write files, each by its maker.

    Parameters
    ----------
    folder : Path
    makers : mapping of callable
        By the name of the file.
    begun, done : callable
        Called with the name of each file before and after it is written.

    Returns
    -------
    list of Path
    """
    paths = []
    for name, make in makers.items():
        begun(name)
        path = folder / name
        content = make(path)
        if content is not None:
            path.write_bytes(content)
        paths.append(path)
        done(name)
    return paths


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
    makers = survey_makers(readings, surface, findings, works)
    return write_all(folder, makers, done=tick)


def survey_makers(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    works: RepairPackage,
) -> dict[str, Maker]:
    """What makes each file of a survey; pictures and mesh are made once."""
    design, maps = surface.design, findings.maps
    mesh = cache(lambda: wall_mesh(surface))

    @cache
    def pictures() -> ReportPictures:
        return ReportPictures(
            map=map_png(readings, surface, findings),
            work=workmap_png(surface, findings, works.plan),
            level=level_sections(surface, findings),
            upright=upright_sections(surface, findings),
        )

    def rebuild(_: Path) -> bytes:
        drawn = surface.grid.design_radius[:, None]
        excess = expected_excess(maps.cutback, maps.cutback_sd, drawn)
        # the shape is the process's, the volume the findings'
        whole = float(np.nansum(excess * surface.grid.patch))
        scale = findings.volume.rebuild.value / whole if whole > 0.0 else 1.0
        return stl_bytes(rebuild_solid(surface, scale * excess))

    def report(_: Path) -> bytes:
        azimuth, height = readings.rod.stations
        dots = list(zip(azimuth.tolist(), height.tolist(), strict=True))
        return report_bytes(surface, findings, works, pictures(), dots=dots)

    makers: tuple[Maker, ...] = (
        lambda _: findings_document(findings, works, design),
        lambda path: write_netcdf(path, surface, findings),
        lambda _: glb_bytes(mesh(), surface, title=findings.title),
        lambda _: ply_bytes(mesh(), surface, maps=maps),
        lambda _: vtp_bytes(mesh(), surface, maps=maps),
        rebuild,
        lambda _: masonry_bytes(mesh(), surface, works.plan, title=findings.title),
        lambda _: pictures().map,
        report,
        lambda _: repair_sheet_bytes(surface, findings, works, workmap=pictures().work),
    )
    return dict(zip(FILES, makers, strict=True))


def write_change(folder: Path, change: Change, design: Design) -> None:
    """Write numbers, maps, picture and page of a change."""
    picture = change_png(change, design)
    pictures = {
        "change": picture,
        "first": wall_png(change, design, last=False),
        "last": wall_png(change, design, last=True),
        "scale": scale_png(design),
        "levels": levels_png(change, design),
    }
    makers: tuple[Maker, ...] = (
        lambda _: change_document(change, design),
        lambda path: write_change_netcdf(path, change, design),
        lambda _: picture,
        lambda _: change_page(change, design, pictures),
    )
    write_all(folder, dict(zip(CHANGE_FILES, makers, strict=True)))


def write_wear_files(
    folder: Path,
    wear: Wear,
    record: Record,
    tick: Callable[[str], None] = _quiet,
) -> None:
    """Write the files of a study of wear.

    Parameters
    ----------
    folder : Path
    wear : Wear
    record : Record
        That it is of.
    tick : callable
        Called with the name of each file as it is begun.
    """
    design = record.design
    about = {
        "title": f"wear of {wear.title}",
        "campaign": wear.campaign,
        "created": wear.created,
        "source": f"daubline {wear.version}",
    }

    def page(_: Path) -> bytes:
        as_worn = [each for each in wear.occasions if each.is_as_worn]
        depths = deepest_found(record, as_worn[-_FOLLOWED:])
        return wear_page(wear, design, depths)

    def heats(_: Path) -> bytes:
        walls = [record.wall(occasion) for occasion in wear.occasions[-MOST:]]
        left_out = len(wear.occasions) - len(walls)
        return heats_bytes(walls, title=wear.title, left_out=left_out)

    makers: tuple[Maker, ...] = (
        lambda _: wear_document(wear, design),
        lambda path: write_wear_netcdf(path, wear.maps, design, about),
        lambda _: still_png(wear, design),
        page,
        heats,
    )
    write_all(folder, dict(zip(WEAR_FILES, makers, strict=True)), begun=tick)


def write_campaigns(folder: Path, comparison: Comparison) -> None:
    """Write document and page of two campaigns side by side."""
    makers: tuple[Maker, ...] = (
        lambda _: campaigns_document(comparison),
        lambda _: campaigns_page(comparison),
    )
    write_all(folder, dict(zip(CAMPAIGN_FILES, makers, strict=True)))


def write_recheck(folder: Path, recheck: Recheck, design: Design) -> None:
    """Write document and certificate of a recheck."""
    makers: tuple[Maker, ...] = (
        lambda _: recheck_document(recheck),
        lambda _: certificate_bytes(recheck, design),
    )
    write_all(folder, dict(zip(RECHECK_FILES, makers, strict=True)))


def write_rod_sheet(
    folder: Path, design: Design, plan: SamplingPlan, *, title: str
) -> None:
    """Write a blank rod sheet: to be typed into, and to be printed."""
    makers: dict[str, Maker] = {
        WORKBOOK: lambda _: workbook_bytes(design, plan, title=title),
        PAPER: lambda _: rod_sheet_bytes(design, plan, title=title),
    }
    write_all(folder, makers)


def refuse_filled_in(folder: Path) -> None:
    """Say no to a folder whose rod sheet holds readings: a blank one would end them.

    Raises
    ------
    InputError
        If it does, or cannot be known to be blank.
    """
    workbook = folder / WORKBOOK
    if workbook.exists() and is_filled_in(workbook):
        raise InputError(
            "this rod sheet has been written on; a blank one would take its place",
            file=workbook,
            cure="Rename it, or name another folder with --out",
        )
