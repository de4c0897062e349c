"""The coloured hot face in the formats of other programs.

``lining.glb`` is for any glTF 2.0 viewer, ``lining.ply`` has its numbers next to the
colours, ``lining.vtp`` every gridded field.

References
----------
Turk (1994), "The PLY polygon file format".
VTK file formats, "XML File Formats": pieces, data arrays, blocks of compressed data.
"""

from __future__ import annotations

import zlib
from base64 import b64encode
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.compare.findings import Maps
from geom.surface.radial import RadialSurface
from geom.units import Float, Int
from geom.views.charts.colours import cutback_rgb, to_linear
from geom.views.meshes.gltf import Part, scene_bytes
from geom.views.meshes.mesh import WallMesh

if TYPE_CHECKING:
    import pyvista as pv
    import trimesh

#: Words of PLY for the kinds of numbers.
_PLY_KINDS = {"f4": "float", "u1": "uchar", "i4": "int"}
#: Cell type of VTK.
_VTK_TRIANGLE = 5


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


def _srgb(mesh: WallMesh, surface: RadialSurface) -> NDArray[np.uint8]:
    """Colours of the vertices by cut-back; (n, 3)."""
    limit = surface.design.repair.brick_threshold
    return cutback_rgb(mesh.pick(surface.cutback), limit)


def _numbers(mesh: WallMesh, maps: Maps) -> dict[str, NDArray[np.float32]]:
    """What stands next to the colours of PLY, at the vertices."""
    return {
        name: mesh.pick(getattr(maps, name)).astype(np.float32)
        for name in ("cutback", "cutback_sd", "p_brick")
    }


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
    rgb = _srgb(mesh, surface)
    columns: dict[str, NDArray[Any]] = dict(zip("xyz", mesh.vertices.T, strict=True))
    columns |= dict(zip(("red", "green", "blue"), rgb.T, strict=True))
    columns["alpha"] = np.full(len(rgb), 255, dtype=np.uint8)
    columns |= _numbers(mesh, maps)
    kinds = [
        (name, "u1" if values.dtype == np.uint8 else "<f4")
        for name, values in columns.items()
    ]
    vertices = np.empty(len(rgb), dtype=kinds)
    for name, values in columns.items():
        vertices[name] = values
    faces = np.empty(len(mesh.faces), dtype=[("count", "u1"), ("corner", "<i4", 3)])
    faces["count"], faces["corner"] = 3, mesh.faces
    properties = [f"property {_PLY_KINDS[kind[-2:]]} {name}" for name, kind in kinds]
    head = [
        "ply",
        "format binary_little_endian 1.0",
        "comment daubline",
        f"element vertex {len(vertices)}",
        *properties,
        f"element face {len(faces)}",
        "property list uchar int vertex_indices",
        "end_header\n",
    ]
    return "\n".join(head).encode("ascii") + vertices.tobytes() + faces.tobytes()


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
    for name, values in _numbers(mesh, maps).items():
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
