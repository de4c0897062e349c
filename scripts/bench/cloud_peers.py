"""One question put to a cloud, and how general libraries answer it.

The question: with the pose known, the median cut-back of the points in each cell of the
wall, and from these the signed volume.  Every route is given x, y and z as three arrays
of float32 and hands back the medians.  What a library has no function for (turning the
points, finding their cells) numpy does for it, as well as we know how: in runs that fit
into the cache, with a table instead of a search for the row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from cloud_wall import Short, Wall
from numpy.typing import NDArray

from geom.readings.clouds import Points
from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.binning import RUN
from geom.surface.clouds.cells import wall_cells
from geom.surface.clouds.histogram import BIN, BinLayout, Histogram
from geom.surface.grid import Grid, make_grid
from geom.units import Float, Int

_PORTION = 1 << 17
#: Steps of cut-back in a millimetre that the sorted keys of numpy tell apart.
_FINE = 10


@dataclass(frozen=True)
class Question:
    """What is asked of points.

    Attributes
    ----------
    wall : Wall
    grid : Grid
    """

    wall: Wall
    grid: Grid

    @classmethod
    def of(cls, wall: Wall, *, spacing: float = 6.0, columns: int = 360) -> Question:
        """With cells of about that size over the whole profile."""
        profile = wall.design.profile
        whole = profile.bottom, profile.top
        grid = make_grid(wall.design, surveyed=whole, spacing=spacing, columns=columns)
        return cls(wall, grid)

    @cached_property
    def layout(self) -> BinLayout:
        """The cells, and the cut-back within which points count."""
        return BinLayout.of(self.wall.design, self.grid)

    @cached_property
    def _slots(self) -> Int:
        """Row at the foot of each millimetre of height; no row is less tall."""
        edge = self.grid.edge
        foot = edge[0] + np.arange(int(edge[-1] - edge[0]) + 2)
        return np.searchsorted(edge, foot, side="right") - 1

    def placed(self, x: Short, y: Short, z: Short) -> tuple[NDArray[np.int32], Short]:
        """Cell of each point and its cut-back above the lowest, mm, with numpy.

        Points that lie in none, or too far from the wall, are left out.
        """
        cells, values = [], []
        for first in range(0, x.size, _PORTION):
            some = slice(first, first + _PORTION)
            cell, value = self._some(x[some], y[some], z[some])
            cells.append(cell)
            values.append(value)
        return np.concatenate(cells), np.concatenate(values)

    def _some(self, x: Short, y: Short, z: Short) -> tuple[NDArray[np.int32], Short]:
        f, layout, pose = np.float32, self.layout, self.wall.pose
        turn, (ox, oy, oz) = pose.rotation.astype(f), pose.origin.astype(f)
        rows, columns = self.grid.shape
        edge, base, slope = (
            part.astype(f) for part in (layout.edge, layout.base, layout.slope)
        )
        x, y, z = x - ox, y - oy, z - oz
        px, py, up = (t[0] * x + t[1] * y + t[2] * z for t in turn)
        up += f(pose.mid_height)
        inside = (up >= edge[0]) & (up < edge[-1])
        row = self._slots[np.where(inside, up - edge[0], f(0.0)).astype(np.int32)]
        row = np.minimum(row + (up >= edge[row + 1]), rows - 1)
        value = (
            np.sqrt(px * px + py * py)
            - (base[row] + slope[row] * up)
            + f(ASSUMED.proud_reach)
        )
        column = np.floor(np.arctan2(py, px) * f(columns / (2.0 * np.pi)) + f(0.5))
        inside &= (value >= 0.0) & (value < f(layout.bins * BIN))
        cell = row * columns + column.astype(np.int32) % columns
        return cell[inside].astype(np.int32), value[inside]

    def shaped(self, cell: Int, middle: Float) -> Float:
        """Medians laid on the grid, mm; NaN where there is no point."""
        out = np.full(self.grid.shape, np.nan)
        out.ravel()[cell] = middle - ASSUMED.proud_reach
        return out

    def volume(self, cutback: Float) -> float:
        """Sum of ``(r^2 - r_design^2)/2`` over the cells that are told, mm3."""
        drawn = self.grid.design_radius[:, None]
        return float(np.nansum(self.grid.patch * cutback * (drawn + 0.5 * cutback)))

    def truth(self) -> Float:
        """True cut-back at the cells' middles, mm."""
        return self.wall.cutback(self.grid.azimuth[None, :], self.grid.height[:, None])


Counts = NDArray[np.uint32] | Int
Route = Callable[[Question, Short, Short, Short], Float]


def counted(question: Question, x: Short, y: Short, z: Short) -> Histogram:
    """The points counted by daubline, in runs as from a file."""
    histogram = Histogram(question.layout)
    for first in range(0, x.size, RUN):
        some = slice(first, first + RUN)
        histogram.count(Points(x[some], y[some], z[some]), question.wall.pose, 1.0)
    return histogram


def _middles(counts: Counts) -> Float:
    """Bin of the median of each row of a table of histograms; every row has points."""
    below = np.cumsum(counts, axis=1, dtype=np.uint32)
    total = below[:, -1:]
    low, high = (
        np.count_nonzero(below <= rank, axis=1)
        for rank in ((total - np.uint32(1)) // 2, total // 2)
    )
    return 0.5 * (low + high)


def tally_medians(histogram: Histogram) -> Float:
    """The medians from daubline's histograms, to half a bin; array (m, k), mm."""
    layout = histogram.layout
    out = np.full((layout.rows, layout.columns), np.nan)
    for row, counts in enumerate(histogram.counts):
        own = counts.reshape(layout.columns, layout.bins)
        cells = np.flatnonzero(own.any(axis=1))
        middle = _middles(own[cells])
        out[row, cells] = BIN * (middle + 0.5) - ASSUMED.proud_reach
    return out


def daubline(question: Question, x: Short, y: Short, z: Short) -> Float:
    """The package measured here, asked for the very same."""
    return tally_medians(counted(question, x, y, z))


def own_cells(question: Question, x: Short, y: Short, z: Short) -> Float:
    """What daubline itself goes on with: centres of the wall's points, without dust.

    Cells with few points are told by those around them; each has its variance.
    """
    return wall_cells(counted(question, x, y, z), question.grid).cutback


def _middle_places(cell: Int, cells: int) -> tuple[Int, Int, Int]:
    """Cells that have points, and where their two middle ones lie once in order."""
    many = np.bincount(cell, minlength=cells)
    there = np.flatnonzero(many)
    start = (np.cumsum(many) - many)[there]
    return there, start + (many[there] - 1) // 2, start + many[there] // 2


def numpy_plain(question: Question, x: Short, y: Short, z: Short) -> Float:
    """Numpy as a person would write it: ``searchsorted`` and ``lexsort``."""
    layout, (rows, columns) = question.layout, question.grid.shape
    azimuth, radius, height = question.wall.pose.to_wall(np.stack([x, y, z], axis=1))
    row = np.searchsorted(layout.edge, height, side="right") - 1
    column = np.floor(azimuth * (columns / 360.0) + 0.5).astype(np.int64) % columns
    drawn = question.wall.design.profile.radius_at(height)
    value = radius - drawn + ASSUMED.proud_reach
    inside = (row >= 0) & (row < rows) & (value >= 0) & (value < layout.bins * BIN)
    cell, value = (row * columns + column)[inside], value[inside]
    value = value[np.lexsort((value, cell))]
    there, low, high = _middle_places(cell, rows * columns)
    return question.shaped(there, 0.5 * (value[low] + value[high]))


def numpy_sort(question: Question, x: Short, y: Short, z: Short) -> Float:
    """Numpy: one sort of whole numbers that hold cell and cut-back to 0.1 mm."""
    cell, value = question.placed(x, y, z)
    steps = int(question.layout.bins * BIN * _FINE)
    fine = np.minimum(value * np.float32(_FINE), np.float32(steps - 1))
    key = cell.astype(np.uint32) * np.uint32(steps) + fine.astype(np.uint32)
    key.sort()
    there, low, high = _middle_places(cell, question.grid.wall.size)
    middle = 0.5 * (key[low].astype(np.float64) + key[high]) - there * float(steps)
    return question.shaped(there, (middle + 0.5) / _FINE)


def numpy_histogram(question: Question, x: Short, y: Short, z: Short) -> Float:
    """Numpy: ``bincount`` of cells and millimetres of cut-back."""
    cell, value = question.placed(x, y, z)
    bins, cells = question.layout.bins, question.grid.wall.size
    key = cell.astype(np.int64) * bins + (value / np.float32(BIN)).astype(np.int64)
    counts = np.bincount(key, minlength=cells * bins).reshape(cells, bins)
    there = np.flatnonzero(counts.any(axis=1))
    return question.shaped(there, BIN * (_middles(counts[there]) + 0.5))


def polars_median(question: Question, x: Short, y: Short, z: Short) -> Float:
    """Polars: ``group_by`` and ``median``, on all processors."""
    import polars as pl

    cell, value = question.placed(x, y, z)
    frame = pl.DataFrame({"cell": cell, "value": value})
    medians = frame.group_by("cell").agg(pl.col("value").median())
    return question.shaped(medians["cell"].to_numpy(), medians["value"].to_numpy())


def pandas_median(question: Question, x: Short, y: Short, z: Short) -> Float:
    """Pandas: ``groupby`` and ``median``."""
    import pandas as pd

    cell, value = question.placed(x, y, z)
    medians = pd.Series(value).groupby(cell, sort=False).median()
    return question.shaped(medians.index.to_numpy(), medians.to_numpy())


def scipy_median(question: Question, x: Short, y: Short, z: Short) -> Float:
    """Scipy: ``binned_statistic_2d`` of row and column."""
    from scipy.stats import binned_statistic_2d

    cell, value = question.placed(x, y, z)
    rows, columns = question.grid.shape
    row, column = np.divmod(cell, np.int32(columns))
    edges = [np.arange(rows + 1) - 0.5, np.arange(columns + 1) - 0.5]
    medians = binned_statistic_2d(row, column, value, "median", bins=edges)
    return np.asarray(medians.statistic) - ASSUMED.proud_reach


PEERS: dict[str, Route] = {
    "numpy, plain": numpy_plain,
    "numpy, sort": numpy_sort,
    "numpy, bincount": numpy_histogram,
    "polars group_by": polars_median,
    "pandas groupby": pandas_median,
    "scipy binned_statistic_2d": scipy_median,
}
