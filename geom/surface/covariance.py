"""Covariance of cut-back between places on the wall, for given sizes and lengths.

Every part is a product of a function of the two heights and one of the two azimuths
(and where a pattern goes round the wall, of that pattern at both places).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.surface.prior import Guess, Part, Prior
from geom.surface.separation import Places, Separation, along, around
from geom.units import Float


@dataclass(frozen=True)
class Filled:
    """A part with its size and lengths filled in, mm; infinite where it has none."""

    part: Part
    size: float
    arc: float
    rise: float


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

    @cached_property
    def parts(self) -> tuple[Filled, ...]:
        """All parts, filled in."""
        values = iter(np.exp(self.logs))

        def told(guess: Guess | None) -> float:
            if guess is None:
                return np.inf
            return float(next(values)) if guess.learned else guess.median

        return tuple(
            Filled(part, told(part.size), told(part.arc), told(part.rise))
            for part in self.prior.parts
        )

    def liveliness(self, height: Float) -> Float:
        """How much more the lively parts vary at a height than on the whole; (n,)."""
        hats = self.prior.hats(height)
        return np.exp(hats @ self.logs[self.logs.size - hats.shape[1] :])

    def beat(self, left: Float, right: Float) -> Float:
        """Liveliness at heights times that at others; (len(left), len(right))."""
        return np.outer(self.liveliness(left), self.liveliness(right))

    def ring(self, filled: Filled, left: Float, right: Float) -> tuple[Float, Float]:
        """A part's correlation round the ring, and its slope by log ``arc``."""
        return around(filled.part, filled.arc, self.prior.radius, left, right)

    def between(self, left: Places, right: Places) -> Float:
        """Covariance matrix, mm2; shape (len(left), len(right))."""
        return self.with_gradient(Separation(left, right))[0]

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
        heights, azimuths = apart.heights, apart.azimuths
        total = np.zeros(apart.shape)
        beat = self.beat(heights.left, heights.right)
        same = np.zeros_like(beat)
        told = []
        for filled in self.parts:
            scale = apart.level(filled.part) * (beat if filled.part.lively else 1.0)
            tall, tall_slope = tall_of(filled, heights.left, heights.right, scale)
            rings = None
            if filled.part.level_all_round:
                same += tall
            else:
                rings = [
                    azimuths.spread(table)
                    for table in self.ring(filled, azimuths.left, azimuths.right)
                ]
                if filled.part.woven:
                    rings = [table * apart.woven(filled.part) for table in rings]
                total += heights.spread(tall) * rings[0]
            told.append((filled.part, tall, tall_slope, rings))
        total += heights.spread(same)

        def gradient(pull: Float) -> Float:
            by_part: list[float] = []
            lively = np.zeros_like(same)
            whole = heights.gathered(pull)
            for part, tall, tall_slope, rings in told:
                felt = whole if rings is None else heights.gathered(pull * rings[0])
                own = felt * tall
                if part.size.learned:
                    by_part.append(2.0 * float(own.sum()))
                if part.arc is not None and part.arc.learned and rings is not None:
                    by_arc = heights.gathered(pull * rings[1])
                    by_part.append(float(np.vdot(by_arc, tall)))
                if part.rise is not None and part.rise.learned:
                    by_part.append(float(np.vdot(felt, tall_slope)))
                if part.lively:
                    lively += own
            by_knot = self.prior.hats(heights.left).T @ lively.sum(axis=1)
            by_knot += self.prior.hats(heights.right).T @ lively.sum(axis=0)
            return np.append(by_part, by_knot)

        return total, gradient

    def variance(self, height: Float, azimuth: Float) -> Float:
        """Prior variance of cut-back on a grid, mm2; (len(height), len(azimuth))."""
        lively = self.liveliness(height)[:, None] ** 2
        total = np.zeros((height.size, azimuth.size))
        for filled in self.parts:
            share = filled.size**2 * (lively if filled.part.lively else 1.0)
            fields = [p.on_grid(height, azimuth) ** 2 for p in filled.part.patterns]
            total += share * (np.sum(fields, axis=0) if fields else 1.0)
        return total

    def described(self) -> list[dict[str, float | str]]:
        """Each part with its size and lengths in mm, for people.

        The size of a part with patterns is the multiple of them.
        """
        return [
            {"part": f.part.name, "size": f.size, "arc": f.arc, "rise": f.rise}
            for f in self.parts
        ]


def tall_of(
    filled: Filled, left: Float, right: Float, scale: Float
) -> tuple[Float, Float]:
    """A part's covariance as far as it goes by height, mm2, and its slope.

    Parameters
    ----------
    filled : Filled
    left, right : array, mm
    scale : array (len(left), len(right))
        Liveliness and patterns that are the same all round.

    Returns
    -------
    two arrays (len(left), len(right))
        The second by the logarithm of ``rise``.
    """
    whole = filled.size**2 * scale
    value, slope = along(filled.part, filled.rise, left, right)
    return whole * value, whole * slope
