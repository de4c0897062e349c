"""A brick zone squared out along courses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom.design import Opening
from geom.repair.masonry.courses import (
    Course,
    runs,
    share_of,
    square_out,
)
from geom.surface import Grid, make_grid
from geom.units import Bool
from tests.walls import plain_design


def grid_of(**changes: object) -> Grid:
    return make_grid(plain_design(**changes), surveyed=(200.0, 900.0), columns=360)


def box(grid: Grid, low: float, high: float, columns: list[int]) -> Bool:
    mask = np.zeros(grid.shape, dtype=bool)
    rows = (grid.height > low) & (grid.height < high)
    mask[np.ix_(rows, np.isin(np.arange(grid.azimuth.size), np.mod(columns, 360)))] = 1
    return mask & ~grid.opening


def squared(grid: Grid, mask: Bool, pitch: float = 63.0) -> tuple[Course, ...]:
    return square_out(grid, mask, np.ones(grid.shape, bool), pitch=pitch, face=220.0)


def test_courses_are_counted_from_the_bottom_and_cover_the_zone() -> None:
    grid = grid_of()
    mask = box(grid, 300.0, 500.0, list(range(40, 70)))
    courses = squared(grid, mask)
    assert [course.low for course in courses] == pytest.approx([300, 363, 426, 489])
    assert courses[-1].high == pytest.approx(552.0)
    share = share_of(courses)
    assert share[mask] == pytest.approx(1.0)
    assert share.max() < 1.0 + 1e-9
    area = float(np.sum(share * grid.face_area))
    assert area == pytest.approx(30 * grid.sector * 450.0 * 4 * 63.0, rel=1e-9)


def test_an_arc_over_azimuth_zero_is_one_arc() -> None:
    grid = grid_of()
    courses = squared(grid, box(grid, 300.0, 400.0, list(range(-20, 15))))
    assert [course.arcs for course in courses] == [((340, 35),)] * 2


def test_each_course_goes_from_the_lowest_to_the_highest_azimuth_there() -> None:
    grid = grid_of()
    mask = box(grid, 300.0, 363.0, list(range(10, 80)))
    mask |= box(grid, 363.0, 420.0, list(range(30, 60)))
    courses = squared(grid, mask)
    assert [course.arcs for course in courses] == [((10, 70),), ((30, 30),)]
    assert mask[share_of(courses) < 1.0 - 1e-9].sum() == 0


def test_a_zone_that_is_not_convex_gets_two_arcs_a_narrow_gap_one() -> None:
    grid = grid_of()
    wide = [*range(10, 40), *range(80, 120)]
    narrow = [*range(10, 40), *range(60, 120)]  # 20 degrees are 157 mm, a brick 220
    legs = squared(grid, box(grid, 300.0, 360.0, wide))
    closed = squared(grid, box(grid, 300.0, 360.0, narrow))
    assert legs[0].arcs == ((10, 30), (80, 40))
    assert closed[0].arcs == ((10, 110),)


def test_an_opening_parts_a_course() -> None:
    hole = Opening("tuyere", 90.0, 330.0, 120.0, 120.0)
    grid = grid_of(openings=(hole,))
    courses = squared(grid, box(grid, 270.0, 390.0, list(range(60, 121))))
    for course in courses:
        assert len(course.arcs) == 2
        assert not course.columns[90]
    taken = share_of(courses) * grid.counted
    free = 61 * grid.sector - 120.0 / 450.0
    rows = taken @ np.full(360, grid.sector)
    assert rows[(grid.height > 272) & (grid.height < 388)] == pytest.approx(
        free, abs=1.1 * grid.sector
    )


def test_where_nearly_all_of_a_ring_is_gone_all_of_it_is_laid() -> None:
    grid = grid_of()
    whole = squared(grid, box(grid, 300.0, 360.0, list(range(345))))
    part = squared(grid, box(grid, 300.0, 360.0, list(range(320))))
    assert whole[0].ring
    assert whole[0].columns.all()
    assert not part[0].ring
    assert part[0].arcs == ((0, 320),)


def test_courses_stay_within_what_was_surveyed() -> None:
    grid = grid_of()
    at_top = squared(grid, box(grid, 800.0, 900.0, list(range(40))))
    assert at_top[-1].high == pytest.approx(900.0)
    assert at_top[0].low == pytest.approx(900.0 - 2 * 63.0)
    assert squared(grid, box(grid, 210.0, 890.0, list(range(40))), 300.0) == ()


def test_courses_keep_out_of_what_other_brickwork_has_taken() -> None:
    grid = grid_of()
    free = ~box(grid, 300.0, 400.0, list(range(50, 60)))
    courses = square_out(
        grid, box(grid, 300.0, 400.0, list(range(70))) & free, free,
        pitch=63.0, face=220.0,
    )  # fmt: skip
    assert all(not course.columns[50:60].any() for course in courses)
    assert courses[0].arcs == ((0, 50), (60, 10))


@given(st.lists(st.booleans(), min_size=2, max_size=24))
def test_runs_hold_every_column_once(held: list[bool]) -> None:
    found = runs(np.array(held))
    again = np.zeros(len(held), dtype=int)
    for first, count in found:
        again[(first + np.arange(count)) % len(held)] += 1
    assert again.tolist() == [int(one) for one in held]
