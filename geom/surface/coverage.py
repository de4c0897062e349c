"""Which wall is surveyed: where a reading stands near enough to tell of it.

A place is surveyed if a reading stands within reach of it, round the ring and up the
wall, and it lies between the lowest and the highest reading.  The reach follows from
where readings stand and never from what they say; readings left out of the fit count
too, and so does either end of a diameter.

How far a sheet reaches follows from its own spacing.  Each reading has a neighbour on
either side, the nearest that stands rather to its side than above or below it, and
likewise one below and one above; the nearer of two is its spacing in that direction, so
that the edge of what was read does not count.  The sheet's spacing is the upper
quartile of those over the wall: each reading weighs by the wall it stands for, so that
some readings more, close together, take nothing from the reach of all others.

Nobody has to read closer than is usual, 12 stations a row and rows 18 in apart: the
least reach is half of that.  The most is half a quarter turn, and two feet.  What is
left between readings and is smaller than the face of one brick counts as read.

`rows_apart` names rows of the melting zone that a burnt ring may lie between.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from geom.design import Design
from geom.surface.assumptions import ASSUMED
from geom.surface.grid import BRICK_FACE, Grid, drop_small
from geom.surface.radial import RowsApart
from geom.units import Bool, Float

#: Readings whose neighbours are sought at a time, and for whom they are at most.
_AT_ONCE, _MOST = 256, 2048


@dataclass(frozen=True)
class Reach:
    """How far from a reading wall is covered.

    Attributes
    ----------
    turn : float, degrees
        To either side.
    rise : float, mm
        Up and down.
    """

    turn: float
    rise: float


#: Of a cell that a laser saw: the stations on either side of a usual sheet.
LASER = Reach(30.0, 457.2)


def reach_of(azimuth: Float, height: Float, radius: float) -> Reach:
    """How far the readings of a sheet reach.

    Parameters
    ----------
    azimuth : array (n,), degrees
    height : array (n,), mm
        Where readings stand, both ends of a diameter.
    radius : float, mm
        Of the drawing, typical.

    Examples
    --------
    Eight stations a row, rows 500 mm apart:

    >>> azimuth, height = np.meshgrid(np.arange(8) * 45.0, np.arange(6) * 500.0)
    >>> reach_of(azimuth.ravel(), height.ravel(), 450.0)
    Reach(turn=33.75, rise=500.0)
    """
    places = np.unique(np.column_stack([np.mod(azimuth, 360.0), height]), axis=0)
    some = places[:: max(1, len(places) // _MOST)]
    around, above = (
        np.concatenate(parts)
        for parts in zip(
            *(
                _spacing(some[k : k + _AT_ONCE], places, radius)
                for k in range(0, len(some), _AT_ONCE)
            ),
            strict=True,
        )
    )
    around = np.minimum(around, 2.0 * ASSUMED.reach_round_limits[1])
    above = np.minimum(above, 2.0 * ASSUMED.reach_up_limits[1])
    wall = around * above
    return Reach(
        float(
            np.clip(
                ASSUMED.reach_round * _typical(around, wall),
                *ASSUMED.reach_round_limits,
            )
        ),
        float(
            np.clip(ASSUMED.reach_up * _typical(above, wall), *ASSUMED.reach_up_limits)
        ),
    )


def _spacing(some: Float, places: Float, radius: float) -> tuple[Float, Float]:
    """Distance to the nearer neighbour to a side, degrees, and above or below, mm.

    Parameters
    ----------
    some : array (s, 2)
    places : array (n, 2)
        Azimuth and height.

    Returns
    -------
    two arrays (s,)
        Infinite where there is none.
    """
    # (s, n): from each of some to every place
    apart = np.mod(places[:, 0] - some[:, :1] + 180.0, 360.0) - 180.0
    rise = np.abs(places[:, 1] - some[:, 1:])
    across = np.deg2rad(np.abs(apart)) * radius
    around = np.where((across >= rise) & (across > 0.0), np.abs(apart), np.inf)
    above = np.where((rise >= across) & (rise > 0.0), rise, np.inf)
    return around.min(axis=1), above.min(axis=1)


def _typical(spacing: Float, wall: Float) -> float:
    """The quartile of spacings by the wall they stand for."""
    order = np.argsort(spacing)
    held = np.cumsum(wall[order])
    return float(
        spacing[order][np.searchsorted(held, ASSUMED.spacing_share * held[-1])]
    )


class OnGrid(Protocol):
    """Anything that knows cut-back on a grid."""

    def on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and standard deviation, mm; (m, k) each."""


def on_surveyed(wall: OnGrid, grid: Grid) -> tuple[Float, Float]:
    """Cut-back and its sd on a grid, mm; NaN where not surveyed; two arrays (m, k)."""
    cutback = np.full(grid.shape, np.nan)
    sd = cutback.copy()
    rows = grid.surveyed_rows
    if rows.any():
        cutback[rows], sd[rows] = wall.on_grid(grid.height[rows], grid.azimuth)
    unknown = np.where(grid.surveyed, 0.0, np.nan)
    return cutback + unknown, sd + unknown


def surveyed_by(grid: Grid, azimuth: Float, height: Float) -> Bool:
    """Cells that the stations of a sheet tell of; (m, k).

    Parameters
    ----------
    azimuth : array (n,), degrees
    height : array (n,), mm
    """
    if not azimuth.size:
        return np.zeros(grid.shape, dtype=bool)
    reach = reach_of(azimuth, height, float(grid.design_radius.mean()))
    covered = within_reach(grid, azimuth, height, reach)
    between = (grid.height > height.min()) & (grid.height < height.max())
    unread = ~covered & between[:, None] & ~grid.opening
    gap = drop_small(unread, grid.whole_face, BRICK_FACE)
    return np.asarray(between[:, None] & ~gap)


def within_reach(grid: Grid, azimuth: Float, height: Float, reach: Reach) -> Bool:
    """Cells that a reading stands near enough to; (m, k).

    Parameters
    ----------
    azimuth : array (n,), degrees
    height : array (n,), mm
    """
    from scipy.spatial import cKDTree

    if not azimuth.size:
        return np.zeros(grid.shape, dtype=bool)
    turned = np.mod(azimuth, 360.0)[None, :] + np.array([[-360.0], [0.0], [360.0]])
    stand = np.column_stack(
        [turned.ravel() / reach.turn, np.tile(height, 3) / reach.rise]
    )
    up, round_ = np.meshgrid(
        grid.height / reach.rise, grid.azimuth / reach.turn, indexing="ij"
    )
    cells = np.column_stack([round_.ravel(), up.ravel()])
    far, _ = cKDTree(stand).query(cells, p=np.inf, distance_upper_bound=1.0 + 1e-9)
    return np.isfinite(far).reshape(grid.shape)


def near_cells(grid: Grid, cells: Bool, reach: Reach) -> Bool:
    """Cells that one of some cells is near enough to, as `within_reach`; (m, k)."""
    apart = np.mod(grid.azimuth[:, None] - grid.azimuth + 180.0, 360.0) - 180.0
    rise = np.abs(grid.height[:, None] - grid.height)
    ends = 1.0 + 1e-9  # just at its end is within reach
    around = np.abs(apart) <= reach.turn * ends
    above = rise <= reach.rise * ends
    # numbers of cells, as sums of products: whole numbers
    held = cells.astype(np.float32) @ around.astype(np.float32) > 0.0
    return np.asarray(above.astype(np.float32) @ held.astype(np.float32) > 0.0)


def rows_apart(height: Float, design: Design) -> tuple[RowsApart, ...]:
    """Rows of the melting zone that a burnt ring may lie between, the widest first.

    Parameters
    ----------
    height : array (n,), mm
        Where readings stand, or are to stand.

    Returns
    -------
    tuple of RowsApart
        None where rows are close enough, or there is no tuyere.
    """
    if not design.tuyeres:
        return ()
    middle = (
        float(np.mean([t.height for t in design.tuyeres])) + ASSUMED.crest_above_tuyeres
    )
    rows = np.unique(height)
    below, above = rows[:-1], rows[1:]
    met = (above > middle - ASSUMED.about_crest) & (
        below < middle + ASSUMED.about_crest
    )
    # a millionth of a mm: twelve inches are not more than twelve inches
    wide = met & (above - below > ASSUMED.widest_rows + 1e-6)
    gaps = [
        RowsApart(float(a), float(b))
        for a, b in zip(below[wide], above[wide], strict=True)
    ]
    return tuple(sorted(gaps, key=lambda gap: (gap.low - gap.high, gap.low)))
