"""A hollow on a net fine enough to place bricks in it.

How deep the wall is gone is only known so far: one standard uncertainty of the depth is
held back everywhere.  What a brick's back may reach is that depth and the feather edges
that are squared, and where they are squared never nearer to the shell than the lining
that has to stay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.repair.assumptions import ASSUMED
from geom.repair.wall import Wall
from geom.surface import Grid
from geom.surface.grid import interpolate_columns, interpolate_rows, row_index
from geom.units import Bool, Float


@dataclass(frozen=True)
class Hollow:
    """A piece of wall unrolled, (r, c): the ring is cut where nothing is lost by it.

    Attributes
    ----------
    height : array (r,), mm
        Of the rows of the net, evenly rising.
    start : float, degrees
        Azimuth of its first column.
    step : float, degrees
        From column to column.
    depth : array (r, c), mm
        How deep the wall is gone, one standard uncertainty held back; `blocked` where
        nothing may be laid.
    reach : array (r, c), mm
        Depth that a back may reach.
    """

    height: Float
    start: float
    step: float
    depth: Float
    reach: Float
    design: Design

    @property
    def shape(self) -> tuple[int, int]:
        """(r, c)."""
        return self.height.size, self.depth.shape[1]

    @property
    def row(self) -> float:
        """From row to row, mm."""
        return float(self.height[1] - self.height[0]) if self.height.size > 1 else 1.0

    def within(self, start: Float, end: Float) -> Bool:
        """Whether arcs keep clear of where the ring was cut, if it was; degrees.

        Parameters
        ----------
        start, end : array
            From the first column on.
        """
        if self.step * self.depth.shape[1] < 360.0 - 1e-6:
            return np.ones(np.shape(start), dtype=bool)
        return np.asarray((start >= 0.0) & (end <= 360.0))

    def turned(self) -> Float:
        """Columns from the first one on, degrees; (c,)."""
        return np.asarray(self.step * np.arange(self.depth.shape[1]), dtype=np.float64)


def hollow_of(
    wall: Wall,
    mask: Bool,
    open_to: Bool,
    *,
    net: tuple[float, float] = ASSUMED.fine_net,
) -> Hollow | None:
    """The net over one zone and a margin about it.

    Parameters
    ----------
    mask : bool array (m, k)
        Cells of the zone.
    open_to : bool array (m, k)
        Cells that brickwork may take.
    net : (row, column), mm
        How fine.

    Returns
    -------
    Hollow or None
        None if nothing of the zone is open.
    """
    grid = wall.grid
    if not (mask & open_to).any():
        return None
    height = _rows(grid, mask, net[0])
    azimuth, step = _columns(wall, mask, net[1])
    row = row_index(grid.height, height, steps=wall.design.profile.steps)
    known = open_to & (grid.wall >= 1.0) & np.isfinite(wall.cutback)
    held = np.where(known, wall.cutback - ASSUMED.held_back * wall.sd, ASSUMED.blocked)
    depth = interpolate_columns(interpolate_rows(held, row), azimuth)
    depth = np.where(
        depth > 0.5 * ASSUMED.blocked, depth, ASSUMED.blocked
    )  # NaN at a step too
    return Hollow(
        height=height,
        start=float(azimuth[0]),
        step=step,
        depth=depth,
        reach=_reach(depth, height, wall.design),
        design=wall.design,
    )


def _rows(grid: Grid, mask: Bool, apart: float) -> Float:
    """Evenly from the first of the zone's rows, a margin below and above it."""
    rows = np.flatnonzero(mask.any(axis=1))
    low, high = grid.surveyed_heights
    bottom = grid.edge[rows[0]]
    below = np.floor(min(ASSUMED.search_margin, bottom - low) / apart + 1e-9)
    first = bottom - below * apart
    last = min(grid.edge[rows[-1] + 1] + ASSUMED.search_margin, high)
    count = int(np.floor((last - first) / apart + 1e-9)) + 1
    return np.asarray(first + apart * np.arange(count))


def _columns(wall: Wall, mask: Bool, apart: float) -> tuple[Float, float]:
    """Azimuths of the columns, rising on past 360, and their step; degrees.

    What goes all round is cut where least of the zone is gone.
    """
    grid = wall.grid
    count = grid.azimuth.size
    radius = float(np.max(grid.design_radius[mask.any(axis=1)]))
    finer = int(np.ceil(grid.sector * radius / apart - 1e-9))
    step = 360.0 / (count * finer)
    margin = int(np.ceil(np.rad2deg(ASSUMED.search_margin / radius) / step))
    held: Bool = np.asarray(mask.any(axis=0))
    first, span = _span(held)
    number = (span - 1) * finer + 1 + 2 * margin
    if number >= count * finer:
        cut = int(np.argmin(np.where(mask, wall.cutback, 0.0).sum(axis=0)))
        return grid.azimuth[cut] + step * np.arange(count * finer), step
    start = grid.azimuth[first] - margin * step
    return start + step * np.arange(number), step


def _span(held: Bool) -> tuple[int, int]:
    """First column and number of columns of what is held, going round."""
    columns = np.flatnonzero(held)
    if columns.size == held.size:
        return 0, held.size
    gap = np.diff(np.append(columns, columns[0] + held.size))
    widest = int(np.argmax(gap))
    first = int(columns[(widest + 1) % columns.size])
    return first, held.size - int(gap[widest]) + 1


def _reach(depth: Float, height: Float, design: Design) -> Float:
    squared = depth + design.shop.brickwork.squaring
    if design.shell_radius is None:
        return squared
    keep = design.shell_radius - (design.least_lining or 0.0)
    room = (keep - design.profile.radius_at(height))[:, None]
    return np.maximum(depth, np.minimum(squared, room))
