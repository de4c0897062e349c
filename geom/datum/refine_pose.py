"""The pose made exact on the cells of the datum bands, once all points are counted.

A sample of points finds the pose nearly; the cells of the bands hold all of them.  The
small change of pose that makes the bands lie on their drawing is linear in what the
cells read, and is applied to the cells instead of counting anew.

What the bands' own radius is off by (a range offset of the scanner, a band built a
little wide) is fitted beside the pose, so that a band in shadow on one side does not
turn it into an offset of the axis.

The covariance is that by patches or, where it is greater, that which the blocks' own
variances make: from few patches the former comes out too small by chance.

References
----------
Huber (1967), as for `geom.datum.find_pose`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geom.datum.find_pose import FoundPose, biweight, patches
from geom.design import Design
from geom.units import Float

#: How far off its drawing a band's radius may be, sd in mm, and the tilts, degrees.
#: Our own choices, no source.
BAND_SD, _TILT_SD = 2.0, 3.0
#: Roughness of a sound wall from block to block, mm, at least.
_ROUGH = 0.05
_ROUNDS = 8
#: Width of the biweight in standard deviations: 95 % as good as least squares where
#: errors are normal.
_BIWEIGHT = 4.685 / 3.0
#: Cells of a band from which its pose can be told.
_LEAST = 30


def refine_pose(  # noqa: PLR0917
    found: FoundPose,
    design: Design,
    azimuth: Float,
    height: Float,
    cutback: Float,
    variance: Float,
) -> FoundPose:
    """The pose on which the bands' cells lie as drawn.

    Parameters
    ----------
    found : FoundPose
        On bands, as the cells were counted with.
    design : Design
    azimuth, height : array (n,), degrees and mm
        Of cells, or blocks of them, that lie in the bands and are seen.
    cutback, variance : array (n,), mm and mm2

    Returns
    -------
    FoundPose
        With the covariance of the new pose; the one given where there are too few
        cells in the bands.
    """
    if azimuth.size < _LEAST:
        return found
    off = cutback
    drawn = design.profile.radius_at(height)
    slope = design.profile.slope_at(height)
    lean = found.pose.lean(azimuth, height, slope, drawn)
    design_matrix = np.column_stack([lean, np.ones(off.size)])
    prior = np.diag([0.0, 0.0, _TILT_SD**-2, _TILT_SD**-2, BAND_SD**-2])
    change, rough = np.asarray(np.zeros(5)), 3.0
    for _ in range(_ROUNDS):
        left = off - design_matrix @ change
        rough = _roughness(left, variance, rough)
        whole = variance + rough**2
        weight = biweight(left / np.sqrt(whole), _BIWEIGHT) / whole
        normal = (design_matrix * weight[:, None]).T @ design_matrix + prior
        pull = design_matrix.T @ (weight * off)
        change = np.asarray(np.linalg.solve(normal, pull), dtype=np.float64)
    left = off - design_matrix @ change
    patch = patches(azimuth, height, design.profile.bottom)
    count = int(patch.max()) + 1
    score = design_matrix * (weight * left)[:, None]
    by_patch = np.stack([np.bincount(patch, c, count) for c in score.T])
    filled = max(int((np.bincount(patch) > 0).sum()), 7)
    middle = by_patch @ by_patch.T * filled / (filled - 5.0) + prior
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    spread = _greater(inverse, inverse @ middle @ inverse)[:4, :4]
    pose = found.pose.at(found.pose.parameters + change[:4], spread)
    used = int((weight > 0.1 * weight.max()).sum())
    return replace(found, pose=pose, used=used, off=float(change[4]))


def _roughness(left: Float, variance: Float, before: float) -> float:
    """Roughness that brings the median distance to that of normal errors, mm."""
    typical = float(np.median(left**2 / (variance + before**2))) / 0.6745**2
    scaled = typical * (variance + before**2) - variance
    return max(_ROUGH, float(np.sqrt(max(float(np.median(scaled)), 0.0))))


def _greater(first: Float, second: Float) -> Float:
    """A covariance that in no direction is below either of two; (p, p)."""
    root = np.linalg.cholesky(first)
    back = np.linalg.inv(root)
    times, way = np.linalg.eigh(back @ second @ back.T)
    turned = root @ way
    return np.asarray((turned * np.maximum(times, 1.0)) @ turned.T)
