"""Covariance of cut-back between places on the wall, for given sizes and lengths."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from geom.surface.correlation import CORRELATIONS, chord, rise, wave
from geom.surface.pattern import Pattern
from geom.surface.prior import Part, Prior
from geom.units import Float, Int


@dataclass(frozen=True)
class Places:
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


#: Correlation 1 of any two places, and no slope; it broadcasts.
_ALIKE = np.ones((1, 1)), np.zeros((1, 1))


class Separation:
    """How far apart two sets of places are, kept by their distinct coordinates.

    Readings stand on few azimuths and few heights, so a correlation is worked out on
    the distinct pairs and spread to all by index.
    """

    def __init__(self, left: Places, right: Places) -> None:
        self.left, self.right = left, right
        self._azimuths = _distinct(left.azimuth, right.azimuth)
        self._heights = _distinct(left.height, right.height)
        self._patterns: dict[Pattern, tuple[Float, Float]] = {}

    def around(self, part: Part, arc: float, radius: float) -> tuple[Float, Float]:
        """Correlation round the ring and its log-length derivative.

        Both broadcast to (left, right); the derivative means nothing for a part
        without a length.
        """
        if part.around == "same":
            return _ALIKE
        left, right, spread = self._azimuths
        value, slope = around(part, arc, radius, left, right)
        return value.take(spread), slope if part.arc is None else slope.take(spread)

    def along(self, part: Part, up: float) -> tuple[Float, Float]:
        """Correlation with height and its log-length derivative; as `around`."""
        if part.along == "same":
            return _ALIKE
        left, right, spread = self._heights
        value, slope = along(part, up, left, right)
        return value.take(spread), slope.take(spread)

    def pattern(self, pattern: Pattern) -> Float:
        """A pattern at the left places times that at the right; (left, right)."""
        if pattern not in self._patterns:
            self._patterns[pattern] = (
                pattern.at(self.left.azimuth, self.left.height),
                pattern.at(self.right.azimuth, self.right.height),
            )
        left, right = self._patterns[pattern]
        return left[:, None] * right[None, :]


def around(
    part: Part, arc: float, radius: float, left: Float, right: Float
) -> tuple[Float, Float]:
    """Correlation of a part round the ring and its derivative by log ``arc``.

    Parameters
    ----------
    part : Part
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
    return CORRELATIONS[part.around](chord(left, right, radius) / arc)


def along(part: Part, up: float, left: Float, right: Float) -> tuple[Float, Float]:
    """Correlation of a part with height, and its derivative; as `around`."""
    if part.along == "same":
        return _always(left, right)
    return CORRELATIONS[part.along](rise(left, right) / up)


def _always(left: Float, right: Float) -> tuple[Float, Float]:
    shape = (left.size, right.size)
    return np.ones(shape), np.zeros(shape)


def _distinct(left: Float, right: Float) -> tuple[Float, Float, Int]:
    """Distinct coordinates of both sides, and where each pair stands in their table."""
    left_values, left_index = np.unique(left, return_inverse=True)
    right_values, right_index = np.unique(right, return_inverse=True)
    spread = left_index[:, None] * right_values.size + right_index[None, :]
    return left_values, right_values, spread


@dataclass(frozen=True)
class Covariance:
    """A prior with its sizes, lengths and liveliness filled in.

    Attributes
    ----------
    prior : Prior
    logs : array (p,)
        Logarithms of sizes and lengths in the prior's order, then those of the
        liveliness at its knots.
    """

    prior: Prior
    logs: Float

    def between(self, left: Places, right: Places) -> Float:
        """Covariance matrix, mm2; shape (len(left), len(right))."""
        apart = Separation(left, right)
        total = np.zeros((len(left), len(right)))
        beat = self._beat(left.height, right.height)
        for part, size, arc, up in self._filled():
            block = size**2 * (beat if part.lively else np.ones_like(beat))
            if part.pattern is not None:
                block *= apart.pattern(part.pattern)
            block *= apart.around(part, arc, self.prior.radius)[0]
            total += block * apart.along(part, up)[0]
        return total

    def to_grid(self, left: Places, azimuth: Float, height: Float) -> Float:
        """Covariance of places with every node of a grid, mm2.

        Returns
        -------
        array (len(left), len(height), len(azimuth))
        """
        total = np.zeros((len(left), height.size, azimuth.size))
        lively = self._beat(left.height, height)
        for part, size, arc, up in self._filled():
            ring, _ = around(part, arc, self.prior.radius, left.azimuth, azimuth)
            tall, _ = along(part, up, left.height, height)
            tall = size**2 * tall * (lively if part.lively else 1.0)
            block = tall[:, :, None] * ring[:, None, :]
            if part.pattern is not None:
                block *= part.pattern.at(left.azimuth, left.height)[:, None, None]
                block *= part.pattern.on_grid(height, azimuth)
            total += block
        return total

    def pulled_on_grid(
        self, weight: Float, left: Places, azimuth: Float, height: Float
    ) -> Float:
        """Weighted sum over places of their covariance with every node of a grid.

        As ``weight @ to_grid(...)``, without the table.

        Returns
        -------
        array (len(height), len(azimuth))
        """
        total = np.zeros((height.size, azimuth.size))
        lively = self._beat(left.height, height)
        for part, size, arc, up in self._filled():
            ring, _ = around(part, arc, self.prior.radius, left.azimuth, azimuth)
            tall, _ = along(part, up, left.height, height)
            tall = size**2 * tall * (lively if part.lively else 1.0)
            if part.pattern is None:
                total += (tall * weight[:, None]).T @ ring
            else:
                pull = weight * part.pattern.at(left.azimuth, left.height)
                field = part.pattern.on_grid(height, azimuth)
                total += (tall * pull[:, None]).T @ ring * field
        return total

    def with_gradient(
        self, apart: Separation
    ) -> tuple[Float, Callable[[Float], Float]]:
        """Covariance, and how a function of it changes with the logs.

        Returns
        -------
        covariance : array (left, right), mm2
        gradient : callable
            From the derivatives of a function by each entry of the covariance, an array
            (left, right), to its derivatives by the logs, an array (p,).
        """
        beat = self._beat(apart.left.height, apart.right.height)
        total, slopes, lively = np.zeros_like(beat), [], np.zeros_like(beat)
        for part, size, arc, up in self._filled():
            ring, ring_slope = apart.around(part, arc, self.prior.radius)
            tall, tall_slope = apart.along(part, up)
            scale = size**2 * beat if part.lively else np.full_like(beat, size**2)
            if part.pattern is not None:
                scale *= apart.pattern(part.pattern)
            flat = scale * ring
            block = flat * tall
            total += block
            slopes.append(2.0 * block)
            if part.arc is not None:
                slopes.append(scale * tall * ring_slope)
            if part.rise is not None:
                slopes.append(flat * tall_slope)
            if part.lively:
                lively += block

        def gradient(pull: Float) -> Float:
            by_part = [float(np.vdot(pull, slope)) for slope in slopes]
            felt = pull * lively
            by_knot = self.prior.hats(apart.left.height).T @ felt.sum(axis=1)
            by_knot += self.prior.hats(apart.right.height).T @ felt.sum(axis=0)
            return np.append(by_part, by_knot)

        return total, gradient

    def _beat(self, left: Float, right: Float) -> Float:
        return self.liveliness(left)[:, None] * self.liveliness(right)

    def liveliness(self, height: Float) -> Float:
        """How much more the lively parts vary at a height than on the whole; (n,)."""
        count = self.prior.knots.size
        return np.exp(self.prior.hats(height) @ self.logs[self.logs.size - count :])

    def variance(self, height: Float, azimuth: Float) -> Float:
        """Prior variance of cut-back on a grid, mm2; (len(height), len(azimuth))."""
        lively = self.liveliness(height)[:, None] ** 2
        total = np.zeros((height.size, azimuth.size))
        for part, size, _, _ in self._filled():
            share = size**2 * (lively if part.lively else np.ones_like(lively))
            if part.pattern is not None:
                share = share * part.pattern.on_grid(height, azimuth) ** 2
            total += share
        return total

    def described(self) -> list[dict[str, float | str]]:
        """Each part with its size and lengths in mm, for people.

        The size of a part with a pattern is the multiple of the pattern.
        """
        return [
            {"part": part.name, "size": size, "arc": arc, "rise": up}
            for part, size, arc, up in self._filled()
        ]

    def _filled(self) -> Iterator[tuple[Part, float, float, float]]:
        values = iter(np.exp(self.logs))
        for part in self.prior.parts:
            size = float(next(values))
            arc = float(next(values)) if part.arc is not None else np.inf
            up = float(next(values)) if part.rise is not None else np.inf
            yield part, size, arc, up
