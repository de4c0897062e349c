"""Horizontal sections: the circle of the same area, and how far it is off."""

from __future__ import annotations

import itertools

import numpy as np

from geom.compare.findings import Level
from geom.design import Design
from geom.quantity import Quantity
from geom.surface import Posterior, RadialSurface
from geom.units import Float

_AZIMUTHS = 120
_GREATEST_GAP = 250.0


def section_levels(
    surface: RadialSurface, low: float, high: float
) -> tuple[Level, ...]:
    """Sections at every surveyed corner of the profile and at least every 250 mm.

    Parameters
    ----------
    surface : RadialSurface
    low, high : float, mm
        Surveyed heights; both get a section.
    """
    profile = surface.design.profile
    levels = []
    for height in level_heights(surface.design, low, high):
        at_step = height in profile.steps
        for side in ("below", "above") if at_step else ("",):
            drawn = profile.radius_at(
                height, side="below" if side == "below" else "above"
            )
            levels.append(_section(surface.posterior, height, side, float(drawn)))
    return tuple(levels)


def level_heights(design: Design, low: float, high: float) -> Float:
    """Heights to look at, mm, rising."""
    corners = design.profile.corners
    fixed = np.unique([low, high, *corners[(corners >= low) & (corners <= high)]])
    pieces = [
        np.linspace(a, b, int(np.ceil((b - a) / _GREATEST_GAP)) + 1)[:-1]
        for a, b in itertools.pairwise(fixed)
    ]
    return np.concatenate([*pieces, fixed[-1:]])


def _section(posterior: Posterior, height: float, side: str, drawn: float) -> Level:
    azimuth = np.arange(_AZIMUTHS) * 360.0 / _AZIMUTHS
    mean, covariance = posterior.joint(np.array([height]), azimuth)
    area, sd = section_area(drawn + mean, covariance)
    design_area = np.pi * drawn**2
    diameter = np.sqrt(4.0 * area / np.pi)
    change = Quantity.normal(area / design_area - 1.0, sd / design_area)
    return Level(
        height=float(height),
        side=side,
        design_diameter=2.0 * drawn,
        area_diameter=Quantity.normal(area, sd)
        .not_below(0.0)
        .through(lambda a: float(np.sqrt(4.0 * a / np.pi)), 0.5 * diameter / area),
        area_change_percent=change.times(100.0),
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
    spread = 4.0 * radius @ covariance @ radius + 2.0 * np.sum(covariance**2)
    return area, half * float(np.sqrt(np.maximum(spread, 0.0)))
