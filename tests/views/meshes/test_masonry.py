"""masonry.glb: every brick a closed solid in its place, read back by others."""

import io

import numpy as np
import pygltflib
import pytest

from geom.design import Brick
from geom.repair.masonry.pieces import pieces_of
from geom.repair.masonry.placed import PlacedBrick
from geom.views.meshes.masonry import brick_boxes, masonry_bytes
from geom.views.meshes.mesh import wall_mesh

BRICKS = (
    Brick("straight", 228.6, 114.3, 63.5),
    Brick("key", 228.6, 114.3, 63.5, "width", 76.2),
)


def placed() -> list[PlacedBrick]:
    """Every piece of two bricks, side by side on a leaning wall."""
    return [
        PlacedBrick(piece, 17.0 * k, 700.0 + 3.0 * k, 470.0 + k, 4.0 - k, 12.7)
        for k, piece in enumerate(pieces_of(BRICKS))
    ]


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_every_brick_is_a_closed_solid_of_its_own_volume(sense):
    import trimesh

    for brick in placed():
        vertices, faces = brick_boxes([brick], sense)
        box = trimesh.Trimesh(vertices, faces)  # merges the corners
        assert box.is_watertight
        assert box.volume == pytest.approx(brick.piece.volume, rel=1e-9)
        # turned inside out, a solid has less than no volume
        assert trimesh.Trimesh(vertices, faces[:, ::-1]).volume < 0.0


def test_the_two_senses_are_mirror_images():
    one, other = (
        brick_boxes(placed(), way)[0] for way in ("clockwise", "counterclockwise")
    )
    assert one == pytest.approx(other * [1.0, -1.0, 1.0])


@pytest.fixture(scope="module", params=["clockwise", "counterclockwise"])
def exported(request, build):
    furnace = build(sense=request.param)
    mesh = wall_mesh(furnace.surface)
    content = masonry_bytes(mesh, furnace.surface, furnace.works.plan, title="Heat 9")
    return furnace, content


def test_the_file_holds_the_wall_and_all_the_brick_of_the_plan(exported):
    import trimesh

    furnace, content = exported
    scene = trimesh.load(io.BytesIO(content), file_type="glb", process=False)
    zones = [z for z in furnace.works.plan.zones if z.brickwork is not None]
    assert zones
    names = {"lining"}
    for zone in zones:
        for whole, name in ((True, "whole"), (False, "cut")):
            own = [b.piece for b in zone.brickwork.bricks if b.piece.whole is whole]
            if not own:
                continue
            names.add(f"zone {zone.id}, {name}")
            part = scene.geometry[f"zone {zone.id}, {name}"]
            assert len(part.faces) == 12 * len(own)
            litres = part.volume * 1e3  # metres in the file
            told = sum(piece.volume for piece in own) * 1e-6
            assert litres == pytest.approx(told, rel=1e-4)  # single precision
    assert set(scene.geometry) == names


def test_a_brick_stands_at_its_azimuth_height_and_radius(exported):
    furnace, content = exported
    gltf = pygltflib.GLTF2.load_from_bytes(content)
    zone = next(z for z in furnace.works.plan.zones if z.brickwork is not None)
    named = {mesh.name: mesh for mesh in gltf.meshes}
    first = next(b for b in zone.brickwork.bricks)
    name = f"zone {zone.id}, {'whole' if first.piece.whole else 'cut'}"
    item = gltf.accessors[named[name].primitives[0].attributes.POSITION]
    view = gltf.bufferViews[item.bufferView]
    start = (view.byteOffset or 0) + (item.byteOffset or 0)
    flat = np.frombuffer(gltf.binary_blob(), "<f4", 3 * item.count, offset=start)
    x, y, z = 1000.0 * flat.reshape(-1, 3)[:24].T  # +y up, metres
    height, _azimuth, radius = first.corners().T
    assert sorted({round(float(mm), 1) for mm in y}) == sorted(
        {round(float(mm), 1) for mm in height}
    )
    assert np.hypot(x, z).max() == pytest.approx(radius.max(), abs=0.01)
    # the design's y is the file's -z; clockwise azimuths lie on the other side of it
    hand = -1.0 if furnace.design.azimuth_sense == "clockwise" else 1.0
    found = np.rad2deg(np.arctan2(hand * -z, x)) % 360.0
    assert np.cos(np.deg2rad(found - first.azimuth)).min() > 0.95
