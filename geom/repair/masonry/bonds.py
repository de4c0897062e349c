"""How bricks turn a ring: one straight shape, or two shapes mixed.

Two shapes of equal build and course, one at least tapered, turn every ring between
their own; how many of each follows from closing both circles
(`geom.repair.masonry.rings`).  A straight shape is spaced by its hot face; its joints
are wedges, open toward the back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from geom.design import Brick
from geom.repair.masonry.rings import EXACT, Faces, alike_pairs, two_shape_ring

_ACROSS: dict[str, Literal["length", "width"]] = {"length": "width", "width": "length"}


@dataclass(frozen=True)
class BondMix:
    """What a bond comes to at one radius.

    Attributes
    ----------
    pitch : float, mm
        Mean distance of bricks round the hot face, a joint counted to each.
    share : float, 0 to 1
        Of the first shape among them.
    """

    pitch: float
    share: float


@dataclass(frozen=True)
class Bond:
    """One straight shape, or the two shapes of a pair, the more tapered first.

    Attributes
    ----------
    shapes : tuple of Faces
        As they stand in the course.
    bricks : tuple of Brick
        The same, as they are listed.
    """

    shapes: tuple[Faces, ...]
    bricks: tuple[Brick, ...]

    @property
    def build(self) -> float:
        """How far it reaches along the radius, mm."""
        return self.shapes[0].build

    @property
    def course(self) -> float:
        """How tall a course of it is, mm."""
        return max(shape.course for shape in self.shapes)

    @property
    def face(self) -> float:
        """How far its widest shape reaches round the hot face, mm."""
        return max(shape.inner for shape in self.shapes)

    @property
    def paired(self) -> bool:
        """Whether two shapes turn the ring."""
        return len(self.shapes) == 2

    @property
    def name(self) -> str:
        """The shapes, as they are ordered."""
        return " with ".join(shape.name for shape in self.shapes)

    @property
    def apart(self) -> float:
        """How much more the first shape tapers than the last, as a ratio less 1."""
        return _steepness(self.shapes[0]) / _steepness(self.shapes[-1]) - 1.0

    def mix_at(self, radius: float, joint: float) -> BondMix | None:
        """How the shapes are mixed at a hot face of some radius; None: they cannot be.

        Parameters
        ----------
        radius, joint : float, mm

        Examples
        --------
        A shape that turns a bore of 1600 mm by itself, next to a straight of its back:

        >>> shape = Brick("taper", 200.0, 100.0, 60.0, "width", 80.0)
        >>> pair = bonds_of([shape, Brick("straight", 200.0, 100.0, 60.0)])[0]
        >>> pair.mix_at(800.0, 0.0)
        BondMix(pitch=80.0, share=1.0)
        >>> pair.mix_at(700.0, 0.0) is None
        True
        """
        if not self.paired:
            return BondMix(self.shapes[0].inner + joint, 1.0)
        first, last = two_shape_ring(*self.shapes, bore=2.0 * radius, joint=joint)
        if not min(first, last) >= -EXACT:
            return None
        first, last = max(first, 0.0), max(last, 0.0)
        pitch = 2.0 * np.pi * radius / (first + last)
        return BondMix(round(float(pitch), 9), round(first / (first + last), 9))


def bonds_of(bricks: Sequence[Brick]) -> tuple[Bond, ...]:
    """Every bond that a list of bricks allows: the pairs, then the straights.

    A straight brick may also be turned: its length round the ring instead of along the
    radius, or the other way about; next to a tapered shape it stands in whatever way
    makes the two alike.
    """
    straight = [brick for brick in bricks if not brick.taper]
    turned = [replace(brick, radial=_ACROSS[brick.radial]) for brick in straight]
    singles = (Bond((Faces.of(brick),), (brick,)) for brick in (*straight, *turned))
    return (*_pairs(bricks), *singles)


def closest(bonds: Sequence[Bond], radius: float, joint: float) -> tuple[Bond, ...]:
    """Of bonds alike in build and course, the one whose shapes are most alike.

    Parameters
    ----------
    bonds : sequence of Bond
    radius, joint : float, mm
        Of the hot face; pairs that cannot turn it are left out.
    """
    best: dict[tuple[float, float, bool], Bond] = {}
    for bond in bonds:
        if bond.mix_at(radius, joint) is None:
            continue
        key = (bond.build, bond.course, bond.paired)
        if key not in best or bond.apart < best[key].apart:
            best[key] = bond
    return tuple(best.values())


def _pairs(bricks: Sequence[Brick]) -> Iterator[Bond]:
    for pair in alike_pairs(bricks):
        first, second = sorted(pair, key=lambda shape: -_steepness(shape[0]))
        if _steepness(first[0]) != _steepness(second[0]):
            yield Bond((first[0], second[0]), (first[1], second[1]))


def _steepness(shape: Faces) -> float:
    return shape.outer / shape.inner
