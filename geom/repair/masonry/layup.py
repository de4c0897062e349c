"""The brickwork of one zone: a patch of whole and half bricks that follows the hollow.

From the drawn face into the wall: cover, brick, behind it a second skin where the
hollow is deep enough, and daub for the rest.  Nothing is squared out to make room:
sound lining is cut only at the feather edges of the hollow, by no more than the shop
allows.

Skins: bricks next to the hot face, and behind them where the hollow is deep enough.

The first skin stands behind its cover.  Behind the backs of a skin, a joint further in,
the next one is laid in the same way, where something is left of the hollow.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from geom.document import as_document
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bond import lay_courses, numbered
from geom.repair.masonry.hollow import Hollow, hollow_of
from geom.repair.masonry.pieces import BrickCount, BrickPiece, count_pieces
from geom.repair.masonry.placed import (
    PlacedBrick,
    gap_at_back,
    gap_at_face,
    half_angle_of_back,
)
from geom.repair.masonry.search import poses_of
from geom.repair.wall import Wall, section
from geom.stats.normal import expected_excess
from geom.surface import Grid
from geom.units import M3, Bool, Float, Int


def place_bricks(
    wall: Wall,
    mask: Bool,
    free: Float,
    pieces: Sequence[BrickPiece],
    *,
    net: tuple[float, float] = ASSUMED.fine_net,
) -> tuple[PlacedBrick, ...]:
    """Place bricks in a zone skin by skin.

    Parameters
    ----------
    mask : bool array (m, k)
        Cells of the zone.
    free : array (m, k), 0 to 1
        Share of each cell that no other brickwork has taken.
    net : (row, column), mm
        How fine a net they are placed on.
    """
    hollow = hollow_of(wall, mask, free >= 1.0, net=net)
    if hollow is None:
        return ()
    work = wall.design.shop.brickwork
    bricks = lay_courses(hollow, poses_of(hollow, pieces, work.cover_least), skin=1)
    for skin in range(2, ASSUMED.skins + 1):
        behind: list[PlacedBrick] = []
        for cover, hidden in _behind(hollow, bricks, skin - 1, work.joint):
            left = _without(hidden, behind, work.joint)
            poses = poses_of(left, pieces, cover, first_skin=False)
            behind += lay_courses(left, poses, skin=skin)
        if not behind:
            break
        bricks = (*bricks, *numbered(behind, hollow.start))
    return bricks


def _behind(
    hollow: Hollow, bricks: Sequence[PlacedBrick], last: int, joint: float
) -> Iterator[tuple[float, Hollow]]:
    """What is left behind a skin: a face that clears its backs, and where it may be.

    Bricks of a skin that reach about as deep are taken together; a net column and row
    more than they cover is theirs, for what stands behind reaches round them.
    """
    backs = np.zeros(hollow.shape)
    drawn = hollow.design.profile.radius_at(hollow.height)
    deep = []
    for brick in bricks:
        rows, columns = _over(hollow, brick, joint)
        depth = brick.deepest - float(np.min(drawn[rows]))
        if brick.skin == last:
            deep.append(depth)
        held = np.ix_(rows, columns)
        backs[held] = np.maximum(backs[held], depth)
    for low, high in _steps(deep):
        own = (backs >= low) & (backs <= high)
        reach = np.where(own, hollow.reach, ASSUMED.blocked)
        yield high + joint, replace(hollow, reach=reach)


def _over(hollow: Hollow, brick: PlacedBrick, joint: float) -> tuple[Bool, Bool]:
    """Rows and columns of the net that a brick stands over, a joint and one more."""
    corners = brick.corners()
    azimuth = hollow.start + hollow.turned()
    off = np.abs((azimuth - brick.azimuth + 180.0) % 360.0 - 180.0)
    slack = np.rad2deg(joint / brick.face) + hollow.step
    low = float(np.min(corners[:, 0])) - joint - hollow.row
    high = float(np.max(corners[:, 0])) + joint + hollow.row
    rows = (hollow.height > low) & (hollow.height < high)
    return rows, off < brick.half_angle + slack


def _without(hollow: Hollow, bricks: Sequence[PlacedBrick], joint: float) -> Hollow:
    """A hollow less what some bricks stand over."""
    reach = hollow.reach.copy()
    for brick in bricks:
        reach[np.ix_(*_over(hollow, brick, joint))] = ASSUMED.blocked
    return replace(hollow, reach=reach)


def _steps(depths: Sequence[float]) -> Iterator[tuple[float, float]]:
    """Depths in groups, a tenth of an inch apart at least."""
    ordered = sorted(depths)
    first = 0
    for k in range(1, len(ordered) + 1):
        if k == len(ordered) or ordered[k] - ordered[k - 1] > 2.54:
            yield ordered[first] - 1e-9, ordered[k - 1] + 1e-9
            first = k


@dataclass(frozen=True)
class Course:
    """What stands on one foot in one skin.  Lengths mm.

    Attributes
    ----------
    skin, number : int
        Skin from the hot face on, 1 the first; course from the bottom, 0 the first.
    height_from, height_to : float
        Of its faces, the tallest.
    bricks : tuple of PlacedBrick
        The way azimuth grows.
    """

    skin: int
    number: int
    height_from: float
    height_to: float
    bricks: tuple[PlacedBrick, ...]


@dataclass(frozen=True)
class LayUp:
    """The brickwork of one zone.  Lengths mm, volumes mm3.

    Attributes
    ----------
    bricks : tuple of PlacedBrick
        Skin by skin, the outermost first; each bottom up.
    tally : tuple of BrickCount
        As they are ordered.
    share : array (m, k), 0 to 1
        Of each cell that is the zone's own, what bricks take of its neighbours with it.
    covered : array (m, k), 0 to 1
        Of each cell that stands over a brick.
    seat : array (m, k)
        Depth of the furthest back over it, from the drawn face; 0 where there is none.
    volume : float
        Of the bricks, halves as halves.
    joints : float
        Clay between neighbours of a course, open joints and all.
    cut : float
        Sound lining that is removed, expected.
    in_front, behind, at_sides : float
        Daub that covers, beds, and fills what bricks leave of the hollow.
    before : float
        Brick before the drawn face, where the shop lets bricks stand proud.
    thickest, bed_thickest : float
        Daub where it is thickest: anywhere, and behind brick.
    """

    bricks: tuple[PlacedBrick, ...]
    tally: tuple[BrickCount, ...]
    share: Float = field(repr=False)
    covered: Float = field(repr=False)
    seat: Float = field(repr=False)
    volume: float
    joints: float
    cut: float
    in_front: float
    behind: float
    at_sides: float
    before: float
    thickest: float
    bed_thickest: float

    @property
    def daub(self) -> float:
        """All the daub in it, mm3."""
        return self.in_front + self.behind + self.at_sides

    @property
    def skins(self) -> int:
        """How many stand one behind the other where there are most."""
        return max(brick.skin for brick in self.bricks)

    def courses(self) -> tuple[Course, ...]:
        """Its bricks course by course: each skin bottom up, the first skin first."""
        found = []
        for key in sorted({(brick.skin, brick.course) for brick in self.bricks}):
            own = tuple(b for b in self.bricks if (b.skin, b.course) == key)
            low, high = min(b.foot for b in own), max(b.top for b in own)
            found.append(Course(*key, low, high, own))
        return tuple(found)

    def to_dict(self) -> dict[str, Any]:
        """As in the document of a plan: course by course, volumes m3."""
        return {
            "bricks": [
                as_document(count) | {"needed": count.needed} for count in self.tally
            ],
            "courses": [_course_document(course) for course in self.courses()],
            "skins": self.skins,
            "thickest_daub": self.thickest,
            "thickest_bed": self.bed_thickest,
            "volume": self.volume * M3,
            "joints": self.joints * M3,
        }


def _course_document(course: Course) -> dict[str, Any]:
    return {
        "skin": course.skin,
        "height_from": course.height_from,
        "height_to": course.height_to,
        "bricks": [
            {
                "name": brick.piece.name,
                "part": brick.piece.part,
                "azimuth": brick.azimuth,
                "foot": brick.foot,
                "along": brick.piece.front,
                "up": brick.piece.up,
                "into": brick.piece.into,
                "face": brick.face,
                "tilt": brick.tilt,
                "cover": brick.cover,
            }
            for brick in course.bricks
        ],
    }


def lay_up(
    wall: Wall, mask: Bool, free: Float, pieces: Sequence[BrickPiece]
) -> LayUp | None:
    """The brickwork of a zone; None where no piece fits.

    A brick without which hardly less is laid is left out: fewer shapes are carried in.

    Parameters
    ----------
    mask : bool array (m, k)
        Cells of the zone.
    free : array (m, k), 0 to 1
        Share of each cell that no other brickwork has taken.
    """
    chosen = _few_shapes(wall, mask, free, pieces)
    bricks = place_bricks(wall, mask, free, chosen)
    return _laid(wall, mask, free, bricks) if bricks else None


def _few_shapes(
    wall: Wall, mask: Bool, free: Float, pieces: Sequence[BrickPiece]
) -> Sequence[BrickPiece]:
    """Pieces of the shapes that matter, found on a coarse net."""
    bricks = place_bricks(wall, mask, free, pieces, net=ASSUMED.coarse_net)
    for name, _ in sorted(_by_name(bricks).items(), key=lambda pair: pair[1]):
        fewer = [piece for piece in pieces if piece.name != name]
        trial = place_bricks(wall, mask, free, fewer, net=ASSUMED.coarse_net)
        if _brick(trial) >= (1.0 - ASSUMED.shape_toll) * _brick(bricks):
            bricks, pieces = trial, fewer
    return pieces


def _brick(bricks: Sequence[PlacedBrick]) -> float:
    return sum(brick.piece.volume for brick in bricks)


def _by_name(bricks: Sequence[PlacedBrick]) -> dict[str, float]:
    """Volume of each brick that is laid, mm3; less than two of them: none."""
    volume: dict[str, float] = {}
    for brick in bricks:
        name = brick.piece.name
        volume[name] = volume.get(name, 0.0) + brick.piece.volume
    return volume if len(volume) > 1 else {}


@dataclass(frozen=True)
class _Under:
    """Cells that a brick stands over: indices, share of each, depths; all (n,)."""

    row: Int
    column: Int
    share: Float
    face: Float
    back: Float


def _under(grid: Grid, brick: PlacedBrick) -> _Under:
    """Exact shares of cells, depths at their centres from the drawn face."""
    low, high = (
        np.clip(grid.edge[:-1], brick.foot, brick.top),
        np.clip(grid.edge[1:], brick.foot, brick.top),
    )
    rows = np.flatnonzero(high > low)
    column, across, turned = _columns_under(grid, brick)
    along = ((high - low) / grid.row_height)[rows]
    height = 0.5 * (low + high)[rows, None]
    drawn = grid.design_radius[rows, None]
    face = brick.face_radius(height, turned[None, :]) - drawn
    back = brick.back_radius(height, turned[None, :]) - drawn
    row, columns = np.meshgrid(rows, column, indexing="ij")
    return _Under(
        row=row.ravel(),
        column=columns.ravel(),
        share=np.outer(along, across).ravel(),
        face=face.ravel(),
        back=back.ravel(),
    )


def _columns_under(grid: Grid, brick: PlacedBrick) -> tuple[Int, Float, Float]:
    """Columns, share of each, and how far the middle of that part is turned."""
    count = grid.azimuth.size
    step = 360.0 / count
    half = float(half_angle_of_back(brick.piece, brick.face))
    first = int(np.floor((brick.azimuth - half) / step + 0.5))
    last = int(np.floor((brick.azimuth + half) / step + 0.5))
    index = np.arange(first, last + 1)
    low = np.maximum((index - 0.5) * step - brick.azimuth, -half)
    high = np.minimum((index + 0.5) * step - brick.azimuth, half)
    return index % count, (high - low) / step, 0.5 * (low + high)


def _laid(
    wall: Wall, mask: Bool, free: Float, bricks: tuple[PlacedBrick, ...]
) -> LayUp:
    grid, work = wall.grid, wall.design.shop.brickwork
    under = [_under(grid, brick) for brick in bricks]
    covered, seat = np.zeros(grid.shape), np.zeros(grid.shape)
    cut = in_front = before = 0.0
    for brick, cells in zip(bricks, under, strict=True):
        at = (cells.row, cells.column)
        if brick.skin == 1:
            np.add.at(covered, at, cells.share)
            ahead = _volume(grid, cells, np.maximum(cells.face, 0.0))
            in_front += ahead
            before += ahead - _volume(grid, cells, cells.face)
        np.maximum.at(seat, at, cells.back)
        cut += _cut(wall, cells, cells.back + work.bed_least)
    covered = np.minimum(covered, 1.0)
    share = np.maximum(np.where(mask, free, 0.0), covered)
    volume = _brick(bricks)
    joints = _joints(bricks, work.joint)
    daub = wall.summed(share, wall.gone) + cut + before - volume - joints
    behind = _behind_all(wall, covered, seat)
    return LayUp(
        bricks=bricks,
        tally=count_pieces((brick.piece for brick in bricks), work.breakage),
        share=share,
        covered=covered,
        seat=seat,
        volume=volume,
        joints=joints,
        cut=cut,
        in_front=in_front,
        behind=behind,
        at_sides=daub - in_front - behind,
        before=before,
        thickest=_thickest(wall, share, covered, seat),
        bed_thickest=_thickest(wall, covered >= 0.5, covered, seat),
    )


def _volume(grid: Grid, cells: _Under, depth: Float) -> float:
    radius = grid.design_radius[cells.row]
    patch = cells.share * grid.patch[cells.row, cells.column]
    return float(np.sum(patch * section(radius, depth)))


def _cut(wall: Wall, cells: _Under, depth: Float) -> float:
    """Expected volume between the wall and a depth that it is not gone to, mm3."""
    grid, at = wall.grid, (cells.row, cells.column)
    radius = grid.design_radius[cells.row]
    beyond = expected_excess(wall.cutback[at] - depth, wall.sd[at], radius + depth)
    area = section(radius, depth) + beyond - wall.gone[at]
    return float(np.sum(np.nan_to_num(cells.share * grid.patch[at] * area)))


def _behind_all(wall: Wall, covered: Float, seat: Float) -> float:
    held = (covered > 0.0) & (wall.grid.counted > 0.0)
    radius = (wall.grid.design_radius[:, None] + seat)[held]
    beyond = np.zeros(seat.shape)
    beyond[held] = expected_excess(
        wall.cutback[held] - seat[held], wall.sd[held], radius
    )
    return wall.summed(covered, beyond)


def _thickest(wall: Wall, share: Float | Bool, covered: Float, seat: Float) -> float:
    """Of the daub: in front is no more than at the sides of a brick."""
    own = (share > 0.0) & (wall.grid.counted > 0.0)
    left = np.where(covered >= 0.5, wall.cutback - seat, wall.cutback)
    return float(max(np.max(left[own], initial=0.0), 0.0))


def _joints(bricks: Sequence[PlacedBrick], joint: float) -> float:
    """Clay between neighbours of a course, wedges and all, mm3."""
    total = 0.0
    for first, second in _neighbours(bricks, joint):
        wide = 0.5 * (gap_at_face(first, second) + gap_at_back(first, second))
        one, other = first.piece, second.piece
        total += wide * min(one.into, other.into) * min(one.up, other.up)
    return total


def _neighbours(
    bricks: Sequence[PlacedBrick], joint: float
) -> Iterator[tuple[PlacedBrick, PlacedBrick]]:
    """Bricks of one course that stand side by side."""
    courses: dict[tuple[int, int], list[PlacedBrick]] = {}
    for brick in bricks:
        courses.setdefault((brick.skin, brick.course), []).append(brick)
    for own in courses.values():
        own.sort(key=lambda brick: brick.azimuth)
        for first, second in zip(own, own[1:] + own[:1], strict=True):
            turned = (second.azimuth - first.azimuth) % 360.0
            gap = turned - first.half_angle - second.half_angle
            if first is not second and gap * np.pi / 180.0 * first.face <= 4.0 * joint:
                yield first, second
