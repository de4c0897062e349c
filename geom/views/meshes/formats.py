"""The coloured hot face in the formats of other programs.

``lining.glb`` is for any glTF 2.0 viewer, ``lining.ply`` has its numbers next to the
colours, ``lining.vtp`` every gridded field.  trimesh writes the first two; what it
does not do by itself is done here: colours of glTF in linear light, the kind of every
buffer, and numbers next to the colours of PLY.

References
----------
VTK file formats, "XML File Formats": pieces, data arrays, blocks of compressed data.
"""

from __future__ import annotations

import zlib
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

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
#: Cell type of VTK.
_VTK_TRIANGLE = 5


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


def _srgb(mesh: WallMesh, surface: RadialSurface) -> NDArray[np.uint8]:
    """Colours of the vertices by cut-back; (n, 3)."""
    limit = surface.design.repair.brick_threshold
    return cutback_rgb(mesh.pick(surface.cutback), limit)


def _linear_rgba(mesh: WallMesh, surface: RadialSurface) -> Float:
    table = np.rint(255.0 * to_linear(np.arange(256)))
    light = table[_srgb(mesh, surface)]
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

    shape: trimesh.Trimesh = trimesh.Trimesh(
        vertices=mesh.vertices,
        faces=mesh.faces,
        vertex_colors=_srgb(mesh, surface),
        process=False,
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
    count = len(mesh.faces)
    piece = {"NumberOfPolys": count}
    cells = {"Polys": _triangles(mesh.faces)}
    return _vtk_xml("PolyData", mesh, piece, cells, _point_data(mesh, surface, maps))


def vtu_bytes(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> bytes:
    """The same as VTK XML UnstructuredGrid, which more programs read."""
    count = len(mesh.faces)
    types = np.full(count, _VTK_TRIANGLE, dtype=np.uint8)
    cells = {"Cells": _triangles(mesh.faces) | {"types": types}}
    fields = _point_data(mesh, surface, maps)
    return _vtk_xml("UnstructuredGrid", mesh, {"NumberOfCells": count}, cells, fields)


def _triangles(faces: Int) -> dict[str, NDArray[Any]]:
    return {
        "connectivity": faces.astype("<i8").ravel(),
        "offsets": np.arange(3, 3 * len(faces) + 1, 3, dtype="<i8"),
    }


def _vtk_xml(
    kind: str,
    mesh: WallMesh,
    piece: Mapping[str, int],
    cells: Mapping[str, Mapping[str, NDArray[Any]]],
    fields: Mapping[str, NDArray[Any]],
) -> bytes:
    """A VTK XML file with one piece, as the file format's description has it.

    Without vtk, whose libraries take 0.24 s of processor time and 89 MB to load; what
    is written reads back in vtk as the same mesh (tests).
    """
    counts = {"NumberOfPoints": len(mesh.vertices), **piece}
    held = " ".join(f'{name}="{count}"' for name, count in counts.items())
    points = {"Points": mesh.vertices.astype("<f4")}
    out = [
        '<?xml version="1.0"?>\n'
        f'<VTKFile type="{kind}" version="1.0" byte_order="LittleEndian" '
        'header_type="UInt64" compressor="vtkZLibDataCompressor">\n'
        f"<{kind}>\n<Piece {held}>\n"
        '<PointData Scalars="cutback">\n',
        *(_vtk_array(name, values) for name, values in fields.items()),
        "</PointData>\n",
    ]
    for part, arrays in ({"Points": points} | dict(cells)).items():
        inside = (_vtk_array(name, values) for name, values in arrays.items())
        out += [f"<{part}>\n", *inside, f"</{part}>\n"]
    return "".join([*out, f"</Piece>\n</{kind}>\n</VTKFile>\n"]).encode("ascii")


def _vtk_array(name: str, values: NDArray[Any]) -> str:
    """One array: its header (one block, its size whole and packed) and the block."""
    raw = np.ascontiguousarray(values).tobytes()
    packed = zlib.compress(raw, 1)  # higher levels pack no better
    head = np.array([1, len(raw), 0, len(packed)], dtype="<u8").tobytes()
    sign = {"f": "Float", "i": "Int", "u": "UInt"}[values.dtype.kind]
    parts = f' NumberOfComponents="{values.shape[1]}"' if values.ndim == 2 else ""
    words = b64encode(head).decode("ascii") + b64encode(packed).decode("ascii")
    return (
        f'<DataArray type="{sign}{8 * values.dtype.itemsize}" Name="{name}"'
        f'{parts} format="binary">\n{words}\n</DataArray>\n'
    )


def _point_data(
    mesh: WallMesh, surface: RadialSurface, maps: Maps
) -> dict[str, NDArray[Any]]:
    """Every gridded field at the vertices, as `vtp_bytes` has them."""
    fields = {
        "cutback": maps.cutback,
        "cutback_sd": maps.cutback_sd,
        "p_brick": maps.p_brick,
        "radius": surface.radius,
        "radius_sd": surface.radius_sd,
        "design_radius": surface.grid.design_radius[:, None],
        "azimuth": surface.azimuth[None, :],
    }
    shape = surface.grid.shape
    single = {
        name: mesh.pick(np.broadcast_to(field, shape)).astype("<f4")
        for name, field in fields.items()
    }
    return single | {
        "action": mesh.pick(maps.action).astype(np.int8),
        "zone": mesh.pick(maps.zone).astype("<i4"),
        "surveyed": mesh.pick(maps.surveyed).astype(np.int8),
    }


def wall_polydata(mesh: WallMesh, surface: RadialSurface, *, maps: Maps) -> pv.PolyData:
    """The mesh as `vtp_bytes` has it, every gridded field at its vertices."""
    import pyvista as pv

    vertices: Any = mesh.vertices.astype(np.float32)
    faces: Any = mesh.faces
    shape: pv.PolyData = pv.PolyData.from_regular_faces(vertices, faces)
    for name, values in _point_data(mesh, surface, maps).items():
        shape.point_data[name] = values
    shape.set_active_scalars("cutback")
    return shape
