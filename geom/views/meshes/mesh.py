"""The measured hot face as a mesh: one vertex a cell, round without a seam.

Only wall that was measured is in it: openings and heights without readings are left
out, so a viewer shows a hole there and not an invented wall.  The lowest and highest
ring of vertices stand on the surveyed limits and carry the values of the row next to
them; every other vertex stands at a cell's centre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom.frame import Sense, to_cartesian
from geom.surface.radial import RadialSurface
from geom.units import Bool, Float, Int


@dataclass(frozen=True)
class WallMesh:
    """Triangles of the hot face.

    Attributes
    ----------
    points : array (n, 3), mm
        In the design's frame, z up.
    faces : int array (f, 3)
        Wound so that their normals point to the axis, into the bore.
    row, column : int array (n,)
        The cell of the grid whose values each vertex carries.
    """

    vertices: Float
    faces: Int
    row: Int
    column: Int

    def pick(self, field: NDArray[Any]) -> NDArray[Any]:
        """Values of a gridded field, shape (height, azimuth), at the vertices."""
        return field[self.row, self.column]


def wall_mesh(surface: RadialSurface) -> WallMesh:
    """Mesh of the surveyed wall less the openings.

    Returns
    -------
    WallMesh
        The column at the end shares its neighbours at azimuth 0 by index.
    """
    grid = surface.grid
    row, height, design = _rings(surface)
    is_wall = (np.isfinite(surface.radius) & ~grid.opening)[row]
    radius = design[:, None] + surface.cutback[row]
    vertices = to_cartesian(
        grid.azimuth[None, :], radius, height[:, None], surface.design.azimuth_sense
    )
    faces = _faces(is_wall, surface.design.azimuth_sense)
    used, faces = of_those_used(faces, row.size * grid.azimuth.size)
    ring, column = np.divmod(used, grid.azimuth.size)
    return WallMesh(
        vertices=vertices.reshape(-1, 3)[used],
        faces=faces,
        row=row[ring],
        column=column,
    )


def of_those_used(faces: Int, count: int) -> tuple[Int, Int]:
    """Vertices used by faces, of so many, and the faces numbered among those.

    As ``np.unique`` with ``return_inverse``, without sorting a million numbers.
    """
    is_used = np.zeros(count, dtype=bool)
    is_used[faces] = True
    number = np.cumsum(is_used, dtype=faces.dtype) - 1
    return np.flatnonzero(is_used), number[faces]


def _rings(surface: RadialSurface) -> tuple[Int, Float, Float]:
    """Row, height and design radius of each ring of vertices, bottom up."""
    grid, profile = surface.grid, surface.design.profile
    rows = np.flatnonzero(grid.surveyed_rows)
    low, high = grid.edge[rows[0]], grid.edge[rows[-1] + 1]
    ends = profile.radius_at(low), profile.radius_at(high, side="below")
    row = np.concatenate([rows[:1], rows, rows[-1:]])
    height = np.concatenate([[low], grid.height[rows], [high]])
    design = np.concatenate([[ends[0]], grid.design_radius[rows], [ends[1]]])
    return row, height, design


def _faces(is_wall: Bool, sense: Sense) -> Int:
    """Two triangles for every four neighbours that are all wall; shape (f, 3)."""
    rings, columns = is_wall.shape
    index = np.arange(rings * columns).reshape(rings, columns)
    a, d = index[:-1], index[1:]
    b, c = np.roll(a, -1, axis=1), np.roll(d, -1, axis=1)
    joined = is_wall & np.roll(is_wall, -1, axis=1)
    whole = joined[:-1] & joined[1:]
    lower = np.stack([a, b, c], axis=-1)[whole]
    upper = np.stack([a, c, d], axis=-1)[whole]
    faces = np.concatenate([lower, upper])
    return faces if sense == "clockwise" else faces[:, ::-1]
