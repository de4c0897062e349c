"""Blocks of cells as readings of the wall: few enough to fit a wall to.

A block's reading is the mean of its cells that are seen, and stands at the middle of
them, so that next to a shadow it stands where the wall was seen.
"""

from __future__ import annotations

import numpy as np

from geom.readings import RodReadings
from geom.readings.rod import RodKind
from geom.surface.cells import Cells
from geom.surface.grid import Grid
from geom.units import Float

#: Blocks that a wall is cut into, about, and least cells that make one a reading.
MOST = 850
_LEAST = 4
_CUTBACK: tuple[RodKind, ...] = ("cutback",)


def blocks_of(cells: Cells, grid: Grid, own: Float) -> RodReadings:
    """Readings of cut-back, one a block.

    Parameters
    ----------
    cells : Cells
    grid : Grid
    own : array (m, k), mm2
        Variance that each seen cell has by itself.

    Returns
    -------
    RodReadings
        With their standard uncertainty.
    """
    rows, columns = _sides(grid)
    row = np.arange(grid.height.size) // rows
    column = np.arange(grid.azimuth.size) // columns
    across = int(column[-1]) + 1
    number = row[:, None] * across + column[None, :]
    seen = cells.seen & grid.surveyed[:, None]
    at = number[seen]

    def mean(field: Float) -> Float:
        return np.bincount(at, field[seen]) / np.maximum(count, 1.0)

    count = np.bincount(at).astype(np.float64)
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    told = count >= _LEAST
    n = int(told.sum())
    variance = mean(own) / np.maximum(count, 1.0)
    return RodReadings(
        kind=_CUTBACK * n,
        azimuth=mean(azimuth)[told],
        height=mean(height)[told],
        value=mean(cells.cutback)[told],
        sd=np.sqrt(variance[told]),
        step=np.zeros(n),
        place=("laser points",) * n,
        note=("",) * n,
    )


def _sides(grid: Grid) -> tuple[int, int]:
    """Rows and columns of a block, about as tall as it is wide."""
    wide = float(grid.design_radius.mean()) * grid.sector
    tall = float(np.median(grid.row_height))
    low, high = grid.surveyed_heights
    area = (high - low) * wide * grid.azimuth.size
    side = float(np.sqrt(area / MOST))
    columns = max(1, round(side / wide))
    while grid.azimuth.size % columns:
        columns += 1
    return max(1, round(side / tall)), columns
