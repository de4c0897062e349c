"""What brickwork opens of a wall, in which order, and when it stops."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from geom.design import Brickwork
from geom.frame import wrap
from geom.repair.masonry.support import (
    Seat,
    burnt_rows,
    segments_of,
    support_of,
    union_of_arcs,
)

WORK = Brickwork()
#: 4 1/2 in along an arc of radius 18 in, degrees; 9 in up, mm.
FACE, TALL = 14.33, 228.6


def row(start: float, count: int, low: float = 800.0, zone: int = 1) -> list[Seat]:
    """Bricks side by side, a joint of 0.4 degrees between them."""
    return [
        Seat(
            zone,
            float(wrap(start + k * (FACE + 0.4))),
            float(wrap(start + k * (FACE + 0.4) + FACE)),
            low,
            low + TALL,
            500.0,
        )
        for k in range(count)
    ]


def test_arcs_are_put_together_over_azimuth_0() -> None:
    assert union_of_arcs([(300.0, 80.0), (10.0, 20.0)], gap=0.0) == [(300.0, 90.0)]
    assert union_of_arcs([(0.0, 180.0), (180.0, 180.0)], gap=0.0) == [(0.0, 360.0)]
    assert union_of_arcs([]) == []


@pytest.mark.parametrize("turned", [0.0, 123.4, 350.0])
def test_the_union_of_arcs_is_what_a_fine_raster_finds(turned: float) -> None:
    rng = np.random.default_rng(4)
    for _ in range(50):
        count = int(rng.integers(1, 12))
        start = wrap(rng.uniform(0.0, 360.0, count) + turned)
        length = rng.uniform(1.0, 60.0, count)
        raster = (np.arange(36000) + 0.5) / 100.0
        held = (wrap(raster[:, None] - start) <= length).any(axis=1)
        found = union_of_arcs(zip(start, length, strict=True), gap=0.0)
        total = sum(reach for _, reach in found)
        assert total == pytest.approx(held.sum() / 100.0, abs=0.02 * count)


def test_what_is_opened_is_measured_on_the_arc_where_brick_is_set() -> None:
    # 6 bricks on either side of the furnace: the zone reaches round 230 degrees of it
    seats = [*row(10.0, 6), *row(150.0, 6)]
    found = support_of(seats, WORK)
    long = 6 * FACE + 5 * 0.4
    assert found.open_arc == pytest.approx(long)
    assert found.open_share == pytest.approx(2 * long / 360.0)
    assert found.open_height == pytest.approx(TALL)
    assert found.stops == ()


def test_more_than_half_of_the_wall_at_one_height_is_a_stop() -> None:
    seats = [*row(10.0, 7), *row(190.0, 7)]
    (stop,) = support_of(seats, WORK).stops
    assert stop.reason == "opened"
    assert (stop.height_from, stop.height_to) == pytest.approx((800.0, 800.0 + TALL))
    assert stop.share == pytest.approx((14 * FACE + 12 * 0.4) / 360.0)
    # the same bricks at two heights: half of the wall stands at each
    apart = [*row(10.0, 7), *row(190.0, 7, low=1200.0)]
    assert support_of(apart, WORK).stops == ()
    # and of two zones at one height the arcs add up
    zones = [*row(10.0, 7), *row(190.0, 7, zone=2)]
    assert support_of(zones, WORK).stops == (stop,)


def test_a_ring_burnt_all_round_is_a_stop_though_no_brick_is_set() -> None:
    edge = np.arange(0.0, 110.0, 10.0)
    past = np.zeros((10, 36), dtype=bool)
    past[4:6, 4:] = True
    counted = np.ones((10, 36))
    (stop,) = support_of([], WORK, burnt=burnt_rows(past, counted, edge)).stops
    assert (stop.reason, stop.height_from, stop.height_to) == ("burnt", 40.0, 60.0)
    assert stop.share == pytest.approx(32 / 36)
    past[4:6, :10] = False
    assert support_of([], WORK, burnt=burnt_rows(past, counted, edge)).stops == ()
    # an opening is no wall: what stands beside it is all there is
    counted[:, :10] = 0.0
    past[4:6, :10] = True
    (stop,) = support_of([], WORK, burnt=burnt_rows(past, counted, edge)).stops
    assert stop.share == 1.0


def test_a_ring_that_may_be_burnt_is_a_stop_where_none_is_surely() -> None:
    sure, maybe = [(400.0, 600.0, 0.9)], [(300.0, 700.0, 0.8), (900.0, 950.0, 0.76)]
    found = support_of([], WORK, burnt=sure, possible=maybe).stops
    assert [(stop.reason, stop.height_from) for stop in found] == [
        ("burnt", 400.0),
        ("possible", 900.0),
    ]
    few = [(300.0, 700.0, 0.74)]
    assert support_of([], WORK, possible=few).stops == ()


@pytest.mark.parametrize("count", [3, 9, 16, 24])
def test_no_segment_is_more_than_the_shop_allows(count: int) -> None:
    seats = [seat for k in range(5) for seat in row(340.0, count, 500.0 + 232.0 * k)]
    segments = segments_of(seats, WORK)
    assert sum(each.bricks for each in segments) == len(seats)
    assert [each.step for each in segments] == list(range(1, len(segments) + 1))
    for each in segments:
        assert wrap(each.azimuth_to - each.azimuth_from) <= 60.0
        assert each.height_to - each.height_from <= 24.0 * 25.4
    # 5 courses of 9 in are 45 in: two at a time
    assert {round(each.height_from) for each in segments} == {500, 964, 1428}


def test_of_a_ring_neighbours_are_never_opened_one_after_the_other() -> None:
    seats = row(0.0, 24)
    seats[-1] = replace(seats[-1], azimuth_to=359.7)
    assert support_of(seats, WORK).open_arc == 360.0
    segments = segments_of(seats, WORK)
    assert len(segments) % 2 == 0
    for one, after in itertools.pairwise(segments):
        near = min(
            float(wrap(after.azimuth_from - one.azimuth_to)),
            float(wrap(one.azimuth_from - after.azimuth_to)),
        )
        half = len(segments) // 2
        assert near > 10.0 or one.step == half


def test_the_shops_own_limits_are_kept() -> None:
    seats = [seat for k in range(4) for seat in row(0.0, 12, 500.0 + 232.0 * k)]
    work = replace(WORK, open_arc=30.0, open_height=250.0)
    found = support_of(seats, work)
    assert (found.arc_most, found.height_most) == (30.0, 250.0)
    for each in found.segments:
        assert wrap(each.azimuth_to - each.azimuth_from) <= 30.0
        assert each.height_to - each.height_from <= 250.0
    assert len(found.segments) > len(support_of(seats, WORK).segments)


def test_a_brick_longer_than_may_be_open_is_a_segment_by_itself() -> None:
    work = replace(WORK, open_arc=5.0)
    assert [each.bricks for each in segments_of(row(0.0, 4), work)] == [1, 1, 1, 1]


def test_the_least_lining_behind_a_seat_is_named() -> None:
    seats = row(20.0, 3)
    seats[1] = replace(seats[1], back=590.0)
    found = support_of(seats, WORK, shell_radius=685.0, least_lining=100.0).behind
    assert found is not None
    assert (found.lining, found.wanted, found.kept) == (95.0, 100.0, False)
    assert found.azimuth == pytest.approx(seats[1].middle)
    kept = support_of(seats, WORK, shell_radius=685.0, least_lining=95.0).behind
    assert kept is not None
    assert kept.kept
    assert support_of(seats, WORK).behind is None
    through = [replace(seats[0], back=690.0)]
    bare = support_of(through, WORK, shell_radius=685.0).behind
    assert bare is not None
    assert not bare.kept
