"""The tables of the blank rod sheet on paper: boxes that a gloved hand writes into."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.climb import Climb
from geom.design import Design
from geom.frame import clock_face
from geom.units import say_length
from geom.views.marks import SAID, marks_at, say_setting
from geom.views.paper import says
from geom.views.words import plain

if TYPE_CHECKING:
    from reportlab.platypus import Flowable, Table

#: Widths and heights, points.
_HEAD, _MOST_COLUMNS = 104.0, 6
_CLOCK, _MARK, _LEAST_BOX = 44.0, 17.0, 36.0
_STATION = 42.0
#: Type of the marks, points.
_SMALL = 10.5


def grids(
    design: Design, climb: Climb, *, width: float, room: float
) -> Iterator[list[Flowable]]:
    """A first climb, a page for every so many heights and azimuths.

    Parameters
    ----------
    design : Design
    climb : Climb
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
    climb: Climb,
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
    design: Design, climb: Climb, row: int, columns: range
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


def stations(design: Design, climb: Climb, *, width: float) -> list[Flowable]:
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


def _station(design: Design, climb: Climb, row: int) -> list[Any]:
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
