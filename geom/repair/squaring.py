"""A brick zone squared out along courses.

Courses are counted from the bottom of the zone.  Each covers, from the lowest azimuth
to the highest, the cells of the zone that it meets: in one arc, or in several where the
zone is not convex there or an opening stands between.  Gaps narrower than a brick are
bricked over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.surface import Grid
from geom.units import Bool, Float

#: A course that covers this share of the ring is laid as a full ring.
ALL_ROUND = 0.95


@dataclass(frozen=True)
class Course:
    """One course of brickwork, with its joint on top.

    Attributes
    ----------
    low, high : float, mm
    rows : array (m,), 0 to 1
        Share of each row of the grid that lies in it.
    columns : bool array (k,)
        What it covers.
    wall : array (k,), 0 to 1
        Share of each column that is wall and not opening, 0 where not covered.
    design_radius : float, mm
        Mean over its height.
    arcs : tuple of (first, count)
        Columns of each arc, going round; empty for a full ring.
    ring : bool
        It goes all round.
    """

    low: float
    high: float
    rows: Float
    columns: Bool
    wall: Float
    design_radius: float
    arcs: tuple[tuple[int, int], ...]
    ring: bool


def square_out(
    grid: Grid, mask: Bool, free: Bool, *, pitch: float, face: float
) -> tuple[Course, ...]:
    """The courses that cover a zone.

    Where they would stick out past the highest reading they start lower; nothing is
    laid where nothing is known.

    Parameters
    ----------
    grid : Grid
    mask : bool array (m, k)
        Cells of the zone.
    free : bool array (m, k)
        Cells that no other brickwork has taken.
    pitch : float, mm
        Height of a course with its joint.
    face : float, mm
        How far a brick reaches round the ring.

    Returns
    -------
    tuple of Course
        Bottom up; empty if the surveyed wall is not tall enough for them.
    """
    lowest, highest = grid.surveyed_heights
    rows = np.flatnonzero(mask.any(axis=1))
    bottom, top = grid.edge[rows[0]], grid.edge[rows[-1] + 1]
    count = int(np.ceil((top - bottom) / pitch - 1e-9))
    bottom = min(bottom, highest - count * pitch)
    if bottom < lowest - 1e-9:
        return ()
    laid = (
        _course(grid, mask, free, bottom + k * pitch, bottom + (k + 1) * pitch, face)
        for k in range(count)
    )
    return tuple(course for course in laid if course.columns.any())


def share_of(courses: Sequence[Course]) -> Float:
    """Share of each cell that some courses take up; shape (m, k)."""
    rows = np.stack([course.rows for course in courses], axis=1)
    return rows @ np.stack([course.columns for course in courses]).astype(np.float64)


def runs(held: Bool) -> list[tuple[int, int]]:
    """First column and number of columns of each run on the ring.

    Examples
    --------
    >>> runs(np.array([True, False, True, True]))
    [(2, 3)]
    >>> runs(np.array([True, True]))
    [(0, 2)]
    """
    size = held.size
    if held.all():
        return [(0, size)]
    beside = np.concatenate([held[-1:], held, held[:1]])
    starts = np.flatnonzero(held & ~beside[:-2])
    ends = np.flatnonzero(held & ~beside[2:])
    if starts.size and ends[0] < starts[0]:
        ends = np.roll(ends, -1)
    return [
        (int(first), int((last - first) % size) + 1)
        for first, last in zip(starts, ends, strict=True)
    ]


def _course(  # noqa: PLR0917
    grid: Grid, mask: Bool, free: Bool, low: float, high: float, face: float
) -> Course:
    within = np.minimum(grid.edge[1:], high) - np.maximum(grid.edge[:-1], low)
    rows = np.clip(within / grid.row_height, 0.0, 1.0)
    rows[rows < 1e-9] = 0.0
    met = rows > 0.0
    weight = rows * grid.row_height
    weight = weight / weight.sum()
    radius = float(weight @ grid.design_radius)
    wall = np.asarray(weight @ grid.counted, dtype=np.float64)
    zone: Bool = np.any(mask[met], axis=0)
    hit = _gaps_closed(zone, face / (radius * grid.sector))
    all_round = bool(hit.mean() >= ALL_ROUND)
    hit |= all_round
    hit &= free[met].all(axis=0) & (wall >= 0.5)
    ring = all_round and bool(hit.mean() >= ALL_ROUND)
    return Course(
        low=float(low),
        high=float(high),
        rows=rows,
        columns=hit,
        wall=np.where(hit, wall, 0.0),
        design_radius=radius,
        arcs=() if ring else tuple(runs(hit)),
        ring=ring,
    )


def _gaps_closed(hit: Bool, widest: float) -> Bool:
    """Covered columns, gaps of less than ``widest`` columns filled in."""
    closed = hit.copy()
    if not hit.any():
        return closed
    for first, count in runs(~hit):
        if count < widest:
            closed[(first + np.arange(count)) % hit.size] = True
    return closed
