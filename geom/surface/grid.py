"""The grid of the unrolled wall; only this module knows how it wraps.

Rows are slices of height, columns sectors of azimuth.  Row edges fall on every corner
of the profile and on the surveyed limits, and openings are cut out of their cells
exactly, so a sum over cells is the midpoint rule on smooth pieces.

Whatever is read off a gridded field between its nodes goes through `interpolate_rows`,
`interpolate_columns` and `interpolate_points`: linear in height and in azimuth,
periodic round the ring.

Connected pieces of the wall, round the ring; and what nodes of a net stand for.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.frame import turn
from geom.shown import Shown
from geom.units import Bool, Float, Int

if TYPE_CHECKING:
    from scipy.sparse import csr_array


@dataclass(frozen=True)
class Grid(Shown):
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
    surveyed : bool array (m, k)
        Cells that readings tell of, `geom.surface.coverage` says by which rule.
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
    def surveyed_rows(self) -> Bool:
        """Rows with any surveyed cell; shape (m,)."""
        return np.asarray(self.surveyed.any(axis=1))

    @cached_property
    def surveyed_heights(self) -> tuple[float, float]:
        """Lowest and highest surveyed height, mm."""
        rows = np.flatnonzero(self.surveyed_rows)
        return float(self.edge[rows[0]]), float(self.edge[rows[-1] + 1])

    def all_round(self) -> Grid:
        """The same with all between the lowest and the highest counted as surveyed."""
        low, high = self.surveyed_heights
        rows = (self.height > low) & (self.height < high)
        return replace(self, surveyed=np.repeat(rows[:, None], self.azimuth.size, 1))

    @cached_property
    def opening(self) -> Bool:
        """Cells that are mostly opening; shape (m, k)."""
        return self.wall < 0.5

    @cached_property
    def counted(self) -> Float:
        """Share of each cell that is surveyed wall; shape (m, k)."""
        return self.wall * self.surveyed

    @cached_property
    def patch(self) -> Float:
        """Surveyed wall of each cell as dtheta x dz, radian mm; shape (m, k)."""
        return self.counted * self.row_height[:, None] * self.sector

    @cached_property
    def face_area(self) -> Float:
        """Area of surveyed design face in each cell, mm2; shape (m, k)."""
        return self.patch * self.design_radius[:, None]

    @cached_property
    def whole_face(self) -> Float:
        """Area of design face in each cell, surveyed or not, mm2; shape (m, k)."""
        whole = self.wall * (self.row_height * self.design_radius)[:, None]
        return whole * self.sector


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
    surveyed : (low, high), mm
        Heights of the lowest and the highest reading: all between them counts as
        surveyed, round the ring too.
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
    between = (centre > low) & (centre < high)
    return Grid(
        edge=edge,
        azimuth=azimuth,
        design_radius=design.profile.radius_at(centre),
        wall=_wall_share(design, edge, azimuth),
        surveyed=np.repeat(between[:, None], columns, axis=1),
    )


def _wall_share(design: Design, edge: Float, azimuth: Float) -> Float:
    """Share of each cell outside every opening, by exact overlap."""
    half = 180.0 / azimuth.size
    share = np.ones((edge.size - 1, azimuth.size))
    for hole in design.openings:
        wide = hole.half_angle(design.radius_at_opening(hole))
        gap = turn(hole.azimuth, azimuth)
        across = _overlap(gap - half, gap + half, -wide, wide) / (2.0 * half)
        low, high = hole.height - 0.5 * hole.tall, hole.height + 0.5 * hole.tall
        along = _overlap(edge[:-1], edge[1:], low, high) / np.diff(edge)
        share *= 1.0 - along[:, None] * np.minimum(across, 1.0)[None, :]
    return share


def _overlap(start: Float, end: Float, low: float, high: float) -> Float:
    shared: Float = np.minimum(end, high) - np.maximum(start, low)
    return np.maximum(shared, 0.0)


def row_index(rows: Float, height: Float, *, steps: Float | None = None) -> Float:
    """Where heights lie among rows: 2.25 is a quarter of the way from row 2 to row 3.

    Parameters
    ----------
    rows : array (m,), mm, rising
    height : array (p,), mm
        Below the first row and above the last, that row holds.
    steps : array, mm, rising, optional
        Cut-back jumps where the drawing does: a height next to a step goes by the rows
        on its own side alone.

    Returns
    -------
    array (p,), 0 to m - 1
        NaN where no row lies between the same two steps.

    Examples
    --------
    >>> row_index(np.array([0.0, 10.0, 30.0]), np.array([15.0, 40.0])).tolist()
    [1.25, 2.0]
    """
    place = np.interp(height, rows, np.arange(rows.size))
    if steps is None or not len(steps):
        return place
    low, high, _ = _neighbours(place, rows.size)
    piece, here = np.searchsorted(steps, rows), np.searchsorted(steps, height)
    under, over = piece[low] == here, piece[high] == here
    lone = np.where(under, low, np.where(over, high, np.nan))
    return np.asarray(np.where(under & over, place, lone))


def interpolate_rows(field: Float, row: Float) -> Float:
    """A field straight between its rows; (m, ...) at ``row`` (p,) to (p, ...).

    Parameters
    ----------
    field : array (m, ...)
    row : array (p,)
        As `row_index` gives it; NaN stays NaN.
    """
    low, high, part = _neighbours(row, field.shape[0])
    part = part.reshape(-1, *([1] * (field.ndim - 1)))
    return np.asarray((1.0 - part) * field[low] + part * field[high])


def interpolate_columns(field: Float, azimuth: Float | float) -> Float:
    """A field straight between its columns, round the ring; (m, k) to (m, q).

    Parameters
    ----------
    field : array (m, k)
        Columns evenly spaced from azimuth 0, the last next to the first.
    azimuth : array (q,) or float, degrees
        Of one azimuth the answer is (m,).
    """
    left, right, part = _columns_beside(azimuth, field.shape[1])
    return np.asarray((1.0 - part) * field[:, left] + part * field[:, right])


def interpolate_points(field: Float, row: Float, azimuth: Float) -> Float:
    """A field straight between its rows and its columns, point by point.

    Parameters
    ----------
    field : array (m, k)
    row : array (n,)
        As `row_index` gives it.
    azimuth : array (n,), degrees

    Returns
    -------
    array (n,)
    """
    left, right, part = _columns_beside(azimuth, field.shape[1])
    low, high, share = _neighbours(row, field.shape[0])
    below = (1.0 - part) * field[low, left] + part * field[low, right]
    above = (1.0 - part) * field[high, left] + part * field[high, right]
    return np.asarray((1.0 - share) * below + share * above)


def _neighbours(row: Float, count: int) -> tuple[Int, Int, Float]:
    """Rows below and above fractional ones, and how far it is between them."""
    low = np.clip(np.floor(np.nan_to_num(row)).astype(np.int64), 0, max(count - 2, 0))
    return low, np.minimum(low + 1, count - 1), row - low


def _columns_beside(azimuth: Float | float, count: int) -> tuple[Int, Int, Float]:
    """Columns left and right of azimuths, and how far it is between them."""
    place = np.mod(azimuth, 360.0) * count / 360.0
    left = np.floor(place).astype(np.int64)
    return left % count, (left + 1) % count, place - left


def interpolate_smoothly(
    field: Float, rows: Float, height: Float, azimuth: Float
) -> Float:
    """Smooth fields on a coarse net, at the nodes of a finer one.

    Parameters
    ----------
    field : array (..., r, c)
        The columns are evenly spaced round the ring from azimuth 0.
    rows : array (r,), mm, rising
    height : array (m,), mm
        What lies past the first or last row takes that of it.
    azimuth : array (k,), degrees

    Returns
    -------
    array (..., m, k)
        By splines of degree 3 (less where there are fewer rows), periodic.
    """
    count, lap = field.shape[-1], 4
    up = _spline_weights(rows, np.clip(height, rows[0], rows[-1]))
    # The ring is laid out with some columns repeated at both ends of the seam.
    columns = np.arange(-lap, count + lap)
    wrapped = _spline_weights(columns * 360.0 / count, np.mod(azimuth, 360.0))
    around = wrapped[:, lap:-lap].copy()
    around[:, -lap:] += wrapped[:, :lap]
    around[:, :lap] += wrapped[:, -lap:]
    # A spline follows what it goes through linearly: (m, r) @ (r, c) @ (c, k).
    return np.asarray(up @ field @ around.T)


def _spline_weights(nodes: Float, at: Float) -> Float:
    """What a spline through values at nodes (n,) takes of each at places; (p, n)."""
    from scipy.interpolate import make_interp_spline

    spline = make_interp_spline(nodes, np.eye(nodes.size), k=min(3, nodes.size - 1))
    return np.asarray(spline(at))


def close_seam(field: Float) -> Float:
    """A field with its first column repeated at the end, for drawing round the seam."""
    return np.concatenate([field, field[:, :1]], axis=1)


#: Face of a standard brick laid flat, 9 x 2 1/2 in (Hawkins, Maxims and Instructions
#: for the Boiler Room, c. 1900), mm2.
BRICK_FACE = 228.6 * 63.5


def label_components(mask: Bool) -> tuple[Int, int]:
    """Number the connected pieces of a mask on the ring.

    Parameters
    ----------
    mask : bool array (m, k)
        The last column is next to the first; cells touch by their sides.

    Returns
    -------
    number : int array (m, k)
        0 outside, else 1 to count.
    count : int

    Examples
    --------
    >>> label_components(np.array([[True, False, True, True]]))[0]
    array([[1, 0, 1, 1]])
    """
    from scipy.ndimage import label

    number, count = label(mask)
    ends = number[:, [0, -1]][mask[:, 0] & mask[:, -1]]
    seam = np.unique(ends[ends[:, 0] != ends[:, 1]], axis=0)
    if not seam.size:
        return number.astype(np.int64), int(count)
    # each piece is known by the first that it hangs together with
    first = np.arange(count + 1)
    for left, right in seam:
        low, high = sorted((first[left], first[right]))
        first[first == high] = low
    kept, merged = np.unique(first, return_inverse=True)
    return merged[number].astype(np.int64), kept.size - 1


def components(mask: Bool) -> Iterator[Bool]:
    """The masks of the connected pieces, one by one."""
    number, count = label_components(mask)
    for k in range(1, count + 1):
        yield number == k


def hysteresis_threshold(core: Bool, body: Bool) -> Bool:
    """The pieces of ``body`` that hold some of ``core``: hysteresis."""
    number, count = label_components(body)
    seeded = np.zeros(count + 1, dtype=bool)
    seeded[number[core & body]] = True
    seeded[0] = False
    return seeded[number]


def drop_small(mask: Bool, area: Float, least: float) -> Bool:
    """Only the pieces of at least some area; ``area`` is that of each cell."""
    number, count = label_components(mask)
    size = np.bincount(number.ravel(), weights=area.ravel(), minlength=count + 1)
    keep = size >= least
    keep[0] = False
    return keep[number]


def net_averages(grid: Grid, good: Bool, height: Float, azimuth: Float) -> csr_array:
    """Weights of cells in the nodes of a net; (q, m * k).

    A node is the mean of the cells that are no further off than half of the way to the
    nearer of its neighbours, up and round, openings and wall not surveyed left out as
    far as there is any other.  A net of one height is that height: straight between the
    rows above and below; one of one azimuth is the column nearest to it.

    Parameters
    ----------
    good : bool array (m, k)
        Cells that are wall, and known.
    height, azimuth : array, mm and degrees
        Of the net, rising.
    """
    from scipy.sparse import csr_array

    apart = np.abs(
        np.mod(grid.azimuth[:, None] - azimuth[None, :] + 180.0, 360.0) - 180.0
    )
    column = np.argmin(apart, axis=1)
    adjacent = np.min(apart, axis=1) <= _half_way(_gaps_round(azimuth))[column]
    if azimuth.size == 1:
        adjacent = apart[:, 0] <= np.min(apart)
    if height.size == 1:
        node = np.zeros(grid.height.size, dtype=np.int64)
        share = _rows_at(grid, float(height[0]))
    else:
        node = _nearest(grid.height, height)
        gaps = np.diff(height)
        reach = _half_way(np.concatenate([gaps[:1], gaps, gaps[-1:]]))
        near = np.abs(grid.height - height[node]) <= reach[node]
        share = np.where(grid.surveyed_rows & near, 1.0, 0.0)
    rows, columns = np.flatnonzero(share > 0.0), np.flatnonzero(adjacent)
    cells = np.ix_(rows, columns)
    owner = (node[rows, None] * azimuth.size + column[columns]).ravel()
    weight = np.repeat(share[rows], columns.size)
    counted = good[cells].ravel()
    size = height.size * azimuth.size
    best = np.where(counted, weight, 0.0)
    total = np.bincount(owner, best, size)
    # a node with nothing but openings and unread wall is the mean of these
    best = np.where((total <= 0.0)[owner], weight, best)
    total = np.bincount(owner, best, size)
    held = np.flatnonzero(best > 0.0)
    value: Float = best[held] / total[owner[held]]
    cell = (rows[:, None] * grid.azimuth.size + columns).ravel()
    whole = size, grid.opening.size
    return csr_array((value, (owner[held], cell[held])), shape=whole)


def _half_way(gaps: Float) -> Float:
    """Half of the way to the nearer neighbour; from gaps before and after, (n + 1,)."""
    # cells just half way to a neighbour are not to slip through
    return np.asarray(0.5 * np.minimum(gaps[:-1], gaps[1:]) * (1.0 + 1e-9))


def _gaps_round(azimuth: Float) -> Float:
    """Turn between each of rising azimuths and the next, the last to the first too."""
    between = np.diff(np.append(azimuth, azimuth[0] + 360.0))
    return np.concatenate([between[-1:], between])


def _rows_at(grid: Grid, height: float) -> Float:
    """Weights of the rows that tell a height: two, or the outermost; (m,)."""
    rows = np.flatnonzero(grid.surveyed_rows)
    above = int(np.clip(np.searchsorted(grid.height[rows], height), 1, rows.size - 1))
    low, high = rows[above - 1], rows[above]
    part = (height - grid.height[low]) / (grid.height[high] - grid.height[low])
    share = np.zeros(grid.height.size)
    share[low], share[high] = 1.0 - np.clip(part, 0.0, 1.0), np.clip(part, 0.0, 1.0)
    return share


def _nearest(values: Float, to: Float) -> Int:
    """Index of the nearest of ``to`` (rising) for each value."""
    edge = 0.5 * (to[1:] + to[:-1])
    return np.searchsorted(edge, values).astype(np.int64)
