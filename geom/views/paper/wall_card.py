"""The wall card's chart: the wall by hour and height, depth and call in every box.

Drawn with lines alone, so that it prints sharp at half its size and in grey: a call is
known by its letter and by its hatch, never by a colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from geom.compare.boxes import HOURS, WallBoxes
from geom.compare.findings import ACTIONS, NO_CALL, Action
from geom.design import Design, Opening
from geom.frame import turn
from geom.views.paper.style import BOLD, FONT
from geom.views.say import plain
from geom.views.tables.cards import LETTERS, opening_names
from geom.views.tables.repair import say_short

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing, Group

#: The hours from left to right, as a person inside sees them: 12 in the middle.
FROM_LEFT = (7, 8, 9, 10, 11, 12, 1, 2, 3, 4, 5, 6)
#: Where 12 stands among them.
_NOON = FROM_LEFT.index(12)
_CALLS = {letter: action for action, letter in LETTERS.items()}
#: Room for the heights at the left, for hours and their title above, points.
_LEFT, _HOURS, _TITLE = 50.0, 20.0, 16.0
#: Type of depths, of names of zones and of openings at most, of heights, points.
_DEPTH, _NAME, _OPENING, _HEIGHT = 16.0, 12.0, 11.0, 13.0
#: Where an opening leaves no room for this type a zone's number is left out.
_LEAST = 9.5
#: The type of a fraction, as a share of the whole number's.
_PART = 0.74
#: Width of a digit or letter of the bold type, as a share of its size.
_LETTER = 0.70
#: Distance of the lines of a hatch, points.
_APART = 5.0
#: Width of a hatch in the key, points.
_SWATCH = 18.0
#: Grey of a box that was not read.
_UNREAD = 0.80


@dataclass(frozen=True)
class _Room:
    """A rectangle of the page, points."""

    left: float
    foot: float
    wide: float
    tall: float

    @property
    def middle(self) -> tuple[float, float]:
        return self.left + 0.5 * self.wide, self.foot + 0.5 * self.tall

    def clear_of(self, other: _Room) -> _Room:
        """The largest rectangle of it that another leaves free."""
        right, head = self.left + self.wide, self.foot + self.tall
        o_right, o_head = other.left + other.wide, other.foot + other.tall
        if o_right <= self.left or other.left >= right:
            return self
        if o_head <= self.foot or other.foot >= head:
            return self
        free = (
            _Room(self.left, self.foot, other.left - self.left, self.tall),
            _Room(o_right, self.foot, right - o_right, self.tall),
            _Room(self.left, self.foot, self.wide, other.foot - self.foot),
            _Room(self.left, o_head, self.wide, head - o_head),
        )
        # a depth is wider than tall
        return max(free, key=lambda room: min(room.wide, 2.4 * room.tall))


@dataclass(frozen=True)
class WallChart:
    """The boxes of a wall on paper.

    Attributes
    ----------
    names : mapping of int to str
        Of the zones, as the work card has them.
    width, height : float, points
    """

    boxes: WallBoxes
    names: Mapping[int, str]
    design: Design
    width: float
    height: float

    def drawing(self) -> Drawing:
        """All of it."""
        from reportlab.graphics.shapes import Drawing

        drawing = Drawing(self.width, self.height)
        holes = self._openings
        for row in range(self._rows):
            for place, hour in enumerate(FROM_LEFT):
                drawing.add(self._box(row, hour - 1, self._room(row, place)))
        drawing.add(self._edges())
        for room, name in holes:
            drawing.add(_black_box(room, name))
        for row in range(self._rows):
            for place, hour in enumerate(FROM_LEFT):
                room = self._room(row, place)
                for hole, _ in holes:
                    room = room.clear_of(hole)
                drawing.add(self._words(row, hour - 1, room))
        drawing.add(self._hours())
        drawing.add(self._heights())
        return drawing

    @cached_property
    def _rows(self) -> int:
        return int(self.boxes.depth.shape[0])

    @cached_property
    def _wide(self) -> float:
        return (self.width - _LEFT) / HOURS

    @cached_property
    def _tall(self) -> float:
        return (self.height - _HOURS - _TITLE) / self._rows

    def _room(self, row: int, place: int) -> _Room:
        left = _LEFT + place * self._wide
        return _Room(left, row * self._tall, self._wide, self._tall)

    @cached_property
    def _openings(self) -> list[tuple[_Room, str]]:
        """Where openings are drawn, those at the picture's end on both sides of it."""
        names, rooms = opening_names(self.design), []
        for hole, name in zip(self.design.openings, names, strict=True):
            room = self._opening(hole, name)
            round_ = HOURS * self._wide
            for shift in (-round_, 0.0, round_):
                left = max(room.left + shift, _LEFT)
                right = min(room.left + shift + room.wide, self.width)
                if right - left > 1.0:
                    rooms.append(
                        (_Room(left, room.foot, right - left, room.tall), name)
                    )
        return rooms

    def _opening(self, hole: Opening, name: str) -> _Room:
        design, boxes = self.design, self.boxes
        onward = turn(0.0, hole.azimuth)
        onward = onward if design.azimuth_sense == "clockwise" else -onward
        radius = float(design.profile.radius_at(hole.height))
        per_degree, per_mm = (
            self._wide / 30.0,
            self._tall / float(np.diff(boxes.edge)[0]),
        )
        wide = float(np.rad2deg(hole.width / radius)) * per_degree
        wide = max(wide, _LETTER * _OPENING * len(name) + 5.0)
        tall = max(hole.tall * per_mm, _OPENING + 3.0)
        across = _LEFT + (_NOON + 0.5) * self._wide + float(onward) * per_degree
        level = (hole.height - float(boxes.edge[0])) * per_mm
        foot = min(max(level - 0.5 * tall, 0.0), self._rows * self._tall - tall)
        if tall < self._tall:  # at the foot or the head of its row: room for words
            row = int(min(level // self._tall, self._rows - 1)) * self._tall
            upper = level - row > 0.5 * self._tall
            foot = row + (self._tall - tall if upper else 0.0)
        return _Room(across - 0.5 * wide, foot, wide, tall)

    def _call(self, row: int, hour: int) -> Action | None:
        """None where the wall was not read."""
        code = int(self.boxes.action[row, hour])
        if code == NO_CALL:
            return None
        named = [self.names[z] for z in self.boxes.zones[row][hour] if z in self.names]
        # what is done, which is not what is called where no brick fits
        return _CALLS[named[0][0]] if named else ACTIONS[code]

    def _box(self, row: int, hour: int, room: _Room) -> Group:
        from reportlab.graphics.shapes import Group, Rect
        from reportlab.lib.colors import Color, black, white

        call = self._call(row, hour)
        fill = Color(_UNREAD, _UNREAD, _UNREAD) if call is None else white
        return Group(
            Rect(
                room.left,
                room.foot,
                room.wide,
                room.tall,
                fillColor=fill,
                strokeColor=black,
                strokeWidth=0.4,
            ),
            *([] if call is None else [hatch(call, room)]),
        )

    def _edges(self) -> Group:
        """Heavy lines where one call ends and another begins."""
        from reportlab.graphics.shapes import Group, Line

        group = Group()
        action = [
            [self._call(row, hour - 1) for hour in FROM_LEFT]
            for row in range(self._rows)
        ]
        for row in range(self._rows):
            for place in range(HOURS):
                room = self._room(row, place)
                right, head = room.left + room.wide, room.foot + room.tall
                if place + 1 < HOURS and action[row][place] != action[row][place + 1]:
                    group.add(Line(right, room.foot, right, head, strokeWidth=1.8))
                if (
                    row + 1 < self._rows
                    and action[row][place] != action[row + 1][place]
                ):
                    group.add(Line(room.left, head, right, head, strokeWidth=1.8))
        return group

    def _words(self, row: int, hour: int, room: _Room) -> Group:
        """Depth, and under it or next to it the zones of a box."""
        from reportlab.graphics.shapes import Group

        group, depth = Group(), float(self.boxes.depth[row, hour])
        if not np.isfinite(depth):
            return group
        zones = [self.names[z] for z in self.boxes.zones[row][hour] if z in self.names]
        text, name = depth_words(depth, self.design), " ".join(zones[:2])
        padded = bool(zones)
        across, level = room.middle
        if not name:
            size = _fitting(text, room.wide, room.tall, _DEPTH)
            _write_depth(group, text, across, level - 0.36 * size, size, pad=padded)
            return group
        if room.tall >= 20.0:
            size = _fitting(text, room.wide, 0.56 * room.tall, _DEPTH)
            small = _fitting(name, room.wide, 0.44 * room.tall, _NAME)
            foot = level - 0.5 * (0.80 * size + small + 1.0)
            _write(group, name, across, foot + 0.1 * small, small, pad=padded)
            base = foot + small + 1.0
            _write_depth(group, text, across, base, size, pad=padded)
            return group
        both = f"{text} {name}"
        if _fitting(both, room.wide, room.tall, _NAME) < _LEAST:
            both = f"{text} {name[0]}"
        size = _fitting(both, room.wide, room.tall, _NAME)
        _write(group, both, across, level - 0.36 * size, size, pad=padded)
        return group

    def _hours(self) -> Group:
        from reportlab.graphics.shapes import Group

        group, head = Group(), self._rows * self._tall
        zero = plain(self.design.azimuth_zero, most=40)
        title = f"Clock seen from above, 12 = {zero}. Wall SEEN FROM INSIDE."
        across = _LEFT + 0.5 * HOURS * self._wide
        _write(group, title, across, head + _HOURS + 3.0, 11.0, bold=False)
        for place, hour in enumerate(FROM_LEFT):
            room = self._room(0, place)
            _write(group, str(hour), room.middle[0], head + 4.0, 16.0)
        return group

    def _heights(self) -> Group:
        from reportlab.graphics.shapes import Group, Line

        group, unit = Group(), self.design.length_unit
        every = int(np.ceil(_HEIGHT / self._tall))
        head = self._rows * self._tall
        _write(group, unit, _LEFT - 8.0, head + 12.0, _HEIGHT, anchor="end")
        for row, edge in enumerate(self.boxes.edge.tolist()):
            level = row * self._tall
            group.add(Line(_LEFT - 5.0, level, _LEFT, level, strokeWidth=0.8))
            if row % every == 0:
                text = say_short(edge, unit)
                base = max(level - 0.36 * _HEIGHT, 0.0)
                _write(group, text, _LEFT - 8.0, base, _HEIGHT, anchor="end")
        return group


def depth_words(depth: float, design: Design) -> str:
    """A depth in the shop's unit, what stands proud with a sign; 0 has none.

    ``1 7/8``, ``-3/8``, ``0``
    """
    return say_short(depth, design.length_unit)


def hatch(call: Action, room: _Room) -> Group:
    """Lines or dots that a call is known by in grey.

    Brick slants, chip stands, measure again lies, daub is dotted.
    """
    from reportlab.graphics.shapes import Group, Line

    group = Group()
    left, foot, wide, tall = room.left, room.foot, room.wide, room.tall
    if call == "brick":
        for start in np.arange(left - tall, left + wide, _APART).tolist():
            low, high = max(start, left), min(start + tall, left + wide)
            group.add(
                Line(
                    low, foot + low - start, high, foot + high - start, strokeWidth=1.1
                )
            )
    elif call == "chip":
        for x in np.arange(left + 0.5 * _APART, left + wide, _APART).tolist():
            group.add(Line(x, foot, x, foot + tall, strokeWidth=0.9))
    elif call == "measure again":
        for y in np.arange(foot + 0.5 * _APART, foot + tall, _APART).tolist():
            group.add(Line(left, y, left + wide, y, strokeWidth=0.9))
    elif call == "daub":
        first = left + 0.5 * _APART
        count = np.arange(first, left + wide, _APART).size
        # a row of dots is a line of dashes of no length with round ends
        last = first + (count - 0.6) * _APART
        for y in np.arange(foot + 0.5 * _APART, foot + tall, _APART).tolist():
            dots = Line(first, y, last, y, strokeWidth=1.5, strokeLineCap=1)
            dots.strokeDashArray = [0.0, _APART]
            group.add(dots)
    return group


def _black_box(room: _Room, name: str) -> Group:
    from reportlab.graphics.shapes import Group, Rect, String
    from reportlab.lib.colors import black, white

    across, level = room.middle
    size = _fitting(name, room.wide + 3.0, room.tall, _OPENING)
    return Group(
        Rect(room.left, room.foot, room.wide, room.tall, fillColor=black),
        String(
            across,
            level - 0.36 * size,
            name,
            fontName=BOLD,
            fontSize=size,
            fillColor=white,
            textAnchor="middle",
        ),
    )


def _fitting(text: str, wide: float, tall: float, most: float) -> float:
    """The type that fits a room, points."""
    return min(most, tall, (wide - 3.0) / (_LETTER * _units(text)))


def _units(text: str) -> float:
    """Letters across, a fraction's counted as the smaller that they are."""
    whole, _, part = text.partition(" ")
    if "/" in part and " " not in part:
        return max(len(whole) + _PART * len(part) * 0.95 + 0.15, 1.0)
    return max(float(len(text)), 1.0)


def _write_depth(
    group: Group, text: str, across: float, base: float, size: float, *, pad: bool
) -> None:
    """A trade fraction with its fraction smaller and raised, in the middle."""
    whole, _, part = text.partition(" ")
    if "/" not in part:
        _write(group, text, across, base, size, pad=pad)
        return
    small = _PART * size
    first, second = _wide_of(whole, size), _wide_of(part, small)
    left = across - 0.5 * (first + second + 1.0)
    if pad:
        _pad(group, left, base, first + second + 1.0, size)
    _write(group, whole, left, base, size, anchor="start")
    lift = base + 0.73 * (size - small)
    _write(group, part, left + first + 1.0, lift, small, anchor="start")


def _write(
    group: Group,
    text: str,
    across: float,
    base: float,
    size: float,
    *,
    bold: bool = True,
    anchor: str = "middle",
    pad: bool = False,
) -> None:
    from reportlab.graphics.shapes import String

    if pad:
        wide = _wide_of(text, size)
        _pad(group, across - 0.5 * wide, base, wide, size)
    group.add(
        String(
            across,
            base,
            text,
            fontName=BOLD if bold else FONT,
            fontSize=size,
            textAnchor=anchor,
        )
    )


def _pad(group: Group, left: float, base: float, wide: float, size: float) -> None:
    """White behind words that stand on a hatch."""
    from reportlab.graphics.shapes import Rect
    from reportlab.lib.colors import white

    group.add(
        Rect(
            left - 1.2,
            base - 0.12 * size,
            wide + 2.4,
            0.98 * size,
            rx=1.5,
            ry=1.5,
            fillColor=white,
            strokeColor=None,
        )
    )


def _wide_of(text: str, size: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, BOLD, size))


def key(width: float) -> Drawing:
    """What letters, hatches and greys mean, in a line."""
    from reportlab.graphics.shapes import Drawing, Group, Rect
    from reportlab.lib.colors import Color, black, white

    entries: list[tuple[Action | None, str]] = [
        ("brick", "B brick"),
        ("daub", "D daub"),
        ("chip", "C chip"),
        ("measure again", "M measure again"),
        ("leave", "leave"),
        (None, "not read"),
    ]
    drawing, x, tall, size = Drawing(width, 21.0), 0.0, 15.0, 11.0
    used = sum(_SWATCH + 5.0 + _wide_of(words, size) for _, words in entries)
    free = (width - used) / (len(entries) - 1)
    for call, words in entries:
        room = _Room(x, 2.0, _SWATCH, tall)
        fill = Color(_UNREAD, _UNREAD, _UNREAD) if call is None else white
        group = Group(
            Rect(
                room.left,
                room.foot,
                room.wide,
                room.tall,
                fillColor=fill,
                strokeColor=black,
                strokeWidth=0.8,
            )
        )
        if call is not None:
            group.add(hatch(call, room))
        _write(group, words, x + _SWATCH + 5.0, 5.5, size, anchor="start")
        drawing.add(group)
        x += _SWATCH + 5.0 + _wide_of(words, size) + free
    return drawing
