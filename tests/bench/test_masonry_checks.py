"""The checks that planned bricks are held to by the bench, held to closed forms."""

import numpy as np
import pytest
from fleet_furnaces import FLEET
from fleet_surveys import Wall
from masonry_checks import overlap, pushed_out

from geom.design import Brick
from geom.repair.masonry.pieces import pieces_of
from geom.repair.masonry.placed import PlacedBrick
from tests.walls import plain_design

(SPLIT, *_) = [
    piece
    for piece in pieces_of([Brick("split", 228.6, 114.3, 31.75)])
    if piece.whole and piece.up == 228.6 and piece.into == 31.75
]
#: 36 in, straight.
STRAIGHT = FLEET[4]


def brick(azimuth: float, face: float = 469.9, foot: float = 600.0) -> PlacedBrick:
    return PlacedBrick(SPLIT, azimuth, foot, face, 0.0, 12.7)


def test_bricks_that_only_touch_stand_clear():
    half = float(np.rad2deg(np.arctan(0.5 * 114.3 / 469.9)))
    beside = [brick(0.0), brick(2.0 * half + 0.01)]
    above = [brick(0.0), brick(0.0, foot=600.0 + 228.6)]
    behind = [brick(0.0), brick(0.0, face=469.9 + 31.75)]
    for pair in (beside, above, behind):
        assert overlap(pair, "clockwise") == pytest.approx(0.0, abs=1e-9)
    assert overlap([brick(0.0)], "clockwise") == 0.0


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("into", [1.0, 7.5])
def test_an_overlap_is_as_deep_as_it_was_made(sense, into):
    above = [brick(90.0), brick(90.0, foot=600.0 + 228.6 - into)]
    behind = [brick(350.0), brick(350.0, face=469.9 + 31.75 - into)]
    for pair in (above, behind):
        assert overlap(pair, sense) == pytest.approx(into)


def wall_gone(depth: float) -> Wall:
    def cutback(azimuth, height):
        shape = np.broadcast_shapes(np.shape(azimuth), np.shape(height))
        return np.full(shape, depth)

    return Wall(STRAIGHT, cutback)


def test_what_a_back_reaches_past_the_wall_is_its_corners():
    design = plain_design()
    # back of the brick: 501.65 mm at mid-length, its corners further out
    corner = float(np.hypot(501.65, 57.15))
    depth = corner - 457.2
    clear = pushed_out(brick(10.0), wall_gone(depth + 0.01), design)
    assert clear.cut == 0.0
    assert clear.proud == 0.0
    assert clear.cover == pytest.approx(12.7, abs=0.3)
    past = pushed_out(brick(10.0), wall_gone(depth - 5.0), design)
    assert past.most == pytest.approx(5.0)
    assert past.cut > 0.0
    assert past.proud == 0.0  # the shop squares 1/2 in
    more = pushed_out(brick(10.0), wall_gone(depth - 20.0), design)
    assert more.proud == pytest.approx(20.0 - 12.7)
    # cut off the whole back: a slab of it, less what the flat back spares
    slab = pushed_out(brick(10.0), wall_gone(501.65 - 457.2 - 4.0), design)
    assert slab.cut == pytest.approx(
        114.3 * 228.6 * (4.0 + 114.3**2 / 24 / 501.65), rel=0.01
    )


def test_a_brick_pushed_out_stands_before_the_drawn_face():
    design, wall = plain_design(), wall_gone(20.0)
    back = pushed_out(brick(10.0), wall, design)
    assert back.proud > 12.7
    azimuth, height = np.array([10.0, 100.0]), np.array([700.0, 700.0])
    depth = back.face_depth(azimuth, height, wall)
    assert depth[0] == pytest.approx(12.7 - back.proud)
    assert np.isinf(depth[1])
