"""The work card: what is done, in which order, to which rod, of what mix."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geom.compare.findings import Action, Findings
from geom.design import Design
from geom.repair import RepairPackage
from geom.surface.radial import RadialSurface
from geom.views.paper.style import (
    padding,
    paragraph,
    ruled_table,
    signature_lines,
    tick_box,
)
from geom.views.say import plain
from geom.views.tables.cards import (
    CardJob,
    RodSetting,
    again_jobs,
    card_jobs,
    mix_lines,
    rod_settings,
)
from geom.views.tables.repair import order_rows, say_sure

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: Type of the jobs and of the rest, points.
_JOB, _TEXT, _HEADING = 12.0, 11.0, 14.0
#: Rod settings side by side.
_ACROSS = 7
#: What is done, in the order of the day.
_WORKS: tuple[Action, ...] = ("chip", "brick", "daub")


def work_card(
    surface: RadialSurface, findings: Findings, works: RepairPackage, *, width: float
) -> list[Flowable]:
    """The card, on one page where the zones are not too many.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
    works : RepairPackage
    width : float, points
    """
    design = surface.design
    return [
        paragraph("Work card", 22, bold=True, after=2),
        *_jobs(findings, works, design, width),
        *_settings(rod_settings(works, surface, design), design, width),
        *_mix(works, design),
        *_order(works, design),
        *signature_lines("Released by", "Done by"),
    ]


def _heading(words: str) -> Flowable:
    return paragraph(words, _HEADING, bold=True, after=1)


def _jobs(
    findings: Findings, works: RepairPackage, design: Design, width: float
) -> list[Flowable]:
    jobs = again_jobs(findings, design)
    for action in _WORKS:
        jobs += card_jobs(works, action, design)
    if not jobs:
        return [
            _heading("No zone needs work"),
            paragraph(
                "The surveyed wall is within tolerance of the drawing.", _JOB, after=4
            ),
        ]
    return [_job_table(jobs, design, width)]


def _job_table(jobs: list[CardJob], design: Design, width: float) -> Flowable:
    zero = plain(design.height_zero, most=24)
    rows = [
        [
            tick_box(),
            [paragraph(job.name, 15.0, bold=True, after=0)],
            [
                paragraph(job.where, _JOB, after=0),
                paragraph(job.heights, _JOB, after=0),
            ],
            [paragraph(job.what, _JOB, bold=True, after=0)],
        ]
        for job in jobs
    ]
    wide = width - 26.0 - 44.0
    table = ruled_table(
        ("", "", f"Clock; above {zero}", "What"),
        rows,
        widths=[26.0, 44.0, 0.40 * wide, 0.60 * wide],
    )
    table.spaceAfter = 5.0
    return table


def _settings(
    settings: list[RodSetting], design: Design, width: float
) -> list[Flowable]:
    """Height, dry and wet below each other, station by station across."""
    from reportlab.lib import colors
    from reportlab.platypus import KeepTogether, Table, TableStyle

    if not settings:
        return []
    unit, head = design.length_unit, 62.0
    across = min(_ACROSS, len(settings))
    wide = (width - head) / across
    style = TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, 0), 1.0, colors.black),
            ("LINEBELOW", (0, -1), (-1, -1), 0.4, colors.black),
            *padding(1, 1, 1, 2),
        ]
    )
    story: list[Flowable] = [
        _heading(f"Rod on the finished face, {unit} from the axis"),
    ]
    for start in range(0, len(settings), across):
        part = settings[start : start + across]
        rows = [
            _cells("Height", [one.height for one in part], bold=True),
            _cells("Rod, dry", [one.dry for one in part], bold=False),
            _cells("Rod, wet", [one.wet for one in part], bold=True),
        ]
        table = Table(
            rows, colWidths=[head, *[wide] * len(part)], style=style, hAlign="LEFT"
        )
        table.spaceAfter = 4.0
        story.append(table)
    return [KeepTogether(story)]


def _cells(name: str, words: list[str], *, bold: bool) -> list[list[Flowable]]:
    return [
        [paragraph(name, _TEXT, bold=True, after=0)],
        *([paragraph(word, _JOB, bold=bold, after=0)] for word in words),
    ]


def _mix(works: RepairPackage, design: Design) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    lines = mix_lines(works, design)
    if not lines:
        return []
    first, *rest = lines
    return [
        KeepTogether(
            [
                _heading("Daub"),
                paragraph(first, _JOB, bold=True, after=1),
                *(paragraph(line, _TEXT, after=3) for line in rest),
            ]
        )
    ]


def _order(works: RepairPackage, design: Design) -> list[Flowable]:
    plan = works.plan
    if not plan.order:
        return []
    named = [
        f"{plain(row.material, most=40)} {row.order}, buy {row.buy}"
        for row in order_rows(plan, design)
    ]
    return [
        _heading(f"Have ready ({say_sure(plan)} sure to be enough)"),
        paragraph("; ".join(named) + ".", _JOB, after=2),
    ]
