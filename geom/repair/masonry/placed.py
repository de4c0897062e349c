"""A brick set in a round, tapered wall: where its corners lie, exactly.

The brick's own frame: ``x`` from the axis of the furnace through the middle of its
face, ``y`` along the arc the way azimuth grows, ``z`` up.  Its face leans by ``tilt``
with the drawn profile, so a point ``v`` along the arc, ``u`` up its face and ``w`` into
it lies at

    x = face + u sin(tilt) + w cos(tilt)
    y = v
    z = foot + u cos(tilt) - w sin(tilt)

and at radius ``hypot(x, y)``.  A face being flat, its middle is nearest to the axis and
its corners lie further back by its sagitta; of its back it is the corners that reach
furthest into the wall.  Of a brick that is curved to a bore, a point ``v`` round its
curve and ``w`` into it takes the place of ``w`` and ``v`` above that it has in plan
(`BrickPiece.in_plan`): with its own bore as the wall's, face and back are circles about
the axis.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from geom.frame import wrap
from geom.repair.masonry.pieces import BrickPiece
from geom.units import Float

#: Corners as ``PlacedBrick.corners`` has them: side along the arc, up, into.
_CORNERS = np.array(
    [
        (side, up, into)
        for into in (0, 1)
        for side, up in ((-1, 0), (1, 0), (1, 1), (-1, 1))
    ],
    dtype=np.float64,
)


#: Boxes that a curved brick is drawn as.
_SLICES = 8


@dataclass(frozen=True)
class PlacedBrick:
    """A piece in its place.  Lengths mm, degrees.

    Attributes
    ----------
    azimuth : float
        Of the middle of its face.
    foot : float
        Height of the lower edge of its face.
    face : float
        Distance of that edge from the axis, at mid-length: nowhere else is the edge of
        a flat face nearer.
    tilt : float
        Of its face against the plumb line; positive: the wall widens upwards.
    cover : float
        Least depth of its face behind the drawn one: what covers it, where it stands
        in the first skin.
    course : int
        Within its skin, from 0 at the bottom of the zone.
    skin : int
        1 next to the hot face, 2 behind that ...
    """

    piece: BrickPiece
    azimuth: float
    foot: float
    face: float
    tilt: float
    cover: float
    course: int = 0
    skin: int = 1

    @property
    def top(self) -> float:
        """Height of the upper edge of its face, mm."""
        return self.foot + self.piece.up * float(np.cos(np.deg2rad(self.tilt)))

    @property
    def half_angle(self) -> float:
        """Half of what it takes of the ring, degrees: face or back, the wider."""
        return float(half_angle(self.piece, self.face + min(self._lean, 0.0)))

    @property
    def _lean(self) -> float:
        return self.piece.up * float(np.sin(np.deg2rad(self.tilt)))

    def corners(self) -> Float:
        """Its eight corners.

        Returns
        -------
        array (8, 3)
            Height (mm), azimuth (degrees), radius (mm): four of the face, from the
            lower one at the lesser azimuth on, round by the lower one at the greater;
            then the four of the back in the same order.
        """
        side, up, into = _CORNERS.T
        piece = self.piece
        along = np.where(into > 0.0, piece.back, piece.front)
        points = self.points(0.5 * side * along, up * piece.up, into * piece.into)
        points[:, 1] = wrap(points[:, 1])
        return points

    def points(self, along: Float, up: Float, into: Float) -> Float:
        """Any points of it, in its own lengths.

        Parameters
        ----------
        along, up, into : array (n,), mm
            From the middle of the lower edge of its face.

        Returns
        -------
        array (n, 3)
            Height (mm), azimuth (degrees, not wrapped), radius (mm).
        """
        tilt = np.deg2rad(self.tilt)
        ahead, across = self.piece.in_plan(along, into)
        x = self.face + up * np.sin(tilt) + ahead * np.cos(tilt)
        z = self.foot + up * np.cos(tilt) - ahead * np.sin(tilt)
        turned = self.azimuth + np.rad2deg(np.arctan2(across, x))
        return np.stack([z, turned, np.hypot(x, across)], axis=1)

    @property
    def deepest(self) -> float:
        """The greatest radius of its back, mm: at a corner, or mid-way if curved."""
        piece, none = self.piece, np.zeros(2)
        middle = self.points(none, np.array([0.0, piece.up]), none + piece.into)
        return float(max(self.corners()[4:, 2].max(), middle[:, 2].max()))

    def blocks(self) -> Float:
        """It as boxes side by side: one, or, where it is curved, enough to look round.

        Returns
        -------
        array (k, 8, 3)
            Corners of each, as `corners` has them.
        """
        piece = self.piece
        cuts = np.linspace(-0.5, 0.5, (_SLICES if piece.bore else 1) + 1)
        side, up, into = _CORNERS.T
        boxes = []
        for start, end in itertools.pairwise(cuts):
            part = np.where(side < 0.0, start, end)
            along = part * np.where(into > 0.0, piece.back, piece.front)
            boxes.append(self.points(along, up * piece.up, into * piece.into))
        made = np.stack(boxes)
        made[..., 1] = wrap(made[..., 1])
        return made

    def level_outline(self, height: float) -> Float:
        """Its outline where it is cut level; past its ends as at its ends.

        Returns
        -------
        array (n, 2)
            Azimuth (degrees, not wrapped) and radius (mm): the face the way azimuth
            grows, then the back the other way.
        """
        piece, tilt = self.piece, np.deg2rad(self.tilt)
        part = np.linspace(-0.5, 0.5, (_SLICES if piece.bore else 1) + 1)
        along = np.concatenate([part * piece.front, part[::-1] * piece.back])
        into = np.repeat([0.0, piece.into], part.size)
        ahead, _ = piece.in_plan(along, into)
        up = (height - self.foot + ahead * np.sin(tilt)) / np.cos(tilt)
        return self.points(along, np.clip(up, 0.0, piece.up), into)[:, 1:]

    def back_radius(self, height: Float, turned: Float) -> Float:
        """Radius of its back, of a plane or, where it is curved, a cylinder, mm.

        Parameters
        ----------
        height : array, mm
        turned : array, degrees
            From its azimuth; arrays broadcast.
        """
        return self._surface(height, turned, self.piece.into)

    def face_radius(self, height: Float, turned: Float) -> Float:
        """Radius of its face; as `back_radius`."""
        return self._surface(height, turned, 0.0)

    def _surface(self, height: Float, turned: Float, into: float) -> Float:
        tilt = np.deg2rad(self.tilt)
        x = self.face + (height - self.foot) * np.tan(tilt) + into / np.cos(tilt)
        return self.piece.radius_of(x, turned, into)


def half_angle(piece: BrickPiece, face: float | Float) -> Float:
    """Half of what a piece takes of the ring, degrees: face or back, the wider.

    Parameters
    ----------
    face : float or array, mm
        Distance of its face from the axis at mid-length, where that is least.
    """
    front = _end(piece, face, piece.front, 0.0)
    return np.asarray(np.maximum(front, half_angle_of_back(piece, face)))


def half_angle_of_back(piece: BrickPiece, face: float | Float) -> Float:
    """Half of what the back of a piece takes of the ring; as `half_angle`."""
    return _end(piece, face, piece.back, piece.into)


def _end(piece: BrickPiece, face: float | Float, long: float, into: float) -> Float:
    ahead, across = piece.in_plan(0.5 * long, into)
    return np.asarray(np.rad2deg(np.arctan2(across, np.asarray(face) + ahead)))


def gap_at_face(first: PlacedBrick, second: PlacedBrick) -> float:
    """Clear width between two neighbours of a course at their faces, mm.

    The second stands further on, the way azimuth grows.
    """
    return _gap(first, second, 0)


def gap_at_back(first: PlacedBrick, second: PlacedBrick) -> float:
    """Clear width between them at their backs, corner to corner, mm."""
    return _gap(first, second, 4)


def _gap(first: PlacedBrick, second: PlacedBrick, offset: int) -> float:
    """Corner to corner, at the lower edge; less than 0 where they overlap."""
    right, left = first.corners()[offset + 1], second.corners()[offset]
    apart = np.deg2rad((left[1] - right[1] + 180.0) % 360.0 - 180.0)
    a, b = right[2], left[2]
    chord = np.sqrt(max(a * a + b * b - 2.0 * a * b * np.cos(apart), 0.0))
    return float(np.copysign(chord, apart)) if apart else 0.0
