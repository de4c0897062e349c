"""Corners of the cells that a solid stands on, and which of them are shared.

Neighbouring cells share corners, round the seam too.  Not shared are the two sides of a
step of the drawing, held apart by a hair, and a corner at which two cells meet that
touch nowhere else: bodies that share only a line are no solid.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geom.surface.radial import RadialSurface
from geom.units import Bool, Float, Int

#: Gap between the two sides of a step, mm: single precision tells the sides apart.
_HAIR = 0.05
#: How far a corner of a cell's own is pulled into it, as a part of the cell.
_PULL = 0.02


@dataclass(frozen=True)
class Corners:
    """Cells and their corners.

    Attributes
    ----------
    of_cell : int array (4, m, k)
        Number of each cell's south-west, south-east, north-east and north-west corner;
        east is growing azimuth, north is up.
    azimuth : array (n,), degrees
    height, design : array (n,), mm
        Height and design radius.
    kept : bool array (m, k)
        Cells that are part of the solid.
    joined : bool array (m - 1,)
        Rows not parted from the next by a step.
    """

    of_cell: Int
    azimuth: Float
    height: Float
    design: Float
    kept: Bool
    joined: Bool

    @property
    def count(self) -> int:
        """How many corners there are."""
        return self.azimuth.size

    def mean(self, field: Float) -> Float:
        """Mean of the kept cells round each corner; shape (n,)."""
        ids = self.of_cell[:, self.kept]
        values = np.broadcast_to(field[self.kept], ids.shape)
        number = np.bincount(ids.ravel(), minlength=self.count)
        total = np.bincount(ids.ravel(), weights=values.ravel(), minlength=self.count)
        return np.divide(total, number, out=np.zeros_like(total), where=number > 0)


def find_corners(surface: RadialSurface, kept: Bool) -> Corners:
    """The corners of the kept cells.

    Parameters
    ----------
    surface : RadialSurface
    kept : bool array (height, azimuth)

    Returns
    -------
    Corners
    """
    grid, profile = surface.grid, surface.design.profile
    columns = grid.azimuth.size
    parted = np.isin(grid.edge[1:-1], profile.steps)
    low, high = _rings(parted)
    height, design = np.empty((2, high[-1] + 1))
    height[low] = grid.edge[:-1] + 0.5 * _HAIR * np.append(False, parted)
    height[high] = grid.edge[1:] - 0.5 * _HAIR * np.append(parted, False)
    design[low] = profile.radius_at(grid.edge[:-1], side="above")
    design[high] = profile.radius_at(grid.edge[1:], side="below")
    west = np.arange(columns)
    east = (west + 1) % columns
    around = ((low, west), (low, east), (high, east), (high, west))
    shared = Corners(
        of_cell=np.stack([ring[:, None] * columns + side for ring, side in around]),
        azimuth=np.tile(grid.azimuth - 180.0 / columns, height.size),
        height=np.repeat(height, columns),
        design=np.repeat(design, columns),
        kept=kept,
        joined=~parted,
    )
    return _unpinched(shared, surface)


def _rings(parted: Bool) -> tuple[Int, Int]:
    """Number of the ring of corners below and above each row; two rings at a step."""
    low = np.append(0, np.cumsum(1 + parted))
    high = np.append(low[1:] - parted, low[-1] + 1)
    return low, high


def _unpinched(corners: Corners, surface: RadialSurface) -> Corners:
    """With a corner of its own for the upper of two cells that only meet there."""
    kept, joined = corners.kept, corners.joined[:, None]
    west = np.roll(kept, 1, axis=1)
    sw, se, nw, ne = west[:-1], kept[:-1], west[1:], kept[1:]
    row, column = np.nonzero(joined & sw & ne & ~se & ~nw)
    corners = _own(corners, surface, (row + 1, column), which=0)
    row, column = np.nonzero(joined & se & nw & ~sw & ~ne)
    return _own(corners, surface, (row + 1, column - 1), which=1)


def _own(
    corners: Corners,
    surface: RadialSurface,
    cells: tuple[NDArray[np.intp], NDArray[np.intp]],
    *,
    which: int,
) -> Corners:
    """Give cells a lower corner (0 west, 1 east) of their own, pulled inward."""
    old = corners.of_cell[which][cells]
    of_cell = corners.of_cell.copy()
    of_cell[which][cells] = corners.count + np.arange(old.size)
    aside = _PULL * 360.0 / surface.azimuth.size * (1.0 if which == 0 else -1.0)
    up = _PULL * surface.grid.row_height[cells[0]]
    slope = surface.design.profile.slope_at(corners.height[old])
    return replace(
        corners,
        of_cell=of_cell,
        azimuth=np.append(corners.azimuth, corners.azimuth[old] + aside),
        height=np.append(corners.height, corners.height[old] + up),
        design=np.append(corners.design, corners.design[old] + slope * up),
    )
