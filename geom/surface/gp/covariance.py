"""Covariance of cut-back between places on the wall, for given sizes and lengths.

Every part is a product of a function of the two heights and one of the two azimuths
(and where a pattern goes round the wall, of that pattern at both places).

Covariance of places with the nodes of a grid, row by row.

What goes by azimuth is the same in every row and is worked out once.  In a row every
part is a product of a column by height and a row by azimuth, so that all parts together
are one small matrix product for each place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.surface.gp.kernels import (
    PairDistances,
    Points2D,
    along,
    around,
    levels,
    patterns_at,
)
from geom.surface.gp.prior import Component, LogNormal, Prior
from geom.units import Float


@dataclass(frozen=True)
class FilledComponent:
    """A part with its size and lengths filled in, mm; infinite where it has none."""

    part: Component
    size: float
    length_scale_azimuth: float
    length_scale_height: float


@dataclass(frozen=True)
class Covariance:
    """A prior with its sizes, lengths and liveliness filled in.

    Attributes
    ----------
    prior : Prior
    theta : array (p,)
        Logarithms of sizes and lengths in the prior's order, then those of the
        liveliness at its knots.
    """

    prior: Prior
    theta: Float

    @cached_property
    def components(self) -> tuple[FilledComponent, ...]:
        """All parts, filled in."""
        values = iter(np.exp(self.theta))

        def told(guess: LogNormal | None) -> float:
            if guess is None:
                return np.inf
            return float(next(values)) if guess.learned else guess.median

        return tuple(
            FilledComponent(
                part,
                told(part.size),
                told(part.length_scale_azimuth),
                told(part.length_scale_height),
            )
            for part in self.prior.components
        )

    def amplitude(self, height: Float) -> Float:
        """How much more the lively parts vary at a height than on the whole; (n,)."""
        basis = self.prior.basis(height)
        return np.exp(basis @ self.theta[self.theta.size - basis.shape[1] :])

    def amplitude_product(self, left: Float, right: Float) -> Float:
        """Liveliness at heights times that at others; (len(left), len(right))."""
        return np.outer(self.amplitude(left), self.amplitude(right))

    def ring(
        self, filled: FilledComponent, left: Float, right: Float
    ) -> tuple[Float, Float]:
        """Correlation round the ring, and its slope by log ``length_scale_azimuth``."""
        return around(
            filled.part, filled.length_scale_azimuth, self.prior.radius, left, right
        )

    def between(self, left: Points2D, right: Points2D) -> Float:
        """Covariance matrix, mm2; shape (len(left), len(right))."""
        return self.with_gradient(PairDistances(left, right))[0]

    def with_gradient(
        self, distances: PairDistances
    ) -> tuple[Float, Callable[[Float], Float]]:
        """Covariance, and how a function of it changes with the logs.

        Returns
        -------
        covariance : array (left, right), mm2
        gradient : callable
            From the derivatives of a function by each entry of the covariance, an array
            (left, right), to its derivatives by the logs, an array (p,).
        """
        heights, azimuths = distances.heights, distances.azimuths
        total = np.zeros(distances.shape)
        amplitude_product = self.amplitude_product(heights.left, heights.right)
        same = np.zeros_like(amplitude_product)
        told = []
        for filled in self.components:
            scale = distances.level(filled.part) * (
                amplitude_product if filled.part.scaled_by_height else 1.0
            )
            tall, tall_slope = tall_of(filled, heights.left, heights.right, scale)
            rings = None
            if filled.part.axisymmetric:
                same += tall
            else:
                rings = [
                    azimuths.spread(table)
                    for table in self.ring(filled, azimuths.left, azimuths.right)
                ]
                if filled.part.patterned:
                    rings = [
                        table * distances.patterned(filled.part) for table in rings
                    ]
                total += heights.spread(tall) * rings[0]
            told.append((filled.part, tall, tall_slope, rings))
        total += heights.spread(same)

        def gradient(pull: Float) -> Float:
            by_part: list[float] = []
            scaled_by_height = np.zeros_like(same)
            whole = heights.gathered(pull)
            for part, tall, tall_slope, rings in told:
                felt = whole if rings is None else heights.gathered(pull * rings[0])
                own = felt * tall
                if part.size.learned:
                    by_part.append(2.0 * float(own.sum()))
                if (
                    part.length_scale_azimuth is not None
                    and part.length_scale_azimuth.learned
                    and rings is not None
                ):
                    by_arc = heights.gathered(pull * rings[1])
                    by_part.append(float(np.vdot(by_arc, tall)))
                if (
                    part.length_scale_height is not None
                    and part.length_scale_height.learned
                ):
                    by_part.append(float(np.vdot(felt, tall_slope)))
                if part.scaled_by_height:
                    scaled_by_height += own
            by_knot = self.prior.basis(heights.left).T @ scaled_by_height.sum(axis=1)
            by_knot += self.prior.basis(heights.right).T @ scaled_by_height.sum(axis=0)
            return np.append(by_part, by_knot)

        return total, gradient

    def variance(self, height: Float, azimuth: Float) -> Float:
        """Prior variance of cut-back on a grid, mm2; (len(height), len(azimuth))."""
        scaled_by_height = self.amplitude(height)[:, None] ** 2
        total = np.zeros((height.size, azimuth.size))
        for filled in self.components:
            share = filled.size**2 * (
                scaled_by_height if filled.part.scaled_by_height else 1.0
            )
            fields = [p.on_grid(height, azimuth) ** 2 for p in filled.part.patterns]
            total += share * (np.sum(fields, axis=0) if fields else 1.0)
        return total

    def described(self) -> list[dict[str, float | str]]:
        """Each part with its size and lengths in mm, for people.

        The size of a part with patterns is the multiple of them.
        """
        return [
            {
                "part": f.part.name,
                "size": f.size,
                "arc": f.length_scale_azimuth,
                "rise": f.length_scale_height,
            }
            for f in self.components
        ]


def tall_of(
    filled: FilledComponent, left: Float, right: Float, scale: Float
) -> tuple[Float, Float]:
    """A part's covariance as far as it goes by height, mm2, and its slope.

    Parameters
    ----------
    filled : FilledComponent
    left, right : array, mm
    scale : array (len(left), len(right))
        Liveliness and patterns that are the same all round.

    Returns
    -------
    two arrays (len(left), len(right))
        The second by the logarithm of ``length_scale_height``.
    """
    whole = filled.size**2 * scale
    value, slope = along(filled.part, filled.length_scale_height, left, right)
    return whole * value, whole * slope


class GridCrossCovariance:
    """The ties of some places to the rows of a grid.

    Parameters
    ----------
    covariance : Covariance
    left : Points2D, length n
    azimuth : array (k,), degrees
        Of the grid's columns.
    """

    def __init__(self, covariance: Covariance, left: Points2D, azimuth: Float) -> None:
        self._covariance, self._left, self._azimuth = covariance, left, azimuth
        self._height, self._at = np.unique(left.height, return_inverse=True)
        turned, back = np.unique(left.azimuth, return_inverse=True)
        components = covariance.components
        self._same = [f for f in components if f.part.axisymmetric]
        self._plain = [
            f for f in components if f not in self._same and not f.part.patterned
        ]
        self._patterned = [f for f in components if f.part.patterned]
        rings = [covariance.ring(f, turned, azimuth)[0] for f in self._plain]
        table = np.stack([np.ones((turned.size, azimuth.size)), *rings], axis=1)
        self._rings = table[back]
        self._patterned_rings = [
            covariance.ring(f, turned, azimuth)[0][back] for f in self._patterned
        ]

    def weighted_sum(self, weight: Float, height: Float) -> Float:
        """Weighted sum over the places of their covariance with rows, mm2.

        Parameters
        ----------
        weight : array (n,)
        height : array (m,), mm

        Returns
        -------
        array (m, k)
        """
        amplitude_product = self._amplitude_product(height)
        table = self._talls(height, amplitude_product) * weight[:, None, None]
        flat = np.moveaxis(table, 1, 0).reshape(height.size, -1)
        total = flat @ self._rings.reshape(flat.shape[1], -1)
        for filled, ring in zip(self._patterned, self._patterned_rings, strict=True):
            tall = self._tall(filled, height, amplitude_product)[self._at]
            for pattern in filled.part.patterns:
                pull = weight * pattern.at(self._left.azimuth, self._left.height)
                field = pattern.on_grid(height, self._azimuth)
                total += (tall * pull[:, None]).T @ ring * field
        return np.asarray(total)

    def rows(self, height: Float) -> Float:
        """Covariance with every node of rows, mm2.

        Parameters
        ----------
        height : array (m,), mm

        Returns
        -------
        array (n, m, k)
        """
        amplitude_product = self._amplitude_product(height)
        total = np.asarray(
            np.matmul(self._talls(height, amplitude_product), self._rings)
        )
        for filled, ring in zip(self._patterned, self._patterned_rings, strict=True):
            patterns = filled.part.patterns
            field = np.stack([p.on_grid(height, self._azimuth) for p in patterns])
            block = np.tensordot(patterns_at(filled.part, self._left), field, (0, 0))
            block *= self._tall(filled, height, amplitude_product)[self._at][:, :, None]
            total += block * ring[:, None, :]
        return total

    def _talls(self, height: Float, amplitude_product: Float) -> Float:
        """Parts by height: those alike all round together, then each; (n, m, parts)."""
        alike = np.zeros_like(amplitude_product)
        for filled in self._same:
            alike += self._tall(filled, height, amplitude_product)
        each = [self._tall(filled, height, amplitude_product) for filled in self._plain]
        return np.stack([alike, *each], axis=2)[self._at]

    def _tall(
        self, filled: FilledComponent, height: Float, amplitude_product: Float
    ) -> Float:
        scale = levels(filled.part, self._height, height)
        if filled.part.scaled_by_height:
            scale = scale * amplitude_product
        return tall_of(filled, self._height, height, scale)[0]

    def _amplitude_product(self, height: Float) -> Float:
        return self._covariance.amplitude_product(self._height, height)
