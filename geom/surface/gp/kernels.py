"""Correlations against distance, and distances between places on the wall.

A correlation takes distance over length scale and gives its value with its derivative
by the logarithm of the length scale.

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning.
MIT Press.  Section 4.2.1, eq. 4.14 to 4.17 (Matern class).
Gneiting, T. (2013). Strictly and non-strictly positive definite functions on spheres.
Bernoulli 19(4), 1327-1349 (correlations on a ring).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np

from geom.surface.gp.fields import Pattern, SteppedPattern
from geom.surface.gp.prior import Component, Prior
from geom.units import Bool, Float, Int

Correlation = Callable[[Float], tuple[Float, Float]]
Array = TypeVar("Array", Float, Int)
#: Pairs of azimuths up to which their gaps are sorted.
_MOST = 20_000
#: Places with themselves up to which pairs are asked in both orders.
_WHOLE = 100
#: Decimals of a degree that gaps differ by: a hundred thousandth of a millimetre.
_SAME_ANGLE = 9
#: Of `Prior.amplitude_shares`.
Shares = tuple[Float, Float | None]


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
    taken of the chord: the ring is part of the plane (Gneiting 2013, section 2).
    """
    gap = np.deg2rad(start[:, None] - end[None, :])
    return 2.0 * radius * np.abs(np.sin(0.5 * gap))


def wave(start: Float, end: Float, waves: int) -> Float:
    """Correlation of a cosine of any phase round the ring; (len(start), len(end)).

    With independent normal weights on ``cos(n a)`` and ``sin(n a)`` the correlation of
    two azimuths is ``cos(n (a - b))``: one term of Schoenberg's expansion (Gneiting
    2013, section 3).
    """
    left, right = (waves * np.deg2rad(azimuth) for azimuth in (start, end))
    # cos(a - b) from few cosines and sines
    ahead = np.stack([np.cos(left), np.sin(left)], axis=1)
    return np.asarray(ahead @ np.stack([np.cos(right), np.sin(right)]))


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
    worked out on the distinct pairs and spread to all pairs by index.

    Parameters
    ----------
    asked : bool array (left, right), optional
        Which pairs; all of them.  Of places with themselves alone: the two orders of a
        distinct pair are then the same.

    Attributes
    ----------
    left, right : array (u,) and (v,)
        Distinct values.
    spread : int array (p,)
        Which of the d distinct pairs each pair asked for is.
    """

    def __init__(self, left: Float, right: Float, asked: Bool | None = None) -> None:
        self.left, left_index = np.unique(left, return_inverse=True)
        self.right, right_index = np.unique(right, return_inverse=True)
        if asked is None:
            spread = left_index[:, None] * self.right.size + right_index[None, :]
            self.spread = spread.ravel()
            every = np.indices((self.left.size, self.right.size))
            self._one, self._other = every.reshape(2, -1)
        else:
            self._one, self._other = np.tril_indices(self.left.size)
            row, column = np.nonzero(asked)
            one, other = left_index[row], right_index[column]
            low, high = np.minimum(one, other), np.maximum(one, other)
            self.spread = high * (high + 1) // 2 + low

    @property
    def size(self) -> int:
        """How many distinct pairs there are."""
        return int(self._one.size)

    @cached_property
    def apart(self) -> Float:
        """Distance between the two of each distinct pair; (d,)."""
        return np.asarray(np.abs(self.left[self._one] - self.right[self._other]))

    def outer(self, left: Float, right: Float) -> Float:
        """What values left and right have, multiplied; (u,) and (v,) to (d,)."""
        return np.asarray(left[self._one] * right[self._other])

    def of_table(self, table: Float) -> Float:
        """A table of all values left and right; (u, v) to (d,)."""
        return np.asarray(table[self._one, self._other])

    def sums(self, values: Float) -> tuple[Float, Float]:
        """Sums over all pairs of each value left, and right; (d,) to (u,) and (v,)."""
        left = np.bincount(self._one, values, self.left.size)
        right = np.bincount(self._other, values, self.right.size)
        return np.asarray(left, float), np.asarray(right, float)


class UniqueGaps:
    """Pairs of azimuths by how far they are apart on the ring; as `UniquePairs`.

    Attributes
    ----------
    gap : array (g,), degrees
        0 to 180; of few azimuths each distinct one once.
    spread : int array (p,)
        Which of them lies between two places.
    """

    def __init__(self, left: Float, right: Float, asked: Bool | None = None) -> None:
        pairs = UniquePairs(left, right, asked)
        apart = np.mod(pairs.apart, 360.0)
        self.gap, self.spread = np.minimum(apart, 360.0 - apart), pairs.spread
        if self.gap.size <= _MOST:
            rounded = np.round(self.gap, _SAME_ANGLE)
            self.gap, index = np.unique(rounded, return_inverse=True)
            self.spread = index.take(pairs.spread)
        self._chords: dict[tuple[float, float], Float] = {}
        self._waves: dict[int, tuple[Float, Float]] = {}

    def correlation(
        self, component: Component, length_scale: float, radius: float
    ) -> tuple[Float, Float]:
        """`azimuth_correlation` of the gaps, two arrays (g,).

        What no hyperparameter changes is worked out once.
        """

        def chord_at(turn: float) -> Float:
            if (turn, radius) not in self._chords:
                across = chord(self.gap, np.array([turn]), radius)
                self._chords[turn, radius] = across.ravel()
            return self._chords[turn, radius]

        if component.kernel_azimuth in CORRELATIONS:
            return _of_chord(component, length_scale, chord_at)
        waves = component.waves if component.kernel_azimuth == "wave" else 0
        if waves not in self._waves:
            found = azimuth_correlation(
                component, length_scale, radius, self.gap, np.zeros(1)
            )
            self._waves[waves] = found[0].ravel(), found[1].ravel()
        return self._waves[waves]


class ProductPairs:
    """Pairs of places as pairs of heights times gaps in azimuth.

    A sum of products, of a table by height and one by azimuth each, is spread to the
    pairs of places, and sums over pairs that its slopes take are the transpose.
    Readings of a sheet stand at most crossings of few heights and azimuths: there all
    tables are one matrix product, spread by one index.

    Parameters
    ----------
    heights : UniquePairs
        Of d distinct pairs.
    azimuths : UniqueGaps
        Of g gaps.
    """

    def __init__(self, heights: UniquePairs, azimuths: UniqueGaps) -> None:
        self._height, self._azimuth = heights.spread, azimuths.spread
        self._shape = heights.size, azimuths.gap.size
        self._few = heights.size * azimuths.gap.size <= heights.spread.size
        if self._few:
            self._spread = heights.spread * azimuths.gap.size + azimuths.spread

    @cached_property
    def _order(self) -> tuple[Int, Int, Int]:
        """Pairs in the order of their heights; their gaps; where each height begins."""
        order = np.argsort(self._height, kind="stable")
        count = np.bincount(self._height, minlength=self._shape[0])
        return order, self._azimuth[order], np.concatenate([[0], np.cumsum(count)])

    def expand(self, by_height: Sequence[Float], by_azimuth: Sequence[Float]) -> Float:
        """Sum of products for the pairs; arrays (d,), each with one (g,), to (p,)."""
        if self._few:
            return (np.stack(by_height).T @ np.stack(by_azimuth)).take(self._spread)
        total = np.zeros(self._height.size)
        for up, around in zip(by_height, by_azimuth, strict=True):
            term = up.take(self._height)
            term *= around.take(self._azimuth)
            total += term
        return total

    def collapse(self, values: Float, by_azimuth: Sequence[Float]) -> Iterator[Float]:
        """Sums over alike heights of values (p,) times each table (g,), to (d,)."""
        from scipy.sparse import csr_array

        if self._few:
            size = self._shape[0] * self._shape[1]
            sums = np.bincount(self._spread, values, minlength=size)
            return iter(np.stack(by_azimuth) @ sums.reshape(self._shape).T)
        order, gaps, start = self._order
        table = csr_array((values.take(order), gaps, start), shape=self._shape)
        return (np.asarray(table @ each) for each in by_azimuth)


class PairDistances:
    """How far apart two sets of places are, and their patterns' products.

    Of many places with themselves each two are asked once: p pairs.  Else it is all
    pairs of one place of each set, row by row.
    """

    def __init__(self, left: Points2D, right: Points2D) -> None:
        self._left, self._right = left, right
        count = len(left)
        once = left is right and count > _WHOLE
        self._asked = np.tri(count, dtype=bool) if once else None
        # By patterns: they do not follow hyperparameters, so once is enough.
        self._patterns: dict[tuple[Pattern, ...], Float] = {}
        self._ring_patterns: dict[tuple[Pattern, ...], Float] = {}
        self._shares: dict[int, tuple[Prior, Shares, Shares]] = {}
        self._unrepaired: dict[SteppedPattern, Float] = {}

    # Tables (left, right) are worked out when asked for: of very many places only
    # parts ever are.
    @cached_property
    def azimuths(self) -> UniqueGaps:
        """Of the places' azimuths."""
        return UniqueGaps(self._left.azimuth, self._right.azimuth, self._asked)

    @cached_property
    def heights(self) -> UniquePairs:
        """Of the places' heights."""
        return UniquePairs(self._left.height, self._right.height, self._asked)

    @cached_property
    def products(self) -> ProductPairs:
        """Of both."""
        return ProductPairs(self.heights, self.azimuths)

    @cached_property
    def _both(self) -> tuple[Int, Int]:
        """Where each pair asked once stands in a raveled table, either way round."""
        count = len(self._left)
        row, column = np.tril_indices(count)
        return row * count + column, column * count + row

    @property
    def shape(self) -> tuple[int, int]:
        """Number of places left and right."""
        return len(self._left), len(self._right)

    def table(self, values: Float) -> Float:
        """What pairs have, as a table; (p,) to (left, right)."""
        if self._asked is None:
            return values.reshape(self.shape)
        return _mirrored(values, self._asked)

    def collapse(self, table: Float) -> Float:
        """The transpose: what is asked of both orders of a pair, summed."""
        if self._asked is None:
            return table.ravel()
        lower, upper = self._both
        both = table.take(lower)
        both += table.take(upper)
        both[lower == upper] *= 0.5
        return both

    def _of_pairs(self, left: Float, right: Float) -> Float:
        """Products of what places left and right have (k, n), summed; (p,)."""
        table = left.T @ right
        return table.ravel() if self._asked is None else table[self._asked]

    def amplitude_shares(self, prior: Prior) -> tuple[Shares, Shares]:
        """`Prior.amplitude_shares` of the distinct heights, left and right."""
        if id(prior) not in self._shares:
            left = prior.amplitude_shares(self.heights.left)
            right = prior.amplitude_shares(self.heights.right)
            # the prior is kept, so that nothing else takes its place in memory
            self._shares[id(prior)] = prior, left, right
        _, left, right = self._shares[id(prior)]
        return left, right

    def ring_patterns(self, component: Component) -> Float:
        """`ring_pattern_product` of the distinct pairs of heights; (d,)."""
        key, heights = component.patterns, self.heights
        if key not in self._ring_patterns:
            product = ring_pattern_product(component, heights.left, heights.right)
            self._ring_patterns[key] = heights.of_table(product)
        return self._ring_patterns[key]

    def patterns(self, component: Component) -> Float:
        """Patterns at the left places times at the right, summed; (p,)."""
        key = component.patterns
        if key not in self._patterns:
            self._patterns[key] = self._of_pairs(
                *(patterns_at(component, p) for p in (self._left, self._right))
            )
        return self._patterns[key]

    def unrepaired(self, region: SteppedPattern) -> Float:
        """1 where neither place of a pair is in a repair, else 0; (p,)."""
        if region not in self._unrepaired:
            self._unrepaired[region] = self._of_pairs(
                *(
                    region.at(p.azimuth, p.height)[None]
                    for p in (self._left, self._right)
                )
            )
        return self._unrepaired[region]


def _mirrored(values: Array, lower: Bool) -> Array:
    """A symmetric table by its lower half, row by row."""
    table = np.empty(lower.shape, dtype=values.dtype)
    table[lower] = values
    table.T[lower] = values
    return table


def patterns_at(component: Component, places: Points2D) -> Float:
    """A component's patterns at places; (patterns, n)."""
    azimuth, height = places.azimuth, places.height
    return np.stack([p.at(azimuth, height) for p in component.patterns])


def ring_pattern_product(component: Component, left: Float, right: Float) -> Float:
    """Patterns that are the same all round, of heights times of others, summed.

    Ones where the component has none such; array (len(left), len(right)).
    """
    if not component.ring_patterns:
        return np.ones((left.size, right.size))
    pairs = [(p.at_heights(left), p.at_heights(right)) for p in component.patterns]
    return np.asarray(np.sum([np.outer(*pair) for pair in pairs], axis=0))


def azimuth_correlation(
    component: Component, length_scale: float, radius: float, left: Float, right: Float
) -> tuple[Float, Float]:
    """Correlation round the ring and its derivative by the log of its length scale.

    Parameters
    ----------
    length_scale, radius : float, mm
    left, right : array, degrees

    Returns
    -------
    two arrays (len(left), len(right))
    """
    if component.kernel_azimuth == "same":
        return _always((left.size, right.size))
    if component.kernel_azimuth == "wave":
        flat = np.zeros((left.size, right.size))
        return wave(left, right, component.waves), flat
    return _of_chord(
        component, length_scale, lambda turn: chord(left, right + turn, radius)
    )


def _of_chord(
    component: Component, length_scale: float, chord_at: Callable[[float], Float]
) -> tuple[Float, Float]:
    """The same by chords, mm; ``chord_at`` turns the right ends on by degrees."""
    correlation = CORRELATIONS[component.kernel_azimuth]
    value, slope = correlation(chord_at(0.0) / length_scale)
    if not component.parity:
        return value, slope
    # the part of a field that is the same, or the opposite, half a turn on
    sign = 1.0 if component.parity == "even" else -1.0
    far, far_slope = correlation(chord_at(180.0) / length_scale)
    return 0.5 * (value + sign * far), 0.5 * (slope + sign * far_slope)


def height_correlation(
    component: Component, length_scale: float, apart: Float
) -> tuple[Float, Float]:
    """Correlation of heights so far apart, mm, and its derivative; two like arrays."""
    if component.kernel_height == "same":
        return _always(apart.shape)
    return CORRELATIONS[component.kernel_height](apart / length_scale)


def _always(shape: tuple[int, ...]) -> tuple[Float, Float]:
    return np.ones(shape), np.zeros(shape)
