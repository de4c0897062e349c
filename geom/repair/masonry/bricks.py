"""The bricks there are: the shop's own list, or the standard series.

Tapers are stated as large face to small face; the small one lies at the hot face.
Circle brick and cupola blocks are curved to one bore, so they come from the drawing.

References
----------
Straight 9 x 4 1/2 x 2 1/2 in: N. Hawkins, Maxims and Instructions for the Boiler Room
(about 1900), boiler setting.  3 in straight, split 1 1/4 in thick, arches of both
series and wedges of the 2 1/2 in series: a published trade glossary of refractories.
Wedges of the 3 in series: their small faces in lists published after IS 1526 (75 mm
narrowing to 70, 65 and 50); that they are numbered 1, 2 and 3 is from memory.  Keys:
makers' lists of about 1900, from memory; of No 2 only its own ring of 6 ft is
remembered, and its small face is what turns that.

230 x 114 x 64 mm for the 9 in brick: trade usage as published; with x 76 as in ISO
5019-1, from memory.  230 x 114 x 32 mm: a published list after GB/T 2992.  Small faces
in mm: those in inches to the nearest mm, our rounding.

Circle brick, 4 1/2 x 2 1/2 in, at most 9 in round its back: three rows of makers' lists
from memory (circles of 24, 36 and 48 in, measured round the back, of 9, 13 and 17).
Cupola blocks, 4 in high and 4 1/2, 6 or 9 in deep: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from geom.design import Brick, Design
from geom.repair.masonry.rings import EXACT, Faces
from geom.units import from_mm, to_mm

_Side = Literal["length", "width"]


def bricks_of(design: Design) -> tuple[Brick, ...]:
    """The shop's own bricks, or the standard series of its unit."""
    return design.shop.bricks or standard_bricks(design.length_unit)


def standard_bricks(length_unit: str) -> tuple[Brick, ...]:
    """The standard series: 9 in where drawings are in inches, else 230 mm.

    Parameters
    ----------
    length_unit : str
        The drawing's own.

    Returns
    -------
    tuple of Brick
        Lengths in mm; no masses, no stock.  The head of this module names the sources.

    Examples
    --------
    >>> [round(brick.small, 3) for brick in standard_bricks("in") if brick.taper][:6]
    [53.975, 44.45, 25.4, 57.15, 47.625, 38.1]
    """
    return _NINE_INCH if length_unit == "in" else _METRIC


def curved_bricks(design: Design) -> tuple[Brick, ...]:
    """Circle brick and cupola blocks for the bores that the drawing has.

    Whole numbers of them turn each bore, the shop's joint between them.  Their depths
    are the standard ones that the lining has room for; all where no shell is drawn.

    Parameters
    ----------
    design : Design
        A bore is a stretch of the profile of one radius; where it tapers throughout,
        the bore at mid-height is taken.

    Returns
    -------
    tuple of Brick
        Bore by bore, the narrowest first.
    """
    sizes = _CURVED["in" if design.length_unit == "in" else "mm"]
    joint = design.shop.brickwork.joint
    return tuple(
        brick
        for radius in _bore_radii(design)
        for brick in _curved_to(radius, sizes, joint, design)
    )


def curved_brick(
    radius: float, build: float, course: float, *, most: float, joint: float, name: str
) -> Brick:
    """The curved brick of which a whole number turns a bore.

    Parameters
    ----------
    radius : float, mm
        Of the hot face.
    build, course : float, mm
        Along the radius, and the height of a course.
    most : float, mm
        Its back is no longer than this, a joint with it.
    joint : float, mm

    Examples
    --------
    The circle of 24 in round the back is remembered as 9 bricks of 8 1/4 in:

    >>> brick = curved_brick(
    ...     7.5 * 25.4, 4.5 * 25.4, 2.5 * 25.4, most=9 * 25.4, joint=3.175, name="24 in"
    ... )
    >>> round(brick.outer / 25.4, 2)
    8.25
    """
    girth = 2.0 * np.pi * (radius + build)
    count = int(np.ceil(girth / most - EXACT))
    return Brick(
        name,
        length=build,
        width=float(girth / count - joint),
        thickness=course,
        taper="width",
        small=float(2.0 * np.pi * radius / count - joint),
        bore=2.0 * radius,
    )


def brick_volume(brick: Brick | Faces) -> float:
    """Volume of one brick, mm3: its mean face round the ring, by build, by course.

    Examples
    --------
    >>> brick_volume(Brick("invented", 200.0, 100.0, 60.0, "width", 80.0))
    1080000.0
    """
    return 0.5 * (brick.outer + brick.inner) * brick.build * brick.course


@dataclass(frozen=True)
class _CurvedSizes:
    """Standard sizes of curved brick, mm."""

    most: float
    circle: tuple[float, float]
    block_builds: tuple[float, ...]
    block_course: float


def _curved_to(
    radius: float, sizes: _CurvedSizes, joint: float, design: Design
) -> Iterator[Brick]:
    unit = design.length_unit
    room = np.inf if design.shell_radius is None else design.shell_radius - radius
    bore = f"{from_mm(2.0 * radius, unit):.6g} {unit} bore"
    build, course = sizes.circle
    if build <= room + EXACT:
        name = f"circle brick, {bore}"
        yield curved_brick(
            radius, build, course, most=sizes.most, joint=joint, name=name
        )
    for build in sizes.block_builds:
        if build <= room + EXACT:
            yield curved_brick(
                radius,
                build,
                sizes.block_course,
                most=sizes.most,
                joint=joint,
                name=f"cupola block {from_mm(build, unit):.6g} {unit} deep, {bore}",
            )


def _bore_radii(design: Design) -> list[float]:
    profile = design.profile
    straight = np.flatnonzero(
        (np.diff(profile.radius) == 0.0) & (np.diff(profile.height) > 0.0)
    )
    if straight.size == 0:
        return [float(profile.radius_at(0.5 * (profile.bottom + profile.top)))]
    return sorted({float(profile.radius[k]) for k in straight})


def _straights(
    unit: str,
    size: tuple[float, float],
    thicknesses: dict[str, float],
    *,
    title: str,
) -> tuple[Brick, ...]:
    length, width = (to_mm(side, unit) for side in size)
    return tuple(
        Brick(f"{title} {name}", length, width, to_mm(thick, unit))
        for name, thick in thicknesses.items()
    )


def _tapered(
    straight: Brick,
    kind: str,
    small: dict[str, float],
    *,
    taper: Literal["width", "thickness"] = "thickness",
    radial: _Side,
    unit: str,
) -> tuple[Brick, ...]:
    """Shapes cut from a straight: by their number, the small face."""
    return tuple(
        replace(
            straight,
            name=f"{kind} No {number}",
            taper=taper,
            small=to_mm(face, unit),
            radial=radial,
        )
        for number, face in small.items()
    )


#: Small faces by number, inches.
_ARCH = {"1": 2.125, "2": 1.75, "3": 1.0}
_WEDGE = {"1-X": 2.25, "1": 1.875, "2": 1.5}
_ARCH_3_IN = {"1": 2.75, "2": 2.5, "3": 2.0, "4": 1.0}
_WEDGE_3_IN = {"1": 2.75, "2": 2.5, "3": 2.0}
_KEY = {"1": 4.0, "2": 3.6, "3": 3.0, "4": 2.25}


def _series(
    unit: str,
    size: tuple[float, float],
    thickness: tuple[float, float, float],
    names: tuple[str, str],
) -> tuple[Brick, ...]:
    """Straights, split, arches, wedges and keys of one series; 9 in or its mm."""
    title, thick_title = names
    standard, thick, split = thickness
    straight, thicker, _ = straights = _straights(
        unit,
        size,
        {
            "straight": standard,
            f"straight, {thick:g} {unit} thick": thick,
            "split": split,
        },
        title=title,
    )

    def faces(small: dict[str, float]) -> dict[str, float]:
        if unit == "in":
            return small
        return {key: float(round(to_mm(inches, "in"))) for key, inches in small.items()}

    return (
        *straights,
        *_tapered(straight, f"{title} arch", faces(_ARCH), radial="width", unit=unit),
        *_tapered(
            straight, f"{title} wedge", faces(_WEDGE), radial="length", unit=unit
        ),
        *_tapered(
            thicker, f"{thick_title} arch", faces(_ARCH_3_IN), radial="width", unit=unit
        ),
        *_tapered(
            thicker,
            f"{thick_title} wedge",
            faces(_WEDGE_3_IN),
            radial="length",
            unit=unit,
        ),
        *_tapered(
            straight,
            f"{title} key",
            faces(_KEY),
            taper="width",
            radial="length",
            unit=unit,
        ),
    )


_NINE_INCH = _series("in", (9.0, 4.5), (2.5, 3.0, 1.25), ("9 in", "3 in"))
_METRIC = _series("mm", (230.0, 114.0), (64.0, 76.0, 32.0), ("230 mm", "76 mm"))
_CURVED = {
    "in": _CurvedSizes(
        most=to_mm(9.0, "in"),
        circle=(to_mm(4.5, "in"), to_mm(2.5, "in")),
        block_builds=(to_mm(4.5, "in"), to_mm(6.0, "in"), to_mm(9.0, "in")),
        block_course=to_mm(4.0, "in"),
    ),
    "mm": _CurvedSizes(
        most=230.0,
        circle=(114.0, 64.0),
        block_builds=(114.0, 150.0, 230.0),
        block_course=100.0,
    ),
}
