"""Bond: which pieces stand where, so that no two are in each other's way.

By rows: pieces of one height are intervals of azimuth on each foot of the net, the set
worth most is scheduled, and feet are intervals of height, scheduled again.  By stacks:
the same the other way about, pieces of one width over each other, then stacks side by
side.  Rows or stacks are laid anew one after the other, so that no joint runs on from
one into the next; what still finds room is put where it is worth most; and of the two
ways the one that brings in more is kept.

Weighted interval scheduling: pieces on a line that do not overlap, worth most.

References
----------
Kleinberg, J. and Tardos, E. (2006). Algorithm Design, section 6.1 (cited from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.hollow import Hollow
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.masonry.search import Poses
from geom.units import Bool, Float, Int

#: What rounding may add to where an interval ends.
_EXACT = 1e-9


@dataclass(frozen=True)
class Intervals:
    """Intervals of one line, and what each is worth on several lines alike.

    Attributes
    ----------
    label : int array (n, 2)
        What each of them is, for who made it.
    start, end : array (n,)
        Ends rising.
    before : int array (n,)
        How many end where it starts, or before.
    worth : array (n, f)
        On each of ``f`` lines; -inf where it cannot lie there.
    """

    label: Int
    start: Float
    end: Float
    before: Int
    worth: Float

    @classmethod
    def of(cls, label: Int, start: Float, end: Float, worth: Float) -> Intervals:
        """In the order of their ends."""
        order = np.lexsort((start, end))
        start, end = start[order], end[order]
        before = np.searchsorted(end, start + _EXACT, side="right")
        return cls(label[order], start, end, before, worth[order])

    def most(self) -> Float:
        """What each line is worth at most; (f,).

        Examples
        --------
        Of three, the one in the middle is in the way of both others:

        >>> table = Intervals.of(
        ...     np.zeros((3, 2), int),
        ...     np.array([0.0, 1.0, 2.0]),
        ...     np.array([2.0, 3.0, 4.0]),
        ...     np.array([[3.0, 3.0], [5.0, 7.0], [3.0, 3.0]]),
        ... )
        >>> table.most().tolist()
        [6.0, 7.0]
        """
        table = np.zeros((self.end.size + 1, self.worth.shape[1]))
        for k, (before, worth) in enumerate(zip(self.before, self.worth, strict=True)):
            np.maximum(table[k], table[before] + worth, out=table[k + 1])
        return np.asarray(table[-1])

    def chosen(
        self, line: int, *, barred: Float | None = None, apart: float = 0.0
    ) -> list[int]:
        """The intervals of one line that are worth most, in their order.

        Parameters
        ----------
        barred : array, optional
            Where none may start or end ...
        apart : float
            ... nor nearer to it than this.
        """
        worth = self.worth[:, line].copy()
        for point in () if barred is None else barred:
            near = np.minimum(np.abs(self.start - point), np.abs(self.end - point))
            worth[near < apart - _EXACT] = -np.inf
        table = np.zeros(self.end.size + 1)
        taken = np.zeros(self.end.size, dtype=bool)
        for k, before in enumerate(self.before):
            with_it = table[before] + worth[k]
            taken[k] = with_it > table[k]
            table[k + 1] = max(table[k], with_it)
        found, k = [], self.end.size
        while k > 0:
            k -= 1
            if taken[k]:
                found.append(k)
                k = int(self.before[k])
        return found[::-1]


@dataclass(frozen=True)
class _Line:
    """A row or a stack to be: intervals along it, and the interval that it takes.

    Attributes
    ----------
    start, end : float
        Across the lines: mm of height, or degrees round.
    worth : float, mm3
    intervals : Intervals
        Along it, labelled by pose and by net column or row.
    line : int
        Which of theirs.
    index : int
        Net row or column that it stands on.
    """

    start: float
    end: float
    worth: float
    intervals: Intervals
    line: int
    index: int
    poses: tuple[Poses, ...]


def lay_courses(
    hollow: Hollow, poses: Sequence[Poses], *, skin: int
) -> tuple[PlacedBrick, ...]:
    """Lay a hollow out in one skin.

    Returns
    -------
    tuple of PlacedBrick
        Bottom up, courses counted from 0.
    """
    best: tuple[PlacedBrick, ...] = ()
    worth = 0.0
    for lines, at in ((_rows, _in_row), (_stacks, _in_stack)):
        made = _lay(hollow, poses, [*lines(hollow, poses)], at, skin)
        total = sum(pose_worth for _, pose_worth in made)
        if total > worth * (1.0 + 1e-9):
            best, worth = tuple(brick for brick, _ in made), total
    return numbered(best, hollow.start)


#: Pose, net row and net column of an interval of a line.
_Place = Callable[[_Line, int], tuple[Poses, int, int]]


def _in_row(line: _Line, k: int) -> tuple[Poses, int, int]:
    kind, column = line.intervals.label[k]
    return line.poses[kind], line.index, int(column)


def _in_stack(line: _Line, k: int) -> tuple[Poses, int, int]:
    kind, row = line.intervals.label[k]
    return line.poses[kind], int(row), line.index


def _lay(
    hollow: Hollow,
    poses: Sequence[Poses],
    lines: list[_Line],
    at: _Place,
    skin: int,
) -> list[tuple[PlacedBrick, float]]:
    """Bricks of the lines that are worth most, and of what finds room between them."""
    made: list[tuple[PlacedBrick, float]] = []
    last: tuple[_Line, list[int]] | None = None
    for line in _worth_most(lines):
        barred = _joints_of(last, line)
        width = float(np.median(line.intervals.end - line.intervals.start))
        chosen = line.intervals.chosen(
            line.line, barred=barred, apart=ASSUMED.stagger * width
        )
        for k in chosen:
            pose, row, column = at(line, k)
            brick = pose.place(hollow, row, column, skin=skin)
            made.append((brick, float(pose.value[row, column])))
        last = (line, chosen)
    return [*made, *_filling(hollow, poses, [brick for brick, _ in made], skin)]


def _worth_most(lines: list[_Line]) -> list[_Line]:
    """Lines next to each other that are worth most, in their order."""
    lines = [line for line in lines if line.worth > 0.0]
    if not lines:
        return []
    table = Intervals.of(
        np.stack([np.arange(len(lines)), np.zeros(len(lines), int)], axis=1),
        np.array([line.start for line in lines]),
        np.array([line.end for line in lines]),
        np.array([[line.worth] for line in lines]),
    )
    return [lines[table.label[k, 0]] for k in table.chosen(0)]


def _joints_of(last: tuple[_Line, list[int]] | None, line: _Line) -> Float | None:
    """Where pieces of the line before meet, if that is next to this one."""
    if last is None or not last[1]:
        return None
    before, chosen = last
    if line.start - before.end > 0.2 * (line.end - line.start):
        return None
    start, end = before.intervals.start[chosen], before.intervals.end[chosen]
    close = start[1:] - end[:-1] < 0.1 * (end[1:] - start[1:])
    return np.asarray((0.5 * (start[1:] + end[:-1]))[close])


def _rows(hollow: Hollow, poses: Sequence[Poses]) -> Iterator[_Line]:
    """Every foot with what a course of each height is worth on it."""
    joint = hollow.design.shop.brickwork.joint
    turned = hollow.turned()
    for up in sorted({pose.piece.up for pose in poses}):
        alike = tuple(pose for pose in poses if pose.piece.up == up)
        tall = _tall(alike, hollow) + joint
        for feet in _groups(alike[0].stand.face, _somewhere(alike, 1)):
            parts = []
            for kind, pose in enumerate(alike):
                worth = pose.value[feet]
                half = _widest(pose.half[feet])
                clear = hollow.within(turned - half, turned + half)
                columns = np.flatnonzero(np.any(worth > 0.0, axis=0) & clear)
                label = np.stack([np.full(columns.size, kind), columns], axis=1)
                middle = turned[columns]
                parts.append((label, middle - half, middle + half, worth[:, columns].T))
            intervals = _joined(parts)
            for k, worth in enumerate(intervals.most()):
                foot = float(hollow.height[feet[k]])
                end = foot + float(tall[feet[k]])
                yield _Line(foot, end, float(worth), intervals, k, int(feet[k]), alike)


def _stacks(hollow: Hollow, poses: Sequence[Poses]) -> Iterator[_Line]:
    """Every column of the net with what a stack of each width is worth on it."""
    joint = hollow.design.shop.brickwork.joint
    turned = hollow.turned()
    for front in sorted({pose.piece.front for pose in poses}):
        alike = tuple(pose for pose in poses if pose.piece.front == front)
        half = max(_widest(pose.half) for pose in alike)
        columns = _somewhere(alike, 0)
        there = turned[columns]
        columns = columns[hollow.within(there - half, there + half)]
        parts = []
        for kind, pose in enumerate(alike):
            feet = np.flatnonzero(np.any(pose.value > 0.0, axis=1))
            label = np.stack([np.full(feet.size, kind), feet], axis=1)
            foot = hollow.height[feet]
            end = foot + _tall((pose,), hollow)[feet] + joint
            parts.append((label, foot, end, pose.value[np.ix_(feet, columns)]))
        intervals = _joined(parts)
        for k, worth in enumerate(intervals.most()):
            middle = float(turned[columns[k]])
            yield _Line(
                middle - half,
                middle + half,
                float(worth),
                intervals,
                k,
                int(columns[k]),
                alike,
            )


def _joined(parts: list[tuple[Int, Float, Float, Float]]) -> Intervals:
    label, start, end, worth = (
        np.concatenate([part[k] for part in parts]) for k in range(4)
    )
    return Intervals.of(label, start, end, worth)


def _somewhere(poses: Sequence[Poses], axis: int) -> Int:
    """Net rows (1) or columns (0) on which a piece may stand."""
    return np.flatnonzero(
        np.any([np.any(pose.value > 0.0, axis=axis) for pose in poses], axis=0)
    )


def _widest(half: Float) -> float:
    return float(np.max(half[np.isfinite(half)], initial=0.0))


def _tall(poses: Sequence[Poses], hollow: Hollow) -> Float:
    """Height of a course, with room for courses of another slope above, mm; (r,)."""
    stood = poses[0].stand
    deep = max(pose.piece.into for pose in poses)
    reach = 2 * int(np.ceil(stood.up / hollow.row)) + 1
    ahead = np.lib.stride_tricks.sliding_window_view(
        np.pad(stood.slope, (0, reach - 1), mode="edge"), reach
    )
    steeper = np.max(np.abs(np.nan_to_num(ahead - stood.slope[:, None])), axis=1)
    return np.asarray(stood.rise() + deep * steeper)


def _groups(face: Float, feet: Int) -> Iterator[Int]:
    """Feet in groups whose faces lie about as far from the axis."""
    first = 0
    for k in range(1, feet.size + 1):
        done = k == feet.size
        if done or abs(face[feet[k]] / face[feet[first]] - 1.0) > ASSUMED.same_face:
            yield feet[first:k]
            first = k


def _filling(
    hollow: Hollow, poses: Sequence[Poses], laid: list[PlacedBrick], skin: int
) -> Iterator[tuple[PlacedBrick, float]]:
    """Every piece that still finds room, the one worth most first."""
    value = [pose.value.copy() for pose in poses]
    for brick in laid:
        _take(hollow, poses, value, brick)
    while value:
        best = [float(np.max(part)) for part in value]
        kind = int(np.argmax(best))
        if best[kind] <= 0.0:
            return
        row, column = np.unravel_index(int(np.argmax(value[kind])), hollow.shape)
        brick = poses[kind].place(hollow, int(row), int(column), skin=skin)
        _take(hollow, poses, value, brick)
        yield brick, best[kind]


def _take(
    hollow: Hollow, poses: Sequence[Poses], value: list[Float], brick: PlacedBrick
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
        wide = pose.half[rows] + (brick.half_angle + slack - 1e-9)
        columns = np.flatnonzero(off < np.max(wide, initial=0.0))
        near: Bool = off[columns] < wide[:, None]
        held = np.ix_(rows, columns)
        part[held] = np.where(near, -np.inf, part[held])


def numbered(bricks: Sequence[PlacedBrick], start: float) -> tuple[PlacedBrick, ...]:
    """Bricks of a skin bottom up, courses counted: what has one foot is one course.

    Parameters
    ----------
    start : float, degrees
        Where a course begins.
    """
    feet = sorted({brick.foot for brick in bricks})
    number = {foot: k for k, foot in enumerate(feet)}
    ordered = sorted(bricks, key=lambda b: (b.foot, (b.azimuth - start) % 360.0))
    return tuple(replace(brick, course=number[brick.foot]) for brick in ordered)
