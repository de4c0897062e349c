"""What is called at each station, quick and full, and what is wanting before."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from geom import assess, reconstruct
from geom.compare.findings import ACTIONS, NO_CALL
from geom.desk.actions import (
    find_station,
    full_actions,
    missing_readings,
    planned_stations,
    quick_actions,
    station_board,
)
from geom.desk.quick_fit import FixedHyperparameters, quick_fit
from geom.desk.session import without
from tests.walls import (
    plain_design,
    rod_readings,
    stations,
    tapered_design,
    worn_readings,
)

DESIGN = tapered_design()
PLAN = planned_stations(DESIGN, Path("x.toml"))


@pytest.fixture(scope="module")
def survey():
    readings = worn_readings(DESIGN, azimuths=12, heights=8)
    surface = reconstruct(readings, DESIGN)
    return readings, surface, station_board(DESIGN, PLAN, readings)


def test_the_full_calls_are_those_of_the_report(survey):
    readings, surface, board = survey
    actions = full_actions(readings, surface, board)
    action = assess(surface, DESIGN).maps.action
    grid, count = surface.grid, 0
    for row, height in enumerate(board.height):
        for column, azimuth in enumerate(board.azimuth):
            if actions.station_action[row, column] == NO_CALL:
                continue
            inside = np.abs(grid.height - height) <= 0.5 * grid.row_height + 1e-6
            cells = action[inside & grid.surveyed_rows, round(azimuth)]
            assert actions.station_action[row, column] in cells
            count += 1
    assert count > 80
    assert {
        ACTIONS[code] for code in np.unique(actions.station_action) if code >= 0
    } >= {
        "leave",
        "brick",
    }


def test_quick_calls_are_the_full_ones_when_sizes_and_lengths_are_the_same(survey):
    readings, surface, board = survey
    full = full_actions(readings, surface, board)
    wall = quick_fit(readings, FixedHyperparameters.of(surface.posterior), DESIGN)
    quick = quick_actions(readings, wall, board, DESIGN)
    known = full.station_action >= 0
    assert np.array_equal(known, quick.station_action >= 0)
    # Only the net is coarser: the edge of a zone may pass a station.
    assert np.mean(full.station_action[known] == quick.station_action[known]) > 0.95
    assert quick.station_cutback[known] == pytest.approx(
        full.station_cutback[known], abs=0.1
    )


def test_a_deep_reading_is_called_brick_at_once_and_a_sound_one_left(survey):
    readings, surface, board = survey
    fixed = FixedHyperparameters.of(surface.posterior)
    low = quick_actions(readings, quick_fit(readings, fixed, DESIGN), board, DESIGN)
    row, column = find_station(board, 180.0, float(np.unique(readings.height)[1]))
    assert low.station(row, column)[0] in ("leave", "daub")
    height = float(board.height[row])
    deep = DESIGN.profile.radius_at(height) + 70.0
    more = rod_readings(np.full(3, 180.0), np.full(3, height), np.full(3, deep), sd=1.0)
    both = readings.joined(more)
    high = quick_actions(both, quick_fit(both, fixed, DESIGN), board, DESIGN)
    action, cutback = high.station(row, column)
    assert action == "brick"
    assert cutback.value > 50.0
    assert cutback.low95 < cutback.value < cutback.high95


def test_nothing_is_called_beyond_the_readings_or_in_openings(survey):
    readings, surface, board = survey
    low = without(readings, (readings.height > 700.0).tolist())
    wall = quick_fit(low, FixedHyperparameters.of(surface.posterior), DESIGN)
    actions = quick_actions(low, wall, board, DESIGN)
    beyond = board.height > low.height.max()
    assert beyond.any()
    assert (actions.station_action[beyond] == NO_CALL).all()
    assert np.isnan(actions.station_cutback[beyond]).all()
    assert (~board.requested).any()
    assert (actions.station_action[~board.requested] == NO_CALL).all()
    assert (actions.station_action[~beyond] >= 0).any()


def test_what_is_wanting_is_said():
    azimuth, height = stations(2, 3, 200.0, 800.0)
    few = rod_readings(azimuth, height, np.full(6, 455.0))
    assert missing_readings(few) == "2 more readings and 1 more azimuth"
    level = rod_readings(np.arange(9) * 40.0, np.full(9, 500.0), np.full(9, 455.0))
    assert missing_readings(level) == "1 more height"
    assert missing_readings(worn_readings(DESIGN, azimuths=4, heights=2)) == ""


def test_the_board_is_the_sheets_with_what_was_read_beside_it():
    design = plain_design()
    plan = planned_stations(design, Path("x.toml"))
    assert station_board(design, plan, None) is plan
    one = rod_readings(np.array([15.0]), plan.height[[2]], np.array([455.0]))
    beside = station_board(design, plan, one)
    assert beside.azimuth.tolist() == plan.azimuth.tolist()
    odd = rod_readings(np.array([22.0]), plan.height[[2]], np.array([455.0]))
    more = station_board(design, plan, odd)
    assert 22.0 in more.azimuth.tolist()
    assert more.requested[:, more.azimuth.tolist().index(22.0)].all()
    assert beside.requested[2, 1]
    assert beside.height.tolist() == plan.height.tolist()
    assert find_station(beside, 374.9, float(plan.height[2]) + 4.0) == (2, 1)
    assert find_station(beside, 20.0, float(plan.height[2])) is None


def test_a_sheet_with_its_own_azimuths_has_a_board_of_them():
    design = plain_design()
    plan = planned_stations(design, Path("x.toml"))
    azimuth, height = stations(20, 8, 75.0, 1400.0)
    read = rod_readings(azimuth, height, np.full(160, 455.0))
    board = station_board(design, plan, read)
    assert board.azimuth.tolist() == [18.0 * k for k in range(20)]
    assert set(np.unique(height).tolist()) <= set(board.height.tolist())
    assert (np.diff(board.height) < 0.0).all()
