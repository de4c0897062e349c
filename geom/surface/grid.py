"""The grid the wall is told on; only this module knows how it wraps.

Rows are slices of height, columns sectors of azimuth.  Row edges fall on every corner
of the profile and on the surveyed limits, and openings are cut out of their cells
exactly, so a sum over cells is the midpoint rule on smooth pieces.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.design import Design
from geom.frame import turn
from geom.units import Bool, Float


@dataclass(frozen=True)
class Grid:
    """Cells of the unrolled wall, shape (height, azimuth) = (m, k).

    Attributes
    ----------
    edge : array (m + 1,), mm, rising
        Edges of the rows.
    azimuth : array (k,), degrees
        Centres of the columns: evenly spaced from 0, the last next to the first.
    design_radius : array (m,), mm
        At the rows' centres.
    wall : array (m, k), 0 to 1
        Share of each cell that is wall and not opening.
    surveyed : bool array (m,)
        Rows between the lowest and the highest reading.
    """

    edge: Float
    azimuth: Float
    design_radius: Float
    wall: Float
    surveyed: Bool

    @cached_property
    def height(self) -> Float:
        """Centres of the rows, mm; shape (m,)."""
        return 0.5 * (self.edge[:-1] + self.edge[1:])

    @cached_property
    def row_height(self) -> Float:
        """How tall each row is, mm; shape (m,)."""
        return np.diff(self.edge)

    @cached_property
    def sector(self) -> float:
        """Width of a column, radians."""
        return 2.0 * np.pi / self.azimuth.size

    @property
    def shape(self) -> tuple[int, int]:
        """(m, k)."""
        return self.height.size, self.azimuth.size

    @cached_property
    def surveyed_heights(self) -> tuple[float, float]:
        """Lowest and highest surveyed height, mm."""
        rows = np.flatnonzero(self.surveyed)
        return float(self.edge[rows[0]]), float(self.edge[rows[-1] + 1])

    @cached_property
    def opening(self) -> Bool:
        """Cells that are mostly opening; shape (m, k)."""
        return self.wall < 0.5

    @cached_property
    def counted(self) -> Float:
        """Share of each cell that is surveyed wall; shape (m, k)."""
        return self.wall * self.surveyed[:, None]

    @cached_property
    def patch(self) -> Float:
        """Surveyed wall of each cell as dtheta x dz, radian mm; shape (m, k)."""
        return self.counted * self.row_height[:, None] * self.sector

    @cached_property
    def face_area(self) -> Float:
        """Area of surveyed design face in each cell, mm2; shape (m, k)."""
        return self.patch * self.design_radius[:, None]


def make_grid(
    design: Design,
    *,
    surveyed: tuple[float, float],
    spacing: float = 10.0,
    columns: int = 360,
) -> Grid:
    """The grid of a design.

    Parameters
    ----------
    design : Design
    surveyed : (low, high), mm
        Heights of the lowest and the highest reading.
    spacing : float, mm
        Greatest distance between row centres.
    columns : int
        Number of azimuths round the wall.

    Returns
    -------
    Grid
        Its row edges include every profile corner and both surveyed limits.
    """
    low, high = surveyed
    fixed = np.unique(np.concatenate([design.profile.corners, [low, high]]))
    fixed = fixed[(fixed >= design.profile.bottom) & (fixed <= design.profile.top)]
    pieces = [
        np.linspace(a, b, max(1, int(np.ceil((b - a) / spacing - 1e-9))) + 1)[:-1]
        for a, b in itertools.pairwise(fixed)
    ]
    edge = np.concatenate([*pieces, fixed[-1:]])
    centre = 0.5 * (edge[:-1] + edge[1:])
    azimuth = np.arange(columns, dtype=np.float64) * (360.0 / columns)
    return Grid(
        edge=edge,
        azimuth=azimuth,
        design_radius=design.profile.radius_at(centre),
        wall=_wall_share(design, edge, azimuth),
        surveyed=(centre > low) & (centre < high),
    )


def _wall_share(design: Design, edge: Float, azimuth: Float) -> Float:
    """Share of each cell outside every opening, by exact overlap."""
    half = 180.0 / azimuth.size
    share = np.ones((edge.size - 1, azimuth.size))
    for hole in design.openings:
        wide = hole.half_angle(design.radius_at_opening(hole))
        away = turn(hole.azimuth, azimuth)
        across = _overlap(away - half, away + half, -wide, wide) / (2.0 * half)
        low, high = hole.height - 0.5 * hole.tall, hole.height + 0.5 * hole.tall
        along = _overlap(edge[:-1], edge[1:], low, high) / np.diff(edge)
        share *= 1.0 - along[:, None] * np.minimum(across, 1.0)[None, :]
    return share


def _overlap(start: Float, end: Float, low: float, high: float) -> Float:
    shared: Float = np.minimum(end, high) - np.maximum(start, low)
    return np.maximum(shared, 0.0)


def around(field: Float, azimuth: float) -> Float:
    """Column of a gridded field at any azimuth, periodic linear; shape (m,)."""
    columns = field.shape[1]
    place = (azimuth % 360.0) * columns / 360.0
    left = int(np.floor(place))
    part = place - left
    a, b = field[:, left % columns], field[:, (left + 1) % columns]
    return np.asarray((1.0 - part) * a + part * b)


def stretched(field: Float, net: Float, height: Float, azimuth: Float) -> Float:
    """A smooth field told on a coarse net, at the nodes of a finer one.

    Parameters
    ----------
    field : array (rows, columns)
        The columns are evenly spaced round the ring from azimuth 0.
    net : array (rows,), mm, rising
    height : array (m,), mm
    azimuth : array (k,), degrees

    Returns
    -------
    array (m, k)
        By splines of degree 3 (less where there are fewer rows), periodic.
    """
    from scipy.interpolate import RectBivariateSpline

    columns = field.shape[1]
    lap = 4
    wrapped = np.concatenate([field[:, -lap:], field, field[:, :lap]], axis=1)
    around_it = np.arange(-lap, columns + lap) * 360.0 / columns
    spline = RectBivariateSpline(net, around_it, wrapped, kx=min(3, net.size - 1))
    rows, row = np.unique(height, return_inverse=True)
    columns_at, column = np.unique(np.mod(azimuth, 360.0), return_inverse=True)
    return np.asarray(spline(rows, columns_at)[np.ix_(row, column)])


def one_more_column(field: Float) -> Float:
    """A field with its first column repeated at the end, for drawing round the seam."""
    return np.concatenate([field, field[:, :1]], axis=1)
