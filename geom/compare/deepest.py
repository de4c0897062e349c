"""The deepest point, and what lining is left there."""

from __future__ import annotations

import numpy as np

from geom.compare.findings import Deepest
from geom.quantity import Quantity
from geom.surface import RadialSurface


def deepest_point(surface: RadialSurface) -> Deepest:
    """Where the best surface is cut back most, outside the openings.

    Its uncertainty is that of the wall at that place.
    """
    grid, cutback = surface.grid, surface.cutback
    wall = grid.surveyed[:, None] & ~grid.opening
    place = int(np.argmax(np.where(wall, cutback, -np.inf)))
    row, column = np.unravel_index(place, grid.shape)
    depth, sd = float(cutback.flat[place]), float(surface.radius_sd.flat[place])
    shell = surface.design.shell_radius
    left = None
    if shell is not None:
        there = float(surface.radius.flat[place])
        left = Quantity.normal(shell - there, sd).not_below(0.0)
    return Deepest(
        cutback=Quantity.normal(depth, sd),
        azimuth=float(grid.azimuth[column]),
        height=float(grid.height[row]),
        remaining_lining=left,
    )
