"""A check of the pose: the axis of each datum band by itself, fitted to its points.

The pose is fitted robustly, to all bands together and with their radius and taper as
drawn.  Here each band is fitted alone, as a cylinder or cone whose radius and half
angle are free.  Where its axis disagrees with the pose by more than the uncertainties
of both allow, the band is not where the drawing has it: built or patched off the axis,
or covered on one side; or the scanner moved.

Both uncertainties are added although both rest on the same points, so that the test
errs on the side of no warning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.datum.assumptions import ASSUMED
from geom.datum.fits import RevolutionFit, fit_circle, fit_revolution
from geom.datum.pose import Pose
from geom.design import DatumBand, Design
from geom.errors import InputError
from geom.stats.regression import EFFICIENT, biweight
from geom.units import Bool, Float

#: Most rounds of reweighting (a crust on part of a band is no displacement of it), and
#: the change of the scatter that ends them.
_ROUNDS, _CONVERGED = 20, 1e-3


@dataclass(frozen=True)
class BandAxis:
    """The axis of one datum band against the pose.

    Attributes
    ----------
    fit : RevolutionFit
        In the design's frame as the pose lays it: its axis is z, heights from the
        middle of the profile.
    offset : float, mm
        Of the band's axis from the pose's, at the height of the band.
    tilt : float, degrees
        Between both axes.
    p_value : float
        Chance of so much disagreement, or more, if there is none (chi-square, four
        degrees of freedom).
    roundness : float, mm
        RONt of the band's points, seen along its axis; their scatter is in it.
    """

    band: DatumBand
    fit: RevolutionFit
    offset: float
    tilt: float
    p_value: float
    roundness: float

    @property
    def disagrees(self) -> bool:
        """Whether the axes differ by more than both uncertainties allow."""
        return self.p_value < ASSUMED.band_significance


def band_axes(
    points: Float, variance: Float, pose: Pose, design: Design
) -> tuple[BandAxis, ...]:
    """The axis of each datum band that its points determine.

    Parameters
    ----------
    points : array (n, 3), mm
        Of the bands, or means of blocks of such, in the cloud's frame.
    variance : array (n,), mm2
        Of each by itself.
    pose : Pose
        With its covariance.
    """
    azimuth, radius, height = pose.to_wall(points)
    a = np.deg2rad(azimuth)
    up = height - pose.mid_height
    placed = np.column_stack([radius * np.cos(a), radius * np.sin(a), up])
    found = []
    for band in design.datum_bands:
        inside = (height > band.low) & (height < band.high)
        low, high = design.profile.radius_at(np.array([band.low, band.high]))
        is_cone = abs(high - low) > 1e-6
        if inside.sum() < ASSUMED.band_blocks:
            continue
        try:
            fit, kept = _fit(placed[inside], variance[inside], is_cone=is_cone)
        except InputError:  # too short, or too little of the way around
            continue
        found.append(_compared(band, fit, placed[inside][kept], pose))
    return tuple(found)


def _fit(
    points: Float, variance: Float, *, is_cone: bool
) -> tuple[RevolutionFit, Bool]:
    """The surface of a band, and the points it rests on."""
    weight, before = 1.0 / (variance + 1.0), np.inf
    for _ in range(_ROUNDS):
        fit = fit_revolution(
            points,
            surface="cone" if is_cone else "cylinder",
            weight=weight,
            direction=[0.0, 0.0, 1.0],
        )
        distance = fit.distance(points)
        kept = weight > 0.0
        rough = max(1.4826 * float(np.median(np.abs(distance))), ASSUMED.band_roughness)
        if abs(rough - before) < _CONVERGED * rough:
            break
        before, whole = rough, variance + rough**2
        weight = biweight(distance / np.sqrt(whole), EFFICIENT) / whole
    return fit, kept


def _compared(
    band: DatumBand, fit: RevolutionFit, points: Float, pose: Pose
) -> BandAxis:
    """A band's axis against the pose, which here is the z axis."""
    tilt = fit.direction[:2] / fit.direction[2]
    at = fit.point[:2]
    # How the axis moves toward azimuths 0 and 90 (rows) with the pose's four numbers
    # (columns), at the height of the band; and how it turns, from 1 mm further up.
    quarter, height = np.array([0.0, 90.0]), fit.point[2] + pose.mid_height
    none = np.zeros(2)
    moves = pose.jacobian(quarter, np.full(2, height), none, none)
    turns = pose.jacobian(quarter, np.full(2, height + 1.0), none, none) - moves
    jacobian = np.concatenate([moves, turns])
    covariance = fit.covariance[:4, :4] + jacobian @ pose.covariance @ jacobian.T
    difference = np.concatenate([at, tilt])
    return BandAxis(
        band=band,
        fit=fit,
        offset=float(np.hypot(*at)),
        tilt=float(np.rad2deg(np.hypot(*tilt))),
        p_value=_chi_square_tail(difference, covariance),
        roundness=_roundness(fit, points),
    )


def _chi_square_tail(difference: Float, covariance: Float) -> float:
    from scipy.special import chdtrc

    square = difference @ np.linalg.solve(covariance, difference)
    return float(chdtrc(difference.size, square))


def _roundness(fit: RevolutionFit, points: Float) -> float:
    """RONt of points seen along the axis, their taper taken off."""
    along, out = fit.cylindrical(points)
    section = (points - fit.point) @ fit.across.T
    return fit_circle(section * (1.0 - fit.taper * along / out)[:, None]).roundness
