"""The front of the repair sheet: cautions, the wall, the work, the order list."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from geom.compare.findings import Findings, Zone
from geom.design import Design
from geom.frame import clock_face
from geom.repair import RepairPlan
from geom.units import say_both, say_length
from geom.views.cautions import CAUTIONS
from geom.views.colours import LOOKS
from geom.views.jobs import Job, jobs, order_rows, say_sure
from geom.views.paper import boxed, says
from geom.views.ruled import BODY, ruled, signed, tick_box
from geom.views.words import (
    headings,
    plain,
    say_clock,
    say_from,
    say_sense,
    say_span,
    say_volume,
    say_volume_interval,
    say_zero,
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
    sense = say_sense(design)
    return [
        says("Repair sheet", 22, bold=True, after=1),
        says(": ".join(filter(None, reversed(headings(findings)))), 14, bold=True),
        says(
            f"Clock: {say_zero(design)}. {sense[:1].upper()}{sense[1:]}.",
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
    notes = [says(plain(words, most=300), BODY, after=3) for words in plan.notes]
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
        _do(f"{number}. {LOOKS[job.action].word}", f"zone {job.zone}"),
        _lines([job.clock.removeprefix("from "), job.span]),
        _lines([job.depth, *job.amount]),
    ]


def _again(zone: Zone, design: Design) -> list[str | list[Flowable] | Flowable]:
    return [
        tick_box(),
        _do(LOOKS["measure again"].word, f"zone {zone.id}"),
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
