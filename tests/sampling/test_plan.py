"""Where a climb goes: rows and columns of a blank rod sheet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom import InputError
from geom.design import Design, Opening, Profile, RodErrors
from geom.frame import turn
from geom.sampling.assumptions import ASSUMED
from geom.sampling.plan import plan_next_stations, plan_stations, rows_short
from geom.sampling.stations import Advice, Station
from geom.surface.coverage import rows_apart
from tests.walls import plain_design, tapered_design

#: Steps that a rod may have, mm.
STEPS = (25.0, 50.0, 75.0, 76.2, 100.0)


def stepped(step: float, **changes: object) -> Design:
    return tapered_design(rod=RodErrors(height_step=step), **changes)


def inside(design: Design, azimuth: float, height: float, more: float) -> list[str]:
    """Kinds of openings that a station is in, by hand; ``more``: mm all round."""
    return [
        hole.kind
        for hole in design.openings
        if abs(height - hole.height) <= 0.5 * hole.tall + more
        and np.deg2rad(abs(turn(hole.azimuth, azimuth)))
        * design.profile.radius_at(hole.height)
        <= 0.5 * hole.width + more
    ]


@pytest.mark.parametrize("step", STEPS)
def test_heights_are_on_the_rods_steps_and_clear_of_steps_and_ends(step: float) -> None:
    design = stepped(step)
    height = plan_stations(design).height
    assert height / step == pytest.approx(np.round(height / step), abs=1e-9)
    for edge in (0.0, 600.0, 1500.0):
        assert np.abs(height - edge).min() >= ASSUMED.margin - 1e-9
    assert (np.diff(height) < 0.0).all()


@pytest.mark.parametrize("step", STEPS)
def test_rows_are_close_over_the_melting_zone_and_never_far_apart(step: float) -> None:
    height = plan_stations(stepped(step)).height[::-1]
    # The tuyeres stand at 445 mm.  Rows keep clear of corners, so a gap may be longer
    # than planned by what it takes to get round one.
    zone = (height >= 445.0 - step) & (
        height <= 445.0 + ASSUMED.close_rows_reach + step
    )
    assert np.diff(height[zone]).max() <= ASSUMED.rows_close + 1.5 * step
    assert np.diff(height).max() <= ASSUMED.rows_wide + 1.5 * step
    assert (
        np.diff(height[height > 445.0 + ASSUMED.close_rows_reach + step]).min()
        > ASSUMED.rows_close
    )
    assert height[0] <= ASSUMED.margin + step
    assert height[-1] >= 1500.0 - ASSUMED.margin - step


def test_a_step_of_the_profile_has_a_row_on_either_side() -> None:
    height = plan_stations(stepped(25.0)).height
    below, above = height[height < 600.0], height[height > 600.0]
    assert 600.0 - below.max() <= 60.0
    assert above.min() - 600.0 <= 60.0


def test_a_corner_that_is_no_step_has_a_row_beside_it() -> None:
    profile = Profile(np.array([0.0, 1230.0, 1500.0]), np.array([450.0, 450.0, 420.0]))
    hole = Opening("tuyere", 0.0, 200.0, 100.0, 80.0)
    design = plain_design(
        profile=profile, rod=RodErrors(height_step=30.0), openings=(hole,)
    )
    off = np.abs(plan_stations(design).height - 1230.0)
    assert ASSUMED.margin <= off.min() <= 60.0


def test_a_drawing_without_tuyeres_is_read_closely_all_over() -> None:
    height = plan_stations(plain_design(rod=RodErrors(height_step=50.0))).height
    assert np.abs(np.diff(height)).max() <= ASSUMED.rows_close + 1e-9


def test_stations_in_openings_are_not_asked_and_name_the_opening() -> None:
    design = stepped(25.0)
    plan = plan_stations(design, heights=20, columns=True)
    assert (plan.opening >= 0).any()
    for row, height in enumerate(plan.height.tolist()):
        for column, azimuth in enumerate(plan.azimuth.tolist()):
            which = int(plan.opening[row, column])
            kinds = inside(design, azimuth, height, ASSUMED.margin)
            assert plan.requested[row, column] == (which < 0) == (not kinds)
            assert not kinds or design.openings[which].kind in kinds
    # Without the margin fewer would be left out: the margin is kept.
    bare = sum(
        bool(inside(design, azimuth, height, 0.0))
        for height in plan.height.tolist()
        for azimuth in plan.azimuth.tolist()
    )
    assert bare < (~plan.requested).sum()


@pytest.mark.parametrize(
    ("step", "count", "apart"),
    [(15.0, 12, 30.0), (10.0, 12, 30.0), (22.5, 16, 22.5), (45.0, 8, 45.0)],
)
def test_azimuths_are_on_the_rods_steps(step: float, count: int, apart: float) -> None:
    design = plain_design(rod=RodErrors(azimuth_step=step))
    azimuth = plan_stations(design).azimuth
    assert azimuth.tolist() == [k * apart for k in range(count)]


def test_columns_run_the_way_the_hands_of_a_clock_turn() -> None:
    design = plain_design(azimuth_sense="counterclockwise")
    azimuth = plan_stations(design, azimuths=8).azimuth
    assert azimuth.tolist() == [0.0, 315.0, 270.0, 225.0, 180.0, 135.0, 90.0, 45.0]
    clockwise = plan_stations(plain_design(), azimuths=8).azimuth
    assert clockwise.tolist() == [0.0, *reversed(azimuth[1:].tolist())]


@pytest.mark.parametrize("count", [2, 3, 7, 20])
def test_as_many_heights_as_asked_from_end_to_end(count: int) -> None:
    design = stepped(25.0)
    whole, height = (
        plan_stations(design).height,
        plan_stations(design, heights=count).height,
    )
    assert height.size == np.unique(height).size == count
    assert (height[0], height[-1]) == (whole[0], whole[-1])


def test_heights_asked_for_are_twice_as_close_over_the_melting_zone() -> None:
    hole = Opening("tuyere", 0.0, 500.0, 100.0, 80.0)
    tall = Profile(np.array([0.0, 3000.0]), np.array([450.0, 450.0]))
    rod = RodErrors(height_step=10.0)
    design = plain_design(profile=tall, openings=(hole,), rod=rod)
    height = plan_stations(design, heights=40).height[::-1]
    zone = (height >= 500.0) & (height <= 500.0 + ASSUMED.close_rows_reach)
    inner = np.diff(height[zone]).mean()
    outer = np.diff(height[height > 500.0 + ASSUMED.close_rows_reach]).mean()
    # On whole steps of 10 mm the ratio of two means of about 45 and 90 mm.
    assert outer / inner == pytest.approx(2.0, abs=0.3)


def tall() -> Design:
    """Eight feet of wall in inches, tuyeres 26 in up: three inches to a rod's step."""
    wall = Profile(np.array([0.0, 96.0]) * 25.4, np.array([450.0, 450.0]))
    holes = tuple(
        Opening("tuyere", azimuth, 26.0 * 25.4, 127.0, 100.0)
        for azimuth in (0.0, 90.0, 180.0, 270.0)
    )
    return plain_design(
        profile=wall, openings=holes, length_unit="in", rod=RodErrors(height_step=76.2)
    )


@pytest.mark.parametrize("count", [6, 8, 10])
def test_rows_are_put_where_no_burnt_ring_lies_between_them(count: int) -> None:
    design = tall()
    plan = plan_stations(design, heights=count)
    assert plan.height.size == count
    # Where a crest may lie, 26.4 to 45.3 in up, rows are a foot apart or less.
    rows = plan.height[::-1] / 25.4
    met = (rows[1:] > 26.4) & (rows[:-1] < 45.3)
    assert np.diff(rows)[met].max() <= 12.0 + 1e-9
    assert rows_apart(plan.height, design) == ()
    assert rows_short(design, plan) is None


def test_too_few_rows_are_told_the_gap_and_how_many_close_it() -> None:
    design = tall()
    short = rows_short(design, plan_stations(design, heights=3))
    assert short is not None
    assert short.gap.high - short.gap.low > 304.8
    assert short.enough is not None
    enough = plan_stations(design, heights=short.enough)
    assert rows_apart(enough.height, design) == ()
    less = plan_stations(design, heights=short.enough - 1)
    assert rows_apart(less.height, design) != ()


def test_rows_just_a_foot_apart_leave_no_gap() -> None:
    feet = np.array([3.0, 12.0, 24.0, 36.0, 42.0, 54.0, 78.0, 93.0])
    assert rows_apart(feet * 25.4, tall()) == ()
    (gap,) = rows_apart(np.delete(feet, 2) * 25.4, tall())
    assert (gap.low, gap.high) == pytest.approx((12.0 * 25.4, 36.0 * 25.4))


def test_more_heights_than_the_rod_has_are_refused() -> None:
    with pytest.raises(InputError, match=r"60 heights are asked for, .* set at 19"):
        plan_stations(plain_design(), heights=60)


@pytest.mark.parametrize("step", [1200.0, 2000.0])
def test_steps_that_leave_no_two_heights_are_refused(step: float) -> None:
    with pytest.raises(InputError, match="less than two heights") as told:
        plan_stations(plain_design(rod=RodErrors(height_step=step)))
    assert "height_step" in str(told.value)


def test_a_profile_of_many_points_is_no_row_of_corners() -> None:
    points = np.linspace(0.0, 1500.0, 61)
    bent = Profile(points, 450.0 + 20.0 * np.sin(points / 300.0))
    design = plain_design(profile=bent, rod=RodErrors(height_step=25.0))
    plan = plan_stations(design)
    # Every height lies on a corner or halfway between two, and still there are rows.
    assert 10 <= plan.height.size <= 30


ADVICE = Advice(
    aim="volume",
    now=2.0,
    reading_sd=3.0,
    stations=(
        Station(30.0, 900.0, 1.5, is_repeat=False),
        Station(330.0, 1200.0, 1.4, is_repeat=True),
        Station(30.0, 1200.0, 1.3, is_repeat=False),
        Station(30.0, 900.0, 1.2, is_repeat=True),
    ),
)


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_a_second_climb_has_a_row_for_each_station(sense: str) -> None:
    design = plain_design(azimuth_sense=sense)
    plan = plan_next_stations(design, ADVICE)
    assert plan.second
    assert plan.count == plan.height.size == 4
    assert (plan.requested.sum(axis=1) == 1).all()
    for row, rank in enumerate(plan.rank):
        station = ADVICE.stations[rank - 1]
        (column,) = np.flatnonzero(plan.requested[row])
        assert plan.azimuth[column] == station.azimuth
        assert plan.height[row] == station.height
        assert plan.is_repeat[row] == station.is_repeat
    # Highest first, then the way the hands of a clock turn.
    assert plan.rank == ((3, 2, 1, 4) if sense == "clockwise" else (2, 3, 1, 4))


def test_no_station_that_helps_is_told_so() -> None:
    with pytest.raises(InputError, match="no further single reading"):
        plan_next_stations(plain_design(), replace(ADVICE, stations=()))


@pytest.mark.parametrize("step", [3.0, 5.0, 7.5, 15.0])
@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_rows_are_turned_against_each_other_on_the_rods_steps(
    step: float, sense: str
) -> None:
    rod = RodErrors(azimuth_step=step)
    plan = plan_stations(plain_design(rod=rod, azimuth_sense=sense))
    steps = plan.station_azimuth / step
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert (np.diff(plan.turned) != 0.0).all()
    onward = plan.station_azimuth if sense == "clockwise" else -plan.station_azimuth
    assert (np.diff(np.mod(onward, 360.0), axis=1) > 0.0).all()
    seen = np.unique(plan.station_azimuth)
    gaps = np.diff(np.append(seen, seen[0] + 360.0))
    assert gaps.max() <= 15.0
    assert seen.size <= 48


def test_columns_kept_are_the_same_on_every_row() -> None:
    plan = plan_stations(tapered_design(), columns=True)
    assert not plan.staggered
    assert plan.on_columns(tapered_design()) is plan


def test_no_turn_is_possible_where_columns_are_as_close_as_the_rods_steps() -> None:
    assert not plan_stations(plain_design(), azimuths=24).staggered


def test_turned_rows_keep_clear_of_openings_where_a_turn_allows() -> None:
    assert (plan_stations(tapered_design()).opening < 0).all()


@pytest.mark.parametrize("step", [25.0, 50.0, 75.0])
def test_rows_stand_under_and_over_every_tuyere(step: float) -> None:
    design = stepped(step)
    plan = plan_stations(design)
    for tuyere in design.tuyeres:
        for side in (-1.0, 1.0):
            edge = tuyere.height + side * 0.5 * tuyere.tall
            off = side * (plan.height - edge)
            row = int(np.argmin(np.where(off > 0.0, off, np.inf)))
            assert ASSUMED.margin - 1e-6 <= off[row] <= ASSUMED.margin + step
            away = np.abs(turn(plan.station_azimuth[row], tuyere.azimuth))
            assert away.min() <= 0.5 * design.rod.azimuth_step


def test_on_columns_the_stations_are_the_same() -> None:
    design = tapered_design()
    plan = plan_stations(design)
    wide = plan.on_columns(design)
    row, column = np.nonzero(plan.requested)
    at, place = np.nonzero(wide.requested)
    first = sorted(zip(row, plan.station_azimuth[row, column], strict=True))
    assert first == sorted(zip(at, wide.azimuth[place], strict=True))
