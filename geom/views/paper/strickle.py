"""A template of the drawn face, for a sweep board or gauge: PDF, SVG or DXF.

The board's working edge is the dry face as drawn between two heights; its other long
edge is straight, upright, and a whole step from the axis, so that the board can be hung
on a spindle or set with the rod.  Ticks at the edge bear the rod's settings.  A PDF too
large for a sheet is cut into sheets that overlap, with crosses that come on both.

The DXF is written here, in the ASCII of release 12, since it holds a closed polyline,
lines and words and nothing else: no library is asked for.  That release knows no unit;
the words on it say millimetres.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args
from xml.sax.saxutils import escape

import numpy as np

from geom._version import __version__
from geom.design import Design, Profile
from geom.errors import InputError
from geom.sampling.feasible import height_step
from geom.units import Float, say_length
from geom.views.paper.style import FONT, register_fonts
from geom.views.say import plain

Form = Literal["pdf", "svg", "dxf"]
Side = Literal["above", "below"]
FORMS: tuple[Form, ...] = get_args(Form)

#: Scales that a template may be drawn at: full size, to a hundredth.
LEAST_SCALE = 0.01
#: Heights closer than this are one, mm.
_SAME = 1e-6
#: No strickle is shorter, mm.
_LEAST_SPAN = 10.0
#: The board is so wide at its narrowest, mm, or a little more.
_BOARD = 80.0
#: Its back edge stands on whole steps from the axis, mm.
_STEPS = {"in": 25.4, "mm": 10.0, "cm": 10.0, "m": 10.0}
#: Ticks, their words and white round the board, mm on paper.
_TICK, _WORDS, _LARGE, _MARGIN = 8.0, 3.6, 4.5, 10.0
#: Ticks closer than this on paper bear no words, mm.
_LEAST_APART = 5.0
#: A board narrower than this on paper has its words next to it, mm.
_ROOM = 60.0
#: Points in a millimetre.
_POINT = 72.0 / 25.4
#: A sheet as wide as A4 and as tall as Letter, its white edge, mm; what two share, mm.
_SHEET, _EDGE, _SHARED = (210.0, 279.4), 12.0, 10.0
#: Kept free at the foot of a sheet, mm.
_FOOT = 14.0


@dataclass(frozen=True)
class Words:
    """Words on a template: where they begin or end, mm, y up."""

    x: float
    y: float
    text: str
    size: float
    ends: bool = False


@dataclass(frozen=True)
class _Template:
    """A template on paper, mm, y up from its lower left corner.

    Attributes
    ----------
    board : array (n, 2)
        Corners of the board, all round.
    ticks : array (k, 2, 2)
        From and to.
    """

    board: Float
    ticks: Float
    words: tuple[Words, ...]
    width: float
    height: float


def strickle_bytes(
    design: Design, low: float, high: float, *, form: Form, scale: float = 1.0
) -> bytes:
    """A template of the drawn face.

    Parameters
    ----------
    low, high : float, mm
        Heights that it reaches from and to.
    form : {'pdf', 'svg', 'dxf'}
    scale : float
        Of the full size, at most 1.

    Returns
    -------
    bytes
        The same input gives the same bytes.

    Raises
    ------
    InputError
        If the heights are none of the profile's, or the scale is none.
    """
    _refuse(design, low, high, scale)
    low, high = max(low, design.profile.bottom), min(high, design.profile.top)
    template = _template(design, low, high, scale)
    title = f"Strickle, {plain(design.name, most=60)}"
    if form == "svg":
        return _svg(template, title)
    if form == "dxf":
        return _dxf(template)
    return _pdf(template, title, scale, inches=design.length_unit == "in")


def _refuse(design: Design, low: float, high: float, scale: float) -> None:
    profile, unit = design.profile, design.length_unit
    if not profile.bottom - _SAME <= low < high <= profile.top + _SAME:
        ends = (say_length(each, unit, finest=64) for each in (low, high))
        drawn = (say_length(e, unit, finest=64) for e in (profile.bottom, profile.top))
        raise InputError(
            f"from {' to '.join(ends)} is no part of the profile, drawn from "
            f"{' to '.join(drawn)}",
            cure="Name a lower and an upper height within it with --from and --to",
        )
    if high - low < _LEAST_SPAN:
        raise InputError(
            f"the template would be less than {_LEAST_SPAN:g} mm tall",
            cure="Name heights further apart",
        )
    if not LEAST_SCALE <= scale <= 1.0:
        raise InputError(
            f"scale {scale:g} is not in {LEAST_SCALE:g} to 1",
            cure="Write 1:8 for an eighth of the full size",
        )


def face_points(profile: Profile, low: float, high: float) -> Float:
    """The drawn face between two heights; (n, 2), height and radius, mm, bottom up.

    Parameters
    ----------
    low, high : float, mm
        Within it; at a step the part of it that lies between them is meant.
    """
    between = (profile.height > low) & (profile.height < high)
    ends = [
        (low, float(profile.radius_at(low, side="above"))),
        (high, float(profile.radius_at(high, side="below"))),
    ]
    corners = zip(profile.height[between], profile.radius[between], strict=True)
    return np.array([ends[0], *corners, ends[1]], dtype=np.float64)


def _back_edge(face: Float, unit: str) -> float:
    """How far from the axis the board's back edge stands, mm: a whole step."""
    step = _STEPS[unit]
    return max(0.0, float(np.floor((face[:, 1].min() - _BOARD) / step)) * step)


def _rod_settings(design: Design, low: float, high: float) -> list[_Setting]:
    """At whole steps of the rod, ends and corners; twice at a step of the profile."""
    profile, step = design.profile, height_step(design, high - low)
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    inside = profile.corners[(profile.corners > low) & (profile.corners < high)]
    steps = np.arange(first, last + 1.0) * step
    heights = np.sort(np.concatenate([[low, high], steps, inside]))
    heights = heights[np.append(True, np.diff(heights) > _SAME)]
    found = []
    for height in heights.clip(low, high):
        sides: list[tuple[Side, int]] = [("above", 0)]
        if _near(height, profile.steps):
            sides = [("below", -1), ("above", 1)]
        # words keep clear of the level lines of a step and of the ends
        if _near(height, low):
            sides = [("above", 1)]
        if _near(height, high):
            sides = [("below", -1)]
        for side, clear in sides:
            radius = float(profile.radius_at(height, side=side))
            found.append(_Setting(float(height), radius, clear))
    return found


def _near(height: float, others: Float | float) -> bool:
    return bool(np.any(np.abs(np.subtract(height, others)) < _SAME))


@dataclass(frozen=True)
class _Setting:
    """What the rod is set to at a height, mm; to which side its words keep clear."""

    height: float
    radius: float
    clear: int


def _template(design: Design, low: float, high: float, scale: float) -> _Template:
    face, unit = face_points(design.profile, low, high), design.length_unit
    back, settings = _back_edge(face, unit), _rod_settings(design, low, high)
    # on paper: x from the back edge, y from the lower end
    edge = scale * (face[:, ::-1] - (back, low))
    tall, wide = scale * (high - low), float(edge[:, 0].max())
    board = np.vstack([[0.0, 0.0], edge, [0.0, tall]])
    tip = scale * np.array([(one.radius - back, one.height - low) for one in settings])
    inside = scale * _BOARD >= _ROOM
    tail = tip + np.array([-_TICK if inside else _TICK, 0.0])
    words = _labels(settings, tail, unit, ends=inside)
    head = _head(design, back, scale, tall + _MARGIN)
    room = 0.0 if inside else _TICK + 60.0
    return _Template(
        board=board + _MARGIN,
        ticks=np.stack([tip, tail], axis=1) + _MARGIN,
        words=tuple(
            Words(one.x + _MARGIN, one.y + _MARGIN, one.text, one.size, one.ends)
            for one in (*words, *head)
        ),
        width=max(wide + room, 130.0) + 2.0 * _MARGIN,
        height=tall + (len(head) + 1) * 1.6 * _LARGE + 2.0 * _MARGIN,
    )


def _labels(
    settings: list[_Setting], at: Float, unit: str, *, ends: bool
) -> list[Words]:
    """Words at the ticks, none where they would lie on others'."""
    found: list[Words] = []
    past = -np.inf
    for one, (x, y) in zip(settings, at, strict=True):
        base = float(y) + (one.clear - 0.35) * _WORDS - 0.4 * (one.clear < 0)
        if base - past < _LEAST_APART:
            continue
        past = base
        height, radius = (
            say_length(mm, unit, finest=16) for mm in (one.height, one.radius)
        )
        aside = -1.5 if ends else 1.5
        text = f"{height}: rod {radius}"
        found.append(Words(float(x) + aside, base, text, _WORDS, ends))
    return found


def _head(design: Design, back: float, scale: float, top: float) -> list[Words]:
    """What stands over the board, the last line lowest."""
    unit, shrinkage = design.length_unit, design.shop.mix.shrinkage
    proud = say_length(25.4 * shrinkage / (1.0 - shrinkage), unit, finest=32)
    inch = "inch" if unit == "in" else "25 mm"
    size = "full size" if scale == 1.0 else f"scale 1 to {1.0 / scale:.4g}"
    lines = [
        f"Strickle of the drawn face: {plain(design.name, most=40)}",
        f"{size}; heights above {plain(design.height_zero, most=30)}; rod: radius",
        f"Back edge stands {say_length(back, unit, finest=16)} from the axis, upright",
        f"Dry face: wet daub stands {proud} proud of it for each {inch} of thickness",
    ]
    rows = range(len(lines), 0, -1)
    return [
        Words(0.0, top + 1.6 * _LARGE * (row - 1), line, _LARGE)
        for row, line in zip(rows, lines, strict=True)
    ]


def _svg(template: _Template, title: str) -> bytes:
    """In millimetres, y turned down."""
    wide, tall = template.width, template.height

    def at(point: Float) -> str:
        return f"{point[0]:.3f},{tall - point[1]:.3f}"

    board = " ".join(at(point) for point in template.board)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.3f}mm" '
        f'height="{tall:.3f}mm" viewBox="0 0 {wide:.3f} {tall:.3f}">',
        f"<title>{escape(title)}</title>",
        '<g fill="none" stroke="black" stroke-width="0.25">',
        f'<polygon id="board" points="{board}"/>',
        *(
            f'<polyline class="tick" points="{at(one)} {at(other)}"/>'
            for one, other in template.ticks
        ),
        '</g>\n<g font-family="sans-serif">',
        *(
            f'<text x="{w.x:.3f}" y="{tall - w.y:.3f}" font-size="{w.size}"'
            f' text-anchor="{"end" if w.ends else "start"}">{escape(w.text)}</text>'
            for w in template.words
        ),
        "</g>\n</svg>\n",
    ]
    return "\n".join(lines).encode("utf-8")


def _dxf(template: _Template) -> bytes:
    """Release 12, ASCII; the board on its own layer."""
    groups = dxf_polygon("BOARD", template.board)
    for (x, y), (to_x, to_y) in template.ticks:
        groups += [(0, "LINE"), (8, "TICKS"), *_point(x, y)]
        groups += _point(to_x, to_y, first=11)
    unit = Words(_MARGIN, 0.25 * _MARGIN, "Drawn in millimetres", _WORDS)
    for words in (*template.words, unit):
        groups += dxf_words("WORDS", words)
    size = template.width, template.height
    return dxf_bytes(groups, ("BOARD", "TICKS", "WORDS"), size)


DxfGroup = tuple[int, str | int | float]


def dxf_bytes(
    entities: Sequence[DxfGroup], layers: Sequence[str], size: tuple[float, float]
) -> bytes:
    """A drawing in mm, from (0, 0) to its size, as DXF of release 12."""
    groups: list[DxfGroup] = [
        (0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"),
        (9, "$EXTMIN"), (10, 0.0), (20, 0.0), (30, 0.0),
        (9, "$EXTMAX"), (10, size[0]), (20, size[1]), (30, 0.0),
        (0, "ENDSEC"), (0, "SECTION"), (2, "TABLES"),
        (0, "TABLE"), (2, "LAYER"), (70, len(layers)),
        *(pair for name in layers for pair in _layer(name)),
        (0, "ENDTAB"), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES"),
        *entities,
        (0, "ENDSEC"), (0, "EOF"),
    ]  # fmt: skip
    lines = [
        f"{code:3d}\r\n{value if not isinstance(value, float) else f'{value:.4f}'}\r\n"
        for code, value in groups
    ]
    return "".join(lines).encode("ascii")


def _layer(name: str) -> list[DxfGroup]:
    return [(0, "LAYER"), (2, name), (70, 0), (62, 7), (6, "CONTINUOUS")]


def dxf_polygon(layer: str, points: Float, *, closed: bool = True) -> list[DxfGroup]:
    """Points joined in their order, (n, 2), mm."""
    groups: list[DxfGroup] = [(0, "POLYLINE"), (8, layer), (66, 1)]
    groups += [*_point(0.0, 0.0), (70, int(closed))]
    for x, y in points:
        groups += [(0, "VERTEX"), (8, layer), *_point(x, y)]
    return [*groups, (0, "SEQEND"), (8, layer)]


def dxf_words(layer: str, words: Words) -> list[DxfGroup]:
    """Words at their place."""
    groups: list[DxfGroup] = [(0, "TEXT"), (8, layer), *_point(words.x, words.y)]
    groups += [(40, words.size), (1, _ascii(words.text))]
    if words.ends:
        groups += [(72, 2), *_point(words.x, words.y, first=11)]
    return groups


def _point(x: float, y: float, *, first: int = 10) -> list[DxfGroup]:
    return [(first, float(x)), (first + 10, float(y)), (first + 20, 0.0)]


def _ascii(text: str) -> str:
    """A text in the letters that release 12 has; others without their marks."""
    parts = unicodedata.normalize("NFKD", text)
    return "".join(
        c if c.isascii() else "" if unicodedata.combining(c) else "?" for c in parts
    )


def _pdf(template: _Template, title: str, scale: float, *, inches: bool) -> bytes:
    """As many sheets as it takes, each a piece of the template."""
    from reportlab.pdfgen.canvas import Canvas

    register_fonts()
    out = io.BytesIO()
    page = tuple(_POINT * side for side in _SHEET)
    canvas = Canvas(out, pagesize=page, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator(f"daubline {__version__}")
    columns, rows = sheets(template.width, template.height)
    for row in range(rows):
        for column in range(columns):
            _draw_sheet(canvas, template, column, row)
            foot = (
                f"{title}. Sheet row {row + 1} of {rows} from below, column "
                f"{column + 1} of {columns}."
            )
            _draw_foot(canvas, foot, scale, inches=inches)
            canvas.showPage()
    canvas.save()
    return out.getvalue()


def sheets(width: float, height: float) -> tuple[int, int]:
    """How many sheets it takes side by side, and one over the other.

    Parameters
    ----------
    width, height : float, mm

    Examples
    --------
    >>> sheets(100.0, 200.0), sheets(200.0, 2500.0)
    ((1, 1), (2, 11))
    """
    counts = []
    for size, room in zip((width, height), _room(), strict=True):
        more = max(0.0, size - room) / (room - _SHARED)
        counts.append(1 + int(np.ceil(more - 1e-9)))
    return counts[0], counts[1]


def _room() -> tuple[float, float]:
    """What a sheet shows of a template, mm."""
    return _SHEET[0] - 2.0 * _EDGE, _SHEET[1] - 2.0 * _EDGE - _FOOT


def _draw_sheet(canvas: Any, template: _Template, column: int, row: int) -> None:
    room = _room()
    left, low = (k * (r - _SHARED) for k, r in zip((column, row), room, strict=True))
    canvas.saveState()
    canvas.scale(_POINT, _POINT)
    canvas.translate(_EDGE, _EDGE + _FOOT)
    window = canvas.beginPath()
    window.rect(0.0, 0.0, *room)
    canvas.clipPath(window, stroke=0, fill=0)
    canvas.translate(-left, -low)
    canvas.setLineWidth(0.25)
    board = canvas.beginPath()
    board.moveTo(*template.board[0])
    for point in template.board[1:]:
        board.lineTo(*point)
    board.close()
    canvas.drawPath(board, stroke=1, fill=0)
    for (x, y), (to_x, to_y) in template.ticks:
        canvas.line(x, y, to_x, to_y)
    for words in template.words:
        if not low <= words.y <= low + room[1] - words.size:
            continue  # whole on the neighbouring sheet
        canvas.setFont(FONT, words.size)
        draw = canvas.drawRightString if words.ends else canvas.drawString
        draw(words.x, words.y, words.text)
    _draw_crosses(canvas, template)
    canvas.restoreState()


def _draw_crosses(canvas: Any, template: _Template) -> None:
    """Crosses where neighbouring sheets share: to be laid on each other."""
    across, up = (each - _SHARED for each in _room())
    columns, rows = sheets(template.width, template.height)
    half = 0.5 * _SHARED
    canvas.setLineWidth(0.15)
    for column in range(columns + 1):
        for row in range(rows + 1):
            x, y = column * across + half, row * up + half
            canvas.line(x - 4.0, y, x + 4.0, y)
            canvas.line(x, y - 4.0, x, y + 4.0)


def _draw_foot(canvas: Any, words: str, scale: float, *, inches: bool) -> None:
    """What sheet it is, and a bar to tell whether the printer kept the size."""
    canvas.saveState()
    canvas.scale(_POINT, _POINT)
    canvas.setFont(FONT, 3.6)
    canvas.drawString(_EDGE, _EDGE + 7.0, words)
    size = "full size" if scale == 1.0 else f"1 to {1.0 / scale:.4g}"
    bar, long = (101.6, "4 in") if inches else (100.0, "100 mm")
    words = f"bar {long}; print at 100 %; {size}"
    canvas.drawString(_EDGE + 107.0, _EDGE + 1.0, words)
    canvas.setLineWidth(0.4)
    canvas.line(_EDGE, _EDGE + 2.0, _EDGE + bar, _EDGE + 2.0)
    for x in (_EDGE, _EDGE + bar):
        canvas.line(x, _EDGE, x, _EDGE + 4.0)
    canvas.restoreState()
