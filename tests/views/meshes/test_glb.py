"""lining.glb, read back with pygltflib against the glTF 2.0 specification."""

import numpy as np
import pygltflib
import pytest

from geom.views.charts.colours import cutback_rgb
from geom.views.meshes.formats import glb_bytes
from geom.views.meshes.mesh import wall_mesh


def accessor(gltf, index):
    """Values of an accessor, by the specification's own layout rules."""
    kind = {5126: "<f4", 5125: "<u4", 5121: "u1"}
    width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
    item = gltf.accessors[index]
    view = gltf.bufferViews[item.bufferView]
    start = (view.byteOffset or 0) + (item.byteOffset or 0)
    count = item.count * width[item.type]
    flat = np.frombuffer(
        gltf.binary_blob(), kind[item.componentType], count=count, offset=start
    )
    return flat.reshape(item.count, -1)


@pytest.fixture(scope="module", params=["clockwise", "counterclockwise"])
def exported(request, build):
    furnace = build(sense=request.param)
    mesh = wall_mesh(furnace.surface)
    content = glb_bytes(mesh, furnace.surface, title="Heat 212")
    return furnace, mesh, pygltflib.GLTF2.load_from_bytes(content)


def attributes(gltf):
    return gltf.meshes[0].primitives[0].attributes


def test_lengths_are_metres_and_y_is_up(exported):
    _, _, gltf = exported
    vertices = accessor(gltf, attributes(gltf).POSITION)
    assert vertices[:, 1].max() == pytest.approx(90 * 0.0254, abs=1e-6)
    assert vertices[:, 1].min() == pytest.approx(0.0, abs=1e-6)
    assert np.abs(vertices[:, [0, 2]]).max() < 0.6


def test_the_quarter_turn_keeps_the_hand(exported):
    _, mesh, gltf = exported
    vertices = accessor(gltf, attributes(gltf).POSITION) * 1000.0
    x, y, z = mesh.vertices.T
    # Rotation by -90 degrees about x: determinant +1, z goes to y.
    assert vertices == pytest.approx(np.stack([x, z, -y], axis=1), abs=1e-3)
    mirrored = np.stack([x, z, y], axis=1)
    assert np.abs(vertices - mirrored).max() > 100


def test_the_scene_adds_no_other_turn(exported):
    _, _, gltf = exported
    for node in gltf.nodes:
        assert node.rotation is None
        assert node.scale is None
        if node.matrix is not None:
            assert np.allclose(np.reshape(node.matrix, (4, 4)), np.eye(4))


def test_colours_are_linear_light(exported):
    furnace, mesh, gltf = exported
    item = gltf.accessors[attributes(gltf).COLOR_0]
    assert item.componentType == 5121
    assert item.normalized
    stored = accessor(gltf, attributes(gltf).COLOR_0)[:, :3] / 255.0
    srgb = cutback_rgb(mesh.pick(furnace.surface.cutback), 31.75) / 255.0
    # The specification's viewer: linear to sRGB, IEC 61966-2-1.  Eight bits of linear
    # light are coarse in the dark: half a step is 0.02 of sRGB at the dark end.
    shown = np.where(
        stored <= 0.0031308, 12.92 * stored, 1.055 * stored ** (1 / 2.4) - 0.055
    )
    assert np.abs(shown - srgb).max() < 0.02
    assert np.abs(stored - srgb).max() > 0.15  # raw sRGB would be here


def test_the_material_does_not_change_the_colours(exported):
    _, _, gltf = exported
    material = gltf.materials[gltf.meshes[0].primitives[0].material]
    assert material.doubleSided
    rough = material.pbrMetallicRoughness
    assert rough.baseColorFactor == pytest.approx([1, 1, 1, 1])
    assert rough.metallicFactor == 0.0
    assert rough.baseColorTexture is None


def test_faces_and_normals_look_into_the_bore(exported):
    _, mesh, gltf = exported
    vertices = accessor(gltf, attributes(gltf).POSITION).astype(float)
    normals = accessor(gltf, attributes(gltf).NORMAL)
    faces = accessor(gltf, gltf.meshes[0].primitives[0].indices).reshape(-1, 3)
    assert (faces == mesh.faces).all()
    inward = -vertices * [1, 0, 1]
    assert (np.einsum("ij,ij->i", normals, inward) > 0).mean() > 0.97
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    wound = np.einsum("ij,ij->i", np.cross(b - a, c - a), -a * [1, 0, 1])
    assert (wound > 0).mean() > 0.97
