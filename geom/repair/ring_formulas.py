"""Closed formulas of full rings of brick.

A ring fills two circles: the hot face, of the bore's diameter d, and the back, of d
plus twice the build.  A brick takes its face at the hot face, B, of the one and its
face at the back, A, of the other, each with a joint.  So one tapered shape turns one
bore only, and two shapes together turn all bores between their own.

References
----------
One shape: n = 2 pi L / (A - B), as published for the lining of kilns.  Two shapes:
N1 = pi (D B2 - d A2) / (A1 B2 - B1 A2) and N2 = pi (D B1 - d A1) / (B1 A2 - A1 B2),
published notes on laying brick in kilns, joints within A and B; they solve
N1 A1 + N2 A2 = pi D and N1 B1 + N2 B2 = pi d.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Brick

#: What rounding of doubles may add to a count of bricks or to a length in mm.
EXACT = 1e-6


@dataclass(frozen=True)
class Faces:
    """A brick as it stands in a ring; lengths mm.

    Attributes
    ----------
    name : str
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


@dataclass(frozen=True)
class OneShape:
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


def one_shape(brick: Brick | Faces, *, joint: float = 0.0) -> OneShape:
    """Find the ring of one shape alone: 2 pi L / (A - B) bricks, bore 2 L B / (A - B).

    Parameters
    ----------
    brick : Brick or Faces
    joint : float, mm
        Counted within A and B.

    Examples
    --------
    A face that narrows from 200 to 180 mm over 200 mm: a bore of 2 x 200 x 180 / 20.

    >>> one_shape(Brick("invented", 200.0, 200.0, 60.0, "width", 180.0)).bore
    3600.0
    """
    narrower = brick.outer - brick.inner
    if narrower <= 0.0:
        return OneShape(np.inf, np.inf)
    return OneShape(
        bricks=2.0 * np.pi * brick.build / narrower,
        bore=2.0 * brick.build * (brick.inner + joint) / narrower,
    )


def two_shapes(
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
    >>> [abs(round(n, 6)) for n in two_shapes(one, other, bore=1600.0)]
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


def bricks_round(diameter: float, face: float, *, joint: float) -> int:
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

    >>> bricks_round(100.0, 47.0, joint=3.0)
    7
    """
    return int(np.ceil(np.pi * diameter / (face + joint) - EXACT))
