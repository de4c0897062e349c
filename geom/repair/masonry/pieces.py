"""Pieces that a mason can set: whole bricks and halves, each way that it may stand.

A straight brick may stand in six ways; a tapered one in the way that the list says,
its small face at the hot face.  A half is cut across the longest side, where that
leaves the taper: nothing smaller is laid, and nothing is trimmed to measure.  A brick
that is curved to a bore is a piece of a ring: its lengths along the arc are measured
round its own face and its own back.

Bricks counted as they are ordered: whole ones, halves, what breaks.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import permutations

import numpy as np

from geom.design import Brick
from geom.document import OMITTED
from geom.repair.masonry.rings import EXACT
from geom.units import Float


@dataclass(frozen=True)
class BrickPiece:
    """A brick or half of one, as it stands in the wall.  Lengths mm.

    Attributes
    ----------
    name : str
        Of the brick, as it is ordered.
    part : float
        1 where it is whole, 1/2 where it is cut in two.
    front, back : float
        Along the arc, at its face and at its back: alike unless it tapers.  Of a curved
        piece round its curve.
    up, into : float
        Up the wall and into it.
    stock : int or None
        Of the brick, on hand; None: not known.
    bore : float
        Diameter that it is curved to; 0 where it is flat.
    """

    name: str
    part: float
    front: float
    back: float
    up: float
    into: float
    stock: int | None = None
    bore: float = 0.0

    @property
    def whole(self) -> bool:
        """Whether it goes in uncut."""
        return self.part == 1.0

    @property
    def volume(self) -> float:
        """Of brick, mm3.

        Examples
        --------
        >>> BrickPiece("split", 1.0, 100.0, 100.0, 200.0, 30.0).volume
        600000.0
        """
        return 0.5 * (self.front + self.back) * self.up * self.into

    def in_plan(self, along: float | Float, into: float | Float) -> tuple[Float, Float]:
        """Where a point of it is, seen from above, in a frame of its own.

        Parameters
        ----------
        along, into : float or array, mm
            From the middle of its face.

        Returns
        -------
        ahead, across : array, mm
            Into the wall square to the middle of its face, and along that.

        Examples
        --------
        A quarter of a circle of radius 2, and the same a unit further in:

        >>> curved = BrickPiece("", 1.0, 3.0, 4.0, 1.0, 1.0, bore=4.0)
        >>> [round(float(at), 6) for at in curved.in_plan(np.pi, 0.0)]
        [-2.0, 2.0]
        >>> [round(float(at), 6) for at in curved.in_plan(0.0, 1.0)]
        [1.0, 0.0]
        """
        along, into = np.asarray(along, float), np.asarray(into, float)
        if not self.bore:
            return into, along
        radius = 0.5 * self.bore + into
        turned = along / radius
        return radius * np.cos(turned) - 0.5 * self.bore, radius * np.sin(turned)

    def radius_of(self, middle: Float, turned: Float, into: float) -> Float:
        """Radius of its face, or of what lies ``into`` behind it.

        Parameters
        ----------
        middle : array, mm
            That radius at mid-length.
        turned : array, degrees
            From mid-length; arrays broadcast.
        into : float, mm
        """
        angle = np.deg2rad(turned)
        if not self.bore:
            return np.asarray(middle / np.cos(angle))
        own = 0.5 * self.bore + into
        # its circle is about a point so far beyond the axis
        off = middle - own
        return np.asarray(
            off * np.cos(angle) + np.sqrt(own**2 - (off * np.sin(angle)) ** 2)
        )

    def sagitta(self, radius: float | Float) -> float | Float:
        """How far its face stands off the circle at mid-length, mm.

        Parameters
        ----------
        radius : float or array, mm
            Of the circle that the corners of the face touch.

        Returns
        -------
        float or array, mm
            ``R - sqrt(R**2 - L**2 / 4)`` of a flat face; of a curved one what its own
            rise leaves of that for its chord, less than 0 where the circle is wider.
        """
        ahead, across = self.in_plan(0.5 * self.front, 0.0)
        return sagitta(2.0 * float(across), radius) + float(ahead)

    def opening(self, radius: float | Float) -> float | Float:
        """How far the joint to its like opens at the back, beyond the mortar, mm.

        Two like pieces whose faces meet at a corner on the circle: the distance of
        their back corners.

        Parameters
        ----------
        radius : float or array, mm
            Of the circle that the corners of the face touch.

        Returns
        -------
        float or array, mm
            ``T L / R`` of a straight piece; less than 0 where it tapers more than the
            circle asks, and the joint opens to the face.

        Examples
        --------
        A straight 4 1/2 in into the wall, 9 along R 18 in opens by 2 1/4 in:

        >>> BrickPiece("", 1.0, 9.0, 9.0, 2.5, 4.5).opening(18.0)
        2.25
        """
        face, back = (
            self.in_plan(0.5 * long, into)
            for long, into in ((self.front, 0.0), (self.back, self.into))
        )
        half = np.arcsin(np.minimum(face[1] / np.asarray(radius), 1.0))
        deep, wider = back[0] - face[0], back[1] - face[1]
        opened = 2.0 * (deep * np.sin(half) - wider * np.cos(half))
        return float(opened) if np.ndim(opened) == 0 else np.asarray(opened)


def sagitta(length: float, radius: float | Float) -> float | Float:
    """Height of the arc over a chord, mm: ``R - sqrt(R**2 - L**2 / 4)``.

    Examples
    --------
    >>> sagitta(6.0, 5.0)
    1.0
    """
    found = radius - np.sqrt(np.asarray(radius, float) ** 2 - 0.25 * length**2)
    return float(found) if np.ndim(found) == 0 else np.asarray(found)


def pieces_of(bricks: Sequence[Brick]) -> tuple[BrickPiece, ...]:
    """Every piece that a list of bricks gives, no two alike.

    Examples
    --------
    >>> made = pieces_of([Brick("straight", 200.0, 100.0, 60.0)])
    >>> len(made), sorted({piece.part for piece in made})
    (9, [0.5, 1.0])
    """
    found = (piece for brick in bricks for piece in _standing(brick))
    return tuple(dict.fromkeys(found))


def _standing(brick: Brick) -> Iterator[BrickPiece]:
    if brick.taper:
        sides = (brick.inner, brick.outer, brick.course, brick.build)
        yield BrickPiece(brick.name, 1.0, *sides, brick.stock, brick.bore)
        if brick.course >= max(brick.outer, brick.build) and not brick.bore:
            halved = (brick.inner, brick.outer, 0.5 * brick.course, brick.build)
            yield BrickPiece(brick.name, 0.5, *halved, brick.stock)
        return
    long, *others = sorted((brick.length, brick.width, brick.thickness), reverse=True)
    for part in (1.0, 0.5):
        for along, up, into in permutations((part * long, *others)):
            yield BrickPiece(brick.name, part, along, along, up, into, brick.stock)


@dataclass(frozen=True)
class BrickCount:
    """How many of one brick.

    Attributes
    ----------
    name : str
        As it is ordered.
    whole : int
        Laid as they are.
    pieces : int
        Halves.
    for_pieces : int
        Bricks that the halves are cut from, two of each.
    breakage : int
        On top.
    each : float, mm3
        Volume of one.
    """

    name: str
    whole: int
    pieces: int
    for_pieces: int
    breakage: int
    each: float = field(metadata=OMITTED)

    @property
    def needed(self) -> int:
        """Whole and for cutting, with breakage."""
        return self.whole + self.for_pieces + self.breakage


def count_pieces(
    pieces: Iterable[BrickPiece], breakage: float
) -> tuple[BrickCount, ...]:
    """Count pieces brick by brick, in the order of their names.

    Parameters
    ----------
    breakage : float
        Share on top; rounded up for each brick.

    Examples
    --------
    >>> half = BrickPiece("split", 0.5, 100.0, 100.0, 100.0, 30.0)
    >>> count_pieces([half] * 3, 0.05)[0].needed
    3
    """
    counts: Counter[BrickPiece] = Counter(pieces)
    found = []
    for name in sorted({piece.name for piece in counts}):
        own = {piece: n for piece, n in counts.items() if piece.name == name}
        whole = sum(n for piece, n in own.items() if piece.whole)
        halves = sum(own.values()) - whole
        taken = whole + -(-halves // 2)
        one = next(iter(own))
        found.append(
            BrickCount(
                name=name,
                whole=whole,
                pieces=halves,
                for_pieces=-(-halves // 2),
                breakage=int(np.ceil(breakage * taken - EXACT)),
                each=one.volume / one.part,
            )
        )
    return tuple(found)
