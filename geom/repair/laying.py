"""Bricks counted course by course: whole, cut, and what to order for them.

An arc between sound walls holds n bricks and n + 1 joints; every second course starts
with half a brick, and what is left at its end is cut.  Two pieces of no more than half
a brick come out of one.  Pieces are cut from the less tapered shape.  Full rings are
counted by `geom.repair.rings`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.design import Brickwork
from geom.frame import wrap
from geom.repair.bond import Bond, Mixed
from geom.repair.ring_formulas import EXACT, Faces
from geom.repair.rings import ring
from geom.repair.squaring import Course
from geom.surface import Grid
from geom.units import Float


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
        Cut for the ends of courses, at openings too, and to close rings.
    for_pieces : int
        Bricks that the pieces are cut from.
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
    each: float

    @property
    def needed(self) -> int:
        """Whole and for cutting, with breakage."""
        return self.whole + self.for_pieces + self.breakage


@dataclass(frozen=True)
class Stretch:
    """One arc of a course, or a full ring.

    Attributes
    ----------
    course : int
        Which, from 0 at the bottom.
    azimuth_from, azimuth_to : float, degrees
        The same where it goes all round.
    length : float, mm
        Of wall along the hot face of the brick.
    whole : int
    first : float
        Of these, of the first shape: a share of them, not rounded.
    pieces : tuple of float, mm
        Their lengths round the hot face.
    face : float, mm
        Of the bricks they are cut from.
    wall : float, 0 to 1
        Share that is not opening.
    """

    course: int
    azimuth_from: float
    azimuth_to: float
    length: float
    whole: int
    first: float
    pieces: tuple[float, ...]
    face: float
    wall: float = 1.0


@dataclass(frozen=True)
class Counted:
    """The bricks of one zone.

    Attributes
    ----------
    bricks : tuple of BrickCount
        One for each shape of the bond.
    volume : float, mm3
        Of brick laid, cut pieces as long as they are.
    rings : int
        Full rings among the courses.
    laid : tuple of Stretch
        Arc by arc, course by course, bottom up.
    """

    bricks: tuple[BrickCount, ...]
    volume: float
    rings: int
    laid: tuple[Stretch, ...]

    @property
    def of_first(self) -> tuple[int, ...]:
        """Whole bricks of the first shape in each stretch, adding up to their total.

        Examples
        --------
        >>> arc = Stretch(0, 0.0, 90.0, 707.0, 7, 3.4, (), 97.0)
        >>> Counted((), 0.0, 0, (arc, arc, arc)).of_first
        (3, 4, 3)
        """
        upto = np.cumsum([0.0] + [stretch.first for stretch in self.laid])
        whole = [round(float(number)) for number in upto]
        return tuple(b - a for a, b in itertools.pairwise(whole))


def solid(shape: Faces) -> float:
    """Volume of one brick, mm3."""
    return 0.5 * (shape.outer + shape.inner) * shape.build * shape.course


def count_bricks(
    grid: Grid, courses: Sequence[Course], bond: Bond, cover: float, work: Brickwork
) -> Counted | None:
    """Count the bricks of a zone.

    Parameters
    ----------
    grid : Grid
    courses : sequence of Course
        Bottom up.
    bond : Bond
    cover : float, mm
        How far the hot face of the brick lies behind the design face.
    work : Brickwork

    Returns
    -------
    Counted or None
        None if a pair cannot turn the radius of some course.
    """
    laid: list[Stretch] = []
    half = 180.0 / grid.azimuth.size
    for k, course in enumerate(courses):
        radius = course.design_radius + cover
        mix = bond.mixed(radius, work.joint)
        if mix is None:
            return None
        along = course.wall * grid.sector * radius
        if course.ring:
            laid.append(_ring(bond, radius, work.joint, along, k))
        for first, count in course.arcs:
            held = (first + np.arange(count)) % along.size
            ends = grid.azimuth[held[[0, -1]]] + np.array([-half, half])
            length = float(along[held].sum())
            laid.append(_arc(mix, length, work.joint, k, ends))
    return Counted(
        bricks=_by_shape(bond, laid, work.breakage),
        volume=sum(_volume(bond, stretch) for stretch in laid),
        rings=sum(course.ring for course in courses),
        laid=tuple(laid),
    )


def in_arc(
    length: float, pitch: float, joint: float, *, half_first: bool
) -> tuple[int, list[float]]:
    """Whole bricks between two ends, and the lengths of the pieces, mm.

    Examples
    --------
    >>> in_arc(1003.0, 100.0, 3.0, half_first=False)
    (10, [])
    >>> in_arc(1003.0, 100.0, 3.0, half_first=True)
    (9, [47.0, 47.0])
    """
    left = length - joint
    pieces = []
    if half_first and left > 0.5 * pitch:
        pieces.append(0.5 * pitch - joint)
        left -= 0.5 * pitch
    whole = max(int(np.floor(left / pitch + EXACT)), 0)
    rest = left - whole * pitch
    if rest > joint:
        pieces.append(rest - joint)
    return whole, pieces


def _arc(mix: Mixed, length: float, joint: float, course: int, ends: Float) -> Stretch:
    half = course % 2 == 1
    whole, pieces = in_arc(length, mix.pitch, joint, half_first=half)
    first, last = wrap(ends).tolist()
    return Stretch(
        course=course,
        azimuth_from=first,
        azimuth_to=last,
        length=length,
        whole=whole,
        first=mix.share * whole,
        pieces=tuple(pieces),
        face=mix.pitch - joint,
    )


def _ring(
    bond: Bond, radius: float, joint: float, along: Float, course: int
) -> Stretch:
    found = ring(radius, bond.bricks, joint, build=bond.build)
    return Stretch(
        course=course,
        azimuth_from=0.0,
        azimuth_to=0.0,
        length=float(along.sum()),
        whole=found.whole,
        first=dict(found.bricks).get(bond.shapes[0].name, 0),
        pieces=(found.cut_hot,) if found.cut else (),
        face=bond.face,
        wall=float(along.sum()) / (2.0 * np.pi * radius),
    )


def _by_shape(
    bond: Bond, laid: Sequence[Stretch], breakage: float
) -> tuple[BrickCount, ...]:
    whole = sum(stretch.whole for stretch in laid)
    short, long = 0, 0
    for stretch in laid:
        half = 0.5 * stretch.face
        short += sum(piece <= half for piece in stretch.pieces)
        long += sum(piece > half for piece in stretch.pieces)
    cut = (short + long, long + -(-short // 2))
    if not bond.paired:
        return (_count(bond.shapes[0], whole, *cut, breakage),)
    steep = round(sum(stretch.first for stretch in laid))
    return (
        _count(bond.shapes[0], steep, 0, 0, breakage),
        _count(bond.shapes[1], whole - steep, *cut, breakage),
    )


def _volume(bond: Bond, stretch: Stretch) -> float:
    first, last = solid(bond.shapes[0]), solid(bond.shapes[-1])
    share = stretch.first / stretch.whole if stretch.whole else 0.0
    each = share * first + (1.0 - share) * last
    number = stretch.whole + sum(stretch.pieces) / stretch.face
    return stretch.wall * number * each


def _count(
    shape: Faces, whole: int, pieces: int, for_pieces: int, breakage: float
) -> BrickCount:
    extra = int(np.ceil(breakage * (whole + for_pieces) - EXACT))
    return BrickCount(shape.name, whole, pieces, for_pieces, extra, solid(shape))
