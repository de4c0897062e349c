"""Coloured meshes as binary glTF 2.0, for any viewer.

References
----------
glTF 2.0 specification: 3.4 (coordinate system and units), 3.7.2.1 (COLOR_0 is linear),
3.9.2 (base colour multiplies in), 4.4 (binary glTF), 5.11.5 (bufferView.target).
Thürrner and Wüthrich (1998), "Computing vertex normals from polygonal facets", Journal
of Graphics Tools 3(1), 43-46: normals of faces weighted by the angle at the vertex.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom.units import Float, Int
from geom.views.say import plain

_MM_PER_METRE = 1000.0
#: Targets of buffer views: ARRAY_BUFFER and ELEMENT_ARRAY_BUFFER.
_VERTICES, _FACES = 34962, 34963
#: Component types and how many components make an element.
_KINDS = {"uint8": 5121, "uint32": 5125, "float32": 5126}
_TYPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}
_TRIANGLES = 4
#: White, rough, not metallic, seen from both sides: the colours of the vertices.
_MATERIAL = {
    "pbrMetallicRoughness": {
        "baseColorFactor": [1.0, 1.0, 1.0, 1.0],
        "roughnessFactor": 1.0,
        "metallicFactor": 0.0,
    },
    "name": "lining",
    "doubleSided": True,
}
#: Triangles whose normals are found at a time; less than any length.
_AT_ONCE, _TINY = 16_384, 1e-300


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


@dataclass
class _Buffer:
    """What a scene's numbers are put into, and how they are found there."""

    pieces: list[bytes] = field(default_factory=list)
    size: int = 0
    accessors: list[dict[str, Any]] = field(default_factory=list)
    views: list[dict[str, int]] = field(default_factory=list)

    def put(self, values: NDArray[Any], target: int, **about: Any) -> int:
        """Add elements, one a row, of whole words; the number of their accessor."""
        kind = _KINDS[values.dtype.name]
        content = values.astype(values.dtype.newbyteorder("<"), copy=False).tobytes()
        self.accessors.append(
            {
                "bufferView": len(self.views),
                "componentType": kind,
                "count": len(values),
                "type": _TYPES[values.shape[1]],
                "min": values.min(axis=0).tolist(),
                "max": values.max(axis=0).tolist(),
                **about,
            }
        )
        self.views.append(
            {
                "buffer": 0,
                "byteOffset": self.size,
                "byteLength": len(content),
                "target": target,
            }
        )
        self.pieces.append(content)
        self.size += len(content)
        return len(self.accessors) - 1


def scene_bytes(parts: Sequence[Part], *, title: str, lining: str) -> bytes:
    """Meshes as binary glTF.

    Without trimesh, which takes 0.2 s of processor time to load; what is written reads
    back in it as the same meshes (tests).

    Returns
    -------
    bytes
        Lengths are metres.  glTF is right-handed with +y up, so a point (x, y, z) of
        the design's frame is written as (x, z, -y): a quarter turn about x, which keeps
        the hand.  ``COLOR_0`` holds linear light, not sRGB; the material is white,
        rough, not metallic and seen from both sides.
    """
    buffer = _Buffer()
    about = {"title": plain(title), "lining": plain(lining)}
    meshes = [
        {"name": part.name, "extras": about, "primitives": [_primitive(part, buffer)]}
        for part in parts
    ]
    tree = {
        "scene": 0,
        "scenes": [{"nodes": list(range(len(parts)))}],
        "asset": {"version": "2.0", "generator": "daubline"},
        "accessors": buffer.accessors,
        "meshes": meshes,
        "materials": [_MATERIAL],
        "nodes": [{"name": p.name, "mesh": place} for place, p in enumerate(parts)],
        "buffers": [{"byteLength": buffer.size}],
        "bufferViews": buffer.views,
    }
    return _binary(json.dumps(tree, separators=(",", ":")).encode(), buffer)


def _primitive(part: Part, buffer: _Buffer) -> dict[str, Any]:
    """Put one mesh into the buffer; the primitive that names its accessors."""
    vertices = _y_up(part.vertices) / _MM_PER_METRE
    normals = vertex_normals(vertices, part.faces)
    indices = part.faces.reshape(-1, 1).astype(np.uint32)
    return {
        "indices": buffer.put(indices, _FACES),
        "attributes": {
            "POSITION": buffer.put(vertices.astype(np.float32), _VERTICES),
            "COLOR_0": buffer.put(
                part.rgba.astype(np.uint8), _VERTICES, normalized=True
            ),
            "NORMAL": buffer.put(normals.astype(np.float32), _VERTICES),
        },
        "mode": _TRIANGLES,
        "material": 0,
    }


def _binary(tree: bytes, buffer: _Buffer) -> bytes:
    """Header, tree and buffer; chunks end at multiples of four bytes."""
    tree += b" " * (-len(tree) % 4)
    length = 12 + 8 + len(tree) + 8 + buffer.size
    return b"".join(
        [
            struct.pack("<4sII", b"glTF", 2, length),
            struct.pack("<I4s", len(tree), b"JSON"),
            tree,
            struct.pack("<I4s", buffer.size, b"BIN\0"),
            *buffer.pieces,
        ]
    )


def _y_up(vertices: Float) -> Float:
    return np.stack([vertices[:, 0], vertices[:, 2], -vertices[:, 1]], axis=1)


def vertex_normals(vertices: Float, faces: Int) -> Float:
    """Unit normals at vertices: those of the faces round each, weighted by their angle.

    Parameters
    ----------
    vertices : array (n, 3)
    faces : int array (f, 3)

    Returns
    -------
    array (n, 3)
        0 where no face with an area meets.
    """
    weighted = np.empty((3, *faces.shape))
    for start in range(0, len(faces), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        a, b, c = (vertices[corner] for corner in faces[some].T)
        u, v, w = _unit(b - a), _unit(c - a), _unit(c - b)
        normal = _unit(np.cross(u, v))
        at_a, at_b = _angle(u, v), _angle(-u, w)
        angle = np.stack([at_a, at_b, np.pi - at_a - at_b], axis=1)
        weighted[:, some] = normal.T[..., None] * angle
    corners = faces.ravel()
    total = [
        np.bincount(corners, weights=along.ravel(), minlength=len(vertices))
        for along in weighted
    ]
    return _unit(np.stack(total, axis=1))


def _unit(vectors: Float) -> Float:
    length = np.sqrt(_dot(vectors, vectors))
    return np.asarray(vectors / np.maximum(length, _TINY)[:, None])


def _angle(one: Float, other: Float) -> Float:
    return np.asarray(np.arccos(np.clip(_dot(one, other), -1.0, 1.0)))


def _dot(one: Float, other: Float) -> Float:
    return np.asarray(np.einsum("ij,ij->i", one, other))
