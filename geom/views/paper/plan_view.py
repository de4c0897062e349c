"""The furnace seen from above: clock, azimuths to read at, openings; on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design, Opening
from geom.frame import turn
from geom.sampling.plan import onward_of
from geom.units import Float
from geom.views.paper.style import BOLD, FONT
from geom.views.say import plain

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing

#: Parts of half the drawing's width: the wall, azimuths round it, hours inside it.
_WALL, _NAMES, _HOURS, _SENSE = 0.60, 0.71, 0.45, 0.26
#: Type, points.
_TYPE = 10.0
#: More names than this round the wall would touch.
_MOST_NAMES = 16


def plan_view(design: Design, azimuth: Float, *, size: float) -> Drawing:
    """The furnace seen from above, azimuth 0 at the top.

    Parameters
    ----------
    azimuth : array (k,), degrees
        Directions to mark, in the order of the columns.
    size : float
        Of the drawing's sides, points.

    Returns
    -------
    Drawing
    """
    from reportlab.graphics.shapes import Circle, Drawing

    drawing, half = Drawing(size, size), 0.5 * size
    drawing.add(Circle(half, half, _WALL * half, fillColor=None, strokeWidth=2.5))
    for hole in design.openings:
        drawing.add(_opening(design, hole, half))
    for hour in (12, 3, 6, 9):
        _write(drawing, str(hour), 30.0 * hour, _HOURS * half, bold=True, more=4.0)
    stride = int(np.ceil(azimuth.size / _MOST_NAMES))
    for index, at in enumerate(azimuth.tolist()):
        onward = onward_of(design, at)
        drawing.add(_tick(onward, half))
        if index % stride == 0:
            anchor = _anchor(onward)
            out = half * (_NAMES + (0.06 if anchor == "middle" else 0.0))
            _write(drawing, f"{at:g}°", onward, out, anchor=anchor)
    _add_sense(drawing, design, half)
    return drawing


def _place(onward: float, radius: float, half: float) -> tuple[float, float]:
    turned = np.deg2rad(onward)
    return half + radius * float(np.sin(turned)), half + radius * float(np.cos(turned))


def _anchor(onward: float) -> str:
    """Which end of a name stands next to the wall."""
    right = float(np.sin(np.deg2rad(onward)))
    return "middle" if abs(right) < 0.2 else "start" if right > 0.0 else "end"


def _tick(onward: float, half: float) -> Any:
    from reportlab.graphics.shapes import Line

    ends = (_place(onward, part * half, half) for part in (_WALL, _WALL + 0.07))
    (x0, y0), (x1, y1) = ends
    return Line(x0, y0, x1, y1, strokeWidth=1.2)


def _opening(design: Design, hole: Opening, half: float) -> Any:
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
    drawing: Any,
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
    x, y = _place(onward, radius, 0.5 * drawing.width)
    drawing.add(
        String(
            x,
            y - 0.36 * size,
            text,
            fontName=BOLD if bold else FONT,
            fontSize=size,
            textAnchor=anchor,
        )
    )


def _add_sense(drawing: Any, design: Design, half: float) -> None:
    """An arrow the way azimuth grows."""
    from reportlab.graphics.shapes import Polygon, PolyLine
    from reportlab.lib import colors

    way = 1.0 if turn(0.0, onward_of(design, 1.0)) > 0.0 else -1.0
    arc = way * np.linspace(-50.0, 50.0, 21)
    line = [_place(float(at), _SENSE * half, half) for at in arc]
    drawing.add(PolyLine([c for point in line for c in point], strokeWidth=2.0))
    tip = _place(way * 72.0, _SENSE * half, half)
    feet = [
        _place(way * 48.0, part * half, half) for part in (_SENSE - 0.06, _SENSE + 0.06)
    ]
    head = [c for point in (tip, *feet) for c in point]
    drawing.add(Polygon(head, fillColor=colors.black, strokeWidth=0.5))
    zero = plain(design.azimuth_zero, most=18)
    for row, words in enumerate(("azimuth", f"0° = {zero}")):
        _write(drawing, words, 180.0, (0.02 + 0.15 * row) * half)
