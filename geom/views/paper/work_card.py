"""The work card, two sides of one sheet: what is done, and in which order.

The front has every job with its rod, the openings and the mix; the back the order of
work with a box, a time and what to mind at each step, the bottom, what to have ready.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from geom.compare.findings import Action, Findings
from geom.design import Design
from geom.frame import clock_time
from geom.repair import RepairPackage
from geom.repair.plan.day import DayPlan, day_plan
from geom.surface.radial import RadialSurface
from geom.units import UNIT_NAMES
from geom.views.paper.style import (
    padding,
    paragraph,
    ruled_table,
    tick_box,
    two_columns,
)
from geom.views.say import plain
from geom.views.tables.cards import (
    CardJob,
    RodSetting,
    again_jobs,
    card_jobs,
    card_order,
    mix_lines,
    rod_settings,
)
from geom.views.tables.day import day_lines, day_rows
from geom.views.tables.openings import opening_rows
from geom.views.tables.repair import say_short, say_sure

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: Type of the jobs and of the rest, points.
_JOB, _TEXT, _HEADING = 12.0, 11.0, 14.0
#: Type of what to mind; between the columns of steps; width of their times, points.
_MIND, _GAP, _TIME = 10.0, 12.0, 42.0
#: Places round the wall that the bottom is struck to.
_QUARTERS = 4
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
    width : float, points
    """
    from reportlab.platypus import PageBreak

    design = surface.design
    again = len(findings.of_action("measure again"))
    day = day_plan(works.to_dict(), design, again=again)
    return [
        paragraph("Work card", 22, bold=True, after=2),
        *_jobs(findings, works, design, width),
        *_settings(rod_settings(works, surface, design), design, width),
        *_openings(works, design, width),
        *_mix(works, day, design),
        PageBreak(),
        paragraph("Order of work, each step in h:min", 18, bold=True, after=1),
        *_day(day, design, width),
        *_bottom(works, design, width),
        *_order(works, design),
        *_signed(width),
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
        ("", "", f"Above {zero}", "What"),
        rows,
        widths=[26.0, 44.0, 0.40 * wide, 0.60 * wide],
    )
    table.spaceAfter = 5.0
    return table


def _settings(
    settings: list[RodSetting], design: Design, width: float
) -> list[Flowable]:
    """Height, dry and wet below each other, station by station across."""
    names = ("Height", "Rod, dry", "Rod, wet")
    columns = [(one.height, one.dry, one.wet) for one in settings]
    head = f"Rod on the finished face, {UNIT_NAMES[design.length_unit]} from the axis"
    return _across(head, names, columns, width)


def _bottom(works: RepairPackage, design: Design, width: float) -> list[Flowable]:
    """Heights to strike the bottom to, every quarter of the way round."""
    if works.bottom is None:
        return []
    unit, zero = design.length_unit, plain(design.height_zero, most=24)
    points = works.bottom.strike[:: max(len(works.bottom.strike) // _QUARTERS, 1)]
    columns = [
        (
            clock_time(point.azimuth, design.azimuth_sense),
            say_short(point.height, unit),
            say_short(point.mid_height, unit),
        )
        for point in points
    ]
    names = (
        f"Sand bottom, {unit} above {zero}",
        "strike to, at the wall",
        "half way in",
    )
    first = 0.52 * width
    wide = (width - first) / max(len(columns), 1)
    return [
        ruled_table(
            (),
            [
                [
                    [paragraph(cell, _MIND, bold=k == 0 or n > 0, after=0)]
                    for n, cell in enumerate((name, *(column[k] for column in columns)))
                ]
                for k, name in enumerate(names)
            ],
            widths=[first, *[wide] * len(columns)],
        )
    ]


def _across(
    head: str,
    names: tuple[str, ...],
    columns: Sequence[tuple[str, ...]],
    width: float,
) -> list[Flowable]:
    """Rows of names with a column for each place, as many below each other as need."""
    from reportlab.lib import colors
    from reportlab.platypus import KeepTogether, Table, TableStyle

    if not columns:
        return []
    first = 62.0
    across = min(_ACROSS, len(columns))
    wide = (width - first) / across
    style = TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, 0), 1.0, colors.black),
            ("LINEBELOW", (0, -1), (-1, -1), 0.4, colors.black),
            *padding(1, 1, 1, 2),
        ]
    )
    story: list[Flowable] = [_heading(head)]
    for start in range(0, len(columns), across):
        part = columns[start : start + across]
        rows = [
            _cells(name, [column[k] for column in part], bold=k != 1)
            for k, name in enumerate(names)
        ]
        table = Table(
            rows, colWidths=[first, *[wide] * len(part)], style=style, hAlign="LEFT"
        )
        table.spaceAfter = 4.0
        story.append(table)
    return [KeepTogether(story)]


def _cells(name: str, words: list[str], *, bold: bool) -> list[list[Flowable]]:
    return [
        [paragraph(name, _TEXT, bold=True, after=0)],
        *([paragraph(word, _JOB, bold=bold, after=0)] for word in words),
    ]


def _mix(works: RepairPackage, day: DayPlan, design: Design) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    lines = mix_lines(works, day, design)
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
    named = [card_order(line, design) for line in plan.order]
    return [
        _heading(f"Have ready ({say_sure(plan)} sure to be enough)"),
        paragraph("; ".join(named) + ".", _JOB, after=2),
    ]


def _openings(works: RepairPackage, design: Design, width: float) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    rows = [
        [
            tick_box(14.0),
            [paragraph(f"{row.what}, {row.where}: {row.how_much}", _MIND, after=0)],
        ]
        for row in opening_rows(works.plan.openings, design)
    ]
    if not rows:
        return []
    table = ruled_table((), rows, widths=[20.0, width - 20.0])
    table.spaceAfter = 3.0
    return [KeepTogether([_heading("Openings"), table])]


def _day(day: DayPlan, design: Design, width: float) -> list[Flowable]:
    """Step by step in two columns, down the left one first."""
    cells = [
        [
            tick_box(14.0),
            [
                paragraph(f"{row.number}. {row.short}", _TEXT, bold=True, after=0),
                paragraph(row.mind, _MIND, after=0),
            ],
            [paragraph(row.lasts, _TEXT, after=0)],
        ]
        for row in day_rows(day, design)
    ]
    wide = 0.5 * (width - _GAP)
    widths = [20.0, wide - 20.0 - _TIME, _TIME]
    half = _half([_tall(row, widths) for row in cells])
    columns = [
        [ruled_table((), part, widths=widths)] for part in (cells[:half], cells[half:])
    ]
    lines = day_lines(day, design)
    return [
        paragraph(" ".join(lines), _MIND, after=2),
        two_columns(columns[0], columns[1], (wide + _GAP, wide)),
    ]


def _signed(width: float) -> list[Flowable]:
    """Lines to sign on; the last, of drying, is what the furnace is released by."""
    half = 0.5 * width
    names = ("Released by", "Done by", "Dried, by", "Lit up by")
    lines = [paragraph(f"{n} {'_' * 14} {'_' * 7}", _TEXT, after=6) for n in names]
    return [two_columns(lines[:2], lines[2:], (half, half))]


def _tall(row: list[Any], widths: list[float]) -> float:
    """Height of a step, points."""
    words = row[1]
    return sum(float(part.wrap(widths[1] - 7.0, 1000.0)[1]) for part in words)


def _half(heights: list[float]) -> int:
    """How many steps stand in the left column for both to be about as tall.

    Examples
    --------
    >>> _half([30.0, 30.0, 30.0, 30.0])
    2
    """
    left, total = 0.0, sum(heights)
    for count, tall in enumerate(heights):
        if left + 0.5 * tall >= 0.5 * total:
            return count
        left += tall
    return len(heights)
