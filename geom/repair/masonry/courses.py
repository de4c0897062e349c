"""Courses of a brick zone, and the bricks counted in them.

A zone is squared out along courses, counted from its bottom.  Each course covers, from
the lowest azimuth to the highest, the cells of the zone that it meets: in one arc, or
in several where the zone is not convex there or an opening stands between.  Gaps
narrower than a brick are bricked over.

An arc between sound walls holds n bricks and n + 1 joints; every second course starts
with half a brick, and what is left at its end is cut.  Two pieces of no more than half
a brick come out of one.  Pieces are cut from the less tapered shape.  Full rings are
counted by `geom.repair.masonry.rings`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from geom.design import Brickwork
from geom.document import OMITTED
from geom.frame import wrap
from geom.repair.assumptions import FULL_RING, LEAST_WALL
from geom.repair.masonry.bonds import Bond, BondMix
from geom.repair.masonry.bricks import brick_volume
from geom.repair.masonry.rings import EXACT, Faces, ring
from geom.surface import Grid
from geom.units import Bool, Float


@dataclass(frozen=True)
class Course:
    """One course of brickwork, with its joint on top.

    Attributes
    ----------
    low, high : float, mm
    rows : array (m,), 0 to 1
        Share of each row of the grid that lies in it.
    columns : bool array (k,)
        What it covers.
    wall : array (k,), 0 to 1
        Share of each column that is wall and not opening, 0 where not covered.
    design_radius : float, mm
        Mean over its height.
    arcs : tuple of (first, count)
        Columns of each arc, going round; empty for a full ring.
    ring : bool
        It goes all round.
    """

    low: float
    high: float
    rows: Float
    columns: Bool
    wall: Float
    design_radius: float
    arcs: tuple[tuple[int, int], ...]
    ring: bool


def square_out(
    grid: Grid, mask: Bool, free: Bool, *, pitch: float, face: float
) -> tuple[Course, ...]:
    """The courses that cover a zone.

    Where they would stick out past the highest reading they start lower; nothing is
    laid where nothing is known.

    Parameters
    ----------
    grid : Grid
    mask : bool array (m, k)
        Cells of the zone.
    free : bool array (m, k)
        Cells that no other brickwork has taken.
    pitch : float, mm
        Height of a course with its joint.
    face : float, mm
        How far a brick reaches round the ring.

    Returns
    -------
    tuple of Course
        Bottom up; empty if the surveyed wall is not tall enough for them.
    """
    lowest, highest = grid.surveyed_heights
    rows = np.flatnonzero(mask.any(axis=1))
    bottom, top = grid.edge[rows[0]], grid.edge[rows[-1] + 1]
    count = int(np.ceil((top - bottom) / pitch - 1e-9))
    bottom = min(bottom, highest - count * pitch)
    if bottom < lowest - 1e-9:
        return ()
    laid = (
        _course(grid, mask, free, bottom + k * pitch, bottom + (k + 1) * pitch, face)
        for k in range(count)
    )
    return tuple(course for course in laid if course.columns.any())


def share_of(courses: Sequence[Course]) -> Float:
    """Share of each cell that some courses take up; shape (m, k)."""
    rows = np.stack([course.rows for course in courses], axis=1)
    return rows @ np.stack([course.columns for course in courses]).astype(np.float64)


def runs(held: Bool) -> list[tuple[int, int]]:
    """First column and number of columns of each run on the ring.

    Examples
    --------
    >>> runs(np.array([True, False, True, True]))
    [(2, 3)]
    >>> runs(np.array([True, True]))
    [(0, 2)]
    """
    size = held.size
    if held.all():
        return [(0, size)]
    starts = np.flatnonzero(held & ~np.roll(held, 1))
    ends = np.flatnonzero(held & ~np.roll(held, -1))
    if starts.size and ends[0] < starts[0]:
        ends = np.roll(ends, -1)
    return [
        (int(first), int((last - first) % size) + 1)
        for first, last in zip(starts, ends, strict=True)
    ]


def _course(  # noqa: PLR0917
    grid: Grid, mask: Bool, free: Bool, low: float, high: float, face: float
) -> Course:
    within = np.minimum(grid.edge[1:], high) - np.maximum(grid.edge[:-1], low)
    rows = np.clip(within / grid.row_height, 0.0, 1.0)
    rows[rows < 1e-9] = 0.0
    met = rows > 0.0
    weight = rows * grid.row_height
    weight = weight / weight.sum()
    radius = float(weight @ grid.design_radius)
    wall = np.asarray(weight @ grid.counted, dtype=np.float64)
    zone: Bool = np.any(mask[met], axis=0)
    hit = _gaps_closed(zone, face / (radius * grid.sector))
    all_round = bool(hit.mean() >= FULL_RING)
    hit |= all_round
    hit &= free[met].all(axis=0) & (wall >= LEAST_WALL)
    ring = all_round and bool(hit.mean() >= FULL_RING)
    return Course(
        low=float(low),
        high=float(high),
        rows=rows,
        columns=hit,
        wall=np.where(hit, wall, 0.0),
        design_radius=radius,
        arcs=() if ring else tuple(runs(hit)),
        ring=ring,
    )


def _gaps_closed(hit: Bool, widest: float) -> Bool:
    """Covered columns, gaps of less than ``widest`` columns filled in."""
    closed = hit.copy()
    if not hit.any():
        return closed
    for first, count in runs(~hit):
        if count < widest:
            closed[(first + np.arange(count)) % hit.size] = True
    return closed


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
    each: float = field(metadata=OMITTED)

    @property
    def needed(self) -> int:
        """Whole and for cutting, with breakage."""
        return self.whole + self.for_pieces + self.breakage


@dataclass(frozen=True)
class Arc:
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

    course: int = field(metadata=OMITTED)
    azimuth_from: float
    azimuth_to: float
    length: float
    whole: int
    first: float = field(metadata=OMITTED)
    pieces: tuple[float, ...]
    face: float = field(metadata=OMITTED)
    wall: float = field(default=1.0, metadata=OMITTED)


@dataclass(frozen=True)
class BrickTally:
    """The bricks of one zone.

    Attributes
    ----------
    bricks : tuple of BrickCount
        One for each shape of the bond.
    volume : float, mm3
        Of brick laid, cut pieces as long as they are.
    rings : int
        Full rings among the courses.
    arcs : tuple of Arc
        Arc by arc, course by course, bottom up.
    """

    bricks: tuple[BrickCount, ...]
    volume: float
    rings: int
    arcs: tuple[Arc, ...]

    @property
    def of_first(self) -> tuple[int, ...]:
        """Whole bricks of the first shape in each stretch, adding up to their total.

        Examples
        --------
        >>> arc = Arc(0, 0.0, 90.0, 707.0, 7, 3.4, (), 97.0)
        >>> BrickTally((), 0.0, 0, (arc, arc, arc)).of_first
        (3, 4, 3)
        """
        upto = np.cumsum([0.0] + [arc.first for arc in self.arcs])
        whole = [round(float(number)) for number in upto]
        return tuple(b - a for a, b in itertools.pairwise(whole))


def count_bricks(
    grid: Grid, courses: Sequence[Course], bond: Bond, cover: float, work: Brickwork
) -> BrickTally | None:
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
    arcs: list[Arc] = []
    half = 180.0 / grid.azimuth.size
    for k, course in enumerate(courses):
        radius = course.design_radius + cover
        mix = bond.mix_at(radius, work.joint)
        if mix is None:
            return None
        along = course.wall * grid.sector * radius
        if course.ring:
            arcs.append(_ring(bond, radius, work.joint, along, k))
        for first, count in course.arcs:
            held = (first + np.arange(count)) % along.size
            ends = grid.azimuth[held[[0, -1]]] + np.array([-half, half])
            length = float(along[held].sum())
            arcs.append(_arc(mix, length, work.joint, k, ends))
    return BrickTally(
        bricks=_by_shape(bond, arcs, work.breakage),
        volume=sum(_volume(bond, arc) for arc in arcs),
        rings=sum(course.ring for course in courses),
        arcs=tuple(arcs),
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


def _arc(mix: BondMix, length: float, joint: float, course: int, ends: Float) -> Arc:
    half = course % 2 == 1
    whole, pieces = in_arc(length, mix.pitch, joint, half_first=half)
    first, last = wrap(ends).tolist()
    return Arc(
        course=course,
        azimuth_from=first,
        azimuth_to=last,
        length=length,
        whole=whole,
        first=mix.share * whole,
        pieces=tuple(pieces),
        face=mix.pitch - joint,
    )


def _ring(bond: Bond, radius: float, joint: float, along: Float, course: int) -> Arc:
    found = ring(radius, bond.bricks, joint, build=bond.build)
    return Arc(
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
    bond: Bond, arcs: Sequence[Arc], breakage: float
) -> tuple[BrickCount, ...]:
    whole = sum(arc.whole for arc in arcs)
    short, long = 0, 0
    for arc in arcs:
        half = 0.5 * arc.face
        short += sum(piece <= half for piece in arc.pieces)
        long += sum(piece > half for piece in arc.pieces)
    cut = (short + long, long + -(-short // 2))
    if not bond.paired:
        return (_count(bond.shapes[0], whole, *cut, breakage),)
    steep = round(sum(arc.first for arc in arcs))
    return (
        _count(bond.shapes[0], steep, 0, 0, breakage),
        _count(bond.shapes[1], whole - steep, *cut, breakage),
    )


def _volume(bond: Bond, arc: Arc) -> float:
    first, last = brick_volume(bond.shapes[0]), brick_volume(bond.shapes[-1])
    share = arc.first / arc.whole if arc.whole else 0.0
    each = share * first + (1.0 - share) * last
    number = arc.whole + sum(arc.pieces) / arc.face
    return arc.wall * number * each


def _count(
    shape: Faces, whole: int, pieces: int, for_pieces: int, breakage: float
) -> BrickCount:
    extra = int(np.ceil(breakage * (whole + for_pieces) - EXACT))
    return BrickCount(shape.name, whole, pieces, for_pieces, extra, brick_volume(shape))
