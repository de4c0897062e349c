"""Bond: which pieces stand where, so that no two are in each other's way.

Round a row, pieces are intervals of azimuth with a worth each, and the set that is
worth most is found by weighted interval scheduling; up the wall, rows are intervals of
height, and the same is done again.  Then courses are laid anew bottom up, so that no
joint stands over a joint, and what still finds room is put where it is worth most.

References
----------
Kleinberg, J. and Tardos, E. (2006). Algorithm Design, section 6.1 (weighted interval
scheduling; cited from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.repair.assumptions import SAME_FACE, STAGGER
from geom.repair.masonry.hollow import Hollow
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.masonry.search import Poses
from geom.units import Bool, Float, Int


@dataclass(frozen=True)
class _Intervals:
    """Pieces of one height on some feet of the net, by where they end round the ring.

    Attributes
    ----------
    rows : int array (f,)
        Feet.
    kind, column : int array (n,)
        Which of the poses, and where its middle stands.
    start, end : array (n,), degrees
        Ends rising.
    before : int array (n,)
        How many end where it starts, or before.
    value : array (n, f), mm3
    """

    rows: Int
    kind: Int
    column: Int
    start: Float
    end: Float
    before: Int
    value: Float

    @classmethod
    def of(cls, hollow: Hollow, poses: Sequence[Poses], rows: Int) -> _Intervals:
        turned = hollow.turned()
        parts = []
        for kind, pose in enumerate(poses):
            value = pose.value[rows]
            columns = np.flatnonzero(np.any(value > 0.0, axis=0))
            wide = pose.half[rows]
            half = float(np.max(wide[np.isfinite(wide)], initial=0.0))
            parts.append(
                (
                    np.full(columns.size, kind),
                    columns,
                    turned[columns] - half,
                    turned[columns] + half,
                    value[:, columns].T,
                )
            )
        kind, column, start, end, value = (
            np.concatenate([part[k] for part in parts]) for k in range(5)
        )
        order = np.argsort(end, kind="stable")
        end = end[order]
        before = np.searchsorted(end, start[order] + 1e-9, side="right")
        return cls(
            rows, kind[order], column[order], start[order], end, before, value[order]
        )

    def best(self) -> Float:
        """What each foot is worth, the first ``n`` intervals allowed; (n + 1, f)."""
        most = np.zeros((self.end.size + 1, self.rows.size))
        for k, (before, value) in enumerate(zip(self.before, self.value, strict=True)):
            np.maximum(most[k], most[before] + value, out=most[k + 1])
        return most

    def chosen(self, row: int, barred: Float, apart: float) -> list[int]:
        """The intervals of one foot that are worth most, none ending over a joint.

        Parameters
        ----------
        row : int
            Of ``rows``.
        barred : array, degrees
            Joints of the course below.
        apart : float, degrees
            How far from those an end has to stay.
        """
        value = self.value[:, row].copy()
        for joint in barred:
            close = np.minimum(np.abs(self.start - joint), np.abs(self.end - joint))
            value[close < apart - 1e-9] = -np.inf
        most = np.zeros(self.end.size + 1)
        taken = np.zeros(self.end.size, dtype=bool)
        for k, before in enumerate(self.before):
            with_it = most[before] + value[k]
            taken[k] = with_it > most[k]
            most[k + 1] = max(most[k], with_it)
        found, k = [], self.end.size
        while k > 0:
            k -= 1
            if taken[k]:
                found.append(k)
                k = int(self.before[k])
        return found[::-1]


@dataclass(frozen=True)
class _Row:
    """A course to be: a foot of the net and the pieces of one height."""

    foot: float
    top: float
    worth: float
    intervals: _Intervals
    row: int
    poses: tuple[Poses, ...]


def lay_courses(
    hollow: Hollow, poses: Sequence[Poses], *, skin: int
) -> tuple[PlacedBrick, ...]:
    """Lay a hollow out in one skin.

    Parameters
    ----------
    hollow : Hollow
    poses : sequence of Poses
    skin : int

    Returns
    -------
    tuple of PlacedBrick
        Bottom up, courses counted from 0.
    """
    joint = hollow.design.shop.brickwork.joint
    rows = _rows_worth_most([*_rows(hollow, poses)], joint)
    laid: list[PlacedBrick] = []
    below: list[tuple[_Row, list[int]]] = []
    for row in rows:
        barred = _joints_below(row, below, hollow, joint)
        width = min(pose.half[row.intervals.rows[row.row]] for pose in row.poses)
        chosen = row.intervals.chosen(row.row, barred, 2.0 * STAGGER * float(width))
        below = [(row, chosen)]
        laid += _bricks(hollow, row, chosen, skin)
    return _numbered(_filled(hollow, poses, laid, skin), hollow.start)


def _rows(hollow: Hollow, poses: Sequence[Poses]) -> Iterator[_Row]:
    """Every foot with what a course of each height is worth on it."""
    heights = sorted({pose.piece.up for pose in poses})
    for up in heights:
        alike = tuple(pose for pose in poses if pose.piece.up == up)
        worth = np.any([np.any(pose.value > 0.0, axis=1) for pose in alike], axis=0)
        feet = np.flatnonzero(worth)
        tall = alike[0].stand.rise() + _leaning(alike, hollow)
        for group in _alike(alike[0].stand.face, feet):
            intervals = _Intervals.of(hollow, alike, group)
            most = intervals.best()[-1]
            for k, row in enumerate(group):
                foot = float(hollow.height[row])
                top = foot + float(tall[row])
                yield _Row(foot, top, float(most[k]), intervals, k, alike)


def _leaning(poses: Sequence[Poses], hollow: Hollow) -> Float:
    """Room for courses of other slopes above, mm; (r,)."""
    slope = poses[0].stand.slope
    deep = max(pose.piece.into for pose in poses)
    reach = 2 * int(np.ceil(poses[0].piece.up / hollow.row)) + 1
    ahead = np.lib.stride_tricks.sliding_window_view(
        np.pad(slope, (0, reach - 1), mode="edge"), reach
    )
    return np.asarray(deep * np.nanmax(np.abs(ahead - slope[:, None]), axis=1))


def _alike(face: Float, feet: Int) -> Iterator[Int]:
    """Feet in groups whose faces lie about as far from the axis."""
    first = 0
    for k in range(1, feet.size + 1):
        done = k == feet.size
        if done or abs(face[feet[k]] / face[feet[first]] - 1.0) > SAME_FACE:
            yield feet[first:k]
            first = k


def _rows_worth_most(rows: list[_Row], joint: float) -> list[_Row]:
    """Courses over each other that are worth most; bottom up."""
    rows = sorted((row for row in rows if row.worth > 0.0), key=lambda row: row.top)
    tops = np.array([row.top + joint for row in rows])
    most, taken, before = [0.0], [], []
    for row in rows:
        below = int(np.searchsorted(tops, row.foot + 1e-9, side="right"))
        with_it = most[below] + row.worth
        taken.append(with_it > most[-1])
        before.append(below)
        most.append(max(most[-1], with_it))
    found, k = [], len(rows)
    while k > 0:
        k -= 1
        if taken[k]:
            found.append(rows[k])
            k = before[k]
    return found[::-1]


def _joints_below(
    row: _Row, below: list[tuple[_Row, list[int]]], hollow: Hollow, joint: float
) -> Float:
    """Where in the course below two pieces meet, degrees from the first column."""
    met: list[float] = []
    for under, chosen in below:
        if row.foot - under.top > 2.0 * joint + hollow.row:
            continue
        start = under.intervals.start[chosen]
        end = under.intervals.end[chosen]
        close = start[1:] - end[:-1] < 2.0 * hollow.step
        met += (0.5 * (start[1:] + end[:-1]))[close].tolist()
    return np.array(met)


def _bricks(
    hollow: Hollow, row: _Row, chosen: list[int], skin: int
) -> list[PlacedBrick]:
    intervals = row.intervals
    foot = int(intervals.rows[row.row])
    turned = hollow.turned()
    return [
        row.poses[intervals.kind[k]].place(
            hollow, foot, float(turned[intervals.column[k]]), course=0, skin=skin
        )
        for k in chosen
    ]


def _filled(
    hollow: Hollow, poses: Sequence[Poses], laid: list[PlacedBrick], skin: int
) -> list[PlacedBrick]:
    """With every piece that still finds room, the one worth most first."""
    value = [pose.value.copy() for pose in poses]
    for brick in laid:
        _take(hollow, poses, value, brick)
    turned = hollow.turned()
    while value:
        best = [float(np.max(part)) for part in value]
        kind = int(np.argmax(best))
        if best[kind] <= 0.0:
            break
        row, column = np.unravel_index(int(np.argmax(value[kind])), hollow.shape)
        brick = poses[kind].place(
            hollow, int(row), float(turned[column]), course=0, skin=skin
        )
        _take(hollow, poses, value, brick)
        laid = [*laid, brick]
    return laid


def _take(
    hollow: Hollow,
    poses: Sequence[Poses],
    value: list[Float],
    brick: PlacedBrick,
) -> None:
    """Rule out whatever would stand in a brick's way."""
    joint = hollow.design.shop.brickwork.joint
    turned = hollow.turned() + hollow.start
    off = np.abs((turned - brick.azimuth + 180.0) % 360.0 - 180.0)
    slack = np.rad2deg(0.5 * joint / brick.face)
    slope = np.tan(np.deg2rad(brick.tilt))
    for pose, part in zip(poses, value, strict=True):
        deep = max(pose.piece.into, brick.piece.into)
        lean = deep * np.abs(pose.stand.slope - slope)
        up = pose.stand.rise() + joint + lean
        met = (hollow.height + up > brick.foot + 1e-9) & (
            hollow.height < brick.top + joint + lean - 1e-9
        )
        rows = np.flatnonzero(met & np.isfinite(pose.half))
        near: Bool = (
            off[None, :] < (pose.half[rows] + brick.half_angle + slack)[:, None] - 1e-9
        )
        part[rows] = np.where(near, -np.inf, part[rows])


def _numbered(bricks: list[PlacedBrick], start: float) -> tuple[PlacedBrick, ...]:
    """Courses counted from the bottom: what has one foot is one course."""
    feet = sorted({brick.foot for brick in bricks})
    number = {foot: k for k, foot in enumerate(feet)}
    ordered = sorted(bricks, key=lambda b: (b.foot, (b.azimuth - start) % 360.0))
    return tuple(replace(brick, course=number[brick.foot]) for brick in ordered)
