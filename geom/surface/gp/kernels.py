"""How far apart places on the wall are, and what a part's correlation makes of it.

How alike two places on the wall are: correlation against distance.

Each function takes distance over length scale and gives the correlation with its
derivative by the logarithm of the length scale.

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning.
MIT Press.  Section 4.2.1, eq. 4.14 to 4.17 (Matern class).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.surface.gp.fields import Pattern
from geom.surface.gp.prior import Component
from geom.units import Float, Int

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


def height_distance(start: Float, end: Float) -> Float:
    """Distance between heights, mm; shape (len(start), len(end))."""
    return np.abs(start[:, None] - end[None, :])


@dataclass(frozen=True)
class Points2D:
    """Places on the wall.

    Attributes
    ----------
    azimuth : array (n,), degrees
    height : array (n,), mm
    """

    azimuth: Float
    height: Float

    def __len__(self) -> int:
        return int(self.azimuth.size)


class UniquePairs:
    """Pairs of coordinates of two sets of places, by their distinct values.

    Readings stand on few azimuths and few heights, so what depends on one coordinate is
    worked out on the distinct pairs, a small table, and spread to all pairs by index.

    Attributes
    ----------
    left, right : array (u,) and (v,)
        Distinct values.
    """

    def __init__(self, left: Float, right: Float) -> None:
        self.left, left_index = np.unique(left, return_inverse=True)
        self.right, right_index = np.unique(right, return_inverse=True)
        self._spread = left_index[:, None] * self.right.size + right_index[None, :]
        self._rows = _one_hot(left_index, self.left.size)
        self._columns = _one_hot(right_index, self.right.size)

    def spread(self, table: Float) -> Float:
        """A table of the distinct pairs told for all; (u, v) to (left, right)."""
        return table.take(self._spread)

    def gathered(self, table: Float) -> Float:
        """The transpose: sums over all pairs alike; (left, right) to (u, v)."""
        return np.asarray((self._columns @ (self._rows @ table).T).T)


class PairDistances:
    """How far apart two sets of places are.

    Attributes
    ----------
    azimuths, heights : UniquePairs
    """

    def __init__(self, left: Points2D, right: Points2D) -> None:
        self._left, self._right = left, right
        self.azimuths = UniquePairs(left.azimuth, right.azimuth)
        self.heights = UniquePairs(left.height, right.height)
        self._patterned: dict[tuple[Pattern, ...], Float] = {}
        self._level: dict[tuple[Pattern, ...], Float] = {}

    @property
    def shape(self) -> tuple[int, int]:
        """Number of places left and right."""
        return len(self._left), len(self._right)

    def level(self, part: Component) -> Float:
        """A part's patterns of one height times of another; of the distinct ones."""
        if part.patterns not in self._level:
            heights = self.heights
            self._level[part.patterns] = levels(part, heights.left, heights.right)
        return self._level[part.patterns]

    def patterned(self, part: Component) -> Float:
        """A part's patterns at the left places times at the right; (left, right)."""
        if part.patterns not in self._patterned:
            left, right = (patterns_at(part, p) for p in (self._left, self._right))
            self._patterned[part.patterns] = left.T @ right
        return self._patterned[part.patterns]


def _one_hot(index: Int, size: int):  # type: ignore[no-untyped-def]
    """Sparse (size, n) table with a one where a place has a value."""
    from scipy.sparse import csr_array

    n = index.size
    return csr_array((np.ones(n), (index, np.arange(n))), shape=(size, n))


def patterns_at(part: Component, places: Points2D) -> Float:
    """A part's patterns at places; (patterns, n)."""
    return np.stack([p.at(places.azimuth, places.height) for p in part.patterns])


def levels(part: Component, left: Float, right: Float) -> Float:
    """Patterns that are the same all round, of one height times of another.

    Ones where the part has none such; array (len(left), len(right)).
    """
    if not part.level:
        return np.ones((left.size, right.size))
    told = [(p.at_heights(left), p.at_heights(right)) for p in part.patterns]
    return np.asarray(np.sum([np.outer(*both) for both in told], axis=0))


def around(
    part: Component,
    length_scale_azimuth: float,
    radius: float,
    left: Float,
    right: Float,
) -> tuple[Float, Float]:
    """Correlation round the ring and its derivative by log ``length_scale_azimuth``.

    Parameters
    ----------
    part : Component
    arc, radius : float, mm
    left, right : array, degrees

    Returns
    -------
    two arrays (len(left), len(right))
    """
    if part.around == "same":
        return _always(left, right)
    if part.around == "wave":
        return wave(left, right, part.waves), np.zeros((left.size, right.size))
    return CORRELATIONS[part.around](chord(left, right, radius) / length_scale_azimuth)


def along(part: Component, up: float, left: Float, right: Float) -> tuple[Float, Float]:
    """Correlation of a part with height, and its derivative; as `around`."""
    if part.along == "same":
        return _always(left, right)
    return CORRELATIONS[part.along](height_distance(left, right) / up)


def _always(left: Float, right: Float) -> tuple[Float, Float]:
    shape = (left.size, right.size)
    return np.ones(shape), np.zeros(shape)
