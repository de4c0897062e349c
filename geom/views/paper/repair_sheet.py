"""repair-sheet.pdf: two cards for the men at the wall, then a page a brick zone.

The wall card shows every box of the wall with its depth and its call; the work card
says what is done, in which order, and what it takes.  Everything else is in the report.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from geom.compare.boxes import wall_boxes
from geom.compare.findings import Findings
from geom.design import Design
from geom.repair import RepairPackage
from geom.surface.radial import RadialSurface
from geom.units import UNIT_NAMES
from geom.views.paper.brick_page import brick_page
from geom.views.paper.style import (
    Foot,
    PageFrame,
    boxed,
    paragraph,
    register_fonts,
)
from geom.views.paper.wall_card import WallChart, key
from geom.views.paper.work_card import work_card
from geom.views.say import headings, plain, say_sense, say_time, say_zero, upfirst
from geom.views.tables.cards import again_jobs, zone_names
from geom.views.tables.repair import say_not_planned
from geom.views.tables.support import stop_head, stop_lines

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: As wide as A4 and as tall as Letter: prints whole on both.
_PAGE = PageFrame(595.0, 792.0, margin=34.0, foot=26.0)
#: The chart is never shorter than this, points.
_LEAST = 360.0
#: Lines of what to measure again that stand on the wall card; the others on the next.
_AGAIN = 4


def repair_sheet_bytes(
    surface: RadialSurface, findings: Findings, works: RepairPackage
) -> bytes:
    """The repair sheet as PDF.

    Parameters
    ----------
    works : RepairPackage
        Of those findings.

    Returns
    -------
    bytes
        Black and white; the same input gives the same bytes.
    """
    register_fonts()
    design = surface.design
    return _PAGE.pdf(
        _story(surface, findings, works),
        title=f"Repair sheet, {plain(findings.lining)}",
        subject=plain(findings.title),
        version=plain(findings.version),
        foot=_foot(findings, design),
    )


def _foot(findings: Findings, design: Design) -> Foot:
    words = f"{plain(findings.lining, most=40)}, {say_time(findings.created)}"
    lines = [(13.0, f"Clock: {say_zero(design)}"), (0.0, words)]

    def draw(canvas: Any, page: int, pages: int) -> None:
        _PAGE.write_foot(canvas, lines, f"page {page} of {pages}")

    return draw


def _story(
    surface: RadialSurface, findings: Findings, works: RepairPackage
) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    width = _PAGE.text_width
    story = _wall_card(surface, findings, works)
    story += [PageBreak(), *work_card(surface, findings, works, width=width)]
    for zone in works.plan.zones:
        if zone.brickwork is not None:
            page = brick_page(zone, works, surface, frame=_PAGE)
            story += [PageBreak(), *page]
    return story


def _wall_card(
    surface: RadialSurface, findings: Findings, works: RepairPackage
) -> list[Flowable]:
    """Stop, the wall in boxes, what its letters mean, what to measure again."""
    design, width = surface.design, _PAGE.text_width
    title = ": ".join(filter(None, reversed(headings(findings))))
    head = [
        paragraph("Wall card", 22, bold=True, after=0),
        paragraph(title, 13, bold=True, after=0),
        paragraph(
            f"{upfirst(say_sense(design))}. Figures: deepest in each box, "
            f"{UNIT_NAMES[design.length_unit]}; minus: stands proud; grey: not read.",
            10.5,
            after=3,
        ),
        *_stop(works, design),
    ]
    tail = [
        key(width),
        *_again(findings, design),
        paragraph(
            "Nobody goes in before the first boxes of the work card are ticked.",
            12.0,
            bold=True,
            after=0,
        ),
    ]
    room = _PAGE.text_height - _PAGE.height_of([*head, *tail]) - 4.0
    chart = WallChart(
        wall_boxes(findings, surface.grid, design),
        zone_names(findings, works),
        design,
        width=width,
        height=max(room, _LEAST),
    )
    notes = [
        paragraph(
            plain(say_not_planned(note, design.length_unit), most=300), 11.0, after=2
        )
        for note in works.plan.notes
        if note.reason != "measure again"
    ]
    return [*head, chart.drawing(), *tail, *notes]


def _stop(works: RepairPackage, design: Design) -> list[Flowable]:
    """The stop, in a frame that nobody passes over; nothing where there is none."""
    lines = stop_lines(works, design)
    if not lines:
        return []
    box = boxed(
        [
            paragraph(f"STOP. {stop_head(works)}", 16, bold=True, after=2),
            *(paragraph(words, 12, after=1) for words in lines),
        ],
        width=_PAGE.text_width,
        heavy=True,
    )
    box.spaceBefore, box.spaceAfter = 4.0, 5.0
    return [box]


def _again(findings: Findings, design: Design) -> list[Flowable]:
    jobs = again_jobs(findings, design)
    lines = [
        paragraph(f"{job.name}: {job.where}, {job.heights}, {job.what}", 12.0, after=1)
        for job in jobs[:_AGAIN]
    ]
    if not lines:
        return []
    more = len(jobs) - len(lines)
    head = "Measure again first" + (f" ({more} more on the work card)" if more else "")
    return [paragraph(head, 13.0, bold=True, after=1), *lines]
