"""The coloured hot face in the formats of other programs.

``lining.glb`` is for any glTF 2.0 viewer, ``lining.ply`` has its numbers next to the
colours, ``lining.vtp`` every gridded field.  trimesh and pyvista write them; what
neither does by itself is done here: colours of glTF in linear light, the kind of every
buffer, and numbers next to the colours of PLY.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.findings import Maps
from geom.surface.radial import RadialSurface
from geom.units import Float, Int
from geom.views.charts.colours import cutback_rgb, to_linear
from geom.views.meshes.mesh import WallMesh
from geom.views.say import plain

if TYPE_CHECKING:
    import pyvista as pv
    import trimesh

#: Targets of glTF buffer views: ARRAY_BUFFER and ELEMENT_ARRAY_BUFFER.
_VERTICES, _FACES = 34962, 34963
_MM_PER_METRE = 1000.0


@dataclass(frozen=True)
class Part:
    """One mesh of a scene.

    Attributes
    ----------
    vertices : array (n, 3), mm
        In the design's frame, z up.
    faces : int array (f, 3)
    rgba : array (n, 4)
        Linear light, 0 to 255.
    """

    name: str
    vertices: Float
    faces: Int
    rgba: Float


def glb_bytes(mesh: WallMesh, surface: RadialSurface, *, title: str) -> bytes:
    """The wall as binary glTF.

    Returns
    -------
    bytes
        As `scene_bytes`.
    """
    return scene_bytes(
        [wall_part(mesh, surface)], title=title, lining=surface.design.name
    )


def wall_part(mesh: WallMesh, surface: RadialSurface) -> Part:
    """The wall, coloured by cut-back."""
    return Part("lining", mesh.vertices, mesh.faces, _linear_rgba(mesh, surface))


def scene_bytes(parts: Sequence[Part], *, title: str, lining: str) -> bytes:
    """Meshes as binary glTF.

    Returns
    -------
    bytes
        Lengths are metres.  glTF is right-handed with +y up, so a point (x, y, z) of
        the design's frame is written as (x, z, -y): a quarter turn about x, which keeps
        the hand.  ``COLOR_0`` holds linear light, not sRGB; the material is white,
        rough, not metallic and seen from both sides.

    References
    ----------
    glTF 2.0 specification, 3.4 (coordinate system and units), 3.7.2.1 (COLOR_0 is
    linear) and 3.9.2 (base colour multiplies in).
    """
    import trimesh

    scene: Any = trimesh.Scene()
    for part in parts:
        shape = trimesh.Trimesh(
            vertices=_y_up(part.vertices) / _MM_PER_METRE,
            faces=part.faces,
            visual=_material(part),
            process=False,
            metadata={"title": plain(title), "lining": plain(lining)},
        )
        scene.add_geometry(shape, node_name=part.name, geom_name=part.name)
    return bytes(
        scene.export(
            file_type="glb",
            include_normals=True,
            tree_postprocessor=_set_buffer_targets,
        )
    )


def _set_buffer_targets(tree: dict[str, Any]) -> None:
    """Say of every view of the buffer whether it holds vertices or faces.

    References
    ----------
    glTF 2.0 specification, 5.11.5 (bufferView.target).
    """
    for mesh in tree["meshes"]:
        for part in mesh["primitives"]:
            for accessor in part["attributes"].values():
                view = tree["accessors"][accessor]["bufferView"]
                tree["bufferViews"][view]["target"] = _VERTICES
            view = tree["accessors"][part["indices"]]["bufferView"]
            tree["bufferViews"][view]["target"] = _FACES


def _material(part: Part) -> Any:
    """White, rough, two-sided material under the colours of the vertices."""
    import trimesh

    kinds: Any = trimesh.visual
    white = kinds.material.PBRMaterial(
        name="lining",
        baseColorFactor=[255, 255, 255, 255],
        metallicFactor=0.0,
        roughnessFactor=1.0,
        doubleSided=True,
    )
    look = kinds.texture.TextureVisuals(material=white)
    look.vertex_attributes["color"] = part.rgba
    return look


def _y_up(vertices: Float) -> Float:
    return np.stack([vertices[:, 0], vertices[:, 2], -vertices[:, 1]], axis=1)


def _linear_rgba(mesh: WallMesh, surface: RadialSurface) -> Float:
    srgb = cutback_rgb(
        mesh.pick(surface.cutback), surface.design.repair.brick_threshold
    )
    light = np.rint(255.0 * to_linear(srgb))
    return np.concatenate([light, np.full((len(light), 1), 255.0)], axis=1)


def ply_bytes(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> bytes:
    """The mesh as binary little-endian PLY.

    Returns
    -------
    bytes
        Vertices in mm; per vertex ``red green blue alpha`` (sRGB, as PLY viewers take
        them) and float ``cutback``, ``cutback_sd`` (mm) and ``p_brick`` (0 to 1).
    """
    shape = wall_trimesh(mesh, surface, maps=maps)
    content: Any = shape.export(file_type="ply", encoding="binary", vertex_normal=False)
    return bytes(content)


def wall_trimesh(
    mesh: WallMesh, surface: RadialSurface, *, maps: Maps
) -> trimesh.Trimesh:
    """The mesh as `ply_bytes` has it, colours and numbers at its vertices."""
    import trimesh

    srgb = cutback_rgb(
        mesh.pick(surface.cutback), surface.design.repair.brick_threshold
    )
    shape: trimesh.Trimesh = trimesh.Trimesh(
        vertices=mesh.vertices, faces=mesh.faces, vertex_colors=srgb, process=False
    )
    for name in ("cutback", "cutback_sd", "p_brick"):
        values = mesh.pick(getattr(maps, name)).astype(np.float32)
        shape.vertex_attributes[name] = values
    return shape


def vtp_bytes(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> bytes:
    """The mesh as VTK XML PolyData.

    Parameters
    ----------
    maps : Maps
        Point data written: ``radius``, ``radius_sd``, ``design_radius``, ``cutback``,
        ``cutback_sd`` (mm), ``azimuth`` (degrees), ``p_brick`` (0 to 1), ``action``
        (-1 no call, 0 leave, 1 daub, 2 brick, 3 chip, 4 measure again), ``zone`` (0
        none) and ``surveyed`` (1 throughout: the rest is left out of the mesh).
    """
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    shape = wall_polydata(mesh, surface, maps=maps)
    return _vtk_xml(vtkXMLPolyDataWriter(), shape)


def vtu_bytes(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> bytes:
    """The same as VTK XML UnstructuredGrid, which more programs read."""
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

    shape = wall_polydata(mesh, surface, maps=maps).cast_to_unstructured_grid()
    return _vtk_xml(vtkXMLUnstructuredGridWriter(), shape)


def _vtk_xml(writer: Any, shape: pv.DataSet) -> bytes:
    writer.SetInputData(shape)
    writer.WriteToOutputStringOn()
    writer.SetDataModeToBinary()
    writer.Write()
    return str(writer.GetOutputString()).encode("ascii")


def wall_polydata(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> pv.PolyData:
    """The mesh as `vtp_bytes` has it, every gridded field at its vertices."""
    import pyvista as pv

    vertices: Any = mesh.vertices.astype(np.float32)
    faces: Any = mesh.faces
    shape: pv.PolyData = pv.PolyData.from_regular_faces(vertices, faces)
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
    return shape
