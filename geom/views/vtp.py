"""lining.vtp: the hot face with every gridded field, for looking into."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from geom.compare.findings import Maps
from geom.surface.radial import RadialSurface
from geom.views.mesh import WallMesh


def write_vtp(
    path: Path, mesh: WallMesh, surface: RadialSurface, *, maps: Maps
) -> None:
    """Write the mesh as VTK XML PolyData.

    Parameters
    ----------
    path : Path
    mesh : WallMesh
    surface : RadialSurface
    maps : Maps
        Point data written: ``radius``, ``radius_sd``, ``design_radius``, ``cutback``,
        ``cutback_sd`` (mm), ``azimuth`` (degrees), ``p_brick`` (0 to 1), ``action``
        (-1 no call, 0 leave, 1 daub, 2 brick, 3 chip, 4 measure again), ``zone`` (0
        none) and ``surveyed`` (1 throughout: the rest is left out of the mesh).
    """
    import pyvista as pv

    points: Any = mesh.points.astype(np.float32)
    faces: Any = mesh.faces
    shape = pv.PolyData.from_regular_faces(points, faces)
    fields = {
        "cutback": maps.cutback,
        "cutback_sd": maps.cutback_sd,
        "p_brick": maps.p_brick,
        "radius": surface.radius,
        "radius_sd": surface.radius_sd,
    }
    for name, field in fields.items():
        shape.point_data[name] = mesh.pick(field).astype(np.float32)
    design = surface.grid.design_radius[mesh.row]
    shape.point_data["design_radius"] = design.astype(np.float32)
    shape.point_data["azimuth"] = surface.azimuth[mesh.column].astype(np.float32)
    shape.point_data["action"] = mesh.pick(maps.action).astype(np.int8)
    shape.point_data["zone"] = mesh.pick(maps.zone).astype(np.int32)
    shape.point_data["surveyed"] = mesh.pick(maps.surveyed).astype(np.int8)
    shape.set_active_scalars("cutback")
    shape.save(path, binary=True)
