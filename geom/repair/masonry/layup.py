"""Which brick a zone is rebuilt in, how deep its seat is cut, and what goes into it.

From the drawn face outward: cover, brick, bed.  The seat is as deep as cover, brick and
the least bed need, or as the wall is gone where that is deeper; there the bed is
thicker.  So sound lining is cut only where the wall is not gone deep enough, and never
past the shell.

The brick that needs the least cutting is taken.  Less than a tenth more decides
nothing: there two shapes that turn the ring go before straights, and of straights the
one that is listed first.  Splits are taken only where nothing thicker fits.  (Our own
choices, no source.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from geom.design import Brickwork
from geom.document import as_document
from geom.repair.assumptions import CUT_TIE, SPLIT_COURSE
from geom.repair.masonry.bonds import Bond, closest
from geom.repair.masonry.courses import (
    Arc,
    BrickTally,
    Course,
    count_bricks,
    share_of,
    square_out,
)
from geom.repair.wall import Wall
from geom.units import M3, Bool, Float


@dataclass(frozen=True)
class LayUp:
    """The brickwork of one zone.  Lengths mm, volumes mm3.

    Attributes
    ----------
    bond : Bond
    courses : tuple of Course
    share : array (m, k)
        Share of each cell that is cut out for it.
    cover, bed : float
        Daub in front of the brick, and the least behind it.
    bed_most : float
        Where the wall is gone deepest.
    seat : float
        Depth that is cut to, from the drawn face.
    tally : BrickTally
    cut : float
        Sound lining that is removed.
    joints : float
        Clay between the bricks, wedges and all.
    in_front, behind, at_sides : float
        Daub that covers, beds, and fills what brickwork leaves of the seat.
    before : float
        Brickwork before the drawn face, where the shop lets bricks stand proud.
    """

    bond: Bond
    courses: tuple[Course, ...]
    share: Float
    cover: float
    bed: float
    bed_most: float
    seat: float
    tally: BrickTally
    cut: float
    joints: float
    in_front: float
    behind: float
    at_sides: float
    before: float

    @property
    def daub(self) -> float:
        """All the daub in it, mm3."""
        return self.in_front + self.behind + self.at_sides

    def to_dict(self) -> dict[str, Any]:
        """As in the document of a plan: course by course, volumes m3."""
        arcs: list[list[Arc]] = [[] for _ in self.courses]
        for arc in self.tally.arcs:
            arcs[arc.course].append(arc)
        return {
            "bricks": [
                as_document(count) | {"needed": count.needed}
                for count in self.tally.bricks
            ],
            "build": self.bond.build,
            "courses": [
                {
                    "height_from": course.low,
                    "height_to": course.high,
                    "ring": course.ring,
                    "arcs": as_document(laid),
                }
                for course, laid in zip(self.courses, arcs, strict=True)
            ],
            "rings": self.tally.rings,
            "cover": self.cover,
            "bed": self.bed,
            "bed_most": self.bed_most,
            "seat": self.seat,
            "volume": self.tally.volume * M3,
            "joints": self.joints * M3,
        }


@dataclass(frozen=True)
class Misfit:
    """Why a bond does not fit a zone.

    Attributes
    ----------
    reason : str
        The wall is gone deeper than cover, brick and bed fill; the seat would reach the
        shell; the surveyed wall is too low for courses so tall; the pair does not turn
        every course; other brickwork takes the zone up; or no brick is listed.
    needed : float, mm
        What the bond asks for, or fills at most; or how tall a course is.
    there : float, mm
        What there is: depth that is gone, or room to the shell.
    bond : str
        Its name; empty where it is no matter of the bond.
    """

    reason: Literal[
        "too deep", "shell", "too low", "does not turn", "taken up", "none listed"
    ]
    needed: float = 0.0
    there: float = 0.0
    bond: str = ""


@dataclass(frozen=True)
class Depths:
    """How a brick lies in its seat; mm from the drawn face."""

    cover: float
    seat: float


def depths(
    build: float, deepest: float, room: float | None, work: Brickwork
) -> Depths | Misfit:
    """Cover and seat that need the least cutting, or why there are none.

    A bed of less than nothing is none: the brick stands against the cut wall.

    Parameters
    ----------
    build : float, mm
        How far the brick reaches along the radius.
    deepest : float, mm
        How deep the wall is gone.
    room : float or None, mm
        From the drawn face to the shell.
    work : Brickwork

    Examples
    --------
    >>> depths(114.0, 40.0, 228.0, Brickwork())
    Depths(cover=0.0, seat=120.0)
    >>> depths(114.0, 40.0, 97.0, Brickwork())
    Misfit(reason='shell', needed=120.0, there=97.0, bond='')
    """
    bed_least, bed_most = work.bed_least, work.bed_most
    cover = max(work.cover_least, deepest - build - bed_most)
    seat = build + cover + bed_least
    if cover > work.cover_most + 1e-9:
        return Misfit("too deep", build + work.cover_most + bed_most, deepest)
    if room is not None and seat > room + 1e-9:
        return Misfit("shell", float(seat), float(room))
    return Depths(float(cover), float(seat))


def lay_up(
    wall: Wall, mask: Bool, free: Float, bonds: Sequence[Bond]
) -> LayUp | tuple[Misfit, ...]:
    """The brickwork of a zone, or why no listed brick fits.

    Parameters
    ----------
    wall : Wall
    mask : bool array (m, k)
        Cells of the zone.
    free : array (m, k), 0 to 1
        Share of each cell that no other brickwork has taken.
    bonds : sequence of Bond

    Returns
    -------
    LayUp, or tuple of Misfit
        Not empty.
    """
    work = wall.design.shop.brickwork
    whole = mask & (free >= 1.0)
    if not whole.any():
        return (Misfit("taken up"),)
    radius = float(np.mean(wall.grid.design_radius[mask.any(axis=1)]))
    squared: dict[tuple[float, float], tuple[Course, ...]] = {}
    seats: list[_Seat] = []
    misfits: list[Misfit] = []
    for bond in closest(bonds, radius + work.cover_least, work.joint):
        if isinstance(misfit := _depths(wall, whole, bond)[1], Misfit):
            misfits.append(misfit)
            continue
        key = (bond.course + work.joint, bond.face)
        if key not in squared:
            squared[key] = square_out(
                wall.grid, whole, free >= 1.0, pitch=key[0], face=key[1]
            )
        made = _seat(wall, mask, free, bond, squared[key])
        if isinstance(made, _Seat):
            seats.append(made)
        else:
            misfits.append(made)
    if not seats:
        return tuple(misfits) or (Misfit("none listed"),)
    seats = [seat for seat in seats if seat.bond.course >= SPLIT_COURSE] or seats
    most = CUT_TIE * min(seat.cut for seat in seats)
    good = [seat for seat in seats if seat.cut <= most]
    pairs = [seat for seat in good if seat.bond.paired]
    return _laid(wall, min(pairs, key=lambda seat: seat.cut) if pairs else good[0])


@dataclass(frozen=True)
class _Seat:
    """A bond in its seat: share of each cell that is bricked, and that is cut out."""

    bond: Bond
    courses: tuple[Course, ...]
    bricked: Float
    share: Float
    depths: Depths
    deepest: float
    cut: float
    tally: BrickTally


def _seat(
    wall: Wall, mask: Bool, free: Float, bond: Bond, courses: tuple[Course, ...]
) -> _Seat | Misfit:
    """A seat for a bond, or why it does not fit; ``cut`` as for the best surface."""
    work = wall.design.shop.brickwork
    if not courses:
        return Misfit("too low", bond.course + work.joint, bond=bond.name)
    bricked = share_of(courses)
    share = np.maximum(bricked, np.where(mask, free, 0.0))
    deepest, found = _depths(wall, share > 0.0, bond)
    if isinstance(found, Misfit):
        return found
    tally = count_bricks(wall.grid, courses, bond, found.cover, work)
    if tally is None:
        return Misfit("does not turn", bond=bond.name)
    cut = wall.summed(share, np.maximum(wall.up_to(found.seat) - wall.gone, 0.0))
    return _Seat(bond, courses, bricked, share, found, deepest, cut, tally)


def _depths(wall: Wall, held: Bool, bond: Bond) -> tuple[float, Depths | Misfit]:
    """How deep the wall is gone in some cells, and how a brick lies there."""
    grid, design = wall.grid, wall.design
    held = held & (grid.counted > 0.0)
    deepest = float(np.max(wall.cutback[held]))
    room = None
    if design.shell_radius is not None:
        widest = float(np.max(grid.design_radius[held.any(axis=1)]))
        room = design.shell_radius - widest
    found = depths(bond.build, deepest, room, design.shop.brickwork)
    if isinstance(found, Misfit):
        found = replace(found, bond=bond.name)
    return deepest, found


def _laid(wall: Wall, seat: _Seat) -> LayUp:
    cover, back = seat.depths.cover, seat.depths.cover + seat.bond.build
    bricked, share, bed = seat.bricked, seat.share, seat.depths.seat - back
    hollow = wall.up_to(seat.depths.seat) + wall.beyond(seat.depths.seat, share > 0.0)
    masonry = wall.summed(bricked, wall.up_to(back) - wall.up_to(cover))
    covered = wall.summed(bricked, wall.up_to(cover))
    return LayUp(
        bond=seat.bond,
        courses=seat.courses,
        share=share,
        cover=cover,
        bed=bed,
        bed_most=max(seat.deepest - back, bed),
        seat=seat.depths.seat,
        tally=seat.tally,
        cut=wall.summed(share, hollow - wall.gone),
        joints=masonry - seat.tally.volume,
        in_front=max(covered, 0.0),
        behind=wall.summed(bricked, hollow - wall.up_to(back)),
        at_sides=wall.summed(share - bricked, hollow),
        before=max(-covered, 0.0),
    )
