"""The sand bottom: its shape, its volume and the heights to strike it to.

The bed falls to the tap hole from everywhere.  Its thickness at a point is

    least + fall * distance to the tap hole,

the distance being to the tap hole's mouth, taken as the point of the wall at its
azimuth.  That is a cone about that point, and not a plane: a bed struck off level along
a board from the far wall to the tap hole is thinner at the sides.

The mean distance of the points of a disc of radius R from a point of its rim is
32 R / (9 pi) = 1.1318 R, so that the volume is exactly

    pi R**2 (least + fall * 32 R / (9 pi)).

References
----------
Mean distance of a disc from a point of its rim: closed form from memory, checked in the
tests by integration and by drawing points; a stored forum thread draws 1.1316 and
1.1317.  (Weisstein, "Disk Line Picking", gives 128 / (45 pi) for two points of the
disc, which is another thing.)
Fall and least thickness are the shop's; their defaults are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from geom.compare.gaps import ring_read
from geom.compare.levels import section_area
from geom.design import Design, Opening
from geom.document import OMITTED, VOLUME
from geom.frame import clock_face, wrap
from geom.quantity import Quantity
from geom.repair.assumptions import SECTION_AZIMUTHS, STRIKE_POINTS
from geom.surface import RadialSurface
from geom.units import M3, Float

#: Mean distance of a disc's points from a point of its rim, over its radius.
MEAN_DISTANCE = 32.0 / (9.0 * np.pi)


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
    """

    azimuth: float
    clock: str
    thickness: float
    height: float


@dataclass(frozen=True)
class SandBottom:
    """The bed of one lining.

    Attributes
    ----------
    tap_azimuth : float, degrees
    radius : Quantity, mm
        Of the wall round it.
    radius_from : {'drawing', 'survey'}
    fall : float
        Height over distance.
    least, greatest : float, mm
        Thickness at the tap hole and at the wall opposite.
    middle : float, mm
        Thickness on the axis.
    volume : Quantity, mm3
        Rammed.
    mass : Quantity, kg
    strike : tuple of Strike
        Eight points evenly round the wall, the tap hole first.
    above_sill : float, mm
        How far the bed at the tap hole lies above the hole's lower edge; negative:
        below it.
    fits_tap_hole : bool
        That edge is met within the tolerance; if not, look at it before it is rammed.
    """

    tap_azimuth: float
    radius: Quantity
    radius_from: Literal["drawing", "survey"]
    fall: float
    least: float
    greatest: float
    middle: float
    volume: Quantity = field(metadata=VOLUME)
    mass: Quantity
    strike: tuple[Strike, ...]
    above_sill: float
    fits_tap_hole: bool = field(metadata=OMITTED)


def sand_bottom(
    design: Design, *, surface: RadialSurface | None = None
) -> SandBottom | None:
    """The sand bottom that a design asks for.

    Parameters
    ----------
    design : Design
        Fall of ``design.repair``, thickness and density of ``design.shop.bottom``.
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
    fall, least = design.repair.bottom_fall, design.shop.bottom.least
    volume = radius.through(
        lambda r: bottom_volume(r, least, fall),
        2.0
        * np.pi
        * radius.value
        * (least + 1.5 * fall * MEAN_DISTANCE * radius.value),
    )
    foot = design.profile.bottom
    above = foot + least - (tap.height - 0.5 * tap.tall)
    return SandBottom(
        tap_azimuth=tap.azimuth,
        radius=radius,
        radius_from="drawing" if found is None else "survey",
        fall=fall,
        least=least,
        greatest=least + 2.0 * fall * radius.value,
        middle=least + fall * radius.value,
        volume=volume,
        mass=volume.times(M3 * design.shop.bottom.density),
        strike=tuple(
            _strike(design, tap, radius.value, turned)
            for turned in np.arange(STRIKE_POINTS) * 360.0 / STRIKE_POINTS
        ),
        above_sill=above,
        fits_tap_hole=abs(above) <= design.repair.tolerance,
    )


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
    fall : float

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
    azimuth = np.arange(SECTION_AZIMUTHS) * 360.0 / SECTION_AZIMUTHS
    mean, covariance = surface.posterior.joint(np.array([height]), azimuth)
    design_radius = float(surface.design.profile.radius_at(height))
    area, sd = section_area(design_radius + mean, covariance)
    radius = float(np.sqrt(area / np.pi))
    found = Quantity.normal(area, sd).not_below(0.0)
    return found.through(lambda a: float(np.sqrt(a / np.pi)), 0.5 * radius / area)


def _tap_hole(design: Design) -> Opening | None:
    """The lowest of the design's tap holes."""
    holes = [hole for hole in design.openings if hole.kind.lower() == "tap hole"]
    return min(holes, key=lambda hole: hole.height, default=None)


def _strike(design: Design, tap: Opening, wall: float, turned: float) -> Strike:
    thickness = float(
        thickness_at(
            np.asarray(wall),
            np.asarray(turned),
            wall=wall,
            least=design.shop.bottom.least,
            fall=design.repair.bottom_fall,
        )
    )
    azimuth = float(wrap(tap.azimuth + turned))
    return Strike(
        azimuth=azimuth,
        clock=clock_face(azimuth, design.azimuth_sense),
        thickness=thickness,
        height=design.profile.bottom + thickness,
    )
