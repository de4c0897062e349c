"""repair-sheet.pdf: what the foreman takes to the furnace, on paper.

Front page, a page for each zone, and a page on tuyeres, sand bottom and melting.

The front of the repair sheet: cautions, the wall, the work, the order list.

The last page of the repair sheet: tuyeres, sand bottom, melting.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from geom.compare.findings import Findings, Zone
from geom.design import Design
from geom.frame import clock_face
from geom.repair import RepairPackage, RepairPlan
from geom.surface.radial import RadialSurface
from geom.units import say_both, say_length
from geom.views.cautions import CAUTIONS
from geom.views.charts.colours import ACTION_STYLES
from geom.views.paper.style import (
    BODY,
    FONT,
    boxed,
    register_fonts,
    ruled,
    says,
    signed,
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

if TYPE_CHECKING:
    from reportlab.platypus import Flowable


#: The wall is drawn at least this tall, points.
_LEAST = 225.0


def front(
    design: Design,
    findings: Findings,
    plan: RepairPlan,
    workmap: bytes,
    *,
    width: float,
    room: float,
) -> list[Flowable]:
    """The first page, or two where it does not fit.

    Parameters
    ----------
    design : Design
    findings : Findings
    plan : RepairPlan
    workmap : bytes
        PNG.
    width, room : float, points
        Of the text on a page.
    """
    from reportlab.platypus import KeepTogether, PageBreak

    head = [*_head(findings, design), _cautions(width), *_needs(findings, design)]
    work = _work(findings, plan, design, width)
    if not work:
        head += _no_work()
    order = _order(plan, design, width)
    names = signed("Released by", "Done by")
    left = room - _height(head, width, room)
    spare = left - _height([*work, *order, *names], width, room)
    tail = [*work, *(KeepTogether(part) for part in (order, names) if part)]
    if spare >= _LEAST:
        return [*head, _picture(workmap, width, spare), *tail]
    return [*head, _picture(workmap, width, left), PageBreak(), *tail]


def _height(flowables: list[Flowable], width: float, room: float) -> float:
    """How much of a page they take, points."""
    return sum(
        float(one.wrap(width, room)[1]) + float(one.getSpaceAfter())
        for one in flowables
    )


def _head(findings: Findings, design: Design) -> list[Flowable]:
    return [
        says("Repair sheet", 22, bold=True, after=1),
        says(": ".join(filter(None, reversed(headings(findings)))), 14, bold=True),
        says(
            f"Clock: {say_zero(design)}. {upfirst(say_sense(design))}.",
            BODY,
            after=5,
        ),
    ]


def _cautions(width: float) -> Flowable:
    box = boxed(
        [
            says("Before anybody goes in", 13, bold=True, after=2),
            says(" ".join(CAUTIONS), BODY, after=0),
        ],
        width=width,
    )
    box.spaceAfter = 6.0
    return box


def _needs(findings: Findings, design: Design) -> list[Flowable]:
    """The few lines to read first."""
    rebuild, deepest = findings.volume.rebuild, findings.deepest
    clock = clock_face(deepest.azimuth, design.azimuth_sense)
    lines = [
        f"Gone: {say_volume(rebuild.value, design)}, "
        f"95 % sure: {say_volume_interval(rebuild, design)}.",
        f"Deepest: {say_both(deepest.cutback.value, design.length_unit)} at {clock}, "
        f"{say_from(deepest.height, design)}.",
    ]
    return [says(line, 13, after=3) for line in lines]


def _picture(workmap: bytes, width: float, room: float) -> Flowable:
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Image

    wide, tall = ImageReader(io.BytesIO(workmap)).getSize()
    scale = min(width / wide, max(room - 4.0, 200.0) / tall)
    return Image(io.BytesIO(workmap), width=scale * wide, height=scale * tall)


def _work(
    findings: Findings, plan: RepairPlan, design: Design, width: float
) -> list[Flowable]:
    """Every zone in order of work, then what is not in the plan."""
    again = findings.of_action("measure again")
    rows = [_row(number, job) for number, job in enumerate(jobs(plan, design), 1)]
    rows += [_again(zone, design) for zone in again]
    notes = [
        says(plain(say_not_planned(note), most=300), BODY, after=3)
        for note in plan.notes
    ]
    if not rows:
        return notes
    zero = plain(design.height_zero, most=40)
    table = ruled(
        ("", "Do", f"Where, above {zero}", "How deep, how much"),
        rows,
        widths=[27.0, 108.0, 0.53 * (width - 135.0), 0.47 * (width - 135.0)],
    )
    table.spaceAfter = 6.0
    return [says("Work, in this order", 16, bold=True, after=2), table, *notes]


def _no_work() -> list[Flowable]:
    return [
        says("No zone needs work", 16, bold=True, after=1),
        says("The surveyed wall is within tolerance of the drawing.", BODY, after=3),
    ]


def _row(number: int, job: Job) -> list[str | list[Flowable] | Flowable]:
    return [
        tick_box(),
        _do(f"{number}. {ACTION_STYLES[job.action].word}", f"zone {job.zone}"),
        _lines([job.clock.removeprefix("from "), job.span]),
        _lines([job.depth, *job.amount]),
    ]


def _again(zone: Zone, design: Design) -> list[str | list[Flowable] | Flowable]:
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
        says(action, BODY, bold=True, after=0),
        says(zone, BODY, bold=True, after=0),
    ]


def _lines(lines: list[str]) -> list[Flowable]:
    return [says(line, BODY, after=0) for line in lines]


def _order(plan: RepairPlan, design: Design, width: float) -> list[Flowable]:
    from reportlab.platypus import Spacer

    if not plan.order:
        return []
    rows = [
        (row.material, row.needed, row.order, row.stock, row.buy)
        for row in order_rows(plan, design)
    ]
    shares = (0.265, 0.235, 0.235, 0.12, 0.145)
    table = ruled(
        ("Material", "Best", f"Order, {say_sure(plan)} sure", "In stock", "Buy"),
        rows,
        widths=[share * width for share in shares],
    )
    return [Spacer(1, 8), says("Order list", 16, bold=True, after=2), table]


_HEAD = 16.0
_NO_BOTTOM = (
    "None: the design names no tap hole, so there is nothing for the bed to fall to."
)


def rest(works: RepairPackage, design: Design, *, width: float) -> list[Flowable]:
    """Tuyeres, sand bottom and melting.

    Parameters
    ----------
    works : RepairPackage
    design : Design
    width : float, points
        Of the text on a page.
    """
    return [
        says("Tuyeres, sand bottom, melting", 22, bold=True, after=4),
        *_tuyeres(works, design, width),
        *_bottom(works, design, width),
        *_melting(works, design),
    ]


def _tuyeres(works: RepairPackage, design: Design, width: float) -> list[Flowable]:
    if not works.taper:
        return [says("The design names no tuyere.", BODY, after=8)]
    rows = [
        (
            row.number,
            f"{row.clock}, {row.azimuth}",
            [says(row.call, BODY, bold=row.call == "runs in", after=0)],
            row.chance,
            row.overhang,
            row.drawn,
            row.after,
        )
        for row in taper_rows(works.taper, design)
    ]
    shares = (0.06, 0.265, 0.15, 0.155, 0.145, 0.10, 0.125)
    table = ruled(
        ("No", "Where", "Slag", "Sheds", "In front", "Drawn", "Then"),
        rows,
        widths=[share * width for share in shares],
    )
    table.spaceAfter = 8.0
    return [
        says("Taper at the tuyeres", _HEAD, bold=True, after=2),
        says(
            "Whether slag that runs down the wall falls clear of the tuyere. In front: "
            "how far the wall above stands in front of the wall below; minus: behind. "
            "Sheds: the chance that it falls clear; then: once repaired.",
            BODY,
            after=3,
        ),
        table,
    ]


def _bottom(works: RepairPackage, design: Design, width: float) -> list[Flowable]:
    story = [says("Sand bottom", _HEAD, bold=True, after=2)]
    if works.bottom is None:
        return [*story, says(_NO_BOTTOM, BODY, after=8)]
    zero = plain(design.height_zero, most=40)
    lines = [*bottom_lines(works.bottom, design), f"Strike to heights above {zero}:"]
    story += [says(line, BODY, after=2) for line in lines]
    points = strike_rows(works.bottom, design)
    half = len(points) // 2
    table = ruled(
        2 * ("At the wall", "Thick", "Strike to"),
        [(*points[k], *points[k + half]) for k in range(half)],
        widths=[share * width for share in 2 * (0.24, 0.12, 0.14)],
    )
    table.spaceAfter = 8.0
    return [*story, table]


def _melting(works: RepairPackage, design: Design) -> list[Flowable]:
    return [
        says("What the worn diameter does", _HEAD, bold=True, after=2),
        *(says(line, BODY, after=3) for line in melting_lines(works.melting, design)),
    ]


#: As wide as A4 and as tall as Letter: prints whole on both.  Points.
_PAGE = (595.0, 792.0)
_MARGIN = 36.0
_FOOT = 30.0
#: Within the frame's own padding of 6 points a side.
_TEXT = _PAGE[0] - 2.0 * _MARGIN - 12.0
_ROOM = _PAGE[1] - 2.0 * _MARGIN - _FOOT - 12.0


def sheet_bytes(
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
    from reportlab.platypus import SimpleDocTemplate

    register_fonts()
    out = io.BytesIO()
    sheet = SimpleDocTemplate(
        out,
        pagesize=_PAGE,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + _FOOT,
        title=f"Repair sheet, {plain(findings.lining)}",
        author="",
        subject=plain(findings.title),
        creator=f"daubline {plain(findings.version)}",
        invariant=1,
    )
    story = _story(surface.design, findings, works, workmap)
    sheet.build(story, canvasmaker=_numbered(_foot(findings, surface.design)))
    return out.getvalue()


def _foot(findings: Findings, design: Design) -> Callable[[Any, int, int], None]:
    words = f"{plain(findings.lining, most=40)}, {say_time(findings.created)}"
    clock = f"Clock: {say_zero(design)}"

    def draw(canvas: Any, page: int, pages: int) -> None:
        canvas.setFont(FONT, 10)
        left, right = _MARGIN + 6.0, _PAGE[0] - _MARGIN - 6.0
        canvas.drawString(left, _MARGIN + 13.0, clock)
        canvas.drawString(left, _MARGIN, words)
        canvas.drawRightString(right, _MARGIN, f"page {page} of {pages}")

    return draw


def _numbered(foot: Callable[[Any, int, int], None]) -> type:
    """A canvas that draws the foot of every page once it knows how many there are."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc, unused-ignore]
        def __init__(self, *args: Any, **named: Any) -> None:
            super().__init__(*args, **named)
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._kept.append(vars(self).copy())
            self._startPage()

        def save(self) -> None:
            for page, state in enumerate(self._kept, 1):
                self.__dict__.update(state)
                foot(self, page, len(self._kept))
                super().showPage()
            super().save()

    return Numbered


def _story(
    design: Design, findings: Findings, works: RepairPackage, workmap: bytes
) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    story = front(design, findings, works.plan, workmap, width=_TEXT, room=_ROOM)
    for zone in works.plan.zones:
        story += [PageBreak(), *zone_page(zone, design, width=_TEXT)]
    return [*story, PageBreak(), *rest(works, design, width=_TEXT)]
