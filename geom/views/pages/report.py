"""report.html: everything for reading, in one file that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from geom.compare.findings import Findings
from geom.design import Design
from geom.repair import RepairPackage
from geom.repair.plan.day import day_plan
from geom.surface.radial import RadialSurface
from geom.units import say_both
from geom.views.cautions import CAUTIONS
from geom.views.charts.colours import ACTION_STYLES, cutback_limits
from geom.views.pages.page import page_bytes, page_script
from geom.views.pages.viewer_data import bricks_data, heat_view, wall_data
from geom.views.say import (
    WORK,
    headings,
    plain,
    say_time,
)
from geom.views.tables import survey as tables
from geom.views.tables.day import (
    batch_rows,
    day_lines,
    day_rows,
    drying_lines,
    drying_rows,
)
from geom.views.tables.openings import opening_rows, taper_advice, tuyere_rows
from geom.views.tables.repair import (
    bottom_lines,
    daub_rows,
    jobs,
    melting_lines,
    order_rows,
    repair_warnings,
    say_not_planned,
    say_sure,
    settings_lines,
    settings_rows,
    strike_rows,
)
from geom.views.tables.support import (
    relining_rows,
    relining_words,
    stop_head,
    stop_lines,
    support_rows,
)


@dataclass(frozen=True)
class ReportPictures:
    """The pictures of a report, each as PNG bytes."""

    map: bytes
    work: bytes
    level: bytes
    upright: bytes


def report_bytes(
    surface: RadialSurface,
    findings: Findings,
    works: RepairPackage,
    pictures: ReportPictures,
    *,
    dots: Sequence[tuple[float, float]] = (),
) -> bytes:
    """The report as UTF-8 HTML.

    Parameters
    ----------
    works : RepairPackage
        Of those findings.
    pictures : ReportPictures
        For paper, and where scripts are not allowed.
    dots : sequence of (azimuth, height), degrees and mm
        Where the rod readings are.

    Returns
    -------
    bytes
        It asks nothing from outside, and runs no script but its own; every text from
        the input is escaped.
    """
    view = heat_view(surface, findings, dots)
    return page_bytes(
        "report.html.jinja",
        surface.design,
        {part.name: getattr(pictures, part.name) for part in fields(pictures)},
        script=page_script("main.js").safe,
        wall_data=wall_data(
            surface.design, surface.grid, [view], bricks=bricks_data(works.plan)
        ),
        shell=surface.design.shell_radius is not None,
        heats=False,
        **_heading(surface, findings),
        deciding=tables.deciding_rows(findings, works, surface.design),
        **_contents(surface, findings, repair_warnings(works, surface.design)),
        **_repair(works, surface.design),
        **_day(findings, works, surface.design),
    )


def _heading(surface: RadialSurface, findings: Findings) -> dict[str, object]:
    design = surface.design
    low, high = cutback_limits(design.repair.brick_threshold)
    unit = design.length_unit
    return {
        "title": headings(findings)[0],
        "lining": headings(findings)[1],
        "created": say_time(findings.created),
        "version": plain(findings.version),
        "scale_low": say_both(low, unit),
        "scale_high": say_both(high, unit),
        "brick_line": say_both(design.repair.brick_threshold, unit),
    }


def _contents(
    surface: RadialSurface, findings: Findings, of_support: Sequence[str]
) -> dict[str, object]:
    design = surface.design
    summary = tables.finding_rows(findings, design)
    zones = tables.zone_rows(findings, design)
    return {
        "summary": summary,
        "quantities": 3 if findings.deepest.remaining_lining is None else 4,
        "zones": zones,
        "closing": tables.closing_rows(findings, design),
        "actions": [a for a in WORK if any(zone.action == a for zone in zones)],
        "looks": ACTION_STYLES,
        "tasks": tables.TASKS,
        "levels": tables.level_rows(findings, design),
        "budget": tables.budget_rows(findings, design),
        "rejected": tables.rejected_rows(surface),
        "warnings": [
            plain(words, most=600)
            for words in (
                *of_support,
                *tables.say_diagnostics(findings.diagnostics, design),
            )
        ],
        "cautions": CAUTIONS,
    }


def _day(findings: Findings, works: RepairPackage, design: Design) -> dict[str, object]:
    again = sum(zone.action == "measure again" for zone in findings.zones)
    day = day_plan(works.to_dict(), design, again=again)
    return {
        "day": day_lines(day, design),
        "steps": day_rows(day, design),
        "batches": batch_rows(day, design),
    }


def _repair(works: RepairPackage, design: Design) -> dict[str, object]:
    plan, bottom = works.plan, works.bottom
    return {
        "stop": stop_lines(works, design),
        "stop_head": stop_head(works),
        "support": support_rows(works, design),
        "bands": [
            (relining_words(band, design), relining_rows(band, design))
            for band in works.relining
        ],
        "jobs": jobs(plan, design),
        "order": order_rows(plan, design),
        "daub": daub_rows(plan.daub, design) if plan.daub.mixed.value > 0.0 else [],
        "sure": say_sure(plan),
        "openings": opening_rows(plan.openings, design),
        "plan_notes": [
            plain(say_not_planned(note, design.length_unit), most=300)
            for note in plan.notes
        ],
        "tuyeres": tuyere_rows(works.taper, design),
        "taper": taper_advice(works.taper, design),
        "bottom": [] if bottom is None else bottom_lines(bottom, design),
        "strike": [] if bottom is None else strike_rows(bottom, design),
        "melting": melting_lines(works.melting, design),
        "settings": settings_rows(works.settings, design),
        "settings_mind": settings_lines(works.settings, design),
        "drying": drying_lines(works.drying, design),
        "holds": drying_rows(works.drying, design),
    }
