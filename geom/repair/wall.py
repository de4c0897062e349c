"""The wall that a repair is planned for, and volumes behind its drawn face."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.design import Design
from geom.stats.normal import expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Bool, Float


@dataclass(frozen=True)
class Wall:
    """The wall that a plan is made for; gridded (m, k), mm.

    Attributes
    ----------
    cutback, sd : array
        NaN where not surveyed; ``sd`` is 0 for a wall that is known.
    """

    grid: Grid
    cutback: Float
    sd: Float
    design: Design

    @cached_property
    def gone(self) -> Float:
        """Expected section area that is gone, mm2 per radian; (m, k)."""
        return self.beyond(0.0)

    @cached_property
    def proud(self) -> Float:
        """Expected section area that stands proud, mm2 per radian; (m, k)."""
        radius = self.grid.design_radius[:, None]
        return expected_shortfall(self.cutback, self.sd, radius)

    def beyond(self, depth: float, held: Bool | None = None) -> Float:
        """Expected section area deeper than ``depth``, mm2 per radian; (m, k).

        Where it may matter only in ``held`` cells, it is 0 elsewhere.
        """
        grid = self.grid
        held = grid.counted > 0.0 if held is None else held
        radius = np.broadcast_to(grid.design_radius[:, None] + depth, grid.shape)[held]
        area = np.zeros(grid.shape)
        area[held] = expected_excess(self.cutback[held] - depth, self.sd[held], radius)
        return area

    def summed(self, share: Float, area: Float) -> float:
        """Volume over the given share of each cell, mm3."""
        patch = share * self.grid.patch
        area = np.broadcast_to(area, patch.shape)
        return float(np.sum(patch[patch > 0.0] * area[patch > 0.0]))


def section(radius: Float, depth: float | Float) -> Float:
    """Area between a radius and one ``depth`` greater, mm2 per radian.

    Examples
    --------
    >>> float(section(np.array(100.0), 10.0))
    1050.0
    """
    return np.asarray(depth * (radius + 0.5 * depth))
