"""Readings as linear observations of one surface.

A radius or cut-back reading sees cut-back at one place; a diameter reading sees the sum
of two, half a turn apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.surface.separation import Places
from geom.units import Bool, Float


@dataclass(frozen=True)
class Observed:
    """What was seen of cut-back.

    Attributes
    ----------
    value : array (n,), mm
        Observed cut-back, or sum of two.
    places : Places, length n + number of diameters
        Where: one place a reading, then the far ends of the diameters.
    across : bool array (n,)
        Which readings are diameters.
    """

    value: Float
    places: Places
    across: Bool

    def __len__(self) -> int:
        return int(self.value.size)

    def gather(self, table: Float) -> Float:
        """Rows of places summed to rows of readings; (places, ...) to (n, ...)."""
        if not self.across.any():
            return table
        n = len(self)
        seen = table[:n].copy()
        seen[self.across] += table[n:]
        return seen

    def at_places(self, weight: Float) -> Float:
        """Weights of readings as weights of their places; (n,) to (places,)."""
        return np.append(weight, weight[self.across])

    def both(self, table: Float) -> Float:
        """A covariance of places to one of readings; (places, places) to (n, n)."""
        return self.gather(self.gather(table).T).T

    def back(self, table: Float) -> Float:
        """The transpose of `both`: (n, n) to (places, places)."""
        if not self.across.any():
            return table
        reading = np.append(np.arange(len(self)), np.flatnonzero(self.across))
        return table[np.ix_(reading, reading)]

    def taken(self, rows: Bool) -> Observed:
        """Some of the readings; ``rows`` is a mask (n,)."""
        both = np.append(rows, rows[self.across])
        places = Places(self.places.azimuth[both], self.places.height[both])
        return Observed(self.value[rows], places, self.across[rows])


def observe(readings: RodReadings, design: Design) -> Observed:
    """Cut-back as the readings saw it.

    A radius or diameter at a step of the profile belongs to the part above it.
    """
    drawn = design.profile.radius_at(readings.height)
    across = readings.is_kind("diameter")
    base = np.select([across, readings.is_kind("radius")], [2.0 * drawn, drawn], 0.0)
    far = np.mod(readings.azimuth[across] + 180.0, 360.0)
    places = Places(
        azimuth=np.concatenate([readings.azimuth, far]),
        height=np.concatenate([readings.height, readings.height[across]]),
    )
    return Observed(readings.value - base, places, across)
