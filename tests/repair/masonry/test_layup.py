"""Brickwork: squared out, fitted to its depth, counted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.design import Brick, Brickwork, Shop
from geom.repair.masonry.bonds import Bond, bonds_of, closest
from geom.repair.masonry.bricks import brick_volume
from geom.repair.masonry.courses import Course, count_bricks, in_arc, square_out
from geom.repair.masonry.layup import (
    Depths,
    LayUp,
    Misfit,
    depths,
    lay_up,
)
from geom.repair.masonry.rings import Faces, bricks_in_ring, ring
from geom.repair.wall import Wall
from geom.surface import Grid, make_grid
from geom.units import Bool, Float
from tests.repair.surveyed import SLIGHT, SPLIT, STEEP, STRETCHER
from tests.walls import plain_design, tapered_design

WORK = Brickwork()


def grid_of(**changes: object) -> Grid:
    return make_grid(plain_design(**changes), surveyed=(200.0, 900.0), columns=360)


def box(grid: Grid, low: float, high: float, columns: list[int]) -> Bool:
    mask = np.zeros(grid.shape, dtype=bool)
    rows = (grid.height > low) & (grid.height < high)
    mask[np.ix_(rows, np.isin(np.arange(grid.azimuth.size), np.mod(columns, 360)))] = 1
    return mask & ~grid.opening


def squared(grid: Grid, mask: Bool, pitch: float = 63.0) -> tuple[Course, ...]:
    return square_out(grid, mask, np.ones(grid.shape, bool), pitch=pitch, face=220.0)


# --- depth ---------------------------------------------------------------------------


@settings(max_examples=200, derandomize=True)
@given(
    build=st.floats(50.0, 250.0),
    deepest=st.floats(0.0, 230.0),
    room=st.floats(20.0, 300.0),
)
def test_bed_and_cover_keep_their_limits_and_the_seat_the_shell(
    build: float, deepest: float, room: float
) -> None:
    work = Brickwork(cover_least=2.0)
    found = depths(build, deepest, room, work)
    if isinstance(found, Misfit):
        no_cover = deepest - build - work.bed_most > work.cover_most
        deep = build + max(2.0, deepest - build - work.bed_most) + work.bed_least
        assert no_cover or deep > room
        return
    assert work.cover_least <= found.cover <= work.cover_most
    assert found.seat <= room
    assert found.seat - build - found.cover == pytest.approx(work.bed_least)
    bed_most = max(deepest, found.seat) - build - found.cover
    assert work.bed_least - 1e-9 <= bed_most <= work.bed_most + 1e-9


def test_a_deep_hole_is_covered_before_it_is_refused() -> None:
    assert depths(110.0, 100.0, None, WORK) == Depths(0.0, 116.0)
    assert depths(110.0, 150.0, None, WORK) == Depths(15.0, 131.0)
    assert depths(110.0, 161.0, None, WORK) == Misfit("too deep", 160.0, 161.0)


def known(depth: float, mask: Bool, grid: Grid, shop: Shop) -> Wall:
    cutback = np.where(mask, depth, 0.0)
    cutback[~grid.surveyed] = np.nan
    return Wall(grid, cutback, np.zeros(grid.shape), plain_design(shop=shop))


def laid_in(depth: float, *bricks: Brick, columns: int = 60) -> LayUp:
    grid = grid_of()
    mask = box(grid, 300.0, 500.0, list(range(columns)))
    wall = known(depth, mask, grid, Shop(bricks=bricks))
    made = lay_up(wall, mask, np.ones(grid.shape), bonds_of(bricks))
    assert isinstance(made, LayUp)
    return made


def test_the_brick_that_needs_the_least_cutting_is_taken() -> None:
    thin = Brick("thin", 200.0, 70.0, 60.0, radial="width")
    assert laid_in(50.0, STRETCHER, thin).bond.name == "thin"
    # with bed and cover the thin one fills 120 mm at most
    assert laid_in(125.0, STRETCHER, thin).bond.name == "stretcher"
    cut = laid_in(50.0, STRETCHER).cut
    share = 60 * np.pi / 180.0
    deep = (566.0**2 - 500.0**2) * 0.5 * share * 200.0
    above = (566.0**2 - 450.0**2) * 0.5 * share * (4 * 63.0 - 200.0)
    assert cut == pytest.approx(deep + above, rel=1e-9)


def test_nothing_is_cut_where_the_wall_is_gone_deeper_than_the_seat() -> None:
    mask_only = laid_in(130.0, STRETCHER)
    assert mask_only.seat == 116.0
    assert mask_only.bed_most == pytest.approx(20.0)
    above = (566.0**2 - 450.0**2) * 0.5 * np.pi / 3.0 * (4 * 63.0 - 200.0)
    assert mask_only.cut == pytest.approx(above, rel=1e-9)


def test_splits_are_taken_only_where_nothing_thicker_fits() -> None:
    assert laid_in(50.0, SPLIT, STRETCHER).bond.name == "stretcher"
    assert laid_in(50.0, SPLIT).bond.name == "split"


def test_why_no_brick_fits_is_told_brick_by_brick() -> None:
    grid = grid_of()
    mask = box(grid, 300.0, 500.0, list(range(60)))
    wall = Wall(
        grid,
        np.where(mask & grid.surveyed, 50.0, 0.0),
        np.zeros(grid.shape),
        plain_design(shell_radius=547.0),
    )
    why = lay_up(wall, mask, np.ones(grid.shape), bonds_of([STRETCHER]))
    assert why == (
        Misfit("shell", 116.0, 97.0, "stretcher"),
        Misfit("shell", 226.0, 97.0, "stretcher"),
    )


# --- counting ------------------------------------------------------------------------


@settings(max_examples=200, derandomize=True)
@given(
    length=st.floats(4.0, 3000.0),
    face=st.floats(50.0, 250.0),
    joint=st.floats(0.0, 6.0),
    half_first=st.booleans(),
)
def test_bricks_pieces_and_joints_fill_an_arc(
    length: float, face: float, joint: float, half_first: bool
) -> None:
    whole, pieces = in_arc(length, face + joint, joint, half_first=half_first)
    laid = whole * face + sum(pieces)
    number = whole + len(pieces)
    left = length - laid - (number + 1) * joint
    # a millionth of a brick is rounding
    assert -1e-3 <= left <= joint + 1e-3 or number == 0
    assert all(0.0 < piece < face for piece in pieces)
    longer = in_arc(length + 30.0, face + joint, joint, half_first=half_first)
    assert longer[0] + len(longer[1]) >= number


def test_every_second_course_starts_with_half_a_brick() -> None:
    made = laid_in(50.0, STRETCHER)
    # 471.2 mm: 2 x 223 and 22.2 left; then half, 1 x 223 and 133.7 left
    (count,) = made.tally.bricks
    assert (count.whole, count.pieces) == (2 * 2 + 2 * 1, 2 * 1 + 2 * 2)
    # of pieces 19, 19, 108.5, 108.5 (short), 130.7, 130.7 (long)
    assert count.for_pieces == 2 + 2
    assert count.breakage == 1  # 5 % of 10
    assert count.needed == 11
    left = np.pi / 3.0 * 450.0 - 3.0
    pieces = [left - 2 * 223.0 - 3.0, 108.5, left - 1.5 * 223.0 - 3.0]
    laid = (6 * 220.0 + 2 * sum(pieces)) * 110.0 * 60.0
    assert made.tally.volume == pytest.approx(laid, rel=1e-9)


def test_full_rings_are_counted_by_the_closed_formula() -> None:
    made = laid_in(50.0, STRETCHER, columns=360)
    (count,) = made.tally.bricks
    each = ring(450.0, [STRETCHER], 3.0)
    assert made.tally.rings == 4
    assert count.whole + count.pieces == 4 * each.needed
    assert abs(each.needed - bricks_in_ring(900.0, 220.0, joint=3.0)) <= 1
    assert made.joints > 0.0


def test_a_pair_closes_both_circles_in_part_of_a_ring_too() -> None:
    made = laid_in(50.0, STEEP, SLIGHT, columns=180)
    steep, slight = made.tally.bricks
    assert (steep.name, slight.name) == ("steep", "slight")
    pair = made.bond.mix_at(450.0, 3.0)
    total = np.pi * 450.0 / pair.pitch
    n1, n2 = pair.share * total, (1.0 - pair.share) * total
    assert n1 * 73.0 + n2 * 88.0 == pytest.approx(np.pi * 450.0, rel=1e-9)
    assert (n1 + n2) * 103.0 == pytest.approx(np.pi * 600.0, rel=1e-9)
    assert steep.whole == pytest.approx(4 * n1, abs=4)
    assert made.joints > 0.0


def test_a_pair_has_to_turn_every_course() -> None:
    grid = grid_of()
    courses = squared(grid, box(grid, 300.0, 500.0, list(range(60))))
    bond = next(bond for bond in bonds_of([STEEP, SLIGHT]) if bond.paired)
    assert count_bricks(grid, courses, bond, 0.0, WORK) is not None
    assert count_bricks(grid, courses, bond, 600.0, WORK) is None


def test_of_pairs_alike_the_one_with_the_closest_shapes_is_kept() -> None:
    straight = Brick("straight", 150.0, 100.0, 60.0)
    pairs = [bond for bond in bonds_of([STEEP, SLIGHT, straight]) if bond.paired]
    assert {bond.name for bond in pairs} == {
        "steep with slight", "steep with straight", "slight with straight",
    }  # fmt: skip
    # alone they turn 350 + and 850 + mm: in between only the two together are closest
    kept = [bond for bond in closest(pairs, 450.0, 3.0) if bond.paired]
    assert [bond.name for bond in kept] == ["steep with slight"]
    kept = [bond for bond in closest(pairs, 1500.0, 3.0) if bond.paired]
    assert [bond.name for bond in kept] == ["slight with straight"]


def test_a_straight_stands_on_end_beside_an_arch() -> None:
    arch = Brick("arch", 220.0, 110.0, 60.0, "thickness", 50.0, radial="width")
    straight = Brick("straight", 220.0, 110.0, 60.0)
    (pair,) = (bond for bond in bonds_of([arch, straight]) if bond.paired)
    assert pair.shapes[1] == Faces("straight", 110.0, 220.0, 60.0, 60.0)
    assert (pair.build, pair.course) == (110.0, 220.0)


def test_a_straight_may_be_turned() -> None:
    builds = {bond.build for bond in bonds_of([Brick("b", 220.0, 110.0, 60.0)])}
    assert builds == {110.0, 220.0}


def test_volume_of_a_brick_is_its_mean_face_by_build_and_course() -> None:
    assert brick_volume(Faces.of(STEEP)) == pytest.approx(0.5 * (100 + 70) * 150 * 60)


# --- a tapering profile with tuyeres -------------------------------------------------


def test_brick_joints_and_daub_fill_the_seat_on_a_tapering_wall() -> None:
    design = tapered_design(shop=Shop(bricks=(STRETCHER,)))
    grid = make_grid(design, surveyed=(200.0, 900.0), columns=360)
    rng = np.random.default_rng(3)
    depth = 40.0 + 10.0 * rng.random(grid.shape)
    mask = np.zeros(grid.shape, dtype=bool)
    mask[np.ix_((grid.height > 350) & (grid.height < 700), np.arange(100, 160))] = True
    mask &= ~grid.opening
    cutback: Float = np.where(mask, depth, 0.0)
    cutback[~grid.surveyed] = np.nan
    wall = Wall(grid, cutback, np.zeros(grid.shape), design)
    made = lay_up(wall, mask, np.ones(grid.shape), bonds_of([STRETCHER]))
    assert isinstance(made, LayUp)
    solid_part = made.tally.volume + made.joints
    assert min(made.joints, made.behind, made.at_sides + 1e-6) > 0.0
    room = wall.summed(made.share, wall.gone) + made.cut
    assert solid_part + made.daub == pytest.approx(room, rel=1e-9)
    assert isinstance(made.bond, Bond)
