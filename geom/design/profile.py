"""The finished hot face: radius against height, straight in between."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from geom.units import Float


@dataclass(frozen=True)
class Profile:
    """The drawing's profile, bottom up.

    Attributes
    ----------
    height : array (n,), mm, never decreasing
        Two entries at one height are a step.
    radius : array (n,), mm
    """

    height: Float
    radius: Float

    @property
    def bottom(self) -> float:
        """Lowest height, mm."""
        return float(self.height[0])

    @property
    def top(self) -> float:
        """Greatest height, mm."""
        return float(self.height[-1])

    @cached_property
    def corners(self) -> Float:
        """The different heights of the profile's points, mm, rising."""
        return np.unique(self.height)

    @cached_property
    def steps(self) -> Float:
        """Heights at which the radius jumps, mm."""
        at_once = np.diff(self.height) == 0.0
        return np.unique(self.height[1:][at_once & (np.diff(self.radius) != 0.0)])

    def radius_at(
        self, height: ArrayLike, *, side: Literal["above", "below"] = "above"
    ) -> Float:
        """Design radius at any heights.

        Parameters
        ----------
        height : array, mm
        side : {'above', 'below'}
            Which part of the wall is meant exactly at a step.

        Returns
        -------
        array, same shape, mm
            NaN outside the profile.
        """
        asked = np.asarray(height, dtype=np.float64)
        h, r = self.height, self.radius
        which: Literal["left", "right"] = "right" if side == "above" else "left"
        hi = np.clip(np.searchsorted(h, asked, side=which), 1, h.size - 1)
        lo = hi - 1
        span = h[hi] - h[lo]
        part = np.divide(asked - h[lo], span, out=np.ones_like(asked), where=span > 0)
        part = np.where((asked == self.bottom) & (side == "below"), 0.0, part)
        found = r[lo] + part * (r[hi] - r[lo])
        inside = (asked >= self.bottom) & (asked <= self.top)
        return np.where(inside, found, np.nan)

    def slope_at(self, height: ArrayLike) -> Float:
        """Change of radius with height, dr/dh, above each height; same shape."""
        asked = np.asarray(height, dtype=np.float64)
        hi = np.clip(
            np.searchsorted(self.height, asked, side="right"), 1, self.height.size - 1
        )
        rise = self.height[hi] - self.height[hi - 1]
        run = self.radius[hi] - self.radius[hi - 1]
        return np.divide(run, rise, out=np.zeros_like(asked), where=rise > 0)

    @property
    def mean_radius(self) -> float:
        """Mean design radius over the height, mm."""
        return float(np.trapezoid(self.radius, self.height) / (self.top - self.bottom))
