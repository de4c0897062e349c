"""A band of wall lined anew all round: which bricks turn its rings, and how many.

The rings are counted by the closed formulas (`geom.repair.masonry.rings`), course by
course, so a band that tapers has other numbers in every course.  The lining is as deep
as the deepest standard brick that the shell has room for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geom.design import Brick, Design
from geom.errors import InputError
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bricks import bricks_of, curved_bricks
from geom.repair.masonry.rings import EXACT, RingCount, ring
from geom.repair.masonry.support import Stop


@dataclass(frozen=True)
class RingBrick:
    """How many of one shape go into a band.

    Attributes
    ----------
    least, most : int
        In one course: whole bricks, and the one cut to close the ring.
    needed : int
        In all courses, breakage with them.
    """

    name: str
    least: int
    most: int
    needed: int


@dataclass(frozen=True)
class Relining:
    """One way to line a band anew; lengths mm.

    Attributes
    ----------
    build, course : float
        Along the radius, and the height of a course without its joint.
    height_from, height_to : float
        What the courses reach over: at least the band.
    backing : float or None
        Left between brick and shell where that is least; None where no shell is drawn.
    """

    bricks: tuple[RingBrick, ...]
    build: float
    course: float
    courses: int
    height_from: float
    height_to: float
    backing: float | None


@dataclass(frozen=True)
class RelinedBand:
    """A band under a stop, and the ways to line it anew; heights mm."""

    height_from: float
    height_to: float
    ways: tuple[Relining, ...]


def relined_bands(design: Design, stops: Sequence[Stop]) -> tuple[RelinedBand, ...]:
    """The bands that stops name, put together where they meet, bottom up.

    Where a ring is only possibly burnt, it is measured again first.
    """
    bands: list[tuple[float, float]] = []
    settled = [stop for stop in stops if stop.reason != "possible"]
    for low, high in sorted((stop.height_from, stop.height_to) for stop in settled):
        if bands and low <= bands[-1][1]:
            bands[-1] = (bands[-1][0], max(high, bands[-1][1]))
        else:
            bands.append((low, high))
    return tuple(
        RelinedBand(low, high, relining_of(design, low, high)) for low, high in bands
    )


def relining_of(design: Design, low: float, high: float) -> tuple[Relining, ...]:
    """The ways to line a band anew: flat brick two shapes to a ring, and curved brick.

    Parameters
    ----------
    low, high : float, mm
        The band.

    Returns
    -------
    tuple of Relining
        The fewest bricks first; empty where no listed brick turns every ring of it.
    """
    own = design.shop.bricks
    flat = [brick for brick in bricks_of(design) if not brick.bore]
    curved = [brick for brick in own if brick.bore] if own else curved_bricks(design)
    ways = [
        way
        for bricks, build, course in _kinds(flat, curved)
        if (way := _way(design, low, high, bricks, build, course)) is not None
    ]
    if ways:
        deepest = max(way.build for way in ways)
        ways = [way for way in ways if way.build >= deepest - EXACT]
    return tuple(sorted(ways, key=lambda way: sum(b.needed for b in way.bricks)))


def _kinds(
    flat: Sequence[Brick], curved: Sequence[Brick]
) -> Iterator[tuple[list[Brick], float, float]]:
    """Bricks that may share a ring: of one series, alike in build, course and back."""
    tapered = [brick for brick in flat if brick.taper]
    for sides in dict.fromkeys((b.build, b.course, b.outer) for b in tapered):
        alike = [b for b in tapered if (b.build, b.course, b.outer) == sides]
        straights = [b for b in flat if not b.taper and _has_sides(b, sides)]
        yield [*alike, *straights], sides[0], sides[1]
    for build, course in dict.fromkeys((b.build, b.course) for b in curved):
        alike = [b for b in curved if (b.build, b.course) == (build, course)]
        yield alike, build, course


def _has_sides(brick: Brick, sides: tuple[float, float, float]) -> bool:
    own = sorted((brick.length, brick.width, brick.thickness))
    return all(
        abs(one - other) <= ASSUMED.same_build
        for one, other in zip(own, sorted(sides), strict=True)
    )


def _way(  # noqa: PLR0917
    design: Design,
    low: float,
    high: float,
    bricks: Sequence[Brick],
    build: float,
    course: float,
) -> Relining | None:
    work = design.shop.brickwork
    pitch = course + work.joint
    count = max(int(np.ceil((high - low) / pitch - EXACT)), 1)
    radii = [_radius(design, low + (k + 0.5) * pitch) for k in range(count)]
    room = None if design.shell_radius is None else design.shell_radius - max(radii)
    if room is not None and build > room + EXACT:
        return None
    rings = []
    for radius in radii:
        found = _turned(radius, bricks, work.joint, build)
        if found is None or abs(found.course - course) > EXACT:
            return None
        rings.append(found)
    return Relining(
        bricks=_numbers(rings, work.breakage),
        build=build,
        course=course,
        courses=count,
        height_from=low,
        height_to=low + count * pitch,
        backing=None if room is None else max(0.0, round(room - build, 6)),
    )


def _radius(design: Design, height: float) -> float:
    """As drawn; past the ends of the profile as at its ends."""
    profile = design.profile
    within = min(max(height, profile.bottom), profile.top)
    return float(profile.radius_at(within))


def _turned(
    radius: float, bricks: Sequence[Brick], joint: float, build: float
) -> RingCount | None:
    """The ring of these bricks, or None where they do not turn it."""
    fit = [b for b in bricks if not b.bore or abs(b.bore - 2.0 * radius) <= joint]
    if not fit:
        return None
    try:
        found = ring(radius, fit, joint, build=build)
    except InputError:
        return None
    return found if found.turns else None


def _numbers(rings: Sequence[RingCount], breakage: float) -> tuple[RingBrick, ...]:
    """Bricks by name; the one that is cut comes from the shape there is most of."""
    each: list[Counter[str]] = []
    for one in rings:
        counts = Counter(dict(one.bricks))
        counts[max(counts, key=lambda name: counts[name])] += one.cut
        each.append(counts)
    names = dict.fromkeys(name for counts in each for name in counts)
    return tuple(
        RingBrick(
            name=name,
            least=min(counts[name] for counts in each),
            most=max(counts[name] for counts in each),
            needed=_with_breakage(sum(counts[name] for counts in each), breakage),
        )
        for name in names
    )


def _with_breakage(count: int, breakage: float) -> int:
    return int(np.ceil((1.0 + breakage) * count - EXACT))
