"""The sand bottom: its shape, volume and strike heights, and the iron it holds.

The bed meets the lower edge of the tap hole, its sill, so that it neither buries the
hole nor keeps iron back, and falls to it from everywhere.  Its thickness at a point is

    least + fall * distance to the tap hole,

least being the height of the sill above the doors, and the distance that to the tap
hole's mouth, taken as the point of the wall at its azimuth.  That is a cone about that
point, and not a plane: a bed struck off level along a board from the far wall to the
tap hole is thinner at the sides.

The mean distance of the points of a disc of radius R from a point of its rim is
32 R / (9 pi) = 1.1318 R, so that the volume is exactly

    pi R**2 (least + fall * 32 R / (9 pi)).

In the corner at the wall a fillet of radius f goes on top, concave, of section
f**2 (1 - pi / 4) with its centre of area f (10 - 3 pi) / (12 - 3 pi) from the wall; by
Pappus' theorem its volume is that section times 2 pi times that radius, the bed taken
as level there.

The well is the bore as drawn between the bed and the lower edge of the slag hole.  It
is full of coke, so iron has only the voids of it.

References
----------
Mean distance of a disc from a point of its rim: closed form from memory, checked in the
tests by integration and by drawing points; a stored forum thread draws 1.1316 and
1.1317.  (Weisstein, "Disk Line Picking", gives 128 / (45 pi) for two points of the
disc, which is another thing.)
Centre of area of a concave fillet: a square less a quarter circle, by moments.
Liquid cast iron 6.9 kg/L, voids of 0.45 in a bed of coke: from memory.
Fall and least thickness are the shop's; their defaults are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from geom.compare.extent import ring_read
from geom.compare.levels import section_area
from geom.design import Design, Opening, Profile
from geom.document import VOLUME
from geom.frame import clock_face, wrap
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.shown import Shown
from geom.surface import RadialSurface
from geom.units import M3, Float

#: Mean distance of a disc's points from a point of its rim, over its radius.
MEAN_DISTANCE = 32.0 / (9.0 * np.pi)
#: What changing units may add to a length, mm.
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Strike:
    """A point of the wall and the height to strike the bed to there.

    Attributes
    ----------
    azimuth : float, degrees
    clock : str
        On the clock laid on the furnace, seen from above.
    thickness : float, mm
        Of the bed.
    height : float, mm
        Of its surface, above the design's height zero.
    mid_thickness, mid_height : float, mm
        The same half way from the axis to the wall.
    """

    azimuth: float
    clock: str
    thickness: float
    height: float
    mid_thickness: float
    mid_height: float


@dataclass(frozen=True)
class Well:
    """What stands below the slag hole.

    Attributes
    ----------
    volume : float, mm3
        Of the bore between the bed and the slag hole's lower edge.
    iron : float, kg
        That would fill it.
    iron_in_coke : float, kg
        That fills the voids that coke leaves.
    """

    volume: float = field(metadata=VOLUME)
    iron: float
    iron_in_coke: float


@dataclass(frozen=True)
class SandBottom(Shown):
    """The bed of one lining.

    Attributes
    ----------
    tap_azimuth : float, degrees
    sill : float, mm
        Height of the tap hole's lower edge, which the bed meets.
    radius : Quantity, mm
        Of the wall round it.
    radius_from : {'drawing', 'survey'}
    fall : float
        Height over distance.
    least, greatest : float, mm
        Thickness at the tap hole and at the wall opposite.
    middle : float, mm
        Thickness on the axis.
    wanted : float, mm
        Least thickness over the doors that the shop wants.
    short : float, mm
        How much less the bed has at the tap hole; 0 where it is thick enough.
    volume : Quantity, mm3
        Rammed, without the fillet.
    fillet : float, mm
        Radius of the fillet at the wall.
    fillet_volume : float, mm3
    mass : Quantity, kg
        Of bed and fillet.
    strike : tuple of Strike
        Eight points evenly round the wall, the tap hole first.
    slag_sill : float or None, mm
        Height of the lowest slag hole's lower edge.
    below_tuyeres : float or None, mm
        How far that lies below the lowest sill of the tuyeres; negative: above it.
    well : Well or None
        None without a slag hole, or where the bed reaches up to it.
    """

    tap_azimuth: float
    sill: float
    radius: Quantity
    radius_from: Literal["drawing", "survey"]
    fall: float
    least: float
    greatest: float
    middle: float
    wanted: float
    short: float
    volume: Quantity = field(metadata=VOLUME)
    fillet: float
    fillet_volume: float = field(metadata=VOLUME)
    mass: Quantity
    strike: tuple[Strike, ...]
    slag_sill: float | None
    below_tuyeres: float | None
    well: Well | None

    @property
    def sand(self) -> Quantity:
        """Volume of bed and fillet, mm3."""
        return self.volume.plus(self.fillet_volume)


def sand_bottom(
    design: Design, *, surface: RadialSurface | None = None
) -> SandBottom | None:
    """The sand bottom that a design asks for.

    Parameters
    ----------
    design : Design
        Fall of ``design.repair``; density, fillet and least thickness of
        ``design.shop.bottom``.
    surface : RadialSurface, optional
        Where it was surveyed at the tap hole, the bed is as wide as the wall was found
        there, by area; else as drawn.

    Returns
    -------
    SandBottom or None
        None where the design names no tap hole: there is nothing for it to fall to.

    Notes
    -----
    The bed lies on the bottom doors, taken to be at the foot of the profile.
    """
    tap = _tap_hole(design)
    if tap is None:
        return None
    found = None if surface is None else found_radius(surface, tap.height)
    radius = found or Quantity.normal(design.radius_at_opening(tap), 0.0)
    shop, fall = design.shop.bottom, design.repair.bottom_fall
    foot = design.profile.bottom
    least = max(tap.sill - foot, 0.0)
    volume = radius.through(
        lambda r: bottom_volume(r, least, fall),
        2.0
        * np.pi
        * radius.value
        * (least + 1.5 * fall * MEAN_DISTANCE * radius.value),
    )
    fillet = fillet_volume(radius.value, shop.fillet)
    slag = min((hole.sill for hole in design.holes("slag hole")), default=None)
    tuyeres = min((tuyere.sill for tuyere in design.tuyeres), default=None)
    return SandBottom(
        tap_azimuth=tap.azimuth,
        sill=tap.sill,
        radius=radius,
        radius_from="drawing" if found is None else "survey",
        fall=fall,
        least=least,
        greatest=least + 2.0 * fall * radius.value,
        middle=least + fall * radius.value,
        wanted=shop.least,
        short=0.0 if shop.least <= least + _ROUNDING else shop.least - least,
        volume=volume,
        fillet=shop.fillet,
        fillet_volume=fillet,
        mass=volume.plus(fillet).times(M3 * shop.density),
        strike=tuple(
            _strike(design, tap, radius.value, turned)
            for turned in np.arange(ASSUMED.strike_points)
            * 360.0
            / ASSUMED.strike_points
        ),
        slag_sill=slag,
        below_tuyeres=None if slag is None or tuyeres is None else tuyeres - slag,
        well=None if slag is None else _well(design, tap, slag),
    )


def _well(design: Design, tap: Opening, slag: float) -> Well | None:
    """The well of the finished furnace; None where the bed reaches up to the slag."""
    shop, fall = design.shop.bottom, design.repair.bottom_fall
    radius = design.radius_at_opening(tap)
    if slag < tap.sill + 2.0 * fall * radius:
        return None
    foot = design.profile.bottom
    sand = bottom_volume(radius, tap.sill - foot, fall)
    sand += fillet_volume(radius, shop.fillet)
    volume = max(bore_volume(design.profile, foot, slag) - sand, 0.0)
    iron = volume * M3 * shop.iron_density
    return Well(volume=volume, iron=iron, iron_in_coke=iron * shop.coke_voids)


def bore_volume(profile: Profile, low: float, high: float) -> float:
    """Volume of the bore as drawn between two heights: frusta, mm3.

    Parameters
    ----------
    low, high : float, mm
        Within it.

    Examples
    --------
    >>> cone = Profile(np.array([0.0, 30.0]), np.array([14.0, 7.0]))
    >>> round(bore_volume(cone, 0.0, 30.0), 3)
    10775.663
    """
    between = profile.corners[(profile.corners > low) & (profile.corners < high)]
    height = np.concatenate([[low], between, [high]])
    lower = profile.radius_at(height[:-1])
    upper = profile.radius_at(height[1:], side="below")
    third = np.diff(height) * (lower**2 + lower * upper + upper**2) / 3.0
    return float(np.pi * third.sum())


def fillet_volume(radius: float, fillet: float) -> float:
    """Volume of a concave fillet round a bed, mm3.

    Parameters
    ----------
    radius, fillet : float, mm
        Of the wall, and of the fillet.
    """
    section = fillet**2 * (1.0 - np.pi / 4.0)
    off_wall = fillet * (10.0 - 3.0 * np.pi) / (12.0 - 3.0 * np.pi)
    return float(section * 2.0 * np.pi * (radius - off_wall))


def bottom_volume(radius: float, least: float, fall: float) -> float:
    """Volume of the bed, mm3.

    Parameters
    ----------
    radius, least : float, mm
    fall : float
        Height over distance.

    Examples
    --------
    >>> round(bottom_volume(450.0, 0.0, 0.0625) / 1e6, 3)
    20.25
    """
    return float(np.pi * radius**2 * (least + fall * MEAN_DISTANCE * radius))


def thickness_at(
    radius: Float, turned: Float, *, wall: float, least: float, fall: float
) -> Float:
    """Thickness of the bed at any points; arrays broadcast.

    Parameters
    ----------
    radius : array, mm
        Distance from the axis.
    turned : array, degrees
        Azimuth from the tap hole.
    wall, least : float, mm

    Returns
    -------
    array, mm
    """
    angle = np.deg2rad(turned)
    along, aside = radius * np.cos(angle) - wall, radius * np.sin(angle)
    return np.asarray(least + fall * np.hypot(along, aside))


def found_radius(surface: RadialSurface, height: float) -> Quantity | None:
    """Radius of the circle of a section's area, mm; None where not surveyed."""
    low, high = surface.grid.surveyed_heights
    if not low <= height <= high or not ring_read(surface.grid, height):
        return None
    azimuth = np.arange(ASSUMED.section_azimuths) * 360.0 / ASSUMED.section_azimuths
    mean, covariance = surface.posterior.joint(np.array([height]), azimuth)
    design_radius = float(surface.design.profile.radius_at(height))
    area, sd = section_area(design_radius + mean, covariance)
    radius = float(np.sqrt(area / np.pi))
    found = Quantity.normal(area, sd).not_below(0.0)
    return found.through(lambda a: float(np.sqrt(a / np.pi)), 0.5 * radius / area)


def _tap_hole(design: Design) -> Opening | None:
    """The lowest of the design's tap holes."""
    holes = design.holes("tap hole")
    return min(holes, key=lambda hole: (hole.sill, hole.height), default=None)


def _strike(design: Design, tap: Opening, wall: float, turned: float) -> Strike:
    foot = design.profile.bottom
    at_wall, half_way = thickness_at(
        np.array([wall, 0.5 * wall]),
        np.asarray(turned),
        wall=wall,
        least=max(tap.sill - foot, 0.0),
        fall=design.repair.bottom_fall,
    ).tolist()
    azimuth = float(wrap(tap.azimuth + turned))
    return Strike(
        azimuth=azimuth,
        clock=clock_face(azimuth, design.azimuth_sense),
        thickness=at_wall,
        height=foot + at_wall,
        mid_thickness=half_way,
        mid_height=foot + half_way,
    )
