"""Where in a hollow a piece may stand, and what it is worth there.

A piece stands tilted to the slope of the drawn profile, its face behind the drawn face
by the cover at least, knots of the profile between its foot and its top included.  It
may stand where nothing of its back, and of the least bed behind it, reaches past the
hollow by more than what is squared, where its flat face and its open joints keep to the
shop's limits, and nowhere over an opening of the furnace.

The net holds depth at its nodes and is straight in between, the back of a piece is
rounder than that: so it is enough to ask at the nodes and at the edges of a piece, and
the nodes next outside are asked in place of the edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from geom.design import Design
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.hollow import Hollow
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.masonry.placed import (
    PlacedBrick,
    half_angle,
    half_angle_of_back,
)
from geom.units import Bool, Float


@dataclass(frozen=True)
class Stand:
    """How a piece of some height stands at each foot of a net; (r,).

    Attributes
    ----------
    up : float, mm
        Of the piece.
    slope : array
        Of its face, dr/dh.
    face : array, mm
        Distance of its face's lower edge from the axis at mid-length; NaN where it
        reaches out of the profile.
    spread : array, mm
        How much further back than at its nearest its face lies behind the drawn one.
    """

    up: float
    slope: Float
    face: Float
    spread: Float

    def rise(self) -> Float:
        """How tall it is upright, mm; (r,)."""
        return self.up / np.sqrt(1.0 + self.slope**2)


def stand(height: Float, up: float, design: Design, cover: float) -> Stand:
    """Slope and place of a face, by the height of its foot.

    Parameters
    ----------
    height : array (r,), mm
        Of its lower edge.
    up : float, mm
    cover : float, mm
        Least depth behind the drawn face.
    """
    profile = design.profile
    foot, top = profile.radius_at(height), profile.radius_at(height + up, side="below")
    jumps = sum(
        (
            np.where((height <= step) & (step < height + up), _jump(design, step), 0.0)
            for step in profile.steps
        ),
        np.zeros_like(height),
    )
    slope = (top - foot - jumps) / up
    # Straight in between: what stands nearest and furthest is at an end or at a knot.
    off = [np.zeros_like(height), top - foot - slope * up]
    for knot, *sides in zip(profile.corners, *profile.corner_radii, strict=True):
        inside = (height < knot) & (knot < height + up)
        if inside.any():
            run = slope * (knot - height)
            off += [np.where(inside, drawn - foot - run, 0.0) for drawn in sides]
    nearest = np.max(off, axis=0)
    return Stand(up, slope, foot + nearest + cover, nearest - np.min(off, axis=0))


def _jump(design: Design, step: float) -> float:
    above = design.profile.radius_at(step)
    return float(above - design.profile.radius_at(step, side="below"))


@dataclass(frozen=True)
class Poses:
    """One piece everywhere in a hollow.

    Attributes
    ----------
    cover : float, mm
        Least depth of its face behind the drawn one.
    half : array (r,), degrees
        Half of what it takes of the ring with half a joint, by its foot.
    value : array (r, c), mm3
        Brick that it brings in, less what it costs; -inf where it cannot stand.  By the
        row of its foot and the column of its middle.
    """

    piece: BrickPiece
    cover: float
    stand: Stand
    half: Float
    value: Float

    def place(self, hollow: Hollow, row: int, column: int, *, skin: int) -> PlacedBrick:
        """The piece with its foot on a row of the net, its middle on a column."""
        return PlacedBrick(
            piece=self.piece,
            azimuth=float((hollow.start + column * hollow.step) % 360.0),
            foot=float(hollow.height[row]),
            face=float(self.stand.face[row]),
            tilt=float(np.rad2deg(np.arctan(self.stand.slope[row]))),
            cover=self.cover,
            skin=skin,
        )


def poses_of(
    hollow: Hollow,
    pieces: Sequence[BrickPiece],
    cover: float,
    *,
    first_skin: bool = True,
) -> tuple[Poses, ...]:
    """Every piece that may stand somewhere in a hollow.

    Parameters
    ----------
    cover : float, mm
        Least depth of a face behind the drawn one.
    first_skin : bool
        Whether it is daub that covers it.
    """
    deepest = float(np.max(hollow.reach))
    stands: dict[float, Stand] = {}
    found = []
    for piece in pieces:
        if cover + piece.into > deepest:
            continue
        if piece.up not in stands:
            stands[piece.up] = stand(hollow.height, piece.up, hollow.design, cover)
        poses = _poses(hollow, piece, stands[piece.up], cover, first_skin)
        if np.any(poses.value > 0.0):
            found.append(poses)
    return tuple(found)


def _poses(
    hollow: Hollow, piece: BrickPiece, stood: Stand, cover: float, first_skin: bool
) -> Poses:
    work = hollow.design.shop.brickwork
    near = stood.face + np.minimum(stood.slope * piece.up, 0.0)
    ahead, across = piece.in_plan(0.5 * piece.front, 0.0)
    # the corners of a face curved to less than the circle are what is nearest
    back_by = np.maximum(np.sqrt(near**2 - across**2) - ahead - near, 0.0)
    stood, near = replace(stood, face=stood.face + back_by), near + back_by
    corner = np.hypot(near + ahead, across)
    stands_off = np.asarray(piece.sagitta(corner))
    fits = np.isfinite(stood.face)
    fits &= np.abs(np.asarray(piece.opening(corner))) <= work.opening
    if piece.bore:
        fits &= np.abs(2.0 * corner / piece.bore - 1.0) <= ASSUMED.same_bore
    thickest = work.cover_least + stood.spread + np.abs(stands_off)
    if first_skin:
        fits &= thickest <= work.cover_most
    half = half_angle(piece, near) + np.rad2deg(0.5 * work.joint / corner)
    half = np.where(fits, half, np.inf)
    if not fits.any():
        return Poses(piece, cover, stood, half, np.full(hollow.shape, -np.inf))
    room = _least_room(hollow, piece, stood, fits)
    value = (
        piece.volume
        - ASSUMED.cut_weight * _cut(hollow, piece, stood, fits)
        - ASSUMED.piece_toll
    )
    if not piece.whole:
        value -= ASSUMED.cut_toll
    if piece.stock == 0:
        value *= ASSUMED.no_stock
    return Poses(piece, cover, stood, half, np.where(room >= 0.0, value, -np.inf))


def _taps(hollow: Hollow, piece: BrickPiece, stood: Stand, fits: Bool) -> int:
    """Columns to either side of its middle that its back covers, the next one too."""
    near = stood.face[fits] + np.minimum(stood.slope[fits] * piece.up, 0.0)
    half = float(np.max(half_angle_of_back(piece, near)))
    return int(np.ceil(half / hollow.step - 1e-9))


def _rows_of(hollow: Hollow, stood: Stand) -> int:
    return int(np.ceil(stood.up / hollow.row - 1e-9))


def _least_room(hollow: Hollow, piece: BrickPiece, stood: Stand, fits: Bool) -> Float:
    """Least of what is left between the back and what it may reach, mm; (r, c)."""
    taps, rows = _taps(hollow, piece, stood, fits), _rows_of(hollow, stood)
    drawn = hollow.design.profile.radius_at(hollow.height)
    ahead = (stood.face - drawn)[fits] + piece.into
    turned = hollow.step * np.abs(np.arange(-taps, taps + 1))
    ends = half_angle_of_back(piece, drawn + np.min(ahead) - piece.into)
    turned = np.minimum(turned[None, :], ends[:, None])
    # by how much more its back reaches there than at mid-length, at the most
    rounder = np.max(
        [
            piece.radius_of(middle[:, None], turned, piece.into) - middle[:, None]
            for middle in (drawn + np.min(ahead), drawn + np.max(ahead))
        ],
        axis=0,
    )
    count, columns = hollow.shape
    padded = np.full((count, columns + 2 * taps), ASSUMED.blocked)
    padded[:, taps : taps + columns] = hollow.reach
    # tap by tap, so that what is worked on stays small
    along, reached = padded[:, :columns] - rounder[:, :1], np.empty(hollow.shape)
    for tap in range(1, 2 * taps + 1):
        np.subtract(padded[:, tap : tap + columns], rounder[:, tap, None], out=reached)
        np.minimum(along, reached, out=along)
    # The back of a leaning piece ends below its foot, or above its top.
    lean, bed = np.sqrt(1.0 + stood.slope**2), hollow.design.shop.brickwork.bed_least
    dip = piece.into * stood.slope / lean
    extra = int(np.ceil(float(np.max(np.abs(dip[fits]))) / hollow.row - 1e-9))
    along = np.pad(
        along, ((extra, rows + extra), (0, 0)), constant_values=ASSUMED.blocked
    )
    drawn = np.pad(drawn, (extra, rows + extra), mode="edge")
    # axes: rows up from its foot, row of its foot
    level = np.arange(-extra, rows + extra + 1)[:, None] * hollow.row
    up = np.clip(level, -dip, stood.rise() - dip)
    back = stood.face + stood.slope * up + piece.into * lean
    behind = back + bed - sliding_window_view(drawn, count)
    behind[np.abs(level - up) >= hollow.row] = -np.inf
    least, room = along[:count] - behind[0][:, None], reached
    for rise, needed in enumerate(behind[1:], 1):
        np.subtract(along[rise : rise + count], needed[:, None], out=room)
        np.minimum(least, room, out=least)
    return np.where(fits[:, None], least, ASSUMED.blocked)


def _cut(hollow: Hollow, piece: BrickPiece, stood: Stand, fits: Bool) -> Float:
    """About how much sound lining a piece asks to be cut, mm3; (r, c)."""
    taps, rows = _taps(hollow, piece, stood, fits), _rows_of(hollow, stood)
    drawn = hollow.design.profile.radius_at(hollow.height)
    depth = float(np.nanmin((stood.face - drawn)[fits])) + piece.into
    depth += abs(float(np.asarray(piece.sagitta(float(np.min(drawn)))))) / 3.0
    over = np.clip(depth - hollow.depth, 0.0, depth)
    cell = over * (hollow.row * np.deg2rad(hollow.step) * (drawn + depth)[:, None])
    total = np.zeros((cell.shape[0] + 1, cell.shape[1] + 1))
    total[1:, 1:] = cell.cumsum(axis=0).cumsum(axis=1)
    low, left = np.arange(cell.shape[0]), np.arange(cell.shape[1])
    high = np.minimum(low + rows, cell.shape[0])
    right = np.minimum(left + taps, cell.shape[1])
    left = np.maximum(left - taps, 0)
    box = total[np.ix_(high, right)] - total[np.ix_(low, right)]
    box += total[np.ix_(low, left)] - total[np.ix_(high, left)]
    return np.asarray(box)
