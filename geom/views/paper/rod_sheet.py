"""rod-sheet.pdf: the blank rod sheet on paper, to be written on in the furnace.

The tables of the blank rod sheet on paper: boxes that a gloved hand writes into.

The furnace seen from above: clock, azimuths to read at, openings; on paper.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from geom._version import __version__
from geom.design import Design, Opening
from geom.frame import clock_face, turn
from geom.sampling.plan import SamplingPlan, onward_of
from geom.units import Float, say_length
from geom.views.cautions import CAUTIONS
from geom.views.paper.rod_marks import SAID, explain, marks_at, say_setting
from geom.views.paper.style import (
    BOLD,
    FONT,
    boxed,
    register_fonts,
    says,
)
from geom.views.say import plain

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing
    from reportlab.platypus import Flowable, Table


#: Widths and heights, points.
_HEAD, _MOST_COLUMNS = 104.0, 6
_CLOCK, _MARK, _LEAST_BOX = 44.0, 17.0, 36.0
_STATION = 42.0
#: Type of the marks, points.
_SMALL = 10.5


def grids(
    design: Design, climb: SamplingPlan, *, width: float, room: float
) -> Iterator[list[Flowable]]:
    """A first climb, a page for every so many heights and azimuths.

    Parameters
    ----------
    design : Design
    climb : SamplingPlan
    width, room : float
        Of a page, points.

    Yields
    ------
    list of Flowable
        What stands on one page.
    """
    left = (
        room
        - _CLOCK
        - sum(
            float(part.wrap(width, room)[1]) + float(part.getSpaceAfter())
            for part in _grid_head(design)
        )
    )
    most_rows = max(1, int(left // (_MARK + _LEAST_BOX)))
    across = _shares(climb.azimuth.size, _MOST_COLUMNS)
    half = 0.5 * (width - _HEAD) / max(*map(len, across), 3)
    for rows in _shares(climb.height.size, most_rows):
        box = min(left / len(rows) - _MARK, 2.0 * _LEAST_BOX)
        for columns in across:
            table = _grid(design, climb, rows, columns, half=half, box=box)
            yield [*_grid_head(design), table]


def _grid_head(design: Design) -> list[Flowable]:
    zero = plain(design.height_zero, most=60)
    unit = SAID[design.length_unit]
    return [
        says(f"Radius in {unit}; the wall seen from inside", 15, bold=True, after=1),
        says(
            f"Heights above {zero}. Small in each box, left: drawn; right, bold: brick "
            "from here on.",
            12,
            after=5,
        ),
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
    climb: SamplingPlan,
    rows: range,
    columns: range,
    *,
    half: float,
    box: float,
) -> Table:
    """A row per height, a column per azimuth, each of two by two small cells."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    cells: list[list[Any]] = [[says("Height", 12, bold=True, after=0)]]
    for column in columns:
        cells[0] += [_column_head(design, float(climb.azimuth[column])), ""]
    for row in rows:
        cells += _two_rows(design, climb, row, columns)
    style: list[tuple[Any, ...]] = [
        *_usual_style(),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ("GRID", (0, 0), (0, -1), 0.8, colors.black),
    ]
    for place in range(len(columns)):
        left, right = 1 + 2 * place, 2 + 2 * place
        style.append(("SPAN", (left, 0), (right, 0)))
        style.append(("BOX", (left, 0), (right, 0), 0.8, colors.black))
    for place, row in enumerate(rows):
        style.append(("SPAN", (0, 1 + 2 * place), (0, 2 + 2 * place)))
        for at, column in enumerate(columns):
            style += _station_style(place, at, bool(climb.asked[row, column]))
    return Table(
        cells,
        colWidths=[_HEAD, *([half] * 2 * len(columns))],
        rowHeights=[_CLOCK, *([_MARK, box] * len(rows))],
        style=TableStyle(style),
        hAlign="LEFT",
    )


def _usual_style() -> list[tuple[Any, ...]]:
    from reportlab.lib import colors

    return [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("LINEBELOW", (0, 0), (-1, 0), 2.0, colors.black),
    ]


def _station_style(row: int, column: int, asked: bool) -> list[tuple[Any, ...]]:
    """Marks above and room to write below, or all grey."""
    from reportlab.lib import colors

    first, last = (1 + 2 * column, 1 + 2 * row), (2 + 2 * column, 2 + 2 * row)
    frame = ("BOX", first, last, 0.8, colors.black)
    if asked:
        return [("SPAN", (first[0], last[1]), last), frame]
    return [("BACKGROUND", first, last, colors.silver), ("SPAN", first, last), frame]


def _two_rows(
    design: Design, climb: SamplingPlan, row: int, columns: range
) -> list[list[Any]]:
    """What stands in the marks and the boxes of one height."""
    height = float(climb.height[row])
    marks = marks_at(design, height)
    small: list[Any] = [_row_head(design, height)]
    for column in columns:
        if climb.asked[row, column]:
            small.append(says(marks.drawn, _SMALL, after=0))
            small.append(says(marks.brick, _SMALL, bold=True, side="right", after=0))
        else:
            kind = design.openings[int(climb.opening[row, column])].kind
            words = plain(kind, most=24)
            small += [says(words, 12, side="centre", after=0), ""]
    return [small, [""] * len(small)]


def _column_head(design: Design, azimuth: float) -> list[Flowable]:
    clock = clock_face(azimuth, design.azimuth_sense)
    return [
        says(clock, 12, bold=True, side="centre", after=1),
        says(f"{azimuth:.6g}°", 12, side="centre", after=0),
    ]


def _row_head(design: Design, height: float) -> list[Flowable]:
    unit = design.length_unit
    said = [says(f"{say_setting(height, unit)} {unit}", 15, bold=True, after=1)]
    if unit != "mm":
        said.append(says(say_length(height, "mm"), 12, after=0))
    return said


def stations(design: Design, climb: SamplingPlan, *, width: float) -> list[Flowable]:
    """A second climb: a list of its stations, each with a box to write into."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    zero, unit = plain(design.height_zero, most=60), design.length_unit
    named = ("No.", "Clock", "Azimuth", "Height", "Drawn", "Brick from")
    heads = (*named, f"Radius, {unit}", "Note")
    widths = (36.0, 108.0, 74.0, 112.0, 64.0, 64.0, 120.0)
    frame = ("BOX", (6, 1), (6, -1), 2.0, colors.black)
    table = Table(
        [
            [says(words, 12, bold=True, after=0) for words in heads],
            *(_station(design, climb, row) for row in range(climb.height.size)),
        ],
        colWidths=[*widths, width - sum(widths)],
        rowHeights=[36.0, *([_STATION] * climb.height.size)],
        repeatRows=1,
        style=TableStyle(
            [*_usual_style(), ("GRID", (0, 0), (-1, -1), 0.8, colors.black), frame]
        ),
        hAlign="LEFT",
    )
    words = (
        f"Lengths in {SAID[unit]}, heights above {zero}. Number 1 tells most: if time "
        "is short, read the lowest numbers."
    )
    return [
        says("Stations to read", 15, bold=True, after=1),
        says(words, 12, after=5),
        table,
    ]


def _station(design: Design, climb: SamplingPlan, row: int) -> list[Any]:
    height, unit = float(climb.height[row]), design.length_unit
    azimuth = float(climb.azimuth[int(np.argmax(climb.asked[row]))])
    marks = marks_at(design, height)
    setting = [says(f"{say_setting(height, unit)} {unit}", 15, bold=True, after=0)]
    if climb.again[row]:
        setting.append(says("again", 12, after=0))
    return [
        says(str(climb.rank[row]), 15, bold=True, after=0),
        says(clock_face(azimuth, design.azimuth_sense), 12, bold=True, after=0),
        says(f"{azimuth:.6g}°", 13, after=0),
        setting,
        says(marks.drawn, 12, after=0),
        says(marks.brick, 12, bold=True, after=0),
        "",
        "",
    ]


#: Parts of half the drawing's width: the wall, azimuths round it, hours inside it.
_WALL, _NAMES, _HOURS, _SENSE = 0.60, 0.71, 0.45, 0.26
_TYPE = 10.0
#: More names than this round the wall would touch.
_MOST_NAMES = 16


def plan_drawing(design: Design, azimuth: Float, *, size: float) -> Drawing:
    """A plan, azimuth 0 at the top.

    Parameters
    ----------
    design : Design
    azimuth : array (k,), degrees
        Directions to mark, in the order of the columns.
    size : float
        Of the drawing's sides, points.

    Returns
    -------
    Drawing
    """
    from reportlab.graphics.shapes import Circle, Drawing

    made, half = Drawing(size, size), 0.5 * size
    made.add(Circle(half, half, _WALL * half, fillColor=None, strokeWidth=2.5))
    for hole in design.openings:
        made.add(_bar(design, hole, half))
    for hour in (12, 3, 6, 9):
        _write(made, str(hour), 30.0 * hour, _HOURS * half, bold=True, more=4.0)
    stride = int(np.ceil(azimuth.size / _MOST_NAMES))
    for index, at in enumerate(azimuth.tolist()):
        onward = onward_of(design, at)
        made.add(_tick(onward, half))
        if index % stride == 0:
            anchor = _anchor(onward)
            out = half * (_NAMES + (0.06 if anchor == "middle" else 0.0))
            _write(made, f"{at:g}°", onward, out, anchor=anchor)
    _add_sense(made, design, half)
    return made


def _place(onward: float, radius: float, half: float) -> tuple[float, float]:
    turned = np.deg2rad(onward)
    return half + radius * float(np.sin(turned)), half + radius * float(np.cos(turned))


def _anchor(onward: float) -> str:
    """Which end of a name stands beside the wall."""
    right = float(np.sin(np.deg2rad(onward)))
    return "middle" if abs(right) < 0.2 else "start" if right > 0.0 else "end"


def _tick(onward: float, half: float) -> Any:
    from reportlab.graphics.shapes import Line

    ends = (_place(onward, part * half, half) for part in (_WALL, _WALL + 0.07))
    (x0, y0), (x1, y1) = ends
    return Line(x0, y0, x1, y1, strokeWidth=1.2)


def _bar(design: Design, hole: Opening, half: float) -> Any:
    """An opening as a gap in the wall, its edges drawn."""
    from reportlab.graphics.shapes import Polygon
    from reportlab.lib import colors

    reach = max(hole.half_angle(design.radius_at_opening(hole)), 3.0)
    middle = onward_of(design, hole.azimuth)
    corners = [
        _place(middle + side * reach, part * half, half)
        for side, part in (
            (-1, _WALL - 0.05),
            (1, _WALL - 0.05),
            (1, _WALL + 0.05),
            (-1, _WALL + 0.05),
        )
    ]
    flat = [coordinate for corner in corners for coordinate in corner]
    return Polygon(flat, fillColor=colors.lightgrey, strokeWidth=1.0)


def _write(
    made: Any,
    text: str,
    onward: float,
    radius: float,
    *,
    bold: bool = False,
    more: float = 0.0,
    anchor: str = "middle",
) -> None:
    from reportlab.graphics.shapes import String

    size = _TYPE + more
    x, y = _place(onward, radius, 0.5 * made.width)
    made.add(
        String(
            x,
            y - 0.36 * size,
            text,
            fontName=BOLD if bold else FONT,
            fontSize=size,
            textAnchor=anchor,
        )
    )


def _add_sense(made: Any, design: Design, half: float) -> None:
    """An arrow the way azimuth grows."""
    from reportlab.graphics.shapes import Polygon, PolyLine
    from reportlab.lib import colors

    way = 1.0 if turn(0.0, onward_of(design, 1.0)) > 0.0 else -1.0
    arc = way * np.linspace(-50.0, 50.0, 21)
    line = [_place(float(at), _SENSE * half, half) for at in arc]
    made.add(PolyLine([c for point in line for c in point], strokeWidth=2.0))
    tip = _place(way * 72.0, _SENSE * half, half)
    feet = [
        _place(way * 48.0, part * half, half) for part in (_SENSE - 0.06, _SENSE + 0.06)
    ]
    head = [c for point in (tip, *feet) for c in point]
    made.add(Polygon(head, fillColor=colors.black, strokeWidth=0.5))
    zero = plain(design.azimuth_zero, most=18)
    for row, words in enumerate(("azimuth", f"0° = {zero}")):
        _write(made, words, 180.0, (0.02 + 0.15 * row) * half)


#: As wide as Letter and as tall as A4, both lying: prints whole on both.  Points.
_PAGE = (792.0, 595.0)
_MARGIN = 40.0
_FOOT = 32.0
#: Within the frame's own padding of 6 points a side.
_TEXT = _PAGE[0] - 2.0 * _MARGIN - 12.0
_ROOM = _PAGE[1] - 2.0 * _MARGIN - _FOOT - 12.0
_PLAN = 236.0


def paper_bytes(design: Design, climb: SamplingPlan, *, title: str = "") -> bytes:
    """The blank sheet as PDF.

    Parameters
    ----------
    design : Design
    climb : SamplingPlan
    title : str
        Of the survey.

    Returns
    -------
    bytes
        Type 12 point or more, marks and feet of pages 10; black and white.  The same
        input gives the same bytes.
    """
    register_fonts()
    pages = _built(design, climb, title, pages=0)[1]
    return _built(design, climb, title, pages=pages)[0]


def _built(
    design: Design, climb: SamplingPlan, title: str, *, pages: int
) -> tuple[bytes, int]:
    """The PDF that says it has so many pages, and how many it has."""
    from reportlab.platypus import SimpleDocTemplate

    out, zero = io.BytesIO(), plain(design.azimuth_zero, most=36)
    sheet = SimpleDocTemplate(
        out,
        pagesize=_PAGE,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + _FOOT,
        title=f"Rod sheet, {plain(design.name)}",
        author="",
        subject=plain(title),
        creator=f"daubline {__version__}",
        invariant=1,
    )

    def foot(canvas: Any, page: Any) -> None:
        canvas.setFont(FONT, 10)
        sense = f"azimuth grows {design.azimuth_sense}"
        clock = f"Seen from above: {zero} at 12 o'clock; {sense}"
        left, right = _MARGIN + 6.0, _PAGE[0] - _MARGIN - 6.0
        canvas.drawString(left, _MARGIN + 14.0, clock)
        canvas.drawString(left, _MARGIN, plain(design.name, most=70))
        canvas.drawRightString(right, _MARGIN, f"page {page.page} of {pages}")

    sheet.build(_story(design, climb, title), onFirstPage=foot, onLaterPages=foot)
    return out.getvalue(), int(sheet.page)


def _story(design: Design, climb: SamplingPlan, title: str) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    story = [*_first_page(design, climb, title), *_signed()]
    if climb.second:
        return [*story, PageBreak(), *stations(design, climb, width=_TEXT)]
    for page in grids(design, climb, width=_TEXT, room=_ROOM):
        story += [PageBreak(), *page]
    return story


def _first_page(design: Design, climb: SamplingPlan, title: str) -> list[Flowable]:
    from reportlab.platypus import Spacer, Table, TableStyle

    names = plain(title, most=60), plain(design.name, most=60)
    wide = _TEXT - _PLAN - 12.0
    cautions = boxed(
        [
            says("Before anybody goes in", 14, bold=True, after=3),
            *(says(f"• {caution}", 12, after=2) for caution in CAUTIONS),
        ],
        width=wide,
    )
    plan = [
        plan_drawing(design, climb.azimuth, size=_PLAN),
        says("Seen from above", 13, bold=True, side="centre"),
    ]
    beside = Table(
        [[cautions, plan]],
        colWidths=[wide + 12.0, _PLAN],
        style=TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
            ]
        ),
    )
    return [
        says("Rod sheet", 24, bold=True, after=2),
        says(": ".join(filter(None, names)), 14, bold=True, after=6),
        beside,
        Spacer(1, 4),
        *(says(words, 12, after=3) for words in explain(design, climb)),
    ]


def _signed() -> list[Flowable]:
    """Room for what is written on paper only."""
    from reportlab.platypus import KeepTogether, Spacer

    rows = (
        f"Heat {'_' * 14}   Date {'_' * 16}   Read by {'_' * 36}",
        f"Signature {'_' * 30}   Notes {'_' * 44}",
    )
    return [KeepTogether([Spacer(1, 12), *(says(row, 12, after=12) for row in rows)])]
