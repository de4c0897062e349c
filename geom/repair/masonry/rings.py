"""Full rings of brick: how many of one shape, or of two, turn a bore.

A ring fills two circles: the hot face, of the bore's diameter d, and the back, of d
plus twice the build.  A brick takes its face at the hot face, B, of the one and its
face at the back, A, of the other, each with a joint.  So one tapered shape turns one
bore only, and two shapes together turn all bores between their own.

Whole bricks never fill a ring quite.  What is left over is shared out among the joints,
unless that makes them more than twice as wide as asked at the hot face and at the back;
then one brick more is cut to width, the closer.  That limit is our own choice, no
source.

References
----------
One shape: n = 2 pi L / (A - B), as published for the lining of kilns.  Two shapes:
N1 = pi (D B2 - d A2) / (A1 B2 - B1 A2) and N2 = pi (D B1 - d A1) / (B1 A2 - A1 B2),
published notes on laying brick in kilns, joints within A and B; they solve
N1 A1 + N2 A2 = pi D and N1 B1 + N2 B2 = pi d.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations, product

import numpy as np

from geom.design import Brick
from geom.errors import InputError
from geom.repair.assumptions import ASSUMED

#: What rounding of doubles may add to a count of bricks or to a length in mm.
EXACT = 1e-6


@dataclass(frozen=True)
class Faces:
    """A brick as it stands in a ring; lengths mm.

    Attributes
    ----------
    build, course : float
        Along the radius, and the height of the course.
    outer, inner : float
        Round the ring, at the back and at the hot face.
    """

    name: str
    build: float
    course: float
    outer: float
    inner: float

    @classmethod
    def of(cls, brick: Brick) -> Faces:
        """As the list says it is laid."""
        return cls(brick.name, brick.build, brick.course, brick.outer, brick.inner)


#: A brick with its faces as it stands in a ring.
Standing = tuple[Faces, Brick]


@dataclass(frozen=True)
class SingleShapeRing:
    """The ring that a shape turns by itself.

    Attributes
    ----------
    bricks : float
        How many, not rounded; infinite of a straight.
    bore : float, mm
        Diameter at the hot face; infinite of a straight.
    """

    bricks: float
    bore: float


def single_shape_ring(brick: Brick | Faces, *, joint: float = 0.0) -> SingleShapeRing:
    """Find the ring of one shape alone: 2 pi L / (A - B) bricks, bore 2 L B / (A - B).

    Parameters
    ----------
    joint : float, mm
        Counted within A and B.

    Examples
    --------
    A face that narrows from 200 to 180 mm over 200 mm: a bore of 2 x 200 x 180 / 20.

    >>> single_shape_ring(Brick("invented", 200.0, 200.0, 60.0, "width", 180.0)).bore
    3600.0
    """
    narrower = brick.outer - brick.inner
    if narrower <= 0.0:
        return SingleShapeRing(np.inf, np.inf)
    return SingleShapeRing(
        bricks=2.0 * np.pi * brick.build / narrower,
        bore=2.0 * brick.build * (brick.inner + joint) / narrower,
    )


def two_shape_ring(
    first: Brick | Faces, second: Brick | Faces, *, bore: float, joint: float = 0.0
) -> tuple[float, float]:
    """Find how many of each of two shapes turn a ring, not rounded.

    Parameters
    ----------
    first, second : Brick or Faces
        Of equal build.
    bore : float, mm
        Diameter at the hot face.
    joint : float, mm

    Returns
    -------
    tuple of two floats
        A negative one: the two cannot turn that ring.  NaN: they taper alike, and there
        is no answer, or any.

    Examples
    --------
    Faces 100 and 80 mm, 200 mm deep, turn a bore of 1600 mm by themselves, with 20 pi
    of them.

    >>> one = Brick("one", 200.0, 100.0, 60.0, "width", 80.0)
    >>> other = Brick("other", 200.0, 100.0, 60.0, "width", 60.0)
    >>> [abs(round(n, 6)) for n in two_shape_ring(one, other, bore=1600.0)]
    [62.831853, 0.0]
    """
    a1, b1 = first.outer + joint, first.inner + joint
    a2, b2 = second.outer + joint, second.inner + joint
    determinant = a1 * b2 - b1 * a2
    if abs(determinant) <= 1e-12 * a1 * a2:
        return np.nan, np.nan
    back = bore + 2.0 * first.build
    return (
        float(np.pi * (back * b2 - bore * a2) / determinant),
        float(np.pi * (bore * a1 - back * b1) / determinant),
    )


def bricks_in_ring(diameter: float, face: float, *, joint: float) -> int:
    """Count bricks of one face round a circle, the last one cut.

    For straights the circle is the bore, for blocks that fit a shell it is the shell.

    Parameters
    ----------
    diameter : float, mm
    face : float, mm
        At that circle.
    joint : float, mm

    Examples
    --------
    A circle of 100 mm is 314 mm round: six times 50 mm, and a piece.

    >>> bricks_in_ring(100.0, 47.0, joint=3.0)
    7
    """
    return int(np.ceil(np.pi * diameter / (face + joint) - EXACT))


@dataclass(frozen=True)
class RingCount:
    """A full ring in whole bricks; lengths mm.

    Attributes
    ----------
    bricks : tuple of (str, int)
        Names and whole bricks: one shape or two.
    cut_hot, cut_back : float
        Faces of one brick more that is cut to width; 0 where none is.
    joint_hot, joint_back : float
        What joints come to at the hot face and at the back, all alike.
    turns : bool
        Whether joints at the hot face and at the back differ by no more than what is
        asked, or `joint_slack`; if not, these bricks do not taper as that ring does.
    """

    bore_radius: float
    build: float
    course: float
    bricks: tuple[tuple[str, int], ...]
    cut_hot: float
    cut_back: float
    joint_asked: float
    joint_hot: float
    joint_back: float
    turns: bool

    @property
    def cut(self) -> bool:
        """Whether what is left over is a brick cut to width, or else in the joints."""
        return self.cut_hot > 0.0

    @property
    def whole(self) -> int:
        """Bricks that go in whole."""
        return sum(count for _, count in self.bricks)

    @property
    def needed(self) -> int:
        """Bricks that the ring takes, the one that is cut among them."""
        return self.whole + self.cut


def ring(
    bore_radius: float,
    bricks: Sequence[Brick],
    joint: float,
    *,
    build: float | None = None,
) -> RingCount:
    """Count the bricks of the ring that leaves least over for its joints.

    Two shapes make a ring if they are alike in build and course, and if their tapers
    lie on either side of what the ring needs.  A straight goes next to a tapered shape
    in whatever way makes them so: flat, on edge or on end.  Where no two listed shapes
    turn that ring, one shape is laid by itself, and ``turns`` tells whether it does.

    Parameters
    ----------
    bore_radius : float, mm
        Of the hot face as drawn.
    joint : float, mm
        Asked for, at the hot face and at the back.
    build : float, mm, optional
        How far the ring must reach along the radius; any, if not known.

    Returns
    -------
    RingCount
        Least is the sum of what the joints at the hot face and at the back are off from
        what is asked, before any brick is cut.  Of rings as good as each other (within
        `ring_tie`), the one of fewer shapes, then the one whose shapes differ less.

    Raises
    ------
    InputError
        If no listed brick goes into that ring.

    Examples
    --------
    A ring of 200 mm of a shape that turns 1600 mm by itself, 20 pi bricks of it: 63,
    the joints a little narrower.

    >>> shape = Brick("invented", 200.0, 97.0, 60.0, "width", 77.0)
    >>> ring(800.0, [shape], 3.0).bricks
    (('invented', 63),)
    """
    pairs = ((first, second) for (first, _), (second, _) in alike_pairs(bricks))
    singles = ((Faces.of(brick),) for brick in bricks)
    for candidates in (pairs, singles):
        rings = [
            trial
            for shapes in candidates
            if build is None or abs(shapes[0].build - build) <= ASSUMED.same_build
            if (trial := _trial(shapes, float(bore_radius), float(joint))) is not None
        ]
        if rings:
            return min(rings, key=_TrialRing.rank).closed()
    reach = "" if build is None else f" of build {build:.6g} mm"
    what = (
        f"none of the {len(bricks)} bricks listed goes into a ring{reach} "
        f"round a bore of radius {bore_radius:.6g} mm"
    )
    cure = "Add one that does under [[brick]] in the design file"
    raise InputError(what, place="[[brick]]", cure=cure)


def alike_pairs(bricks: Sequence[Brick]) -> Iterator[tuple[Standing, Standing]]:
    """Each two shapes that are alike in build and course, the first one tapered.

    A straight may stand in six ways, flat, on edge or on end: the first that makes the
    two alike is taken.
    """
    for first, second in combinations(bricks, 2):
        if not first.taper and not second.taper:
            continue
        tapered, other = (first, second) if first.taper else (second, first)
        faces = Faces.of(tapered)
        for placed in _orientations(other):
            build, course = placed.build - faces.build, placed.course - faces.course
            if max(abs(build), abs(course)) <= ASSUMED.same_build:
                yield (faces, tapered), (placed, other)
                break


def _orientations(brick: Brick) -> Iterator[Faces]:
    """In which ways a brick may stand: a tapered one in one, a straight in six."""
    if brick.taper:
        yield Faces.of(brick)
        return
    sides = (brick.length, brick.width, brick.thickness)
    for build, course, face in permutations(sides):
        yield Faces(brick.name, build, course, face, face)


@dataclass(frozen=True)
class _TrialRing:
    """Whole bricks of a ring, and what they alone leave of its two circles; mm."""

    shapes: tuple[Faces, ...]
    counts: tuple[int, ...]
    bore_radius: float
    joint: float

    @property
    def gaps(self) -> tuple[float, float]:
        """At the hot face and at the back, all joints of the ring together."""
        counts = list(zip(self.counts, self.shapes, strict=True))
        back = self.bore_radius + self.shapes[0].build
        return (
            2.0 * np.pi * self.bore_radius
            - sum(n * shape.inner for n, shape in counts),
            2.0 * np.pi * back - sum(n * shape.outer for n, shape in counts),
        )

    @property
    def possible(self) -> bool:
        return sum(self.counts) > 0 and min(*self.counts, *self.gaps) >= -EXACT

    def rank(self) -> tuple[int, int, float, float]:
        """Order by what is left over, how many shapes, how far those differ."""
        number = sum(self.counts)
        left = sum(abs(gap / number - self.joint) for gap in self.gaps)
        first, last = self.shapes[0], self.shapes[-1]
        apart = abs(first.outer - last.outer) + abs(first.inner - last.inner)
        shapes = sum(count > 0 for count in self.counts)
        return int(left / ASSUMED.ring_tie), shapes, round(apart, 4), round(left, 4)

    def closed(self) -> RingCount:
        """With a brick cut to width, where joints would be too wide."""
        number, (hot, back) = sum(self.counts), self.gaps
        widest = self.joint + max(self.joint, ASSUMED.joint_slack) + EXACT
        cut_hot = cut_back = 0.0
        if min(hot, back) / number > widest:
            number += 1
            room = number * self.joint
            cut_hot = min(hot - room, max(shape.inner for shape in self.shapes))
            cut_back = min(back - room, max(shape.outer for shape in self.shapes))
        joint_hot, joint_back = (hot - cut_hot) / number, (back - cut_back) / number
        return RingCount(
            bore_radius=self.bore_radius,
            build=self.shapes[0].build,
            course=self.shapes[0].course,
            bricks=tuple(
                (shape.name, count)
                for shape, count in zip(self.shapes, self.counts, strict=True)
                if count
            ),
            cut_hot=cut_hot,
            cut_back=cut_back,
            joint_asked=self.joint,
            joint_hot=joint_hot,
            joint_back=joint_back,
            turns=abs(joint_hot - joint_back) <= widest - self.joint,
        )


def _trial(
    shapes: tuple[Faces, ...], bore_radius: float, joint: float
) -> _TrialRing | None:
    """Round to whole bricks: all of them together, then each shape's part of them.

    None where two shapes do not turn the ring, or a brick is too large for it.
    """
    bore = 2.0 * bore_radius
    if len(shapes) == 1:
        (shape,) = shapes
        hot = np.pi * bore / (shape.inner + joint)
        back = np.pi * (bore + 2.0 * shape.build) / (shape.outer + joint)
        exact, part = float(min(hot, back)), 1.0
    else:
        first, second = two_shape_ring(*shapes, bore=bore, joint=joint)
        if not min(first, second) >= -EXACT:  # NaN too
            return None
        exact, part = first + second, first / (first + second)
    nearest = round(exact)  # one less where joints would be less than nothing
    for total, offset in product((nearest, nearest - 1), (0, -1, 1)):
        count = int(part * total + 0.5 + EXACT) + offset  # halves up, in any unit
        counts = (count, total - count)[: len(shapes)]
        trial = _TrialRing(shapes, counts, bore_radius, joint)
        if trial.possible:
            return trial
    return None
