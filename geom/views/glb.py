"""lining.glb: the coloured hot face for any glTF 2.0 viewer."""

from __future__ import annotations

from typing import Any

import numpy as np

from geom.surface.radial import RadialSurface
from geom.units import Float
from geom.views.colours import cutback_rgb, to_linear
from geom.views.mesh import WallMesh
from geom.views.words import plain

_VERTICES, _FACES = 34962, 34963
_MM_PER_METRE = 1000.0


def glb_bytes(mesh: WallMesh, surface: RadialSurface, *, title: str) -> bytes:
    """The mesh as binary glTF.

    Parameters
    ----------
    mesh : WallMesh
    surface : RadialSurface
    title : str

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

    shape = trimesh.Trimesh(
        vertices=_y_up(mesh.points) / _MM_PER_METRE,
        faces=mesh.faces,
        visual=_look(mesh, surface),
        process=False,
        metadata={"title": plain(title), "lining": plain(surface.design.name)},
    )
    scene: Any = trimesh.Scene()
    scene.add_geometry(shape, node_name="lining", geom_name="lining")
    return bytes(
        scene.export(
            file_type="glb", include_normals=True, tree_postprocessor=_say_uses
        )
    )


def _say_uses(tree: dict[str, Any]) -> None:
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


def _look(mesh: WallMesh, surface: RadialSurface) -> Any:
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
    look.vertex_attributes["color"] = _linear_rgba(mesh, surface)
    return look


def _y_up(points: Float) -> Float:
    return np.stack([points[:, 0], points[:, 2], -points[:, 1]], axis=1)


def _linear_rgba(mesh: WallMesh, surface: RadialSurface) -> Float:
    srgb = cutback_rgb(
        mesh.pick(surface.cutback), surface.design.repair.brick_threshold
    )
    light = np.rint(255.0 * to_linear(srgb))
    return np.concatenate([light, np.full((len(light), 1), 255.0)], axis=1)
