"""A brick in a round wall, flat or curved, against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.design import Brick
from geom.repair.masonry.bricks import curved_brick
from geom.repair.masonry.pieces import BrickPiece, count_pieces, pieces_of, sagitta
from geom.repair.masonry.placed import (
    PlacedBrick,
    gap_at_back,
    gap_at_face,
    half_angle,
)
from geom.views.meshes.masonry import brick_boxes

#: Sagitta of 9, 4 1/2 and 2 1/2 in on a radius, in: s = R - sqrt(R**2 - L**2 / 4),
#: worked out by hand to four places.
SAGITTA = {
    13.5: (0.7721, 0.1888, 0.0580),
    18.0: (0.5716, 0.1412, 0.0435),
    21.0: (0.4878, 0.1209, 0.0372),
    30.0: (0.3394, 0.0845, 0.0261),
    36.0: (0.2824, 0.0704, 0.0217),
    42.0: (0.2418, 0.0603, 0.0186),
}


@pytest.mark.parametrize("radius", SAGITTA)
def test_a_flat_face_stands_off_its_circle_by_the_sagitta(radius: float) -> None:
    found = [sagitta(length, radius) for length in (9.0, 4.5, 2.5)]
    assert found == pytest.approx(SAGITTA[radius], abs=6e-5)


def straight(into: float, along: float) -> BrickPiece:
    return BrickPiece("straight", 1.0, along, along, 9.0, into)


@pytest.mark.parametrize(
    ("into", "along", "radius"),
    [(1.25, 4.5, 11.25), (2.5, 4.5, 22.5), (2.5, 9.0, 45.0)],
)
def test_joints_open_by_half_an_inch_at_twice_the_product(
    into: float, along: float, radius: float
) -> None:
    piece = straight(into, along)
    assert piece.opening(radius) == pytest.approx(into * along / radius)
    assert piece.opening(radius) == pytest.approx(0.5)


def test_a_stretcher_of_four_and_a_half_opens_by_two_and_a_quarter() -> None:
    assert straight(4.5, 9.0).opening(18.0) == pytest.approx(2.25)


@pytest.mark.parametrize("radius", [13.5, 18.0, 30.0, 54.0])
def test_two_bricks_that_touch_at_the_face_gape_at_the_back_as_said(
    radius: float,
) -> None:
    piece = straight(1.25, 4.5)
    half = float(np.rad2deg(np.arcsin(2.25 / radius)))
    face = float(np.sqrt(radius**2 - 2.25**2))
    first, second = (
        PlacedBrick(piece, azimuth, 0.0, face, 0.0, 0.5)
        for azimuth in (360.0 - half, half)
    )
    assert gap_at_face(first, second) == pytest.approx(0.0, abs=1e-9)
    assert gap_at_back(first, second) == pytest.approx(1.25 * 4.5 / radius)
    assert gap_at_back(first, second) != pytest.approx(1.25 * 4.6 / radius)


def test_a_shape_made_for_the_circle_opens_nowhere() -> None:
    # faces 80 mm, backs 100, 200 deep: the sides meet at a radius of 800 mm
    piece = BrickPiece("taper", 1.0, 80.0, 100.0, 60.0, 200.0)
    half = np.arctan(0.5 * (100.0 - 80.0) / 200.0)
    radius = 40.0 / np.sin(half)
    assert piece.opening(radius) == pytest.approx(0.0, abs=1e-9)
    assert piece.opening(1.2 * radius) < 0.0 < piece.opening(radius / 1.2)


def test_corners_lie_where_the_frame_says() -> None:
    piece = straight(3.0, 8.0)
    tilt = float(np.rad2deg(np.arctan2(3.0, 4.0)))  # sine 0.6, cosine 0.8
    corners = PlacedBrick(piece, 350.0, 10.0, 20.0, tilt, 0.5).corners()
    # four of the face from the foot on, then four of the back
    x = np.array([20.0, 20.0, 25.4, 25.4, 22.4, 22.4, 27.8, 27.8])
    z = np.array([10.0, 10.0, 17.2, 17.2, 8.2, 8.2, 15.4, 15.4])
    y = 4.0 * np.array([-1, 1, 1, -1, -1, 1, 1, -1])
    assert corners[:, 0] == pytest.approx(z)
    assert corners[:, 2] == pytest.approx(np.hypot(x, y))
    turned = (350.0 + np.rad2deg(np.arctan2(y, x))) % 360.0
    assert corners[:, 1] == pytest.approx(turned)


def test_only_whole_and_half_pieces_come_of_a_list() -> None:
    pieces = pieces_of([Brick("straight", 9.0, 4.5, 2.5), Brick("split", 9, 4.5, 1.25)])
    whole = {"straight": 9.0 * 4.5 * 2.5, "split": 9.0 * 4.5 * 1.25}
    for piece in pieces:
        assert piece.volume in {whole[piece.name], 0.5 * whole[piece.name]}
        assert piece.volume == piece.part * whole[piece.name]
        assert piece.part >= 1.0 / 3.0


def test_a_tapered_brick_stands_with_its_small_face_to_the_fire() -> None:
    arch = Brick("arch", 9.0, 4.5, 2.5, "thickness", 2.125, radial="width")
    (whole, half) = pieces_of([arch])
    assert (whole.front, whole.back, whole.up, whole.into) == (2.125, 2.5, 9.0, 4.5)
    assert (half.up, half.part) == (4.5, 0.5)


def circle_brick(radius: float, joint: float) -> tuple[BrickPiece, int]:
    """A brick of which a whole number turns a bore, and that number."""
    brick = curved_brick(radius, 114.0, 64.0, most=230.0, joint=joint, name="circle")
    (piece,) = pieces_of([brick])
    return piece, round(2.0 * np.pi * radius / (piece.front + joint))


@pytest.mark.parametrize("radius", [450.0, 900.0])
def test_a_curved_brick_in_its_own_bore_is_a_piece_of_the_ring(radius: float) -> None:
    piece, count = circle_brick(radius, 3.0)
    first, second = (
        PlacedBrick(piece, azimuth % 360.0, 100.0, radius, 0.0, 12.0)
        for azimuth in (350.0, 350.0 + 360.0 / count)
    )
    along = np.linspace(-0.5, 0.5, 9)
    for long, into in ((piece.front, 0.0), (piece.back, piece.into)):
        points = first.points(long * along, np.zeros(9), np.full(9, into))
        assert points[:, 2] == pytest.approx(radius + into, abs=1e-9)
        assert points[:, 0] == pytest.approx(100.0)
    assert piece.sagitta(radius) == pytest.approx(0.0, abs=1e-9)
    # one joint all the way through: the chord of 3 mm of arc, at face and at back
    for gap, at in ((gap_at_face, radius), (gap_at_back, radius + 114.0)):
        chord = 2.0 * at * np.sin(0.5 * 3.0 / at)
        assert gap(first, second) == pytest.approx(chord, abs=1e-6)


def test_a_curved_brick_is_no_box_of_its_corners() -> None:
    """Its back lies no deeper mid-way than at its ends; a flat one's sinks in."""
    piece, _ = circle_brick(450.0, 3.0)
    flat = replace(piece, bore=0.0)
    curved, boxed = (
        PlacedBrick(one, 0.0, 0.0, 450.0, 0.0, 0.0) for one in (piece, flat)
    )
    assert curved.deepest == pytest.approx(564.0)
    assert boxed.deepest == pytest.approx(np.hypot(564.0, 0.5 * piece.back))
    turned = np.linspace(-10.0, 10.0, 5)
    assert curved.back_radius(np.zeros(5), turned) == pytest.approx(564.0)
    assert curved.face_radius(np.zeros(5), turned) == pytest.approx(450.0)


def test_in_a_wider_bore_the_ends_of_a_curved_face_stand_nearest() -> None:
    piece, _ = circle_brick(450.0, 3.0)
    placed = PlacedBrick(piece, 0.0, 0.0, 465.0, 0.0, 0.0)
    ends = placed.corners()[:4, 2]
    assert ends.max() < placed.face
    assert piece.sagitta(ends.max()) == pytest.approx(
        ends.max() - placed.face, rel=0.02
    )
    turned = half_angle(piece, placed.face)
    at_end = placed.face_radius(np.zeros(1), np.array([turned]))
    # the face's own end lies within what face and back take of the ring
    assert at_end[0] == pytest.approx(ends.max(), abs=0.1)


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_boxes_of_a_curved_brick_are_one_closed_solid_of_its_volume(sense) -> None:
    import trimesh

    piece, _ = circle_brick(450.0, 3.0)
    brick = PlacedBrick(piece, 30.0, 100.0, 450.0, 0.0, 12.0)
    vertices, faces = brick_boxes([brick], sense)
    solid = trimesh.Trimesh(vertices, faces, process=True)
    solid.merge_vertices()
    assert solid.is_watertight
    assert solid.volume == pytest.approx(piece.volume, rel=2e-3)
    assert piece.volume == pytest.approx(
        64.0 * 114.0 * 0.5 * (piece.front + piece.back), rel=1e-12
    )


@pytest.mark.parametrize(
    ("count", "share", "broken"),
    [(19, 0.05, 1), (20, 0.05, 1), (21, 0.05, 2), (100, 0.07, 7)],
)
def test_breakage_is_rounded_up_but_a_whole_number_stays(
    count: int, share: float, broken: int
) -> None:
    """Seven of a hundred, though 0.07 times 100 is a little more in binary."""
    (found,) = count_pieces([straight(9.0, 4.5)] * count, share)
    assert (found.breakage, found.needed) == (broken, count + broken)
