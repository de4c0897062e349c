"""Whether planned bricks are solids that find room in the true wall.

Two boxes are apart where some plane lies between them: the separating axis of two
convex bodies is a normal of one of their sides, or stands square to an edge of each
(Gottschalk, Lin and Manocha 1996, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from fleet_surveys import Wall
from fleet_walls import Float

from geom.design import Design
from geom.frame import to_cartesian

#: Points along each side of a brick at which its back is held against the wall.
_POINTS = 13


@dataclass(frozen=True)
class Pushed:
    """One brick in the true wall.

    Attributes
    ----------
    brick : PlacedBrick
    cut : float, mm3
        Of sound lining, so that it stands where it was planned.
    most : float, mm
        How far its back reaches past the true wall.
    cover : float, mm
        Least depth of its face behind the drawn one.
    proud : float, mm
        How far it is pushed into the bore, since no more is cut than the shop squares.
    """

    brick: Any
    cut: float
    most: float
    cover: float
    proud: float

    def face_depth(self, azimuth: Float, height: Float, wall: Wall) -> Float:
        """Depth of its face, where that is over a place; else as deep as can be."""
        brick = self.brick
        turned = (azimuth - brick.azimuth + 180.0) % 360.0 - 180.0
        half = np.rad2deg(np.arctan(0.5 * brick.piece.front / brick.face))
        over = (np.abs(turned) <= half) & (height >= brick.foot) & (height <= brick.top)
        depth = np.full(np.shape(over), np.inf)
        if over.any():
            face = brick.face_radius(height[over], turned[over]) - self.proud
            depth[over] = face - wall.drawn(height[over])
        return depth


def pushed_out(brick: Any, wall: Wall, design: Design) -> Pushed:
    """Hold one brick against the true wall, on a net over its back and its face."""
    piece = brick.piece
    part = (np.arange(_POINTS) + 0.5) / _POINTS
    ends = np.linspace(0.0, 1.0, _POINTS)
    across, up = (grid.ravel() for grid in np.meshgrid(ends - 0.5, ends))
    height, azimuth, radius = brick.points(
        piece.back * across, piece.up * up, np.full(across.shape, piece.into)
    ).T
    past = radius - wall.radius(azimuth % 360.0, height)
    across, up = (grid.ravel() for grid in np.meshgrid(part - 0.5, part))
    height, azimuth, radius = brick.points(
        piece.back * across, piece.up * up, np.full(across.shape, piece.into)
    ).T
    over = np.maximum(radius - wall.radius(azimuth % 360.0, height), 0.0)
    cut = float(np.mean(np.minimum(over, piece.into)) * piece.back * piece.up)
    height, _, radius = brick.points(
        piece.front * across, piece.up * up, np.zeros(across.shape)
    ).T
    most = float(np.max(past))
    return Pushed(
        brick=brick,
        cut=cut,
        most=most,
        cover=float(np.min(radius - wall.drawn(height))),
        proud=max(most - design.shop.brickwork.squaring, 0.0),
    )


def into_least(brick: Any, surface: Any) -> float:
    """How far a back reaches into the lining that has to stay and was there, mm."""
    design = surface.design
    keep = design.shell_radius - (design.least_lining or 0.0)
    height, azimuth, radius = brick.corners()[4:].T
    grid = surface.grid
    row = np.clip(np.searchsorted(grid.edge, height) - 1, 0, grid.height.size - 1)
    column = np.rint(azimuth / 360.0 * grid.azimuth.size).astype(int)
    gone = surface.radius[row, column % grid.azimuth.size]
    return float(np.max(radius - np.maximum(keep, np.nan_to_num(gone))))


def overlap(bricks: Sequence[Any], sense: Any) -> float:
    """How far any two bricks reach into each other at most, mm; 0: they stand clear."""
    if len(bricks) < 2:
        return 0.0
    corners = np.stack([brick.corners() for brick in bricks])
    points = to_cartesian(corners[..., 1], corners[..., 2], corners[..., 0], sense)
    middle = points.mean(axis=1)
    reach = np.linalg.norm(points - middle[:, None], axis=-1).max(axis=1)
    deepest = 0.0
    for i in range(len(bricks)):
        apart = np.linalg.norm(middle[i + 1 :] - middle[i], axis=-1)
        for j in i + 1 + np.flatnonzero(apart < reach[i] + reach[i + 1 :]):
            deepest = max(deepest, _depth(points[i], points[j]))
    return deepest


#: Edges of a brick by its corners: along the arc, up, and into it at either end.
_EDGES = ((0, 1), (0, 3), (0, 4), (1, 5))


def _depth(one: Float, other: Float) -> float:
    """Least overlap of two convex boxes over all axes that could part them, mm."""
    edges = [np.array([box[b] - box[a] for a, b in _EDGES]) for box in (one, other)]
    pairs = [
        np.cross(e[a], e[b]) for e in edges for a, b in ((0, 1), (1, 2), (1, 3), (0, 2))
    ]
    pairs += [np.cross(a, b) for a in edges[0] for b in edges[1]]
    least = np.inf
    for axis in pairs:
        size = float(np.linalg.norm(axis))
        if size < 1e-6:
            continue
        a, b = one @ axis / size, other @ axis / size
        least = min(least, float(min(a.max() - b.min(), b.max() - a.min())))
        if least <= 0.0:
            return 0.0
    return float(least)
