"""Full rings: the closed formulas close both circles, and whole bricks nearly do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from geom.design import Brick
from geom.errors import InputError
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bricks import standard_bricks
from geom.repair.masonry.rings import (
    RingCount,
    bricks_in_ring,
    ring,
    single_shape_ring,
    two_shape_ring,
)
from geom.units import to_mm

QUIET = settings(max_examples=150, deadline=None, derandomize=True)

SERIES = {brick.name: brick for brick in standard_bricks("in")}
#: Straights, arches and wedges that are all 2 1/2 in thick at the back.
ONE_FACE = [b for b in SERIES.values() if b.thickness == 63.5 and "key" not in b.name]
BUILDS = st.sampled_from([114.3, 228.6])
#: From the tightest bore that both arches and wedges turn, joint and all.
BORES = st.floats(380.0, 3000.0)
JOINTS = st.floats(0.0, 6.0)


@st.composite
def shapes(draw: st.DrawFn, build: float = 230.0) -> Brick:
    """A brick that narrows round the ring."""
    outer = draw(st.floats(50.0, 250.0))
    inner = outer * draw(st.floats(0.5, 0.99))
    return Brick("shape", build, outer, 64.0, "width", inner)


def circles(
    first: Brick, second: Brick, counts: tuple[float, float], joint: float
) -> tuple[float, float]:
    """How far round both shapes reach, at the back and at the hot face."""
    one, other = counts
    return (
        one * (first.outer + joint) + other * (second.outer + joint),
        one * (first.inner + joint) + other * (second.inner + joint),
    )


@given(first=shapes(), second=shapes(), bore=st.floats(100.0, 6000.0), joint=JOINTS)
@QUIET
def test_two_shapes_close_both_circles(
    first: Brick, second: Brick, bore: float, joint: float
) -> None:
    # Nearly alike tapers have huge numbers of both signs; rounding then counts.
    ratio = (first.inner + joint) / (first.outer + joint)
    assume(abs(ratio - (second.inner + joint) / (second.outer + joint)) > 0.01)
    counts = two_shape_ring(first, second, bore=bore, joint=joint)
    back, hot = circles(first, second, counts, joint)
    assert back == pytest.approx(np.pi * (bore + 460.0), rel=1e-9)
    assert hot == pytest.approx(np.pi * bore, rel=1e-9)
    # Spoiled: a ring of 1 mm more build, and joints left out of the faces.
    deeper = replace(first, length=231.0)
    back, _ = circles(
        first, second, two_shape_ring(deeper, second, bore=bore, joint=joint), joint
    )
    assert back != pytest.approx(np.pi * (bore + 460.0), rel=1e-9)
    if joint > 0.01:
        back, _ = circles(first, second, counts, 0.0)
        assert back != pytest.approx(np.pi * (bore + 460.0), rel=1e-9)


@given(shape=shapes(), other=shapes(), joint=JOINTS)
@QUIET
def test_at_the_bore_of_one_shape_none_of_the_other_is_needed(
    shape: Brick, other: Brick, joint: float
) -> None:
    ratio = (shape.inner + joint) / (shape.outer + joint)
    assume(abs(ratio - (other.inner + joint) / (other.outer + joint)) > 0.01)
    alone = single_shape_ring(shape, joint=joint)
    counts = two_shape_ring(shape, other, bore=alone.bore, joint=joint)
    assert counts == pytest.approx((alone.bricks, 0.0), rel=1e-9, abs=1e-9)
    beside = two_shape_ring(shape, other, bore=1.01 * alone.bore, joint=joint)
    assert abs(beside[1]) > 1e-3


def test_outside_of_both_bores_one_number_is_negative() -> None:
    first, second = SERIES["9 in wedge No 1"], SERIES["9 in wedge No 2"]
    small, large = single_shape_ring(second).bore, single_shape_ring(first).bore
    for bore, turns in ((0.9 * small, 0), (0.5 * (small + large), 1), (1.1 * large, 0)):
        counts = two_shape_ring(first, second, bore=bore)
        assert (min(counts) > 0.0) == bool(turns)


def test_shapes_that_taper_alike_have_no_answer() -> None:
    one = Brick("one", 230.0, 100.0, 64.0, "width", 80.0)
    half = Brick("half", 230.0, 50.0, 64.0, "width", 40.0)
    assert np.isnan(two_shape_ring(one, half, bore=1840.0)).all()
    straight = Brick("straight", 230.0, 114.0, 64.0)
    assert np.isnan(two_shape_ring(straight, straight, bore=900.0)).all()
    assert not np.isnan(two_shape_ring(one, straight, bore=1840.0)).any()


def test_a_straight_turns_no_bore() -> None:
    alone = single_shape_ring(Brick("straight", 230.0, 114.0, 64.0))
    assert (alone.bricks, alone.bore) == (np.inf, np.inf)


@given(bore=BORES, face=st.floats(30.0, 250.0), joint=JOINTS)
@QUIET
def test_bricks_round_a_circle_reach_and_one_less_does_not(
    bore: float, face: float, joint: float
) -> None:
    count = bricks_in_ring(bore, face, joint=joint)
    girth = np.pi * bore
    assert count * (face + joint) >= girth - 1e-3
    assert (count - 1) * (face + joint) < girth


def closed(found: RingCount, bricks: list[Brick]) -> tuple[float, float]:
    """How far round bricks, piece and joints reach, at hot face and back; mm."""
    by_name = {brick.name: brick for brick in bricks}
    hot, back = found.cut_hot, found.cut_back
    for name, count in found.bricks:
        brick = by_name[name]
        if brick.taper:
            faces = (brick.inner, brick.outer)
        else:  # a straight stands as the shape beside it does
            sides = [brick.length, brick.width, brick.thickness]
            for taken in (found.build, found.course):
                sides.remove(min(sides, key=lambda side: abs(side - taken)))
            faces = (sides[0], sides[0])
        hot, back = hot + count * faces[0], back + count * faces[1]
    return hot + found.needed * found.joint_hot, back + found.needed * found.joint_back


@given(radius=st.floats(190.0, 1500.0), joint=JOINTS, build=BUILDS)
@QUIET
def test_a_ring_closes_both_circles_and_says_where_what_is_left_went(
    radius: float, joint: float, build: float
) -> None:
    bricks = list(SERIES.values())
    found = ring(radius, bricks, joint, build=build)
    assert abs(found.build - build) <= ASSUMED.same_build
    hot, back = closed(found, bricks)
    assert hot == pytest.approx(2.0 * np.pi * radius, rel=1e-9)
    assert back == pytest.approx(2.0 * np.pi * (radius + found.build), rel=1e-9)
    assert min(found.joint_hot, found.joint_back) >= -1e-6
    widest = joint + max(joint, ASSUMED.joint_slack) + 1e-5
    assert min(found.joint_hot, found.joint_back) <= widest
    assert found.turns == (
        abs(found.joint_hot - found.joint_back)
        <= max(joint, ASSUMED.joint_slack) + 1e-5
    )
    assert found.needed == found.whole + found.cut
    if found.cut:
        assert 0.0 < found.cut_hot < found.cut_back
    spoiled = replace(found, bricks=((found.bricks[0][0], found.bricks[0][1] + 1),))
    assert closed(spoiled, bricks)[0] != pytest.approx(2.0 * np.pi * radius, rel=1e-9)


@given(radius=BORES.map(lambda bore: bore / 2), joint=JOINTS, build=BUILDS)
@QUIET
def test_a_ring_of_one_back_face_has_the_number_that_its_back_has_room_for(
    radius: float, joint: float, build: float
) -> None:
    tightest = min(
        single_shape_ring(b, joint=joint).bore
        for b in ONE_FACE
        if b.taper and b.build == build
    )
    assume(2.0 * radius > tightest)
    found = ring(radius, ONE_FACE, joint, build=build)
    exact = 2.0 * np.pi * (radius + build) / (63.5 + joint)
    assert found.turns
    assert abs(found.needed - exact) < 1.0 + 1e-6
    assert abs(found.needed + 2 - exact) > 1.0


@given(
    radius=BORES.map(lambda bore: bore / 2),
    more=st.floats(0.0, 200.0),
    joint=JOINTS,
    build=BUILDS,
)
@QUIET
def test_the_count_grows_with_the_bore(
    radius: float, more: float, joint: float, build: float
) -> None:
    tightest = min(
        single_shape_ring(b, joint=joint).bore
        for b in ONE_FACE
        if b.taper and b.build == build
    )
    assume(2.0 * radius > tightest)
    small = ring(radius, ONE_FACE, joint, build=build)
    large = ring(radius + more, ONE_FACE, joint, build=build)
    assert small.whole <= large.whole
    assert small.needed <= large.needed
    grown = 2.0 * np.pi * more / (63.5 + joint)
    assert abs((large.needed - small.needed) - grown) < 2.0
    much = ring(radius + more + 100.0, ONE_FACE, joint, build=build)
    assert much.whole > large.whole


@given(
    radius=st.integers(8 * 16, 60 * 16),  # sixteenths of an inch
    joint=st.sampled_from([0, 1, 2, 3, 4]),
    build=st.sampled_from([None, 114.3, 228.6]),
)
@QUIET
def test_a_change_of_unit_changes_no_count(
    radius: int, joint: int, build: float | None
) -> None:
    bricks = list(SERIES.values())
    inches = ring(radius / 16 * 25.4, bricks, joint / 16 * 25.4, build=build)
    there = []
    for brick in SERIES.values():
        sides = ("length", "width", "thickness", "small")
        as_cm = {side: getattr(brick, side) / 25.4 * 2.54 for side in sides}
        there.append(
            replace(brick, **{side: to_mm(cm, "cm") for side, cm in as_cm.items()})
        )
    bore, asked = to_mm(radius / 16 * 2.54, "cm"), to_mm(joint * 0.15875, "cm")
    other = ring(bore, there, asked, build=build)
    assert other.bricks == inches.bricks
    assert (other.needed, other.turns) == (inches.needed, inches.turns)
    assert other.joint_hot == pytest.approx(inches.joint_hot, abs=1e-9)
    # Spoiled: inches taken for 26 mm.
    spoiled = ring(radius / 16 * 26.0, bricks, joint / 16 * 25.4, build=build)
    assert spoiled.joint_hot != pytest.approx(inches.joint_hot, abs=1e-9)


def test_more_left_over_than_joints_take_is_a_brick_cut_to_width() -> None:
    thin = Brick("thin", 20.0, 100.0, 60.0, "width", 96.15)  # turns near 1000 mm
    found = ring(500.0, [thin], 0.0)
    exact = single_shape_ring(thin)
    assert exact.bore == pytest.approx(998.96, abs=0.01)
    # 2 pi 20 / 3.85 = 32.64 bricks: 32 dry ones, and a piece of two thirds
    assert found.bricks == (("thin", 32),)
    assert found.cut
    assert found.needed == 33
    assert found.cut_hot == pytest.approx(1000.0 * np.pi - 32 * 96.15, abs=1e-9)
    assert found.cut_back == pytest.approx(1040.0 * np.pi - 32 * 100.0, abs=1e-9)
    assert (found.joint_hot, found.joint_back) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_less_left_over_widens_or_narrows_the_joints() -> None:
    shape = Brick("shape", 200.0, 97.0, 60.0, "width", 77.0)
    # With joints of 3 it turns 1600 mm with 20 pi = 62.83: one more than 62.33 goes in,
    # the joints narrower by (63 x 80 - 1600 pi) / 63 at the hot face.
    narrower = ring(800.0, [shape], 3.0)
    assert narrower.bricks == (("shape", 63),)
    assert not narrower.cut
    by = (63 * 80 - 1600 * np.pi) / 63
    assert narrower.joint_hot == pytest.approx(3.0 - by, abs=1e-9)
    wider = ring(803.0, [shape], 3.0)
    assert wider.bricks == (("shape", 63),)
    assert wider.joint_hot > narrower.joint_hot


def test_straights_alone_gape_at_the_back_and_that_is_told() -> None:
    straight = SERIES["9 in straight"]
    found = ring(457.2, [straight], 3.175)
    # 2 pi 18 / 4.625 = 24.45 at the hot face; at the back there is room for 36.7.
    assert found.bricks == (("9 in straight", 24),)
    assert not found.turns
    back = (2.0 * np.pi * 685.8 - 24 * 114.3) / 24
    assert found.joint_back == pytest.approx(back, abs=1e-9)
    assert ring(457.2, list(SERIES.values()), 3.175).turns


def test_a_straight_stands_as_the_shape_beside_it() -> None:
    wedge, straight = SERIES["9 in wedge No 1-X"], SERIES["9 in straight"]
    bore = 2.0 * single_shape_ring(wedge).bore
    found = ring(0.5 * bore, [straight, wedge], 0.0)
    # At twice its own bore a wedge makes up the whole taper still: 226.19 of them.
    told = dict(found.bricks)
    assert told["9 in wedge No 1-X"] == pytest.approx(226.19, abs=1.0)
    girth = np.pi * (bore + 457.2) / 63.5
    assert sum(told.values()) == pytest.approx(girth, abs=1.0)
    assert found.course == pytest.approx(114.3)


def test_shapes_of_other_build_or_course_make_no_ring() -> None:
    wedge = SERIES["9 in wedge No 2"]
    other = replace(SERIES["9 in wedge No 1"], name="deep", length=240.0)
    tall = replace(SERIES["9 in wedge No 1"], name="tall", width=120.0)
    like = replace(SERIES["9 in wedge No 1"], name="like", length=229.0)
    for beside, together in ((other, False), (tall, False), (like, True)):
        found = ring(500.0, [wedge, beside], 3.0)
        assert (len(found.bricks) == 2) == together


def test_of_rings_as_good_the_one_of_nearer_shapes_is_taken() -> None:
    # 40 in lies between the bores of No 1 and No 2, and of 1-X and No 2 too.
    found = ring(20.0 * 25.4, ONE_FACE, 3.175, build=228.6)
    names = [name for name, _ in found.bricks]
    assert names == ["9 in wedge No 1", "9 in wedge No 2"]
    without = [b for b in ONE_FACE if b.name != "9 in wedge No 1"]
    assert "9 in wedge No 2" in dict(ring(508.0, without, 3.175, build=228.6).bricks)


def test_what_goes_into_no_ring_is_told() -> None:
    with pytest.raises(InputError, match=r"none of the 0 bricks.*Add one"):
        ring(500.0, [], 3.0)
    with pytest.raises(InputError, match="of build 300 mm round a bore"):
        ring(500.0, list(SERIES.values()), 3.0, build=300.0)
    block = Brick("block", 100.0, 900.0, 200.0)
    with pytest.raises(InputError, match="radius 50 mm"):
        ring(50.0, [block], 3.0)
    assert ring(500.0, [block], 3.0).needed == 4
