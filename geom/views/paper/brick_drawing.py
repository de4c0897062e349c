"""The brickwork of a zone, drawn to scale: seen from inside, and cut level.

Every brick carries the number of its course and the letter of its kind; halves are
hatched as well, so that they differ in grey and by those who see no colour.  Heavy
lines part the segments that the wall is opened in, each with the number of its step in
a disc; where the stack needs support first, the heights stand at the left in black.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.frame import clock_time, turn, wrap
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.masonry.support import Stop, Support
from geom.repair.plan.result import ZonePlan
from geom.surface.radial import RadialSurface
from geom.units import Bool, Float, say_length
from geom.views.paper.style import BOLD, FONT, hatch_lines
from geom.views.say import span

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing

#: Least scale, points to the mm: a 4 1/2 in brick is 30 points wide; where room is
#: short, 24.
LEAST_SCALE, SMALL_SCALE = 0.27, 0.21
#: An elevation is never taller than this, points.
TALL = 250.0
#: Kept free to the left, to the right, below and above; points.
_LEFT, _RIGHT, _BELOW, _ABOVE = 30.0, 60.0, 40.0, 10.0
_TYPE = 12.0
#: Height of the scale bar with its words, points.
_BAR = 14.0
#: Outline of a segment, and the disc that holds its step; points.
_HEAVY, _DISC = 3.2, 8.5
#: Bricks of a segment no further apart than this have one outline, mm: half an inch.
_WIDE_JOINT = 12.7
#: Distance of hatching, points.
_HATCH = 4.5
#: Grey of daub.
DAUB = 0.86


@dataclass(frozen=True)
class Kind:
    """Bricks of one name, part and stand, under one letter."""

    letter: str
    piece: BrickPiece
    count: int


def kinds_of(bricks: Sequence[PlacedBrick]) -> dict[BrickPiece, Kind]:
    """The kinds of piece in a zone, the most frequent first, lettered from A on."""
    counts: dict[BrickPiece, int] = {}
    for brick in bricks:
        counts[brick.piece] = counts.get(brick.piece, 0) + 1
    ordered = sorted(counts, key=lambda piece: (-counts[piece], piece.name, -piece.up))
    return {
        piece: Kind(_letter(k), piece, counts[piece]) for k, piece in enumerate(ordered)
    }


def _letter(index: int) -> str:
    """A to Z, then AA, AB ...

    Examples
    --------
    >>> [_letter(k) for k in (0, 25, 26)]
    ['A', 'Z', 'AA']
    """
    first, last = divmod(index, 26)
    return (_letter(first - 1) if first else "") + chr(ord("A") + last)


@dataclass(frozen=True)
class _View:
    """A stretch of wall as a picture: azimuths to the right or to the left; points.

    Attributes
    ----------
    left : float, degrees
        Azimuth that the picture begins at, the way azimuth grows.
    reach : float, degrees
    low, high : float, mm
    radius : float, mm
        Along which arcs are measured.
    scale : float
        Points to the mm.
    """

    design: Design
    left: float
    reach: float
    low: float
    high: float
    radius: float
    scale: float

    @property
    def wide(self) -> float:
        """Of the wall, points."""
        return self.scale * self.radius * float(np.deg2rad(self.reach))

    @property
    def tall(self) -> float:
        """Of the wall, points."""
        return self.scale * (self.high - self.low)

    @cached_property
    def middle(self) -> float:
        """Azimuth of its middle, degrees."""
        return float(wrap(self.left + 0.5 * self.reach))

    def x(self, azimuth: float | Float) -> float | Float:
        """Across the picture: seen from inside, clockwise runs to the right."""
        off = turn(self.middle, azimuth) * self.scale * self.radius * np.pi / 180.0
        way = 1.0 if self.design.azimuth_sense == "clockwise" else -1.0
        return _LEFT + 0.5 * self.wide + way * off

    def y(self, height: float | Float) -> float | Float:
        """Up the picture."""
        return _BELOW + self.scale * (height - self.low)

    def holds(self, brick: PlacedBrick) -> bool:
        """Whether the middle of a brick lies in it."""
        return bool(wrap(brick.azimuth - self.left) < self.reach)


def elevations(
    zone: ZonePlan,
    surface: RadialSurface,
    *,
    skin: int,
    width: float,
    tall: float = TALL,
    least: float = LEAST_SCALE,
    support: Support | None = None,
) -> list[Drawing]:
    """One skin of a zone seen from inside, unrolled; in strips where it is wide.

    Strips that no brick stands in are left out.

    Parameters
    ----------
    zone : ZonePlan
        With brickwork.
    skin : int
        From the hot face, 1 the first.
    width : float, points
    tall : float, points
        Of the wall in one strip, at most.
    least : float
        Points to the mm that a wide zone is drawn in, at least.
    support : Support, optional
        Segments of the zone and stops, to be marked.
    """
    if zone.brickwork is None:
        return []
    kinds = kinds_of(zone.brickwork.bricks)
    bricks = [brick for brick in zone.brickwork.bricks if brick.skin == skin]
    drawn = []
    for view in _views(zone, surface.design, width, tall, least):
        held = [brick for brick in bricks if view.holds(brick)]
        if held:
            marks = () if support is None else _marks(view, zone, held, support)
            made = _elevation(view, zone, surface, held, kinds, marks=marks)
            drawn.append((view, made))
    for view, made in drawn[-1:]:  # one bar is enough for all strips
        right = made.width - 4.0
        for part in scale_bar(
            view.design, view.scale, most=0.4 * view.wide, right=right
        ):
            made.add(part)
    for _, made in drawn[:-1]:
        made.height -= _BAR
        made.shift(0.0, -_BAR)
    return [made for _, made in drawn]


def _views(
    zone: ZonePlan, design: Design, width: float, tall: float, least: float
) -> list[_View]:
    reach = min(span(zone) + 4.0, 360.0)
    left = zone.azimuth_from - 2.0 if reach < 360.0 else 180.0
    low, high = zone.height_from, zone.height_to
    radius = float(design.profile.radius_at(0.5 * (low + high)))
    room = width - _LEFT - _RIGHT
    around = radius * float(np.deg2rad(reach))
    strips = max(int(np.ceil(around * least / room - 1e-9)), 1)
    scale = min(room * strips / around, tall / (high - low))
    part = reach / strips
    return [
        _View(design, float(wrap(left + k * part)), part, low, high, radius, scale)
        for k in range(strips)
    ]


def _elevation(
    view: _View,
    zone: ZonePlan,
    surface: RadialSurface,
    bricks: Sequence[PlacedBrick],
    kinds: dict[BrickPiece, Kind],
    *,
    marks: Iterable[Any],
) -> Drawing:
    from reportlab.graphics.shapes import Drawing

    made = Drawing(view.wide + _LEFT + _RIGHT, view.tall + _BELOW + _ABOVE)
    for box in _daub_boxes(view, zone, surface):
        made.add(box)
    for brick in bricks:
        height, azimuth, _ = brick.corners()[:4].T
        flat = np.stack([view.x(azimuth), view.y(height)], axis=1)
        words = f"{brick.course + 1}{kinds[brick.piece].letter}"
        for part in brick_shapes(flat, brick, words):
            made.add(part)
    for part in (*_openings(view), *_heights(view), *_hours(view), *marks):
        made.add(part)
    return made


def _marks(
    view: _View, zone: ZonePlan, held: Sequence[PlacedBrick], support: Support
) -> Iterator[Any]:
    """Outlines of the segments, their steps, and the heights of stops."""
    every = () if zone.brickwork is None else zone.brickwork.bricks
    for segment in support.segments:
        if segment.zone != zone.id:
            continue
        own = [every[k] for k in segment.members if every[k] in held]
        if own:
            yield from _segment(view, own, str(segment.step))
    for stop in support.stops:
        yield from _stop(view, stop)


def segment_outlines(
    boxes: Sequence[tuple[float, float, float, float]], joint: float
) -> list[Float]:
    """The toothed outlines of some bricks and the joints between them.

    Parameters
    ----------
    boxes : sequence of (left, low, right, high)
        Of the bricks.
    joint : float
        Bricks no further apart than this are one piece.

    Returns
    -------
    list of array (n, 2)
        Of each piece, closed; the largest first.

    Examples
    --------
    >>> (outline,) = segment_outlines([(0, 0, 4, 2), (1, 2.1, 6, 4)], 0.2)
    >>> len(outline) - 1, outline.max(axis=0).tolist()
    (8, [6.0, 4.0])
    """
    from shapely import box, union_all

    half = 0.5 * joint + 1e-6
    grown = union_all([box(*b).buffer(half, join_style="mitre") for b in boxes])
    whole = grown.buffer(-half, join_style="mitre")
    pieces = sorted(getattr(whole, "geoms", [whole]), key=lambda piece: -piece.area)
    return [np.round(np.array(piece.exterior.coords), 6) for piece in pieces]


def _segment(view: _View, own: Sequence[PlacedBrick], step: str) -> Iterator[Any]:
    """The outline of some bricks, their step in a disc on its upper left corner."""
    from reportlab.graphics.shapes import Circle, Polygon, String
    from reportlab.lib import colors

    boxes = []
    for brick in own:
        height, azimuth, _ = brick.corners()[:4].T
        flat = np.stack([view.x(azimuth), view.y(height)])
        (left, low), (right, high) = flat.min(axis=1), flat.max(axis=1)
        boxes.append((float(left), float(low), float(right), float(high)))
    outlines = segment_outlines(boxes, _WIDE_JOINT * view.scale)
    for outline in outlines:
        yield Polygon(
            outline[:-1].ravel().tolist(),
            fillColor=None,
            strokeColor=colors.black,
            strokeWidth=_HEAVY,
        )
    first = outlines[0]
    corner = first[np.argmax(first[:, 1] - 1e-3 * first[:, 0])]
    # off the labels, and off the bar of a stop
    x, y = max(float(corner[0]), 18.0 + _DISC), float(corner[1]) + 0.2 * _DISC
    yield Circle(
        x, y, _DISC, fillColor=colors.black, strokeColor=colors.white, strokeWidth=1.0
    )
    size = min(_TYPE, 2.2 * _TYPE / (1 + len(step)))
    yield String(
        x,
        y - 0.36 * size,
        step,
        fontName=BOLD,
        fontSize=size,
        fillColor=colors.white,
        textAnchor="middle",
    )


def _stop(view: _View, stop: Stop) -> Iterator[Any]:
    """The heights of a stop, as a black bar at the left with its word in it."""
    from reportlab.graphics.shapes import Group, Rect, String
    from reportlab.lib import colors

    low = max(stop.height_from, view.low)
    high = min(stop.height_to, view.high)
    if low >= high:
        return
    y0, y1 = float(view.y(low)), float(view.y(high))
    yield Rect(2.0, y0, 14.0, y1 - y0, fillColor=colors.black, strokeColor=None)
    word = String(
        0,
        -0.36 * _TYPE,
        "STOP",
        fontName=BOLD,
        fontSize=_TYPE,
        fillColor=colors.white,
        textAnchor="middle",
    )
    if y1 - y0 > 3.2 * _TYPE:
        yield Group(word, transform=(0.0, 1.0, -1.0, 0.0, 9.0, 0.5 * (y0 + y1)))


def _daub_boxes(view: _View, zone: ZonePlan, surface: RadialSurface) -> Iterator[Any]:
    """The zone's own wall, row by row: what no brick covers is daub."""
    from reportlab.graphics.shapes import Rect
    from reportlab.lib import colors

    grid = surface.grid
    grey = colors.Color(DAUB, DAUB, DAUB)
    half = 180.0 / grid.azimuth.size
    for row in np.flatnonzero((zone.share > 0.0).any(axis=1)):
        low, high = view.y(grid.edge[row]), view.y(grid.edge[row + 1])
        for first, last in _runs(zone.share[row] > 0.0, grid.azimuth, view):
            ends = sorted((float(view.x(first - half)), float(view.x(last + half))))
            yield Rect(
                ends[0],
                low,
                ends[1] - ends[0],
                high - low,
                fillColor=grey,
                strokeColor=None,
                strokeWidth=0,
            )


def _runs(held: Bool, azimuth: Float, view: _View) -> Iterator[tuple[float, float]]:
    """First and last azimuth of each run of columns within a view."""
    turned = wrap(azimuth - view.left)
    order = np.argsort(turned)
    inside = held[order] & (turned[order] < view.reach)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], inside, [0]]).astype(int)))
    for start, end in edges.reshape(-1, 2):
        yield float(azimuth[order[start]]), float(azimuth[order[end - 1]])


def brick_shapes(flat: Float, brick: PlacedBrick, words: str) -> Iterator[Any]:
    """Outline, hatching of a half, and its label, if any; ``flat`` (4, 2) in points."""
    from reportlab.graphics.shapes import Line, Polygon
    from reportlab.lib import colors

    yield Polygon(
        flat.ravel().tolist(),
        fillColor=colors.white,
        strokeColor=colors.black,
        strokeWidth=1.2,
    )
    if not brick.piece.whole:
        for (x0, y0), (x1, y1) in hatch_lines(flat, _HATCH):
            yield Line(x0, y0, x1, y1, strokeColor=colors.black, strokeWidth=0.5)
    if words:
        yield from _label(flat, words, paper=not brick.piece.whole)


def _label(flat: Float, words: str, *, paper: bool) -> Iterator[Any]:
    """The label, as large as the brick lets it be; upright in a narrow one."""
    from reportlab.graphics.shapes import Group, Rect, String
    from reportlab.lib import colors
    from reportlab.pdfbase.pdfmetrics import stringWidth

    wide, tall = np.ptp(flat, axis=0)
    (x, y) = flat.mean(axis=0)
    turned = wide < tall and wide < 1.2 * stringWidth(words, BOLD, _TYPE)
    along, across = (tall, wide) if turned else (wide, tall)
    size = min(
        _TYPE, 0.85 * across, _TYPE * 0.9 * along / stringWidth(words, BOLD, _TYPE)
    )
    length = stringWidth(words, BOLD, size)
    parts: list[Any] = []
    if paper:
        parts.append(
            Rect(
                -0.5 * length - 1.5,
                -0.55 * size,
                length + 3.0,
                1.1 * size,
                fillColor=colors.white,
                strokeColor=None,
                strokeWidth=0,
            )
        )
    parts.append(
        String(
            0, -0.36 * size, words, fontName=BOLD, fontSize=size, textAnchor="middle"
        )
    )
    way = (0.0, 1.0, -1.0, 0.0) if turned else (1.0, 0.0, 0.0, 1.0)
    yield Group(*parts, transform=(*way, float(x), float(y)))


def _openings(view: _View) -> Iterator[Any]:
    """Tuyeres and holes in the picture, crossed out."""
    from reportlab.graphics.shapes import Line, Rect
    from reportlab.lib import colors

    for hole in view.design.openings:
        if wrap(hole.azimuth - view.left) >= view.reach:
            continue
        low = max(hole.height - 0.5 * hole.tall, view.low)
        high = min(hole.height + 0.5 * hole.tall, view.high)
        if low >= high:
            continue
        half = 0.5 * hole.width * view.scale
        x, y0, y1 = float(view.x(hole.azimuth)), float(view.y(low)), float(view.y(high))
        yield Rect(
            x - half,
            y0,
            2.0 * half,
            y1 - y0,
            fillColor=colors.white,
            strokeColor=colors.black,
            strokeWidth=0.8,
        )
        yield Line(x - half, y0, x + half, y1, strokeWidth=0.8)
        yield Line(x - half, y1, x + half, y0, strokeWidth=0.8)


def _heights(view: _View) -> Iterator[Any]:
    """A scale of heights at the right."""
    from reportlab.graphics.shapes import Line, String

    unit = view.design.length_unit
    step = 6.0 * 25.4 if unit == "in" else 100.0
    while step * view.scale < 1.6 * _TYPE:
        step *= 2.0
    x = _LEFT + view.wide + 14.0
    yield Line(x, view.y(view.low), x, view.y(view.high), strokeWidth=1.0)
    first = np.ceil(view.low / step - 1e-9) * step
    for height in np.arange(first, view.high + 1e-6, step):
        y = float(view.y(height))
        yield Line(x, y, x + 5.0, y, strokeWidth=1.0)
        yield String(
            x + 8.0,
            y - 0.36 * _TYPE,
            say_length(float(height), unit),
            fontName=FONT,
            fontSize=_TYPE,
        )


def _hours(view: _View) -> Iterator[Any]:
    """Hours and half hours of the clock, below."""
    from reportlab.graphics.shapes import Line, String

    step = 15.0
    while step * view.scale * view.radius * np.pi / 180.0 < 4.0 * _TYPE:
        step *= 2.0
    for azimuth in np.arange(0.0, 360.0, step):
        if wrap(azimuth - view.left) > view.reach:
            continue
        x = float(view.x(azimuth))
        yield Line(x, _BELOW - 1.0, x, _BELOW - 7.0, strokeWidth=1.0)
        yield String(
            x,
            _BELOW - 9.0 - 0.8 * _TYPE,
            clock_time(float(azimuth), view.design.azimuth_sense),
            fontName=BOLD,
            fontSize=_TYPE,
            textAnchor="middle",
        )


def scale_bar(
    design: Design, scale: float, *, most: float, right: float, y: float = 3.0
) -> Iterator[Any]:
    """A bar of a round length in the shop's unit.

    Parameters
    ----------
    scale : float
        Points to the mm.
    most : float, points
        It is no longer, unless the shortest is.
    right, y : float, points
        Where it ends, and its lower edge.
    """
    from reportlab.graphics.shapes import Rect, String
    from reportlab.lib import colors

    unit = design.length_unit
    lengths = (609.6, 304.8, 152.4) if unit == "in" else (500.0, 200.0, 100.0)
    long = next((mm for mm in lengths if mm * scale <= most), lengths[-1])
    half = 0.5 * long * scale
    for k, fill in enumerate((colors.black, colors.white)):
        yield Rect(
            right - (2 - k) * half,
            y,
            half,
            4.0,
            fillColor=fill,
            strokeColor=colors.black,
            strokeWidth=0.8,
        )
    yield String(
        right - 2.0 * half - 4.0,
        y - 1.0,
        say_length(long, unit),
        fontName=FONT,
        fontSize=_TYPE,
        textAnchor="end",
    )
