"""Readings as linear observations of one surface, and their errors.

A radius or cut-back reading sees cut-back at one place; a diameter reading sees the sum
of two, half a turn apart.  With x cut-back at all places read, the readings are
``y = A x + e``; A is never written out, `ObservationOperator` applies it.

Each source of error goes by its name.  It is either a reading's own (rounding, setting
the rod) or shared by all readings of one set-up (a rod that is not on the axis):
``cov e = sum_s diag(own_s) + B_s B_s'``.  Some sizes are known, some are learned from
the sheet.

References
----------
JCGM 100:2008 (GUM), 2.3.2 and 2.3.3 (type A and type B), 4.3.7 (a resolution step is a
rectangular distribution, sd = step / sqrt(12)), 5.2 (shared errors correlate readings).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.surface.gp.kernels import Points2D
from geom.units import Bool, Float

if TYPE_CHECKING:
    from scipy.sparse import csr_array


@dataclass(frozen=True)
class ObservationOperator:
    """What was seen of cut-back.

    Attributes
    ----------
    value : array (n,), mm
        Observed cut-back, or sum of two.
    places : Points2D, length n + number of diameters
        Where: one place a reading, then the far ends of the diameters.
    across : bool array (n,)
        Which readings are diameters.
    """

    value: Float
    places: Points2D
    across: Bool

    def __len__(self) -> int:
        return int(self.value.size)

    def apply(self, table: Float) -> Float:
        """Rows of places summed to rows of readings; (places, ...) to (n, ...)."""
        if not self.across.any():
            return table
        n = len(self)
        seen = table[:n].copy()
        seen[self.across] += table[n:]
        return seen

    def spread_to_places(self, weight: Float) -> Float:
        """Weights of readings as weights of their places; (n,) to (places,)."""
        return np.append(weight, weight[self.across])

    def sandwich(self, table: Float) -> Float:
        """A covariance of places to one of readings; (places, places) to (n, n)."""
        return self.apply(self.apply(table).T).T

    def adjoint(self, table: Float) -> Float:
        """The transpose of `sandwich`: (n, n) to (places, places)."""
        if not self.across.any():
            return table
        reading = np.append(np.arange(len(self)), np.flatnonzero(self.across))
        return table[np.ix_(reading, reading)]

    def subset(self, rows: Bool) -> ObservationOperator:
        """Some of the readings; ``rows`` is a mask (n,)."""
        both = np.append(rows, rows[self.across])
        places = Points2D(self.places.azimuth[both], self.places.height[both])
        return ObservationOperator(self.value[rows], places, self.across[rows])


def observe(readings: RodReadings, design: Design) -> ObservationOperator:
    """Cut-back as the readings saw it.

    A radius or diameter at a step of the profile belongs to the part above it.
    """
    design_radius = design.profile.radius_at(readings.height)
    across = readings.is_kind("diameter")
    base = np.select(
        [across, readings.is_kind("radius")], [2.0 * design_radius, design_radius], 0.0
    )
    far = np.mod(readings.azimuth[across] + 180.0, 360.0)
    places = Points2D(
        azimuth=np.concatenate([readings.azimuth, far]),
        height=np.concatenate([readings.height, readings.height[across]]),
    )
    return ObservationOperator(readings.value - base, places, across)


@dataclass(frozen=True)
class Source:
    """One source of reading error.

    Attributes
    ----------
    kind : {'A', 'B'}
    unit : str
        Of ``sd``: ``"mm"`` or ``"deg"``.
    sd : float
        Standard uncertainty of the source itself.
    own : array (n,), mm2
        Variance it gives each reading by itself.
    shared : array (n, k), mm
        What k common errors of standard deviation 1 do to each reading.
    spread : float
        Of the logarithm of ``sd`` before it is learned; 0 where it is known.
    """

    name: str
    kind: Literal["A", "B"]
    unit: str
    sd: float
    own: Float
    shared: Float
    spread: float = 0.0

    @property
    def touches(self) -> bool:
        """Whether any reading feels it."""
        return bool(np.any(self.own > 0) or np.any(self.shared != 0))

    def scaled(self, sd: float) -> Source:
        """The same with another standard uncertainty."""
        factor = float(sd) / self.sd
        return replace(
            self,
            sd=float(sd),
            own=self.own * factor**2,
            shared=self.shared * factor,
        )

    def subset(self, rows: Bool) -> Source:
        """For some of the readings; ``rows`` is a mask (n,)."""
        return replace(self, own=self.own[rows], shared=self.shared[rows])

    def averaged(self, weights: csr_array) -> Source:
        """As means of readings feel it; ``weights`` (m, n), each reading in one row."""
        # W diag(own) W' has nothing off its diagonal: no reading is in two means.
        own = np.asarray(weights.power(2) @ self.own)
        return replace(self, own=own, shared=np.asarray(weights @ self.shared))

    def variance_of(self, gain: Float) -> float:
        """Variance it gives to ``gain @ readings``; ``gain`` is (n,)."""
        # gain' (diag(own) + B B') gain, with the shared errors' effects B (n, k).
        return float(gain**2 @ self.own + np.sum((gain @ self.shared) ** 2))

    def slope(self, pull: Float) -> float:
        """Derivative by log sd of a function with slopes ``pull`` by covariance."""
        # Inner product of pull (n, n) with the derivative 2 (diag(own) + B B').
        own = np.diag(pull) @ self.own
        return float(2.0 * (own + np.sum(self.shared * (pull @ self.shared))))


@dataclass(frozen=True)
class Noise:
    """All sources that touch the readings."""

    sources: tuple[Source, ...]

    @property
    def learned(self) -> tuple[Source, ...]:
        """The sources whose sd is learned."""
        return tuple(s for s in self.sources if s.spread > 0)

    def with_learned(self, sds: Float) -> Noise:
        """The same with the learned sources at these sds, in their order."""
        values = iter(sds)
        return Noise(
            tuple(s.scaled(next(values)) if s.spread > 0 else s for s in self.sources)
        )

    def subset(self, rows: Bool) -> Noise:
        """For some of the readings; ``rows`` is a mask (n,)."""
        return Noise(tuple(s.subset(rows) for s in self.sources))

    def averaged(self, weights: csr_array) -> Noise:
        """For means of readings; ``weights`` (m, n), each reading in one row."""
        return Noise(tuple(s.averaged(weights) for s in self.sources))

    @cached_property
    def variance(self) -> Float:
        """Total variance of each reading, mm2; shape (n,)."""
        total = np.zeros_like(self.sources[0].own)
        for source in self.sources:
            total = total + source.own + np.sum(source.shared**2, axis=1)
        return total

    @cached_property
    def own(self) -> Float:
        """Variance that each reading has by itself, mm2; (n,)."""
        return np.asarray(np.sum([s.own for s in self.sources], axis=0))

    def times(self, weight: Float) -> Float:
        """Their covariance times weights of readings (n, ...); same shape."""
        total = (weight.T * self.own).T
        for source in self.sources:
            total += source.shared @ (source.shared.T @ weight)
        return np.asarray(total)

    def variances_of(self, gain: Float) -> Float:
        """Variances they give to sums ``gain @ readings``; (p, n) to (p,), mm2."""
        total = gain**2 @ self.own
        for source in self.sources:
            total += np.sum((gain @ source.shared) ** 2, axis=1)
        return np.asarray(total)

    @cached_property
    def matrix(self) -> Float:
        """Covariance of the readings' errors, mm2; shape (n, n)."""
        total = np.diag(self.own)
        for source in self.sources:
            if source.shared.any():
                total += source.shared @ source.shared.T
        return total
