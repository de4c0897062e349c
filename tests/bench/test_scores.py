import numpy as np
import pytest
from furnaces import draw_design
from linings import cut_into_cells
from scores import (
    Answer,
    calibration_error,
    coverage,
    expected_volume,
    interval_score,
    overlap,
    probability_over,
    reliability_bins,
    rmse,
    score,
)

CELLS = cut_into_cells(
    draw_design(np.random.default_rng(0)), 254.0, 900.0, turn_step=10, height_step=50
)


def mask(text: str) -> np.ndarray:
    return np.array([c == "1" for c in text])


def test_rmse_of_three_and_four_is_the_root_of_12_5():
    found = rmse(np.array([3.0, 4.0]), np.zeros(2))
    assert found == pytest.approx(np.sqrt(12.5), rel=1e-12)


@pytest.mark.parametrize(
    ("said", "true", "expected"),
    [
        ("1100", "1010", 1 / 3),
        ("1111", "1111", 1.0),
        ("1100", "0011", 0.0),
        ("0000", "0000", 1.0),
        ("0001", "0000", 0.0),
    ],
)
def test_overlap_is_the_common_part_over_the_joined(said, true, expected):
    assert overlap(mask(said), mask(true)) == pytest.approx(expected, rel=1e-12)


def test_coverage_counts_errors_up_to_1_96_sd():
    errors = np.array([0.0, 1.95, -1.95, 1.97, -5.0])
    assert coverage(np.zeros(5), np.ones(5), errors) == pytest.approx(0.6)
    assert coverage(np.zeros(5), 3 * np.ones(5), errors) == pytest.approx(1.0)


def test_coverage_of_normal_draws_is_95_percent():
    draws = np.random.default_rng(0).standard_normal(200_000)
    # standard error 0.0005
    found = coverage(np.zeros(draws.size), np.ones(draws.size), draws)
    assert found == pytest.approx(0.95, abs=0.002)


def test_interval_score_is_width_plus_forty_times_the_miss():
    inside = interval_score(np.zeros(1), np.ones(1), np.array([1.0]))
    outside = interval_score(np.zeros(1), np.ones(1), np.array([-2.959963984540054]))
    assert inside == pytest.approx(2 * 1.959963984540054)
    assert outside == pytest.approx(2 * 1.959963984540054 + 40.0)


def test_calibration_error_by_hand():
    stated = np.array([0.95] * 10 + [0.25] * 4)
    happened = np.array([True] * 9 + [False] + [True] + [False] * 3)
    # |9.5 - 9| in the last bin, |1 - 1| in the third, over 14 points
    bins = reliability_bins(stated, happened)
    assert calibration_error(bins) == pytest.approx(0.5 / 14)


def test_calibration_sums_add_up_over_linings():
    stated = np.array([0.95] * 10 + [0.25] * 4)
    happened = np.array([True] * 9 + [False] + [True] + [False] * 3)
    parts = reliability_bins(stated[:6], happened[:6])
    parts = parts + reliability_bins(stated[6:], happened[6:])
    assert np.allclose(parts, reliability_bins(stated, happened))


def test_a_certain_wrong_call_costs_its_whole_share():
    bins = reliability_bins(np.array([1.0, 0.0]), np.array([False, False]))
    assert calibration_error(bins) == pytest.approx(0.5)


def test_probability_over_the_threshold_is_the_normal_one():
    found = probability_over(31.75, np.array([31.75, 31.75 + 1.6448536]), np.ones(2))
    assert found == pytest.approx([0.5, 0.95], abs=1e-7)


def test_expected_volume_of_a_sure_wall_is_the_plain_one():
    mean = np.linspace(-10.0, 30.0, CELLS.azimuth.size)
    found = expected_volume(CELLS, mean, np.full(mean.size, 1e-6))
    assert found == pytest.approx(CELLS.volume(mean), rel=1e-9)


def test_expected_volume_at_the_drawing_is_the_closed_form():
    sd = 4.0
    none = np.zeros(CELLS.azimuth.size)
    # E[max(X,0)] = sd/sqrt(2 pi), E[max(X,0)^2] = sd^2/2
    depth = sd / np.sqrt(2 * np.pi)
    by_hand = np.sum(CELLS.weight * (CELLS.design_radius * depth + sd**2 / 4))
    found = expected_volume(CELLS, none, none + sd)
    assert found == pytest.approx(by_hand, rel=1e-12)
    assert CELLS.volume(none) == 0.0


def test_a_perfect_answer_scores_perfectly():
    true = np.where(CELLS.azimuth < 180.0, 40.0, 5.0)
    found = score(Answer(true), CELLS, true, CELLS.volume(true), 31.75)
    assert found["rmse"] == 0.0
    assert found["overlap"] == 1.0
    assert found["volume_plain"] == pytest.approx(0.0, abs=1e-9)
    assert "coverage" not in found
    assert "bins" not in found


def test_a_wall_reported_ten_percent_too_deep_is_scored_in_percent():
    true = np.full(CELLS.azimuth.size, 20.0)
    found = score(Answer(1.1 * true), CELLS, true, CELLS.volume(true), 31.75)
    rd = CELLS.design_radius[0]
    by_hand = 100 * ((22 * (rd + 11)) / (20 * (rd + 10)) - 1)
    assert found["volume_plain"] == pytest.approx(by_hand, rel=1e-9)
    assert found["bias"] == pytest.approx(2.0)


def test_a_stated_probability_makes_the_call_instead_of_the_mean():
    true = np.full(CELLS.azimuth.size, 40.0)
    low, sure = np.full(true.size, 30.0), np.full(true.size, 0.6)
    called = score(Answer(low, p_brick=sure), CELLS, true, 1.0, 31.75)
    not_called = score(Answer(low), CELLS, true, 1.0, 31.75)
    assert (called["overlap"], not_called["overlap"]) == (1.0, 0.0)
    assert called["brier"] == pytest.approx(0.16)


def test_an_own_volume_and_its_interval_are_scored_as_stated():
    true = np.full(CELLS.azimuth.size, 20.0)
    answer = Answer(true, volume=103.0, volume_low=101.0, volume_high=105.0)
    found = score(answer, CELLS, true, 100.0, 31.75)
    assert found["volume_stated"] == pytest.approx(3.0)
    assert found["volume_covered"] is False
    assert found["volume_half_width"] == pytest.approx(2.0)


def test_points_in_openings_and_points_without_an_answer_are_not_scored():
    true = np.full(CELLS.azimuth.size, 20.0)
    words = np.where(CELLS.clear, 20.0, 500.0)
    assert score(Answer(words), CELLS, true, 1.0, 31.75)["rmse"] == 0.0
    first = np.flatnonzero(CELLS.clear)[0]
    words[first] = np.nan
    found = score(Answer(words), CELLS, true, 1.0, 31.75)
    assert found["rmse"] == 0.0
    assert found["answered"] == pytest.approx(1 - 1 / CELLS.clear.sum())
