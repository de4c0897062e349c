"""Brickwork course by course: a drawing seen from inside, and the rows of its table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.repair.brickwork import LayUp
from geom.repair.laying import Stretch
from geom.repair.squaring import runs
from geom.views.jobs import say_short
from geom.views.paper import FONT
from geom.views.words import plain

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing

#: The drawing is never taller than this, points.
_TALL = 140.0
_LABEL = 12.0
#: Both ends are named at least so far apart, points.
_APART = 90.0


def whole_words(laid: LayUp) -> list[str]:
    """Of each brick: how many go in whole, how many are cut, what is for breakage."""
    words = []
    for one in laid.counted.bricks:
        cut = f", {_pieces(one.pieces)} out of {one.for_pieces}" if one.pieces else ""
        words.append(
            f"{plain(one.name, most=40)}: {one.whole} whole{cut}, "
            f"{one.breakage} for breakage"
        )
    return words


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"


def course_rows(laid: LayUp, design: Design) -> list[tuple[str, ...]]:
    """A row an arc: course, heights, azimuths, tape, rod, whole bricks, pieces."""
    unit = design.length_unit
    rows: list[tuple[str, ...]] = []
    firsts = laid.counted.of_first
    for stretch, first in zip(laid.counted.laid, firsts, strict=True):
        course = laid.courses[stretch.course]
        whole = str(stretch.whole)
        if laid.bond.paired:
            whole = f"{first} + {stretch.whole - first}"
        low, high = say_short(course.low, unit), say_short(course.high, unit)
        pieces = ", ".join(
            say_short(piece, unit).replace(" ", "\N{NO-BREAK SPACE}")
            for piece in stretch.pieces
        )
        rows.append(
            (
                str(stretch.course + 1),
                f"{low} to {high}",
                "all round"
                if course.ring
                else f"{stretch.azimuth_from:.0f}° to {stretch.azimuth_to:.0f}°",
                _tape(stretch, course.design_radius, course.ring, unit),
                say_short(course.design_radius + laid.seat, unit),
                whole,
                pieces or "none",
            )
        )
    return rows


def _tape(stretch: Stretch, radius: float, ring: bool, unit: str) -> str:
    """From where to where along the drawn face, from 12 o'clock on."""
    first, last = (0.0, 360.0) if ring else _ends(stretch)
    per_degree = np.deg2rad(radius)
    start, end = (say_short(at * per_degree, unit) for at in (first, last))
    return f"{start} to {end}"


def _ends(stretch: Stretch) -> tuple[float, float]:
    """Degrees from 12 o'clock, rising; less than 0 before it."""
    first, last = stretch.azimuth_from, stretch.azimuth_to
    return (first - 360.0 if first > last else first), last


def courses_drawing(laid: LayUp, design: Design, *, width: float) -> Drawing:
    """The courses seen from inside, to scale; cut pieces are filled grey.

    Parameters
    ----------
    laid : LayUp
    design : Design
    width : float, points

    Returns
    -------
    Drawing
    """
    from reportlab.graphics.shapes import Drawing, String

    left, reach = _reach(laid)
    low, high = laid.courses[0].low, laid.courses[-1].high
    per_degree = np.deg2rad(max(course.design_radius for course in laid.courses))
    scale = min(width / (reach * per_degree), (_TALL - 18.0) / (high - low))
    wide = scale * reach * per_degree
    made = Drawing(width, scale * (high - low) + 18.0)
    flip = design.azimuth_sense == "counterclockwise"
    for one in laid.counted.laid:
        course = laid.courses[one.course]
        start = left if course.ring else one.azimuth_from
        base = 18.0 + scale * (course.low - low)
        tall = scale * (course.high - course.low)
        at = scale * ((start - left) % 360.0) * per_degree
        for length, cut in _bricks(one):
            long = scale * length
            made.add(_brick(wide - at - long if flip else at, base, long, tall, cut))
            at += long
    names = [f"{left:.0f}°", f"{(left + reach) % 360.0:.0f}°"]
    for x, name, anchor in zip(
        (0.0, max(wide, _APART)),
        names[:: -1 if flip else 1],
        ("start", "end"),
        strict=True,
    ):
        made.add(
            String(x, 4.0, name, fontName=FONT, fontSize=_LABEL, textAnchor=anchor)
        )
    return made


def _reach(laid: LayUp) -> tuple[float, float]:
    """Where the picture begins, and how far round it reaches; degrees.

    All round, it is centred on azimuth 0.
    """
    covered = np.any([course.columns for course in laid.courses], axis=0)
    gaps = runs(~covered)
    if not gaps:
        return 180.0, 360.0
    first, count = max(gaps, key=lambda gap: gap[1])
    after = (first + count) % covered.size
    begins = [
        one.azimuth_from
        for one in laid.counted.laid
        if any(arc[0] == after for arc in laid.courses[one.course].arcs)
    ]
    per_column = 360.0 / covered.size
    near = min(begins, key=lambda at: abs((at - after * per_column + 180) % 360 - 180))
    return near, (covered.size - count) * per_column


def _bricks(stretch: Stretch) -> list[tuple[float, bool]]:
    """How far each reaches, a joint counted to it, mm, and whether it is cut."""
    count = stretch.whole + sum(stretch.pieces) / stretch.face
    pitch = stretch.length / count if count else 0.0
    whole = [(pitch, False)] * stretch.whole
    cut = [(pitch * piece / stretch.face, True) for piece in stretch.pieces]
    ahead = cut[:1] if stretch.course % 2 == 1 and stretch.whole else []
    return [*ahead, *whole, *cut[len(ahead) :]]


def _brick(x: float, y: float, wide: float, tall: float, cut: bool) -> object:
    from reportlab.graphics.shapes import Rect
    from reportlab.lib import colors

    return Rect(
        x,
        y,
        wide,
        tall,
        fillColor=colors.Color(0.72, 0.72, 0.72) if cut else None,
        strokeColor=colors.black,
        strokeWidth=0.7,
    )
