"""repair-sheet.pdf: what the foreman takes to the furnace, on paper.

A front page with cautions, the wall, the work and the order list; a page for each zone;
and a last page on tuyeres, sand bottom and melting.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from geom.compare.findings import Findings, Zone
from geom.design import Design
from geom.frame import clock_face
from geom.repair import RepairPackage, RepairPlan
from geom.surface.radial import RadialSurface
from geom.units import say_both, say_length
from geom.views.cautions import CAUTIONS
from geom.views.charts.colours import ACTION_STYLES
from geom.views.paper.brick_page import relining_page
from geom.views.paper.style import (
    BODY,
    Foot,
    PageFrame,
    boxed,
    paragraph,
    register_fonts,
    ruled_table,
    signature_lines,
    tick_box,
)
from geom.views.paper.zone_page import zone_page
from geom.views.say import (
    headings,
    plain,
    say_clock,
    say_from,
    say_sense,
    say_span,
    say_time,
    say_volume,
    say_volume_interval,
    say_zero,
    upfirst,
)
from geom.views.tables.repair import (
    Job,
    bottom_lines,
    jobs,
    melting_lines,
    order_rows,
    say_not_planned,
    say_sure,
    strike_rows,
    taper_rows,
)
from geom.views.tables.support import stop_head, stop_lines
from geom.views.tables.survey import best_at_deepest

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: The wall is drawn at least this tall, points.
_LEAST = 225.0
#: And this tall where it shows nothing to do: the page is then signed on its front.
_LEAST_IDLE = 200.0
#: Type of the headings on the last page, points.
_HEADING = 14.0
#: As wide as A4 and as tall as Letter: prints whole on both.
_PAGE = PageFrame(595.0, 792.0, margin=36.0, foot=30.0)
_NO_BOTTOM = (
    "None: the design names no tap hole, so there is nothing for the bed to fall to."
)


def repair_sheet_bytes(
    surface: RadialSurface, findings: Findings, works: RepairPackage, *, workmap: bytes
) -> bytes:
    """The repair sheet as PDF.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
    works : RepairPackage
        Of those findings.
    workmap : bytes
        The wall by action, as PNG.

    Returns
    -------
    bytes
        Body type 12 point or more; black and white; the same input gives the same
        bytes.
    """
    register_fonts()
    design = surface.design
    return _PAGE.pdf(
        _story(surface, findings, works, workmap),
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
    surface: RadialSurface, findings: Findings, works: RepairPackage, workmap: bytes
) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    design, width = surface.design, _PAGE.text_width
    story = _front_page(design, findings, works, workmap)
    for zone in works.plan.zones:
        story += [PageBreak(), *zone_page(zone, works, surface, width=width)]
    story += relining_page(works, design, width=width)
    return [*story, PageBreak(), *_last_page(works, design)]


def _front_page(
    design: Design, findings: Findings, works: RepairPackage, workmap: bytes
) -> list[Flowable]:
    """Stop, cautions, the wall, the work, the order list; two pages if it must."""
    from reportlab.platypus import KeepTogether, PageBreak

    plan = works.plan
    head = [
        *_head(findings, design),
        *_stop(works, design),
        _cautions(),
        *_needs(findings, design),
    ]
    work = _work(findings, plan, design)
    if not work:
        head += _no_work()
    order = _order(plan, design)
    names = signature_lines("Released by", "Done by")
    left = _PAGE.text_height - _PAGE.height_of(head)
    spare = left - _PAGE.height_of([*work, *order, *names])
    tail = [*work, *(KeepTogether(part) for part in (order, names) if part)]
    least = _LEAST if work else _LEAST_IDLE
    if spare >= least:
        return [*head, _picture(workmap, spare), *tail]
    if left >= least:
        return [*head, _picture(workmap, left), PageBreak(), *tail]
    room = spare + _PAGE.text_height - left  # the tail on a page of its own
    return [*head, PageBreak(), _picture(workmap, max(room, least)), *tail]


def _head(findings: Findings, design: Design) -> list[Flowable]:
    return [
        paragraph("Repair sheet", 22, bold=True, after=1),
        paragraph(": ".join(filter(None, reversed(headings(findings)))), 14, bold=True),
        paragraph(
            f"Clock: {say_zero(design)}. {upfirst(say_sense(design))}.",
            BODY,
            after=5,
        ),
    ]


def _stop(works: RepairPackage, design: Design) -> list[Flowable]:
    """The stop, in a frame that nobody passes over; nothing where there is none."""
    lines = stop_lines(works, design)
    if not lines:
        return []
    box = boxed(
        [
            paragraph(f"STOP. {stop_head(works)}", 17, bold=True, after=3),
            *(paragraph(words, 13, after=1) for words in lines),
        ],
        width=_PAGE.text_width,
        heavy=True,
    )
    box.spaceAfter = 6.0
    return [box]


def _cautions() -> Flowable:
    box = boxed(
        [
            paragraph("Before anybody goes in", 13, bold=True, after=2),
            paragraph(" ".join(CAUTIONS), BODY, after=0),
        ],
        width=_PAGE.text_width,
    )
    box.spaceAfter = 6.0
    return box


def _needs(findings: Findings, design: Design) -> list[Flowable]:
    """The few lines to read first."""
    rebuild, deepest = findings.volume.rebuild, findings.deepest
    clock = clock_face(deepest.azimuth, design.azimuth_sense)
    unit = design.length_unit
    lines = [
        f"Gone: {say_volume(rebuild.value, design)}, "
        f"95 % sure: {say_volume_interval(rebuild, design)}.",
        f"Greatest cut-back anywhere: {say_both(deepest.cutback.value, unit)}. "
        f"Best surface is deepest, {say_both(best_at_deepest(findings), unit)}, at "
        f"{clock}, {say_from(deepest.height, design)}.",
    ]
    if deepest.remaining_lining is not None:
        least = deepest.remaining_lining
        lines.append(
            f"Least lining left anywhere: {say_both(least.value, unit)}; plan on "
            f"{say_both(least.low95, unit)}."
        )
    return [paragraph(line, 13, after=3) for line in lines]


def _picture(workmap: bytes, room: float) -> Flowable:
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Image

    wide, tall = ImageReader(io.BytesIO(workmap)).getSize()
    scale = min(_PAGE.text_width / wide, max(room - 4.0, 200.0) / tall)
    return Image(io.BytesIO(workmap), width=scale * wide, height=scale * tall)


def _work(findings: Findings, plan: RepairPlan, design: Design) -> list[Flowable]:
    """Every zone in order of work, then what is not in the plan."""
    again = findings.of_action("measure again")
    rows = [_row(number, job) for number, job in enumerate(jobs(plan, design), 1)]
    rows += [_measure_again(zone, design) for zone in again]
    notes = [
        paragraph(plain(say_not_planned(note), most=300), BODY, after=3)
        for note in plan.notes
    ]
    if not rows:
        return notes
    zero = plain(design.height_zero, most=40)
    wide = _PAGE.text_width - 135.0
    table = ruled_table(
        ("", "Do", f"Where, above {zero}", "How deep, how much"),
        rows,
        widths=[27.0, 108.0, 0.53 * wide, 0.47 * wide],
    )
    table.spaceAfter = 6.0
    return [paragraph("Work, in this order", 16, bold=True, after=2), table, *notes]


def _no_work() -> list[Flowable]:
    return [
        paragraph("No zone needs work", 16, bold=True, after=1),
        paragraph(
            "The surveyed wall is within tolerance of the drawing.", BODY, after=3
        ),
    ]


def _row(number: int, job: Job) -> list[str | list[Flowable] | Flowable]:
    return [
        tick_box(),
        _do(f"{number}. {ACTION_STYLES[job.action].word}", f"zone {job.zone}"),
        _lines([job.clock.removeprefix("from "), job.span]),
        _lines([job.depth, *job.amount]),
    ]


def _measure_again(zone: Zone, design: Design) -> list[str | list[Flowable] | Flowable]:
    return [
        tick_box(),
        _do(ACTION_STYLES["measure again"].word, f"zone {zone.id}"),
        _lines(
            [
                say_clock(zone, design).removeprefix("from "),
                say_span(zone.height_from, zone.height_to, design),
            ]
        ),
        _lines(
            [f"perhaps {say_length(zone.cutback_max.value, design.length_unit)} gone"]
        ),
    ]


def _do(action: str, zone: str) -> list[Flowable]:
    return [
        paragraph(action, BODY, bold=True, after=0),
        paragraph(zone, BODY, bold=True, after=0),
    ]


def _lines(lines: list[str]) -> list[Flowable]:
    return [paragraph(line, BODY, after=0) for line in lines]


def _order(plan: RepairPlan, design: Design) -> list[Flowable]:
    from reportlab.platypus import Spacer

    if not plan.order:
        return []
    rows = [
        (row.material, row.needed, row.order, row.stock, row.buy)
        for row in order_rows(plan, design)
    ]
    shares = (0.265, 0.235, 0.235, 0.12, 0.145)
    table = ruled_table(
        ("Material", "Best", f"Order, {say_sure(plan)} sure", "In stock", "Buy"),
        rows,
        widths=[share * _PAGE.text_width for share in shares],
    )
    return [Spacer(1, 8), paragraph("Order list", 16, bold=True, after=2), table]


def _last_page(works: RepairPackage, design: Design) -> list[Flowable]:
    """Tuyeres, sand bottom and melting; melting is not torn where they do not fit."""
    from reportlab.platypus import KeepTogether

    return [
        paragraph("Tuyeres, sand bottom, melting", 22, bold=True, after=4),
        *_tuyeres(works, design),
        *_bottom(works, design),
        KeepTogether(_melting(works, design)),
    ]


def _tuyeres(works: RepairPackage, design: Design) -> list[Flowable]:
    if not works.taper:
        return [paragraph("The design names no tuyere.", BODY, after=8)]
    rows = [
        (
            row.number,
            f"{row.clock}, {row.azimuth}",
            [paragraph(row.call, BODY, bold=row.call == "runs in", after=0)],
            row.chance,
            row.overhang,
            row.drawn,
            row.after,
        )
        for row in taper_rows(works.taper, design)
    ]
    shares = (0.06, 0.265, 0.15, 0.155, 0.145, 0.10, 0.125)
    table = ruled_table(
        ("No", "Where", "Slag", "Sheds", "In front", "Drawn", "Then"),
        rows,
        widths=[share * _PAGE.text_width for share in shares],
    )
    table.spaceAfter = 5.0
    return [
        paragraph("Taper at the tuyeres", _HEADING, bold=True, after=2),
        paragraph(
            "Whether slag that runs down the wall falls clear of the tuyere. In front: "
            "how far the wall above stands in front of the wall below; minus: behind. "
            "Sheds: the chance that it falls clear; then: once repaired.",
            BODY,
            after=3,
        ),
        table,
    ]


def _bottom(works: RepairPackage, design: Design) -> list[Flowable]:
    story = [paragraph("Sand bottom", _HEADING, bold=True, after=2)]
    if works.bottom is None:
        return [*story, paragraph(_NO_BOTTOM, BODY, after=8)]
    zero = plain(design.height_zero, most=40)
    lines = [*bottom_lines(works.bottom, design), f"Strike to heights above {zero}:"]
    story += [paragraph(line, BODY, after=1) for line in lines]
    points = strike_rows(works.bottom, design)
    half = len(points) // 2
    table = ruled_table(
        2 * ("At the wall", "Thick", "Strike to"),
        [(*points[k], *points[k + half]) for k in range(half)],
        widths=[share * _PAGE.text_width for share in 2 * (0.24, 0.12, 0.14)],
    )
    table.spaceAfter = 5.0
    return [*story, table]


def _melting(works: RepairPackage, design: Design) -> list[Flowable]:
    return [
        paragraph("What the worn diameter does", _HEADING, bold=True, after=2),
        *(
            paragraph(line, BODY, after=2)
            for line in melting_lines(works.melting, design)
        ),
    ]
