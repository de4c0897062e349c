"""Blocks of cells as readings of the wall, few enough to fit a process to.

A reading is the mean of the cells of a block that have points of their own, standing at
the middle of them, so that next to a shadow it stands where the wall was seen.  Cells
count alike, however many points they have: a scan is denser on some wall than on other.
"""

from __future__ import annotations

import numpy as np

from geom.readings import RodReadings
from geom.readings.rod import RodKind
from geom.surface.clouds.cells import Cells
from geom.surface.grid import Grid
from geom.units import Float, Int

#: Blocks that a wall is cut into, about, and least cells that make one a reading.
MOST, _LEAST_CELLS = 850, 4
_CUTBACK: tuple[RodKind, ...] = ("cutback",)


def block_of_cells(cells: Cells, grid: Grid) -> Int:
    """Block of every cell that has points of its own; -1 for none, (m, k).

    Blocks of too few such cells are none; the others are numbered from 0.
    """
    rows, columns = _sides(grid)
    row = np.arange(grid.height.size) // rows
    column = np.arange(grid.azimuth.size) // columns
    across = int(column[-1]) + 1
    number = row[:, None] * across + column[None, :]
    held = cells.own & grid.surveyed
    full = np.bincount(number[held], minlength=number.max() + 1) >= _LEAST_CELLS
    return np.where(held & full[number], (np.cumsum(full) - 1)[number], -1)


def block_means(cells: Cells, grid: Grid, own: Float) -> RodReadings:
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
        With their standard uncertainty, in the order of `block_of_cells`.
    """
    block = block_of_cells(cells, grid)
    held = block >= 0
    at, n = block[held], int(block.max(initial=-1)) + 1
    count = np.bincount(at, minlength=n).astype(np.float64)

    def mean(field: Float) -> Float:
        return np.asarray(np.bincount(at, field[held], n) / count)

    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    return RodReadings(
        kind=_CUTBACK * n,
        azimuth=mean(azimuth),
        height=mean(height),
        value=mean(cells.cutback),
        # cells' own errors average out
        sd=np.sqrt(mean(own) / count),
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
