"""lining.ply: the coloured hot face with its numbers beside the colours."""

from __future__ import annotations

from typing import Any

import numpy as np

from geom.compare.findings import Maps
from geom.surface.radial import RadialSurface
from geom.views.colours import cutback_rgb
from geom.views.mesh import WallMesh


def ply_bytes(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> bytes:
    """The mesh as binary little-endian PLY.

    Parameters
    ----------
    mesh : WallMesh
    surface : RadialSurface
    maps : Maps

    Returns
    -------
    bytes
        Vertices in mm; per vertex ``red green blue alpha`` (sRGB, as PLY viewers take
        them) and float ``cutback``, ``cutback_sd`` (mm) and ``p_brick`` (0 to 1).
    """
    import trimesh

    srgb = cutback_rgb(
        mesh.pick(surface.cutback), surface.design.repair.brick_threshold
    )
    shape = trimesh.Trimesh(
        vertices=mesh.points, faces=mesh.faces, vertex_colors=srgb, process=False
    )
    for name in ("cutback", "cutback_sd", "p_brick"):
        values = mesh.pick(getattr(maps, name)).astype(np.float32)
        shape.vertex_attributes[name] = values
    content: Any = shape.export(file_type="ply", encoding="binary", vertex_normal=False)
    return bytes(content)
