"""Points sorted into cells of the wall: a histogram of cut-back for each.

Counts are whole numbers, so parts of a cloud may be counted in any order, by any number
of processes, and added up to the very same tally.  Memory depends on the wall, not on
the number of points.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from geom.datum import Pose
from geom.design import Design
from geom.surface.assumptions import ASSUMED
from geom.surface.grid import Grid
from geom.units import Float

if TYPE_CHECKING:
    from geom.readings.clouds import Points

#: Cut-back that a bin spans, mm.
BIN = 1.0
_SLOT = 1.0


@dataclass(frozen=True)
class BinLayout:
    """The cells points are sorted into, and the drawing they are compared with.

    Attributes
    ----------
    edge : array (m + 1,), mm
        Of the rows.
    columns : int
        Round the wall; the middle of the first is at azimuth 0.
    base, slope : array (m,)
        Design radius in a row: ``base + slope * height``, mm.
    bins : int
        Of `BIN` mm each, the first beginning at ``-PROUD``.
    """

    edge: Float
    columns: int
    base: Float
    slope: Float
    bins: int

    @classmethod
    def of(cls, design: Design, grid: Grid) -> BinLayout:
        """The cells of a grid; no row of it has a corner of the profile inside."""
        middle = grid.height
        slope = design.profile.slope_at(middle)
        base = design.profile.radius_at(middle) - slope * middle
        deepest = ASSUMED.deepest_cutback
        if design.shell_radius is not None:
            deepest = (
                design.shell_radius
                - float(design.profile.radius.min())
                + ASSUMED.beyond_shell
            )
        bins = int(np.ceil((ASSUMED.proud_reach + deepest) / BIN))
        return cls(grid.edge, grid.azimuth.size, base, slope, bins)

    @property
    def rows(self) -> int:
        """Number of rows."""
        return self.base.size

    @property
    def cutback(self) -> Float:
        """Middles of the bins, mm; shape (bins,)."""
        return np.asarray(-ASSUMED.proud_reach + BIN * (np.arange(self.bins) + 0.5))


class Histogram:
    """Counts of points by cell and cut-back; grows as points are counted.

    Attributes
    ----------
    counts : uint32 array (m, columns * bins)
    missed : int array (4,)
        Points below the rows, above them, nearer the axis than the bins, and further
        out.
    total : int
        All points that came.
    """

    def __init__(self, layout: BinLayout) -> None:
        self.layout = layout
        shape = layout.rows, layout.columns * layout.bins
        self.counts: NDArray[np.uint32] = np.zeros(shape, dtype=np.uint32)
        self.missed = np.zeros(4, dtype=np.int64)
        self.total = 0
        self._table = _table(layout)

    def count(self, points: Points, pose: Pose, millimetres: float) -> None:
        """Count a run of points.

        Parameters
        ----------
        pose : Pose
            Of their cloud.
        millimetres : float
            In one unit of the file.
        """
        from geom.surface.clouds.kernels import count_points

        f = np.float32
        edge, columns = self.layout.edge, self.layout.columns
        up = pose.mid_height
        shift = np.asarray(points.offset) * millimetres - pose.origin
        # The kernel's heights are from the axis at mid-height: the table's as well.
        layout = (
            f(edge[0] - up), f(1.0 / _SLOT), f(columns / (2.0 * np.pi)),
            f(-ASSUMED.proud_reach), f(1.0 / BIN),
        )  # fmt: skip
        edge_up, base, slope, slots = self._table
        table = (
            (edge_up - up).astype(f),
            (base + slope * up).astype(f),
            slope.astype(f),
            slots,
        )
        self.missed += count_points(
            points.x, points.y, points.z,
            np.asarray(points.scale) * millimetres, shift, pose.rotation,
            layout, table, columns, self.counts,
        )  # fmt: skip
        self.total += len(points)

    def add(self, other: Histogram) -> None:
        """Count all that another tally of the same cells counted."""
        self.counts += other.counts
        self.missed += other.missed
        self.total += other.total

    def sparse(self) -> SparseHistogram:
        """The same without its empty bins, to be sent from process to process."""
        from geom.surface.clouds.packing import pack

        inside = self.total - int(self.missed.sum())
        code = pack(self.counts.ravel(), inside)
        return SparseHistogram(code, inside, self.missed.copy())

    def add_sparse(self, other: SparseHistogram) -> None:
        """Count all that a packed tally of the same cells counted."""
        from geom.surface.clouds.packing import unpack_into

        unpack_into(self.counts.ravel(), other.code)
        self.missed += other.missed
        self.total += other.total


@dataclass(frozen=True)
class SparseHistogram:
    """A tally without its empty bins.

    Attributes
    ----------
    code : uint8 array
        Bins that hold points, and their counts (`geom.surface.clouds.packing`).
    inside : int
        Points in them.
    missed : int array (4,)
    """

    code: NDArray[np.uint8]
    inside: int
    missed: NDArray[np.int64]

    def joined(self, other: SparseHistogram) -> SparseHistogram:
        """The points of both."""
        from geom.surface.clouds.packing import join

        return SparseHistogram(
            join(self.code, other.code),
            self.inside + other.inside,
            self.missed + other.missed,
        )

    @property
    def total(self) -> int:
        """All points that came."""
        return self.inside + int(self.missed.sum())


def _table(layout: BinLayout) -> tuple[Float, Float, Float, NDArray[np.uint16]]:
    """Edges, design radius, and the row at the foot of each slot of height."""
    edge = layout.edge
    foot = edge[0] + _SLOT * np.arange(int((edge[-1] - edge[0]) / _SLOT) + 2)
    row = np.searchsorted(edge, foot, side="right") - 1
    slots = np.clip(row, 0, layout.rows - 1).astype(np.uint16)
    return edge, layout.base, layout.slope, slots
