"""A field over the wall, given on a net, that a part of the prior is scaled by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.shown import Shown
from geom.surface.assumptions import ASSUMED
from geom.surface.grid import (
    interpolate_columns,
    interpolate_points,
    interpolate_rows,
)
from geom.units import Bool, Float, Int

#: Answers that a pattern remembers, and how large they are at most.
_HELD, _MAX_CELLS = 64, 8192


@dataclass(frozen=True, eq=False)
class Pattern(Shown):
    """A field on a net, straight in between, decaying above and below it.

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
        field = interpolate_points(self.field, self._row(height), azimuth)
        return np.asarray(field * self._fade(height))

    @property
    def axisymmetric(self) -> bool:
        """Whether it is the same all round."""
        return bool(self.field.shape[1] == 1)

    def at_heights(self, height: Float) -> Float:
        """A pattern that is the same all round, at heights; (n,) to (n,)."""
        ring = interpolate_rows(self.field[:, 0], self._row(height))
        return np.asarray(ring * self._fade(height))

    def on_grid(self, height: Float, azimuth: Float) -> Float:
        """At every node of a grid; arrays (p,) and (q,) to one (p, q)."""
        columns = interpolate_columns(self.field, azimuth)
        field = interpolate_rows(columns, self._row(height))
        return np.asarray(field * self._fade(height)[:, None])

    def moved(self, up: float) -> Pattern:
        """The same pattern that much higher on the wall, mm."""
        return Pattern(self.height, shifted_rows(self.field, self.height, up))

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
        """What it has apart from its mean round the wall."""
        return Pattern(self.height, self.field - self.ring.field)

    def _row(self, height: Float) -> Float:
        """Where heights lie among the rows, held at both ends; (n,)."""
        step = self.height[1] - self.height[0]
        row = (height - self.height[0]) / step
        return np.asarray(np.clip(row, 0.0, self.height.size - 1.0))

    def _fade(self, height: Float) -> Float:
        beyond = np.maximum(self.height[0] - height, height - self.height[-1])
        return np.asarray(np.exp(-np.maximum(beyond, 0.0) / ASSUMED.pattern_fade))


@dataclass(frozen=True, eq=False)
class SteppedPattern(Pattern):
    """A pattern that steps: each place has the value of the node it is nearest to.

    Attributes
    ----------
    beyond : float
        What it is above and below the net, by more than half a row.
    """

    beyond: float = 0.0

    def at(self, azimuth: Float, height: Float) -> Float:
        """At places; two arrays (n,) to one."""
        return self._remembered(self._at, azimuth, height)

    def on_grid(self, height: Float, azimuth: Float) -> Float:
        """At every node of a grid; arrays (p,) and (q,) to one (p, q)."""
        return self._remembered(self._on_grid, height, azimuth)

    def _at(self, azimuth: Float, height: Float) -> Float:
        row, there = self._nearest_row(height)
        return np.where(
            there, self.field[row, self._nearest_column(azimuth)], self.beyond
        )

    def _on_grid(self, height: Float, azimuth: Float) -> Float:
        row, there = self._nearest_row(height)
        field = self.field[row][:, self._nearest_column(azimuth)]
        return np.where(there[:, None], field, self.beyond)

    @cached_property
    def _asked(self) -> dict[tuple[str, bytes, bytes], Float]:
        """What it is where it was asked for last: samples ask for the same in turn."""
        return {}

    def _remembered(
        self, work: Callable[[Float, Float], Float], one: Float, other: Float
    ) -> Float:
        key = work.__name__, one.tobytes(), other.tobytes()
        found = self._asked.get(key)
        if found is None:
            found = work(one, other)
            if found.size > _MAX_CELLS:
                return found
            if len(self._asked) >= _HELD:
                self._asked.clear()
            found.flags.writeable = False
            self._asked[key] = found
        return found

    def _nearest_row(self, height: Float) -> tuple[Int, Bool]:
        row = (height - self.height[0]) / (self.height[1] - self.height[0])
        nearest = np.rint(row).astype(np.int64)
        last = self.height.size - 1
        return np.clip(nearest, 0, last), (nearest >= 0) & (nearest <= last)

    def _nearest_column(self, azimuth: Float) -> Int:
        columns = self.field.shape[1]
        nearest = np.rint(azimuth * columns / 360.0).astype(np.int64)
        return np.asarray(nearest % columns)


def shifted_rows(field: Float, height: Float, up: float) -> Float:
    """A field moved up by ``up`` mm on its own evenly spaced heights.

    What comes in at the edge repeats the last row.
    """
    place = np.clip(height - up, height[0], height[-1])
    return interpolate_rows(field, (place - height[0]) / (height[1] - height[0]))
