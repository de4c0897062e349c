"""rod-sheet.pdf: the blank rod sheet on paper, to be written on in the furnace.

The first page has the cautions and the furnace seen from above.  An initial plan
follows as grids of boxes that a gloved hand writes into, heights down and azimuths
across; a follow-up plan as a list of its stations.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from geom._version import __version__
from geom.design import Design
from geom.frame import clock_face, clock_time
from geom.sampling.plan import SamplingPlan
from geom.units import UNIT_NAMES, say_length
from geom.views.cautions import TO_ENTER
from geom.views.paper.plan_view import plan_view
from geom.views.paper.style import (
    Foot,
    PageFrame,
    boxed,
    padding,
    paragraph,
    register_fonts,
)
from geom.views.say import plain
from geom.views.tables.stations import instructions, marks_at, say_setting

if TYPE_CHECKING:
    from reportlab.platypus import Flowable, Table

#: As wide as Letter and as tall as A4, both lying: prints whole on both.
_PAGE = PageFrame(792.0, 595.0, margin=40.0, foot=32.0)
#: Columns of stations on a page.
_MOST_COLUMNS = 6
#: Width of the column of heights, points.
_HEAD = 104.0
#: Heights of the azimuths, of a row of marks, and of a box to write into, points.
_CLOCK, _MARK, _LEAST_BOX = 44.0, 17.0, 36.0
#: The same of a box's own azimuth, where rows are turned against each other.
_OWN = 19.0
#: Height of a row in the list of stations, points.
_STATION = 42.0
#: Type of the marks, points.
_SMALL = 10.5
#: Sides of the drawing seen from above, points.
_PLAN = 236.0


def rod_sheet_bytes(design: Design, plan: SamplingPlan, *, title: str = "") -> bytes:
    """The blank sheet as PDF.

    Parameters
    ----------
    title : str
        Of the survey.

    Returns
    -------
    bytes
        Type 12 point or more, marks and feet of pages 10; black and white.  The same
        input gives the same bytes.
    """
    register_fonts()
    return _PAGE.pdf(
        _story(design, plan, title),
        title=f"Rod sheet, {plain(design.name)}",
        subject=plain(title),
        version=__version__,
        foot=_foot(design),
        foot_first=True,
    )


def _foot(design: Design) -> Foot:
    zero = plain(design.azimuth_zero, most=36)
    sense = f"azimuth grows {design.azimuth_sense}"
    clock = f"Seen from above: {zero} at 12 o'clock; {sense}"
    lines = [(14.0, clock), (0.0, plain(design.name, most=70))]

    def draw(canvas: Any, page: int, pages: int) -> None:
        _PAGE.write_foot(canvas, lines, f"page {page} of {pages}")

    return draw


def _story(design: Design, plan: SamplingPlan, title: str) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    story = [*_first_page(design, plan, title), *_written_by_hand()]
    if plan.second:
        return [*story, PageBreak(), *_station_list(design, plan)]
    for page in _grid_pages(design, plan):
        story += [PageBreak(), *page]
    return story


def _first_page(design: Design, plan: SamplingPlan, title: str) -> list[Flowable]:
    from reportlab.platypus import Spacer, Table, TableStyle

    names = plain(title, most=60), plain(design.name, most=60)
    wide = _PAGE.text_width - _PLAN - 12.0
    cautions = boxed(
        [
            paragraph("Before anybody goes in", 14, bold=True, after=3),
            paragraph(" ".join(TO_ENTER), 12, after=0),
        ],
        width=wide,
    )
    above = [
        plan_view(design, plan.on_columns(design).azimuth, size=_PLAN),
        paragraph("Seen from above", 13, bold=True, side="centre"),
    ]
    columns = Table(
        [[cautions, above]],
        colWidths=[wide + 12.0, _PLAN],
        style=TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *padding(0, 0, 0, 3)]),
    )
    return [
        paragraph("Rod sheet", 24, bold=True, after=2),
        paragraph(": ".join(filter(None, names)), 14, bold=True, after=6),
        columns,
        Spacer(1, 4),
        *(paragraph(words, 12, after=3) for words in instructions(design, plan)),
    ]


def _written_by_hand() -> list[Flowable]:
    """Room for what is written on paper only."""
    from reportlab.platypus import KeepTogether, Spacer

    rows = (
        f"Heat {'_' * 14}   Date {'_' * 16}   Read by {'_' * 36}",
        f"Signature {'_' * 30}   Notes {'_' * 44}",
    )
    return [
        KeepTogether([Spacer(1, 12), *(paragraph(row, 12, after=12) for row in rows)])
    ]


def _grid_pages(design: Design, plan: SamplingPlan) -> Iterator[list[Flowable]]:
    """An initial plan, a page for every so many heights and azimuths."""
    heading = _PAGE.height_of(_grid_heading(design, plan))
    top, marks = (0.0, _OWN + _MARK) if plan.staggered else (_CLOCK, _MARK)
    left = _PAGE.text_height - top - heading
    most_rows = max(1, int(left // (marks + _LEAST_BOX)))
    across = _shares(plan.azimuth.size, _MOST_COLUMNS)
    half = 0.5 * (_PAGE.text_width - _HEAD) / max(*map(len, across), 3)
    for rows in _shares(plan.height.size, most_rows):
        box = min(left / len(rows) - marks, 2.0 * _LEAST_BOX)
        for columns in across:
            table = _grid(design, plan, rows, columns, half=half, box=box)
            yield [*_grid_heading(design, plan), table]


def _grid_heading(design: Design, plan: SamplingPlan) -> list[Flowable]:
    zero = plain(design.height_zero, most=60)
    unit = UNIT_NAMES[design.length_unit]
    small = "Small in each box, left: drawn; right, bold: brick from here on."
    own = "Each box has its own place: set the rod by it. " if plan.staggered else ""
    return [
        paragraph(
            f"Radius in {unit}; the wall seen from inside", 15, bold=True, after=1
        ),
        paragraph(f"Heights above {zero}. {own}{small}", 12, after=5),
    ]


def _shares(count: int, most: int) -> list[range]:
    """As few runs as hold so many each, of nearly one length.

    Examples
    --------
    >>> _shares(13, 8)
    [range(0, 6), range(6, 13)]
    """
    parts = -(-count // most)
    ends = [round(k * count / parts) for k in range(parts + 1)]
    return [range(ends[k], ends[k + 1]) for k in range(parts)]


def _grid(
    design: Design,
    plan: SamplingPlan,
    rows: range,
    columns: range,
    *,
    half: float,
    box: float,
) -> Table:
    """A row per height, a column per azimuth, each of two cells across.

    Down they are of the marks and the box to write into; over them stands the azimuth,
    at the head of the columns or, where rows are turned, in each.
    """
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    cells: list[list[Any]] = []
    tall: list[float] = []
    if not plan.staggered:
        cells.append([paragraph("Height", 12, bold=True, after=0)])
        for column in columns:
            cells[0] += [_column_head(design, float(plan.azimuth[column])), ""]
        tall.append(_CLOCK)
    first = len(cells)
    each = [_OWN, _MARK, box] if plan.staggered else [_MARK, box]
    for row in rows:
        cells += _station_rows(design, plan, row, columns)
        tall += each
    style: list[tuple[Any, ...]] = [
        *_usual_style(headed=not plan.staggered),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ("GRID", (0, 0), (0, -1), 0.8, colors.black),
    ]
    for place in range(len(columns) if first else 0):
        left, right = 1 + 2 * place, 2 + 2 * place
        style.append(("SPAN", (left, 0), (right, 0)))
        style.append(("BOX", (left, 0), (right, 0), 0.8, colors.black))
    for place, row in enumerate(rows):
        top = first + len(each) * place
        bottom = top + len(each) - 1
        style.append(("SPAN", (0, top), (0, bottom)))
        for at, column in enumerate(columns):
            style += _station_style(
                (top, bottom), at, bool(plan.requested[row, column])
            )
    return Table(
        cells,
        colWidths=[_HEAD, *([half] * 2 * len(columns))],
        rowHeights=tall,
        style=TableStyle(style),
        hAlign="LEFT",
    )


def _usual_style(*, headed: bool = True) -> list[tuple[Any, ...]]:
    from reportlab.lib import colors

    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ]
    if headed:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 2.0, colors.black))
    return style


def _station_style(
    rows: tuple[int, int], column: int, requested: bool
) -> list[tuple[Any, ...]]:
    """Azimuth and marks above and room to write below, or all grey."""
    from reportlab.lib import colors

    top, bottom = rows
    first, last = (1 + 2 * column, top), (2 + 2 * column, bottom)
    frame = ("BOX", first, last, 0.8, colors.black)
    if not requested:
        grey = ("BACKGROUND", first, last, colors.silver)
        return [grey, ("SPAN", first, last), frame]
    style = [("SPAN", (first[0], bottom), last), frame]
    if bottom - top > 1:
        style.append(("SPAN", first, (last[0], top)))
    return style


def _station_rows(
    design: Design, plan: SamplingPlan, row: int, columns: range
) -> list[list[Any]]:
    """What stands in the azimuths, the marks and the boxes of one height."""
    height = float(plan.height[row])
    marks = marks_at(design, height)
    own: list[Any] = [_row_head(design, height)]
    small: list[Any] = [""] if plan.staggered else own
    for column in columns:
        if plan.requested[row, column]:
            azimuth = float(plan.station_azimuth[row, column])
            own_place = [_own_place(design, azimuth), ""] if plan.staggered else []
            small.append(paragraph(marks.drawn, _SMALL, after=0))
            small.append(
                paragraph(marks.brick, _SMALL, bold=True, side="right", after=0)
            )
        else:
            kind = design.openings[int(plan.opening[row, column])].kind
            words = paragraph(plain(kind, most=24), 12, side="centre", after=0)
            own_place = [words, ""]
            small += ["", ""] if plan.staggered else own_place
        if plan.staggered:
            own += own_place
    blank = [""] * len(small)
    return [own, small, blank] if plan.staggered else [small, blank]


def _own_place(design: Design, azimuth: float) -> Flowable:
    """Clock and azimuth of one box."""
    clock = clock_time(azimuth, design.azimuth_sense)
    words = f"{clock}\u00a0\u00a0\u00a0{azimuth:.6g}°"
    return paragraph(words, 13, bold=True, side="centre", after=0)


def _column_head(design: Design, azimuth: float) -> list[Flowable]:
    clock = clock_face(azimuth, design.azimuth_sense)
    return [
        paragraph(clock, 12, bold=True, side="centre", after=1),
        paragraph(f"{azimuth:.6g}°", 12, side="centre", after=0),
    ]


def _row_head(design: Design, height: float) -> list[Flowable]:
    unit = design.length_unit
    words = [paragraph(f"{say_setting(height, unit)} {unit}", 15, bold=True, after=1)]
    if unit != "mm":
        words.append(paragraph(say_length(height, "mm"), 12, after=0))
    return words


def _station_list(design: Design, plan: SamplingPlan) -> list[Flowable]:
    """A follow-up plan: a list of its stations, each with a box to write into."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    zero, unit = plain(design.height_zero, most=60), design.length_unit
    named = ("No.", "Clock", "Azimuth", "Height", "Drawn", "Brick from")
    heads = (*named, f"Radius, {unit}", "Note")
    widths = (36.0, 108.0, 74.0, 112.0, 64.0, 64.0, 120.0)
    frame = ("BOX", (6, 1), (6, -1), 2.0, colors.black)
    table = Table(
        [
            [paragraph(words, 12, bold=True, after=0) for words in heads],
            *(_station(design, plan, row) for row in range(plan.height.size)),
        ],
        colWidths=[*widths, _PAGE.text_width - sum(widths)],
        rowHeights=[36.0, *([_STATION] * plan.height.size)],
        repeatRows=1,
        style=TableStyle(
            [*_usual_style(), ("GRID", (0, 0), (-1, -1), 0.8, colors.black), frame]
        ),
        hAlign="LEFT",
    )
    words = (
        f"Lengths in {UNIT_NAMES[unit]}, heights above {zero}. Number 1 tells most: "
        "if time is short, read the lowest numbers."
    )
    return [
        paragraph("Stations to read", 15, bold=True, after=1),
        paragraph(words, 12, after=5),
        table,
    ]


def _station(design: Design, plan: SamplingPlan, row: int) -> list[Any]:
    height, unit = float(plan.height[row]), design.length_unit
    azimuth = float(plan.azimuth[int(np.argmax(plan.requested[row]))])
    marks = marks_at(design, height)
    setting = [paragraph(f"{say_setting(height, unit)} {unit}", 15, bold=True, after=0)]
    if plan.is_repeat[row]:
        setting.append(paragraph("again", 12, after=0))
    return [
        paragraph(str(plan.rank[row]), 15, bold=True, after=0),
        paragraph(clock_face(azimuth, design.azimuth_sense), 12, bold=True, after=0),
        paragraph(f"{azimuth:.6g}°", 13, after=0),
        setting,
        paragraph(marks.drawn, 12, after=0),
        paragraph(marks.brick, 12, bold=True, after=0),
        "",
        "",
    ]
