"""How alike two places on the wall are: correlation against distance.

Each function takes distance over length scale and gives the correlation with its
derivative by the logarithm of the length scale.

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning.
MIT Press.  Section 4.2.1, eq. 4.14 to 4.17 (Matern class).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from geom.units import Float

Correlation = Callable[[Float], tuple[Float, Float]]


def matern12(scaled: Float) -> tuple[Float, Float]:
    """Continuous, nowhere smooth: edges and joints."""
    value = np.exp(-scaled)
    return value, scaled * value


def matern32(scaled: Float) -> tuple[Float, Float]:
    """Once differentiable: burnt and broken brickwork."""
    root = np.sqrt(3.0) * scaled
    fall = np.exp(-root)
    return (1.0 + root) * fall, root**2 * fall


def matern52(scaled: Float) -> tuple[Float, Float]:
    """Twice differentiable: gentle burn-back."""
    root = np.sqrt(5.0) * scaled
    fall = np.exp(-root)
    value = (1.0 + root + root**2 / 3.0) * fall
    return value, root**2 / 3.0 * (1.0 + root) * fall


CORRELATIONS: dict[str, Correlation] = {
    "matern12": matern12,
    "matern32": matern32,
    "matern52": matern52,
}


def chord(start: Float, end: Float, radius: float) -> Float:
    """Straight distance between azimuths on a ring, mm; shape (len(start), len(end)).

    A correlation that is valid in the plane stays valid on the ring when it is
    taken of the chord: the ring is part of the plane (Gneiting, T. (2013), Strictly and
    non-strictly positive definite functions on spheres, Bernoulli 19(4), 1327-1349,
    section 2).
    """
    gap = np.deg2rad(start[:, None] - end[None, :])
    return 2.0 * radius * np.abs(np.sin(0.5 * gap))


def wave(start: Float, end: Float, waves: int) -> Float:
    """Correlation of a cosine of any phase round the ring; (len(start), len(end)).

    With independent normal weights on ``cos(n a)`` and ``sin(n a)`` the correlation of
    two azimuths is ``cos(n (a - b))``: one term of Schoenberg's expansion (Gneiting,
    T. (2013), as for `chord`, section 3).
    """
    return np.asarray(np.cos(waves * np.deg2rad(start[:, None] - end[None, :])))


def rise(start: Float, end: Float) -> Float:
    """Distance between heights, mm; shape (len(start), len(end))."""
    return np.abs(start[:, None] - end[None, :])
