"""Weights of points in a robust fit, by their distance from what is fitted.

References
----------
Beaton, A. E. and Tukey, J. W. (1974). The fitting of power series, meaning polynomials,
illustrated on band-spectroscopic data. Technometrics 16(2), 147-185 (the biweight).
"""

from __future__ import annotations

import numpy as np

from geom.units import Float

#: Width of the biweight in standard deviations that makes it 95 % as good as least
#: squares where errors are normal.
EFFICIENT = 4.685 / 3.0
#: Least widths of the one-sided weight, outwards and inwards, mm.
_OUTWARD, _INWARD = 4.0, 12.0


def biweight(distance: Float, width: float) -> Float:
    """Tukey's weights: 1 at the drawing, 0 from ``3 * width`` on."""
    return np.asarray(np.maximum(1.0 - (distance / (3.0 * width)) ** 2, 0.0) ** 2)


def biweight_slope(distance: Float, width: float) -> Float:
    """How the weighted distance grows with the distance, for Tukey's weights."""
    square = np.minimum((distance / (3.0 * width)) ** 2, 1.0)
    return np.asarray((1.0 - square) * (1.0 - 5.0 * square))


def one_sided(distance: Float, width: float) -> Float:
    """Weights for a wall that wears outwards: steep outside, gentle inside.

    Parameters
    ----------
    distance : array (n,), mm
    width : float, mm
        At first wide, so that the search finds its way.
    """
    outward = max(_OUTWARD, 0.5 * width)
    inward = max(_INWARD, width)
    scaled = np.where(distance > 0.0, distance / outward, distance / inward)
    return np.asarray(1.0 / (1.0 + scaled**2) ** 2)
