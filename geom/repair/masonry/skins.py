"""Skins: bricks next to the hot face, and behind them where the hollow is deep enough.

The first skin stands behind its cover.  Behind the backs of a skin, a joint further in,
the next one is laid in the same way, where something is left of the hollow.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from geom.repair.assumptions import BLOCKED, FINE_NET, SKINS
from geom.repair.masonry.bond import lay_courses, numbered
from geom.repair.masonry.hollow import Hollow, hollow_of
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.masonry.search import poses_of
from geom.repair.wall import Wall
from geom.units import Bool, Float


def place_bricks(
    wall: Wall,
    mask: Bool,
    free: Float,
    pieces: Sequence[BrickPiece],
    *,
    net: tuple[float, float] = FINE_NET,
) -> tuple[PlacedBrick, ...]:
    """Place bricks in a zone skin by skin.

    Parameters
    ----------
    wall : Wall
    mask : bool array (m, k)
        Cells of the zone.
    free : array (m, k), 0 to 1
        Share of each cell that no other brickwork has taken.
    pieces : sequence of BrickPiece
    net : (row, column), mm
        How fine a net they are placed on.
    """
    hollow = hollow_of(wall, mask, free >= 1.0, net=net)
    if hollow is None:
        return ()
    work = wall.design.shop.brickwork
    bricks = lay_courses(hollow, poses_of(hollow, pieces, work.cover_least), skin=1)
    for skin in range(2, SKINS + 1):
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
        corner = float(np.max(brick.corners()[4:, 2]))
        depth = corner - float(np.min(drawn[rows]))
        if brick.skin == last:
            deep.append(depth)
        held = np.ix_(rows, columns)
        backs[held] = np.maximum(backs[held], depth)
    for low, high in _steps(deep):
        own = (backs >= low) & (backs <= high)
        reach = np.where(own, hollow.reach, BLOCKED)
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
        reach[np.ix_(*_over(hollow, brick, joint))] = BLOCKED
    return replace(hollow, reach=reach)


def _steps(depths: Sequence[float]) -> Iterator[tuple[float, float]]:
    """Depths in groups, a tenth of an inch apart at least."""
    ordered = sorted(depths)
    first = 0
    for k in range(1, len(ordered) + 1):
        if k == len(ordered) or ordered[k] - ordered[k - 1] > 2.54:
            yield ordered[first] - 1e-9, ordered[k - 1] + 1e-9
            first = k
