"""A flat brick set in a round, tapered wall: where its corners lie, exactly.

The brick's own frame: ``x`` from the axis of the furnace through the middle of its
face, ``y`` along the arc the way azimuth grows, ``z`` up.  Its face leans by ``tilt``
with the drawn profile, so a point ``v`` along the arc, ``u`` up its face and ``w`` into
it lies at

    x = face + u sin(tilt) + w cos(tilt)
    y = v
    z = foot + u cos(tilt) - w sin(tilt)

and at radius ``hypot(x, y)``.  A face being flat, its middle is nearest to the axis and
its corners lie further back by its sagitta; of its back it is the corners that reach
furthest into the wall.
"""

from __future__ import annotations

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


@dataclass(frozen=True)
class PlacedBrick:
    """A piece in its place.  Lengths mm, degrees.

    Attributes
    ----------
    piece : BrickPiece
    azimuth : float
        Of the middle of its face.
    foot : float
        Height of the lower edge of its face.
    face : float
        Distance of that edge from the axis, at mid-length: nowhere else is the edge
        nearer.
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
        x = self.face + up * np.sin(tilt) + into * np.cos(tilt)
        z = self.foot + up * np.cos(tilt) - into * np.sin(tilt)
        turned = self.azimuth + np.rad2deg(np.arctan2(along, x))
        return np.stack([z, turned, np.hypot(x, along)], axis=1)

    def back_radius(self, height: Float, turned: Float) -> Float:
        """Radius of the plane of its back; arrays broadcast, mm.

        Parameters
        ----------
        height : array, mm
        turned : array, degrees
            From its azimuth.
        """
        return self._plane(height, turned, self.piece.into)

    def face_radius(self, height: Float, turned: Float) -> Float:
        """Radius of the plane of its face; as `back_radius`."""
        return self._plane(height, turned, 0.0)

    def _plane(self, height: Float, turned: Float, into: float) -> Float:
        tilt = np.deg2rad(self.tilt)
        x = self.face + (height - self.foot) * np.tan(tilt) + into / np.cos(tilt)
        return np.asarray(x / np.cos(np.deg2rad(turned)))


def half_angle(piece: BrickPiece, face: float | Float) -> Float:
    """Half of what a piece takes of the ring, degrees: face or back, the wider.

    Parameters
    ----------
    piece : BrickPiece
    face : float or array, mm
        Distance of its face from the axis at mid-length, where that is least.
    """
    front = np.arctan(0.5 * piece.front / np.asarray(face))
    back = np.arctan(0.5 * piece.back / (np.asarray(face) + piece.into))
    return np.asarray(np.rad2deg(np.maximum(front, back)))


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
