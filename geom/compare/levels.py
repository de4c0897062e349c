"""Horizontal sections: area, centre and roundness of each.

The area is given as the diameter of the circle of equal area.  Centre and roundness are
those of the least-squares reference circle: the one with the smallest sum of squared
distances to the section.  Out-of-roundness is the peak-to-valley deviation from it.

Errors of the section are small against its radius, so the centre follows them in
proportion: its standard uncertainty is that of a linear estimate.  Peak and valley are
extremes and do not; their deviation is worked out for joint draws of the section.

References
----------
ISO 12181-1:2011 (least-squares reference circle, LSCI; peak-to-valley roundness
deviation, RONt).
JCGM 101:2008, 7.9.4 (a fixed number of draws and what it is worth).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from geom.compare.assumptions import ASSUMED
from geom.compare.extent import ring_read
from geom.compare.findings import Level
from geom.datum import fit_circle
from geom.design import Design
from geom.frame import Sense, to_cartesian
from geom.quantity import Quantity
from geom.stats.normal import eigen_root, joint_normal, squares_sd
from geom.surface import Posterior, RadialSurface
from geom.units import Float

#: Azimuths that a section is worked out at.
_AZIMUTHS = 120
#: Rings that are worked out at once.
_AT_ONCE = 40


#: Draws of a section: its out-of-roundness' sd is then known to 1.6 %.
_DRAWS = 2000


def section_levels(
    surface: RadialSurface, low: float, high: float
) -> tuple[Level, ...]:
    """Sections at every surveyed corner of the profile and at least every 250 mm.

    Parameters
    ----------
    low, high : float, mm
        Surveyed heights; both get a section.

    Returns
    -------
    tuple of Level
        Without the heights at which the ring was not read round.
    """
    profile = surface.design.profile
    heights = level_heights(surface.design, low, high)
    heights = heights[[ring_read(surface.grid, height) for height in heights]]
    azimuth = np.arange(_AZIMUTHS) * 360.0 / _AZIMUTHS
    levels = []
    for height, ring in zip(
        heights, _rings(surface.posterior, heights, azimuth), strict=True
    ):
        at_step = height in profile.steps
        for side in ("below", "above") if at_step else ("",):
            design_radius = profile.radius_at(
                height, side="below" if side == "below" else "above"
            )
            levels.append(_section(surface, height, side, float(design_radius), *ring))
    return tuple(levels)


def _rings(
    posterior: Posterior, height: Float, azimuth: Float
) -> Iterator[tuple[Float, Float]]:
    """Mean and covariance of cut-back round each height; (k,) and (k, k)."""
    for start in range(0, height.size, _AT_ONCE):
        some = posterior.rings(height[start : start + _AT_ONCE], azimuth)
        yield from zip(*some, strict=True)


def level_heights(design: Design, low: float, high: float) -> Float:
    """Heights to look at, mm, rising."""
    corners = design.profile.corners
    fixed = np.unique([low, high, *corners[(corners >= low) & (corners <= high)]])
    pieces = [
        np.linspace(a, b, int(np.ceil((b - a) / ASSUMED.section_spacing)) + 1)[:-1]
        for a, b in itertools.pairwise(fixed)
    ]
    return np.concatenate([*pieces, fixed[-1:]])


def _section(  # noqa: PLR0917
    surface: RadialSurface,
    height: float,
    side: str,
    design_radius: float,
    mean: Float,
    covariance: Float,
) -> Level:
    azimuth = np.arange(_AZIMUTHS) * 360.0 / _AZIMUTHS
    area, sd = section_area(design_radius + mean, covariance)
    design_area = np.pi * design_radius**2
    diameter = np.sqrt(4.0 * area / np.pi)
    change = Quantity.normal(area / design_area - 1.0, sd / design_area)
    return Level(
        height=float(height),
        side=side,
        design_diameter=2.0 * design_radius,
        area_diameter=Quantity.normal(area, sd)
        .not_below(0.0)
        .through(lambda a: float(np.sqrt(4.0 * a / np.pi)), 0.5 * diameter / area),
        area_change_percent=change.times(100.0),
        **_ring_form(surface, height, azimuth, design_radius + mean, covariance),
    )


def _ring_form(
    surface: RadialSurface,
    height: float,
    azimuth: Float,
    radius: Float,
    covariance: Float,
) -> dict[str, Quantity]:
    """Centre and roundness of a section, as `Level` names them; none if not read."""
    if not is_read_round(*surface.read_at, height):
        return {}
    sense = surface.design.azimuth_sense
    x, y, deviation = section_form(azimuth, radius, covariance, sense)
    return {
        "centre_offset_x": x,
        "centre_offset_y": y,
        "out_of_roundness": deviation,
    }


def is_read_round(azimuth: Float, height: Float, level: float) -> bool:
    """Whether readings at azimuths (n,) and heights (n,) go round near a level, mm.

    Examples
    --------
    >>> is_read_round(np.arange(0.0, 360.0, 60.0), np.full(6, 700.0), 800.0)
    True
    >>> is_read_round(np.arange(0.0, 240.0, 60.0), np.full(4, 700.0), 800.0)
    False
    """
    there = np.unique(
        np.mod(azimuth[np.abs(height - level) <= ASSUMED.ring_near], 360.0)
    )
    if not there.size:
        return False
    gap = np.diff(np.append(there, there[0] + 360.0))
    return bool(gap.max() <= ASSUMED.ring_gap)


def section_form(
    azimuth: Float, radius: Float, covariance: Float, sense: Sense, *, seed: int = 0
) -> tuple[Quantity, Quantity, Quantity]:
    """Centre and out-of-roundness of a section about its reference circle.

    Parameters
    ----------
    azimuth : array (k,), degrees
        Evenly spaced round the whole section.
    radius : array (k,), mm
    covariance : array (k, k), mm2
        Of the radii.
    sense : {'clockwise', 'counterclockwise'}
    seed : int
        Of the draws.

    Returns
    -------
    x, y, out_of_roundness : Quantity, mm
    """
    ray = to_cartesian(azimuth, 1.0, 0.0, sense)[:, :2]
    points = radius[:, None] * ray
    centre = fit_circle(points).centre
    out = points - centre
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    # Gauss-Newton about the circle found: change of x, y and radius of the circle, (3,
    # k), with each radius; a point moves along its ray, of which the part along the
    # circle's own normal counts.
    slopes = np.linalg.pinv(np.column_stack([out, np.ones(radius.size)]))
    by_radius = (slopes * np.sum(out * ray, axis=1))[:2]
    # Diagonal of (2, k) (k, k) (k, 2).
    sd = np.sqrt(np.einsum("ij,jk,ik->i", by_radius, covariance, by_radius))
    errors = joint_normal(covariance, seed, _DRAWS, root=eigen_root)
    moved = centre[:, None] + by_radius @ errors
    # (2, k, draws): from each draw's own centre to its points.
    spoke = (radius[:, None] + errors)[None] * ray.T[:, :, None] - moved[:, None, :]
    distance = np.hypot(*spoke)
    deviation = Quantity.of_samples(distance.max(axis=0) - distance.min(axis=0))
    return (
        Quantity.normal(centre[0], sd[0]),
        Quantity.normal(centre[1], sd[1]),
        deviation.not_below(0.0),
    )


def section_area(radius: Float, covariance: Float) -> tuple[float, float]:
    """Expected area of a section and its standard deviation.

    Of ``sum r**2 dtheta / 2`` for jointly normal r: mean ``sum (m**2 + s**2)``,
    variance ``4 m' C m + 2 sum C**2``, times ``(dtheta / 2)**2``.

    Parameters
    ----------
    radius : array (k,), mm
        Evenly spaced round the whole section.
    covariance : array (k, k), mm2

    Returns
    -------
    area, sd : float, mm2

    Examples
    --------
    >>> area, sd = section_area(np.full(8, 100.0), np.zeros((8, 8)))
    >>> round(area, 3), sd
    (31415.927, 0.0)
    """
    half = np.pi / radius.size
    area = half * float(np.sum(radius**2 + np.diag(covariance)))
    return area, half * squares_sd(radius, covariance)
