"""The closed solid of material to rebuild, between the drawing and the lost wall.

Its thickness is not that of the best-estimate surface but the expected one: a wall that
is on the drawing give or take 3 mm needs, on average, 1.2 mm of material.  So the solid
holds the same volume as the rebuild volume in the findings.

Made of two skins over the corners of the grid's cells: the inner on the drawing, the
outer where the expected material ends, with rims where wall ends.  Cells with next to
no expected material are left out.  At a step of the drawing the solid is parted by a
hair.  Averaging cells to corners and flat facets move the volume by a little; one
factor on the expected material, found from the volume of the mesh, puts that right.

Neighbouring cells share corners, round the seam too.  Not shared are the two sides of a
step of the drawing, held apart by a hair, and a corner at which two cells meet that
touch nowhere else: bodies that share only a line are no solid.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geom.frame import Sense, to_cartesian
from geom.surface.radial import RadialSurface
from geom.units import Bool, Float, Int
from geom.views.meshes.mesh import of_those_used

#: Gap between the two sides of a step, mm: apart in single precision.
_STEP_GAP = 0.05
#: How far a corner of a cell's own is pulled into it, as a part of the cell.
_INSET = 0.02
#: Expected thickness below which a cell is left out, mm; the next is tried when the
#: cells left out hold more than their share of the volume.  The last is about what
#: single precision can tell apart on a wall some metres across.
THINNEST = (0.02, 0.005, 0.001)
_LEFT_OUT = 1e-3
#: How closely the mesh is brought to the volume, relative.
_CLOSE = 1e-5
#: Triangles that are written at a time; less than the length of any normal.
_AT_ONCE, _TINY = 16_384, 1e-300


@dataclass(frozen=True)
class Corners:
    """Cells and their corners.

    Attributes
    ----------
    of_cell : int array (4, m, k)
        Number of each cell's south-west, south-east, north-east and north-west corner;
        east is growing azimuth, north is up.
    azimuth : array (n,), degrees
    height, design : array (n,), mm
        Height and design radius.
    kept : bool array (m, k)
        Cells that are part of the solid.
    joined : bool array (m - 1,)
        Rows not parted from the next by a step.
    """

    of_cell: Int
    azimuth: Float
    height: Float
    design: Float
    kept: Bool
    joined: Bool

    @property
    def count(self) -> int:
        """How many corners there are."""
        return self.azimuth.size

    def mean(self, field: Float) -> Float:
        """Mean of the kept cells round each corner; shape (n,)."""
        ids = self.of_cell[:, self.kept]
        values = np.broadcast_to(field[self.kept], ids.shape)
        number = np.bincount(ids.ravel(), minlength=self.count)
        total = np.bincount(ids.ravel(), weights=values.ravel(), minlength=self.count)
        return np.divide(total, number, out=np.zeros_like(total), where=number > 0)


def find_corners(surface: RadialSurface, kept: Bool) -> Corners:
    """The corners of the kept cells.

    Parameters
    ----------
    kept : bool array (height, azimuth)

    Returns
    -------
    Corners
    """
    grid, profile = surface.grid, surface.design.profile
    columns = grid.azimuth.size
    parted = np.isin(grid.edge[1:-1], profile.steps)
    low, high = _rings(parted)
    height, design = np.empty((2, high[-1] + 1))
    height[low] = grid.edge[:-1] + 0.5 * _STEP_GAP * np.append(False, parted)
    height[high] = grid.edge[1:] - 0.5 * _STEP_GAP * np.append(parted, False)
    design[low] = profile.radius_at(grid.edge[:-1], side="above")
    design[high] = profile.radius_at(grid.edge[1:], side="below")
    west = np.arange(columns)
    east = (west + 1) % columns
    around = ((low, west), (low, east), (high, east), (high, west))
    shared = Corners(
        of_cell=np.stack(
            [(ring[:, None] * columns + side).astype(np.int32) for ring, side in around]
        ),
        azimuth=np.tile(grid.azimuth - 180.0 / columns, height.size),
        height=np.repeat(height, columns),
        design=np.repeat(design, columns),
        kept=kept,
        joined=~parted,
    )
    return _split_pinches(shared, surface)


def _rings(parted: Bool) -> tuple[Int, Int]:
    """Number of the ring of corners below and above each row; two rings at a step."""
    low = np.append(0, np.cumsum(1 + parted))
    high = np.append(low[1:] - parted, low[-1] + 1)
    return low, high


def _split_pinches(corners: Corners, surface: RadialSurface) -> Corners:
    """With a corner of its own for the upper of two cells that only meet there."""
    kept, joined = corners.kept, corners.joined[:, None]
    west = np.roll(kept, 1, axis=1)
    sw, se, nw, ne = west[:-1], kept[:-1], west[1:], kept[1:]
    row, column = np.nonzero(joined & sw & ne & ~se & ~nw)
    corners = _split_corners(corners, surface, (row + 1, column), which=0)
    row, column = np.nonzero(joined & se & nw & ~sw & ~ne)
    return _split_corners(corners, surface, (row + 1, column - 1), which=1)


def _split_corners(
    corners: Corners,
    surface: RadialSurface,
    cells: tuple[NDArray[np.intp], NDArray[np.intp]],
    *,
    which: int,
) -> Corners:
    """Give cells a lower corner (0 west, 1 east) of their own, pulled inward."""
    old = corners.of_cell[which][cells]
    of_cell = corners.of_cell.copy()
    of_cell[which][cells] = corners.count + np.arange(old.size)
    aside = _INSET * 360.0 / surface.azimuth.size * (1.0 if which == 0 else -1.0)
    up = _INSET * surface.grid.row_height[cells[0]]
    slope = surface.design.profile.slope_at(corners.height[old])
    return replace(
        corners,
        of_cell=of_cell,
        azimuth=np.append(corners.azimuth, corners.azimuth[old] + aside),
        height=np.append(corners.height, corners.height[old] + up),
        design=np.append(corners.design, corners.design[old] + slope * up),
    )


@dataclass(frozen=True)
class Solid:
    """A closed mesh: points (n, 3) in mm, faces (f, 3) wound outwards."""

    vertices: Float
    faces: Int

    @property
    def volume(self) -> float:
        """Enclosed volume by the divergence theorem, mm3."""
        whole = 0.0
        for some in _blocks(len(self.faces)):
            a, b, c = (self.vertices[corner].T for corner in self.faces[some].T)
            # over triangles: six times the signed tetrahedron from the origin
            whole += a[0] @ (b[1] * c[2] - c[1] * b[2])
            whole += b[0] @ (c[1] * a[2] - a[1] * c[2])
            whole += c[0] @ (a[1] * b[2] - b[1] * a[2])
        return float(whole / 6.0)


def _blocks(count: int) -> Iterator[slice]:
    """So many triangles, as many at a time as stay in the processor's cache."""
    return (slice(start, start + _AT_ONCE) for start in range(0, count, _AT_ONCE))


def rebuild_solid(surface: RadialSurface, excess: Float) -> Solid:
    """The solid whose volume is the expected rebuild volume.

    Parameters
    ----------
    excess : array (height, azimuth), mm2
        Expected material per radian and per mm of height: E[max((r^2 - rd^2)/2, 0)].

    Returns
    -------
    Solid
        Closed.  Where nothing worth a thousandth of a millimetre is to be rebuilt, one
        cell 0.02 mm thick, so that the file stays a valid solid; its volume is about a
        cubic millimetre.
    """
    grid = surface.grid
    known = np.where(np.isfinite(excess), excess, 0.0)
    amount = np.where(grid.opening | ~grid.surveyed, 0.0, known)
    kept, share = _select_cells(surface, amount)
    if not kept.any():
        return _thinnest_solid(surface)
    target = float(np.sum(known * grid.patch))
    target *= share if share < 1.0 - _LEFT_OUT else 1.0
    corners = find_corners(surface, kept)
    return _scaled_to(surface, corners, corners.mean(amount), target)


def _select_cells(surface: RadialSurface, amount: Float) -> tuple[Bool, float]:
    """Cells thick enough to be part of the solid, and their share of the volume."""
    drawn = surface.grid.design_radius[:, None]
    volume = amount * surface.grid.patch
    whole = max(float(np.sum(volume)), np.finfo(np.float64).tiny)
    for thinnest in THINNEST:
        kept = amount > thinnest * drawn
        share = float(np.sum(volume[kept])) / whole
        if share >= 1.0 - _LEFT_OUT:
            break
    return kept, share


def _thinnest_solid(surface: RadialSurface) -> Solid:
    grid = surface.grid
    kept = np.zeros(grid.shape, dtype=bool)
    kept.flat[int(np.argmax(grid.surveyed & ~grid.opening))] = True
    corners = find_corners(surface, kept)
    used, faces = _faces(corners, surface.design.azimuth_sense)
    amount = THINNEST[0] * corners.design
    return Solid(_points(surface, corners, amount)[used], faces)


def _scaled_to(
    surface: RadialSurface, corners: Corners, amount: Float, target: float
) -> Solid:
    """The shell with its amounts scaled until it holds the target; volume is smooth."""
    used, faces = _faces(corners, surface.design.azimuth_sense)
    factor = 1.0
    for _ in range(5):
        solid = Solid(_points(surface, corners, factor * amount)[used], faces)
        volume = solid.volume
        if abs(volume / target - 1.0) < _CLOSE:
            break
        factor *= target / volume
    return solid


def _points(surface: RadialSurface, corners: Corners, amount: Float) -> Float:
    """All points of the inner skin, then all of the outer; (2 n, 3), mm."""
    outer = np.sqrt(corners.design**2 + 2.0 * amount)
    sense = surface.design.azimuth_sense
    skins = [
        to_cartesian(corners.azimuth, radius, corners.height, sense)
        for radius in (corners.design, outer)
    ]
    return np.concatenate(skins)


def _faces(corners: Corners, sense: Sense) -> tuple[Int, Int]:
    """Points used, and triangles numbered among those, wound outwards."""
    quads = _quads(corners)
    used, index = of_those_used(quads, 2 * corners.count)
    a, b, c, d = index.T
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return used, faces[:, ::-1] if sense == "clockwise" else faces


def _quads(corners: Corners) -> Int:
    """Corner numbers of every face, wound outwards when azimuth is counterclockwise.

    The outer skin's corners are numbered after all of the inner skin's.
    """
    kept, offset = corners.kept, corners.count
    sw, se, ne, nw = corners.of_cell
    outer = np.stack([sw, se, ne, nw], axis=-1)[kept] + offset
    inner = np.stack([nw, ne, se, sw], axis=-1)[kept]
    below = np.zeros_like(kept)
    below[1:] = kept[:-1] & corners.joined[:, None]
    above = np.zeros_like(kept)
    above[:-1] = kept[1:] & corners.joined[:, None]
    rims = [
        _rim(one, other, kept & ~neighbour, offset)
        for one, other, neighbour in (
            (sw, se, below),
            (se, ne, np.roll(kept, -1, axis=1)),
            (ne, nw, above),
            (nw, sw, np.roll(kept, 1, axis=1)),
        )
    ]
    return np.concatenate([outer, inner, *rims])


def _rim(one: Int, other: Int, where: Bool, offset: int) -> Int:
    """Faces between the skins along the sides of cells where the solid ends."""
    sides = [one, other, other + offset, one + offset]
    return np.stack(sides, axis=-1)[where]


def stl_pieces(solid: Solid) -> Iterator[bytes]:
    """The solid as binary STL, in mm, piece by piece: normal and corners of triangles.

    Records of 50 bytes, little-endian, after 80 bytes and a count (the format as its
    readers have it; trimesh reads the same solid back, tests).
    """
    record = np.dtype(
        [("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("none", "<u2")]
    )
    yield bytes(80) + np.array([len(solid.faces)], dtype="<u4").tobytes()
    for some in _blocks(len(solid.faces)):
        a, b, c = (solid.vertices[corner] for corner in solid.faces[some].T)
        along = np.cross(b - a, c - a)
        length = np.linalg.norm(along, axis=1, keepdims=True)
        triangles = np.zeros(len(a), dtype=record)
        triangles["normal"] = along / np.maximum(length, _TINY)
        triangles["corner"] = np.stack([a, b, c], axis=1)
        yield triangles.tobytes()
