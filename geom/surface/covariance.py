"""Covariance of cut-back between places on the wall, for given sizes and lengths."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geom.surface.correlation import CORRELATIONS, chord, rise
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


class Separation:
    """Distances between two sets of places, kept by their distinct coordinates.

    Readings stand on few azimuths and few heights, so a correlation is worked out on
    the distinct pairs and spread to all by index.
    """

    def __init__(self, left: Places, right: Places, radius: float) -> None:
        self._azimuths = _distinct(left.azimuth, right.azimuth)
        self._heights = _distinct(left.height, right.height)
        self._chord = chord(self._azimuths[0], self._azimuths[2], radius)
        self._rise = rise(self._heights[0], self._heights[2])

    def around(self, kind: str, length: float) -> tuple[Float, Float]:
        """Correlation round the ring and its log-length derivative; (left, right)."""
        value, slope = CORRELATIONS[kind](self._chord / length)
        return self._spread(value, self._azimuths), self._spread(slope, self._azimuths)

    def along(self, kind: str, length: float) -> tuple[Float, Float]:
        """Correlation with height and its log-length derivative; (left, right)."""
        value, slope = CORRELATIONS[kind](self._rise / length)
        return self._spread(value, self._heights), self._spread(slope, self._heights)

    @staticmethod
    def _spread(table: Float, distinct: tuple[Float, Int, Float, Int]) -> Float:
        return table[distinct[1]][:, distinct[3]]


def _distinct(left: Float, right: Float) -> tuple[Float, Int, Float, Int]:
    left_values, left_index = np.unique(left, return_inverse=True)
    right_values, right_index = np.unique(right, return_inverse=True)
    return left_values, left_index, right_values, right_index


@dataclass(frozen=True)
class Covariance:
    """A prior with its sizes and lengths filled in.

    Attributes
    ----------
    prior : Prior
    logs : array (p,)
        Logarithms of sizes and lengths, in the prior's order.
    """

    prior: Prior
    logs: Float

    def between(self, left: Places, right: Places) -> Float:
        """Covariance matrix, mm2; shape (len(left), len(right))."""
        apart = Separation(left, right, self.prior.radius)
        total = np.zeros((len(left), len(right)))
        for part, size, arc, up in self._filled():
            block = np.full(total.shape, size**2)
            if part.around != "same":
                block *= apart.around(part.around, arc)[0]
            if part.along != "same":
                block *= apart.along(part.along, up)[0]
            total += block
        return total

    def to_grid(self, left: Places, azimuth: Float, height: Float) -> Float:
        """Covariance of places with every node of a grid, mm2.

        Returns
        -------
        array (len(left), len(height), len(azimuth))
        """
        total = np.zeros((len(left), height.size, azimuth.size))
        ring_apart = chord(left.azimuth, azimuth, self.prior.radius)
        tall_apart = rise(left.height, height)
        for part, size, arc, up in self._filled():
            ring = tall = np.ones((1, 1))
            if part.around != "same":
                ring = CORRELATIONS[part.around](ring_apart / arc)[0]
            if part.along != "same":
                tall = CORRELATIONS[part.along](tall_apart / up)[0]
            total += (size**2 * tall)[:, :, None] * ring[:, None, :]
        return total

    def with_slopes(self, apart: Separation) -> tuple[Float, list[Float]]:
        """Covariance and its derivative by each log size and log length."""
        total: Float | float = 0.0
        slopes: list[Float] = []
        for part, size, arc, up in self._filled():
            ones = (np.ones(()), np.zeros(()))
            ring = ones if part.around == "same" else apart.around(part.around, arc)
            tall = ones if part.along == "same" else apart.along(part.along, up)
            block = size**2 * ring[0] * tall[0]
            total = total + block
            slopes.append(2.0 * block)
            if part.arc is not None:
                slopes.append(size**2 * ring[1] * tall[0])
            if part.rise is not None:
                slopes.append(size**2 * ring[0] * tall[1])
        return np.asarray(total), slopes

    @property
    def variance(self) -> float:
        """Prior variance of cut-back at a place, mm2."""
        return float(sum(size**2 for _, size, _, _ in self._filled()))

    def described(self) -> list[dict[str, float | str]]:
        """Each part with its size and lengths in mm, for people."""
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
