"""A field over the wall, told on a net, that a part of the prior is scaled by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.units import Float, Int

#: How fast a pattern dies away beyond the heights it is told for, mm.
FADE = 150.0


@dataclass(frozen=True, eq=False)
class Pattern:
    """A field on a net, straight in between, dying away above and below it.

    Two patterns are equal only if they are the same one.

    Attributes
    ----------
    height : array (m,), mm, evenly rising
    field : array (m, k)
        At azimuths spread evenly from 0.
    """

    height: Float
    field: Float

    def at(self, azimuth: Float, height: Float) -> Float:
        """At places; two arrays (n,) to one."""
        left, right, part = self._columns(azimuth)
        low, up, share = self._rows(height)
        below = (1.0 - part) * self.field[low, left] + part * self.field[low, right]
        above = (1.0 - part) * self.field[up, left] + part * self.field[up, right]
        told = (1.0 - share) * below + share * above
        return np.asarray(told * self._fade(height))

    @property
    def level(self) -> bool:
        """Whether it is the same all round."""
        return bool(self.field.shape[1] == 1)

    def at_heights(self, height: Float) -> Float:
        """A pattern that is the same all round, at heights; (n,) to (n,)."""
        low, up, share = self._rows(height)
        told = (1.0 - share) * self.field[low, 0] + share * self.field[up, 0]
        return np.asarray(told * self._fade(height))

    def on_grid(self, height: Float, azimuth: Float) -> Float:
        """At every node of a grid; arrays (p,) and (q,) to one (p, q)."""
        left, right, part = self._columns(azimuth)
        low, up, share = self._rows(height)
        ringed = (1.0 - part) * self.field[:, left] + part * self.field[:, right]
        share = share[:, None]
        told = (1.0 - share) * ringed[low] + share * ringed[up]
        return np.asarray(told * self._fade(height)[:, None])

    def moved(self, up: float) -> Pattern:
        """The same pattern that much higher on the wall, mm."""
        return Pattern(self.height, raised(self.field, self.height, up))

    @property
    def slope(self) -> Pattern:
        """How it changes with height, per mm."""
        return Pattern(self.height, np.gradient(self.field, self.height, axis=0))

    @property
    def ring(self) -> Pattern:
        """Its mean round the wall at each height."""
        mean = self.field.mean(axis=1, keepdims=True)
        return Pattern(self.height, mean)

    @property
    def rest(self) -> Pattern:
        """What it has beside its mean round the wall."""
        return Pattern(self.height, self.field - self.ring.field)

    def _columns(self, azimuth: Float) -> tuple[Int, Int, Float]:
        count = self.field.shape[1]
        place = np.mod(azimuth, 360.0) * count / 360.0
        left = np.floor(place).astype(np.int64)
        return left % count, (left + 1) % count, place - left

    def _rows(self, height: Float) -> tuple[Int, Int, Float]:
        step = self.height[1] - self.height[0]
        place = np.clip((height - self.height[0]) / step, 0.0, self.height.size - 1.0)
        low = np.minimum(np.floor(place).astype(np.int64), self.height.size - 2)
        return low, low + 1, place - low

    def _fade(self, height: Float) -> Float:
        beyond = np.maximum(self.height[0] - height, height - self.height[-1])
        return np.asarray(np.exp(-np.maximum(beyond, 0.0) / FADE))


def raised(field: Float, height: Float, up: float) -> Float:
    """A field moved up by ``up`` mm on its own evenly spaced heights.

    What comes in at the edge repeats the last row.
    """
    place = np.clip(height - up, height[0], height[-1])
    share = (place - height[0]) / (height[1] - height[0])
    low = np.minimum(np.floor(share).astype(np.int64), height.size - 2)
    part = (share - low).reshape(-1, *([1] * (field.ndim - 1)))
    return np.asarray((1.0 - part) * field[low] + part * field[low + 1])
