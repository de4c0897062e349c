"""A band lined anew: rings that close, course by course."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Brick, Brickwork, Profile, Shop
from geom.repair.masonry.relining import relining_of
from tests.walls import plain_design

INCH = 25.4


def bore(inches: float, lining: float, joint: float = 0.0, **changes: object):
    radius = 0.5 * inches * INCH
    profile = Profile(np.array([0.0, 2540.0]), np.array([radius, radius]))
    return plain_design(
        length_unit="in",
        profile=profile,
        shell_radius=radius + lining * INCH,
        shop=Shop(brickwork=Brickwork(joint=joint), **changes),
    )


def test_as_many_courses_as_the_band_takes_and_breakage_on_top() -> None:
    design = bore(36.0, 9.0, joint=3.0)
    for way in relining_of(design, 500.0, 900.0):
        pitch = way.course + 3.0
        assert way.courses == np.ceil(400.0 / pitch)
        assert way.height_to == pytest.approx(500.0 + way.courses * pitch)
        assert way.build == pytest.approx(9.0 * INCH)
        assert way.backing == 0.0
        for brick in way.bricks:
            assert brick.needed == np.ceil(1.05 * way.courses * brick.most - 1e-6)


def test_a_lining_that_is_thinner_than_any_brick_has_no_way() -> None:
    assert relining_of(bore(18.0, 3.0), 500.0, 900.0) == ()


def test_a_shallower_brick_is_taken_where_the_shell_is_near() -> None:
    ways = relining_of(bore(27.0, 6.5), 500.0, 900.0)
    assert {round(way.build / INCH, 2) for way in ways} == {6.0}
    assert all(way.backing == pytest.approx(0.5 * INCH) for way in ways)
    assert ways[0].bricks[0].name == "cupola block 6 in deep, 27 in bore"


def test_a_band_that_tapers_has_other_numbers_in_every_course() -> None:
    profile = Profile(np.array([0.0, 2540.0]), np.array([400.0, 700.0]))
    design = plain_design(length_unit="in", profile=profile, shell_radius=950.0)
    ways = relining_of(design, 500.0, 1500.0)
    assert ways
    assert any(brick.most > brick.least for brick in ways[0].bricks)


def test_the_shops_own_blocks_go_only_into_their_bore() -> None:
    block = Brick("block", 228.6, 230.0, 100.0, "width", 154.0, bore=36.0 * INCH)
    (way,) = relining_of(bore(36.0, 9.0, joint=2.0, bricks=(block,)), 500.0, 900.0)
    (brick,) = way.bricks
    girth = 2.0 * np.pi * (18.0 * INCH)
    assert brick.most == pytest.approx(girth / 156.0, abs=1.0)
    # half an inch more would close with wider joints, but no face is curved to it
    near = bore(36.5, 9.0, joint=2.0, bricks=(block,))
    assert relining_of(near, 500.0, 900.0) == ()
    assert relining_of(bore(42.0, 9.0, joint=2.0, bricks=(block,)), 500.0, 900.0) == ()
