"""Heats until a limit is passed: closed form, against a library and heat by heat."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import fatiguelife, kstest

from geom.record.forecast.first_passage import (
    HORIZON,
    earliest_passage,
    first_passage_time,
)

DRAWS = 20_000


def drawn(room: float, rate: float, scatter: float, seed: int = 1) -> np.ndarray:
    chance = np.random.default_rng(seed).standard_normal(DRAWS)
    return first_passage_time(np.array(room), np.array(rate), scatter * chance)


@pytest.mark.parametrize(
    ("room", "rate", "scatter"), [(50, 8, 2), (20, 1, 1), (9, 9, 3)]
)
def test_it_is_the_life_of_birnbaum_and_saunders(room, rate, scatter):
    """As scipy has it: shape sd / sqrt(room * rate), scale room / rate."""
    life = fatiguelife(scatter / np.sqrt(room * rate), scale=room / rate)
    found = drawn(room, rate, scatter)
    assert kstest(found, life.cdf).pvalue > 0.01
    wrong = fatiguelife(1.1 * scatter / np.sqrt(room * rate), scale=room / rate)
    assert kstest(found, wrong.cdf).pvalue < 1e-3


@pytest.mark.parametrize(("room", "rate", "scatter"), [(50, 8, 1.5), (60, 9, 3)])
def test_walls_worn_heat_by_heat_pass_when_it_says(room, rate, scatter):
    """Within a heat wear goes on evenly; quantiles to a twentieth of a heat."""
    rng = np.random.default_rng(2)
    gone = rng.normal(rate, scatter, (DRAWS, 60)).cumsum(axis=1)
    first = np.argmax(gone >= room, axis=1)
    rows = np.arange(DRAWS)
    before = np.where(first > 0, gone[rows, first - 1], 0.0)
    walked = first + (room - before) / (gone[rows, first] - before)
    parts = [0.025, 0.5, 0.975]
    found = np.quantile(drawn(room, rate, scatter), parts)
    assert found == pytest.approx(np.quantile(walked, parts), abs=0.12)
    without = np.quantile(drawn(room, rate, 0.0), parts)
    assert without != pytest.approx(np.quantile(walked, parts), abs=0.5)


def test_what_does_not_scatter_takes_room_over_rate():
    heats = first_passage_time(
        np.array([30.0, 2.0]), np.array([8.0, 4.0]), np.array(0.0)
    )
    assert heats == pytest.approx([3.75, 0.5], rel=1e-12)


def test_a_limit_that_is_passed_is_passed_now():
    room, rate = np.array([0.0, -5.0, 0.0]), np.array([3.0, 3.0, -3.0])
    against = np.array([1.0, -4.0, -4.0])
    assert first_passage_time(room, rate, against).tolist() == [0.0, 0.0, 0.0]


def test_a_wall_that_does_not_wear_never_passes():
    room, rate = np.full(4, 10.0), np.array([0.0, -1.0, -1.0, 1e-3])
    scatter = np.array([0.0, 1.0, -9.0, 0.0])
    assert np.isinf(first_passage_time(room, rate, scatter)).all()
    # 10 mm at 1/50 mm a heat is 500 heats, at 1/200 it is past what is looked ahead
    slow = first_passage_time(np.array(10.0), np.array([0.02, 0.005]), np.array(0.0))
    assert slow == pytest.approx([500.0, np.inf], rel=1e-12)
    assert HORIZON == 999.0


def test_scatter_alone_may_pass_a_wall_that_does_not_wear():
    # sqrt(n) s z = room: n = (10 / 2) ** 2
    assert first_passage_time(np.array(10.0), np.array(0.0), np.array(2.0)) == 25.0


def test_the_first_panel_is_the_pieces():
    heats = np.array([[3.0, 9.0], [5.0, 4.0], [1.0, np.inf]])
    groups = np.array([[True, True, False], [False, False, True], [False] * 3])
    assert earliest_passage(heats, groups).tolist() == [
        [3.0, 4.0],
        [1.0, np.inf],
        [np.inf, np.inf],
    ]
