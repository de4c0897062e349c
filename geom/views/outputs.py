"""The files of every command: one table of makers each, written by one function.

A table names each file and what makes it: bytes that are written, or a writer that
takes the path itself because its library does.  Files are written in the order of the
table, into a folder that appears whole.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

from geom.atomic import atomic_directory
from geom.errors import InputError
from geom.parallel import Second
from geom.views.drawn import Drawings
from geom.views.names import (
    CAMPAIGN_FILES,
    CHANGE_FILES,
    DAY_FILES,
    FILES,
    RECHECK_FILES,
    SHEET_FILES,
    STILL_VIEWS,
    SURVEYED,
    WEAR_FILES,
    WORKBOOK,
)

# What makes a file is imported by the command that writes it: no command needs all.
if TYPE_CHECKING:
    from geom.compare.findings import Findings
    from geom.design import Design
    from geom.readings import CloudReadings, RodReadings
    from geom.record.campaigns.compare import Comparison
    from geom.record.change.result import Change
    from geom.record.store.store import Record
    from geom.record.study import Wear
    from geom.repair import RepairPackage
    from geom.repair.acceptance.result import Recheck
    from geom.repair.plan.day import DayPlan
    from geom.sampling.plan import SamplingPlan
    from geom.surface.radial import RadialSurface
    from geom.views.charts.figure import Form
    from geom.views.pages.wear_pictures import BegunPages

#: The content of a file, or what makes it or writes it to the path that it is given.
Maker = bytes | Callable[[Path], bytes | None]

#: Files of a survey that come from what is drawn last.
_READY_LAST = frozenset({"masonry.glb", "report.html", "repair-sheet.pdf"})
#: Files of a study of wear that wait for pictures.
_DRAWN_LAST = frozenset({"wear-map.png", "wear.html"})
#: Dots per inch of what is not drawn as lines.
_STILL_DPI = 180


def _quiet(_name: str) -> None:
    """Say nothing."""


def write_all(
    folder: Path,
    names: Sequence[str],
    makers: Sequence[Maker],
    *,
    last: Collection[str] = (),
    begun: Callable[[str], None] = _quiet,
    done: Callable[[str], None] = _quiet,
) -> list[Path]:
    """Write files, each by its maker.

    Parameters
    ----------
    last : collection of str
        Those that are ready last, written after all others.
    begun, done : callable
        Called with the name of each file before and after it is written.

    Returns
    -------
    list of Path
        In the order of the names.
    """
    pairs = list(zip(names, makers, strict=True))
    for name, make in sorted(pairs, key=lambda pair: pair[0] in last):
        begun(name)
        path = folder / name
        content = make if isinstance(make, bytes) else make(path)
        if content is not None:
            path.write_bytes(content)
        done(name)
    return [folder / name for name in names]


def write_files(
    folder: Path,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    works: RepairPackage,
    *,
    drawings: Drawings | None = None,
    tick: Callable[[str], None] = _quiet,
) -> list[Path]:
    """Write every file of a survey.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    works : RepairPackage
        Of those findings.
    drawings : Drawings, optional
        Of the same, begun already.
    tick : callable
        Called with the name of each file once it is written.

    Returns
    -------
    list of Path
        The files, in the order of `FILES`.  The same input gives the same bytes.
    """
    makers = survey_makers(readings, surface, findings, works, drawings)
    return write_all(folder, FILES, makers, last=_READY_LAST, done=tick)


def survey_makers(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    works: RepairPackage,
    drawings: Drawings | None = None,
) -> tuple[Maker, ...]:
    """What makes each file of a survey; drawings and meshes are made once."""
    import numpy as np

    from geom.stats.normal import expected_excess
    from geom.views.documents import findings_document
    from geom.views.meshes.solid import rebuild_solid, stl_pieces
    from geom.views.netcdf import write_netcdf
    from geom.views.pages.report import ReportPictures, report_bytes

    design, maps = surface.design, findings.maps
    drawn = drawings or Drawings.here(readings, surface, findings, works)

    def rebuild(path: Path) -> None:
        drawn = surface.grid.design_radius[:, None]
        excess = expected_excess(maps.cutback, maps.cutback_sd, drawn)
        # the shape is the process's, the volume the findings'
        whole = float(np.nansum(excess * surface.grid.patch))
        scale = findings.volume.rebuild.value / whole if whole > 0.0 else 1.0
        with path.open("wb") as file:
            file.writelines(stl_pieces(rebuild_solid(surface, scale * excess)))

    def report(_: Path) -> bytes:
        azimuth, height = readings.rod.stations
        dots = list(zip(azimuth.tolist(), height.tolist(), strict=True))
        wall = drawn.wall()
        pictures = ReportPictures(
            map=wall.map,
            work=drawn.plan().work,
            level=wall.level,
            upright=wall.upright,
        )
        return report_bytes(surface, findings, works, pictures, dots=dots)

    return (
        lambda _: findings_document(findings, works, design),
        lambda path: write_netcdf(path, surface, findings),
        lambda _: drawn.wall().glb,
        lambda _: drawn.wall().ply,
        lambda _: drawn.wall().vtp,
        rebuild,
        lambda _: drawn.plan().masonry,
        lambda _: drawn.wall().map,
        report,
        lambda _: drawn.sheet(),
    )


def write_survey(
    folder: Path | str,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    *,
    works: RepairPackage | None = None,
    drawings: Drawings | None = None,
    stills: Sequence[Form] = (),
    overwrite: bool = False,
    tick: Callable[[str], None] = _quiet,
) -> list[Path]:
    """Write every file of a survey into a folder, which appears whole.

    Parameters
    ----------
    works : RepairPackage, optional
        From `geom.prepare_repair`; it is planned if it is not given.
    drawings : Drawings, optional
        Of the same, where a second process draws them already.
    stills : sequence of {'png', 'svg', 'pdf'}
        Forms of pictures for papers that are written as well.
    overwrite : bool
        Allow a folder that holds files: a survey before and what was judged by it go,
        all else stays.
    tick : callable
        Called with what was written, or is drawn next.

    Returns
    -------
    list of Path
        The files of a survey.  The same input gives the same bytes.

    Raises
    ------
    InputError
        If the folder cannot be written, or holds files and is not to be overwritten.
    """
    if works is None:
        from geom.repair import prepare_repair

        works = prepare_repair(surface, findings, surface.design)
    with _whole(folder, SURVEYED, overwrite=overwrite) as made:
        write_files(
            made, readings, surface, findings, works, drawings=drawings, tick=tick
        )
        write_stills(made, readings, surface, findings, forms=stills, tick=tick)
    return [Path(folder) / name for name in FILES]


def _whole(
    folder: Path | str, ours: Collection[str], *, overwrite: bool
) -> AbstractContextManager[Path]:
    """A folder that becomes the one named, whole, once all is written."""
    return atomic_directory(Path(folder), overwrite=overwrite, ours=ours)


def write_change(
    folder: Path | str, change: Change, design: Design, *, overwrite: bool = False
) -> None:
    """Write numbers, maps, picture and page of a change; as `write_survey` does."""
    from geom.views.charts.change_map import change_png, levels_png, scale_png, wall_png
    from geom.views.documents import change_document
    from geom.views.netcdf import write_change_netcdf
    from geom.views.pages.comparisons import change_page

    picture = change_png(change, design)
    pictures = {
        "change": picture,
        "first": wall_png(change, design, last=False),
        "last": wall_png(change, design, last=True),
        "scale": scale_png(design),
        "levels": levels_png(change, design),
    }
    makers: tuple[Maker, ...] = (
        change_document(change, design),
        lambda path: write_change_netcdf(path, change, design),
        picture,
        change_page(change, design, pictures),
    )
    with _whole(folder, CHANGE_FILES, overwrite=overwrite) as made:
        write_all(made, CHANGE_FILES, makers)


def write_wear(
    folder: Path | str,
    wear: Wear,
    record: Record,
    *,
    begun: BegunPages | None = None,
    overwrite: bool = False,
    tick: Callable[[str], None] = _quiet,
) -> None:
    """Write the files of a study of wear; as `write_survey` does.

    Parameters
    ----------
    record : Record
        That it is of.
    begun : BegunPages, optional
        What another process shows of it already.
    tick : callable
        Called with what is made next, of files by their names.
    """
    from geom.views.documents import wear_document
    from geom.views.netcdf import write_wear_netcdf
    from geom.views.pages.heats import heats_bytes
    from geom.views.pages.wear import wear_page
    from geom.views.pages.wear_pictures import BegunPages

    design = record.design
    about = {
        "title": f"wear of {wear.title}",
        "campaign": wear.campaign,
        "created": wear.created,
        "source": f"daubline {wear.version}",
    }

    tick("pictures")
    if begun is None:
        begun = BegunPages(record, wear.occasions, Second())
    shown, measured = begun.record, begun.measured or begun.draw(wear.measured)
    rest = begun.show_rest(wear)

    def page(_: Path) -> bytes:
        pictures = measured().page | shown().page | rest()
        return wear_page(wear, design, shown().depths, shown(), pictures=pictures)

    def heats(_: Path) -> bytes:
        left_out = shown().left_out
        return heats_bytes(shown().walls, title=wear.title, left_out=left_out)

    makers: tuple[Maker, ...] = (
        lambda _: wear_document(wear, design),
        lambda path: write_wear_netcdf(path, wear.maps, design, about),
        lambda _: measured().still,
        page,
        heats,
    )
    with _whole(folder, WEAR_FILES, overwrite=overwrite) as made:
        write_all(made, WEAR_FILES, makers, last=_DRAWN_LAST, begun=tick)


def write_campaigns(
    folder: Path | str, comparison: Comparison, *, overwrite: bool = False
) -> None:
    """Write document and page of two campaigns; as `write_survey` does."""
    from geom.views.documents import campaigns_document
    from geom.views.pages.comparisons import campaigns_page

    contents = campaigns_document(comparison), campaigns_page(comparison)
    with _whole(folder, CAMPAIGN_FILES, overwrite=overwrite) as made:
        write_all(made, CAMPAIGN_FILES, contents)


def write_recheck(
    folder: Path | str, recheck: Recheck, design: Design, *, overwrite: bool = False
) -> None:
    """Write document and certificate of a recheck; as `write_survey` does."""
    from geom.views.documents import recheck_document
    from geom.views.paper.certificate import certificate_bytes

    contents = recheck_document(recheck, design), certificate_bytes(recheck, design)
    with _whole(folder, RECHECK_FILES, overwrite=overwrite) as made:
        write_all(made, RECHECK_FILES, contents)


def write_rod_sheet(
    folder: Path | str,
    design: Design,
    plan: SamplingPlan,
    *,
    title: str = "",
    overwrite: bool = False,
) -> None:
    """Write a blank rod sheet, to be typed into and printed; as `write_survey` does.

    One that was written on is never overwritten.
    """
    from geom.views.paper.rod_sheet import rod_sheet_bytes
    from geom.views.paper.rod_workbook import workbook_bytes

    refuse_filled_in(Path(folder))
    workbook = workbook_bytes(design, plan, title=title)
    paper = rod_sheet_bytes(design, plan, title=title)
    with _whole(folder, SHEET_FILES, overwrite=overwrite) as made:
        write_all(made, SHEET_FILES, (workbook, paper))


def write_day(
    folder: Path | str, day: DayPlan, design: Design, *, overwrite: bool = False
) -> None:
    """Write the day of a repair, to print; as `write_survey` does."""
    from geom.views.paper.day_sheet import day_bytes

    content = day_bytes(day, design)
    with _whole(folder, DAY_FILES, overwrite=overwrite) as made:
        write_all(made, DAY_FILES, (content,))


def refuse_filled_in(folder: Path) -> None:
    """Say no to a folder whose rod sheet holds readings: a blank one would end them.

    Raises
    ------
    InputError
        If it does, or cannot be known to be blank.
    """
    from geom.views.paper.rod_workbook import is_filled_in

    workbook = folder / WORKBOOK
    if workbook.exists() and is_filled_in(workbook):
        raise InputError(
            "this rod sheet has been written on; a blank one would take its place",
            file=workbook,
            cure="Rename it, or name another folder with --out",
        )


def write_stills(
    folder: Path,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    *,
    forms: Sequence[Form],
    tick: Callable[[str], None],
) -> None:
    """Write pictures for papers, ``still-...``: map, sections, the wall in the round.

    Parameters
    ----------
    forms : sequence of {'png', 'svg', 'pdf'}
        The same survey gives the same bytes in each.
    tick : callable
        Called with the form that is drawn next.
    """
    from geom.views.charts.round import round_view
    from geom.views.charts.sections import level_sections, upright_sections
    from geom.views.charts.survey_maps import map_png

    for form in dict.fromkeys(forms):
        tick(f"drawing stills, {form}")
        contents = (
            map_png.rendered(form, dpi=_STILL_DPI)(readings, surface, findings),
            *(
                view.rendered(form, dpi=_STILL_DPI)(surface, findings)
                for view in (level_sections, upright_sections, round_view)
            ),
        )
        for name, content in zip(STILL_VIEWS, contents, strict=True):
            (folder / f"still-{name}.{form}").write_bytes(content)
