"""Wear rates and remaining life against worked values of pressure-equipment practice.

API 510 and API 570 give, as quoted in published training notes (a question bank on API
570, section 7.1; notes on corrosion rate):

    long-term rate = (initial - actual) / years,
    short-term rate = (previous - actual) / years,
    remaining life = (actual - required) / the greater of the two,
    interval of inspection at most half of the remaining life.

Worked values as printed there, in the units printed (inches or mm, and years).  None is
of a furnace lining: it is the arithmetic of the rule that is checked.  Values that
printed answers warn of (traps) are the spoiled twins here.

The tables of NASA-HDBK-8739.19-5 (calibration intervals) are left out: the method there
fits a quadratic drift through zero to differences of unequal intervals and stops where
a band about that curve leaves the limits.  Ours is a constant rate, the greater of two,
so that the same numbers are not to be expected.

ISO/TS 28037:2010, p. 13, reads a straight line backwards: at which x is y reached, and
how well is that known.  A forecast without scatter from heat to heat is that; values as
printed there and carried by the test suite of GTC.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from geom.record.assumptions import ASSUMED
from geom.record.forecast.first_passage import first_passage_time


def life(actual: float, required: float, rate: float) -> float:
    """Remaining life by the closed form of forecasts, nothing scattering."""
    room = np.array(actual - required)
    return float(first_passage_time(room, np.array(rate), np.array(0.0)))


def test_the_greater_rate_governs_and_the_lesser_is_a_trap() -> None:
    # 0.210 in left, 0.150 in required, 0.010 short- and 0.005 long-term: 6 years
    assert life(0.210, 0.150, max(0.005, 0.010)) == pytest.approx(6.0, rel=1e-12)
    assert life(0.210, 0.150, 0.005) == pytest.approx(12.0, rel=1e-12)


def test_remaining_life_and_the_interval_of_inspection() -> None:
    # 0.240 in left, 0.192 in required, 0.008 in a year: 6 years, look within 3
    assert life(0.240, 0.192, 0.008) == pytest.approx(6.0, rel=1e-12)
    assert ASSUMED.survey_again * life(0.240, 0.192, 0.008) == pytest.approx(
        3.0, rel=1e-12
    )


def test_remaining_life_in_months_by_a_short_term_rate() -> None:
    # 7.8 mm to 3.24 mm in 15 years: 0.304 mm a year; 0.37 mm required, 0.34 mm a year
    # governs: 8.441 years, 101.3 months
    long_term = (7.8 - 3.24) / 15.0
    found = life(3.24, 0.37, max(long_term, 0.34))
    assert found == pytest.approx(8.441, abs=5e-4)
    assert 12.0 * found == pytest.approx(101.3, abs=0.05)
    assert life(3.24, 0.37, long_term) == pytest.approx(9.441, abs=5e-4)  # too long


@pytest.mark.parametrize(
    ("actual", "required", "rate", "printed"),
    [(10.0, 7.0, 0.5, 6.0), (12.0, 9.0, 0.3, 10.0), (8.0, 6.0, 0.25, 8.0)],
)
def test_simple_set(
    actual: float, required: float, rate: float, printed: float
) -> None:
    assert life(actual, required, rate) == pytest.approx(printed, rel=1e-12)
    spoiled = life(actual, 0.0, rate)  # all of it, not what is over
    assert spoiled != pytest.approx(printed, rel=0.5)


def test_a_wall_past_its_limit_has_no_life_and_one_that_does_not_wear_no_end() -> None:
    assert life(5.0, 5.0, 1.0) == 0.0
    assert life(4.0, 5.0, -1.0) == 0.0
    assert life(6.0, 5.0, 0.0) == math.inf
    assert life(6.0, 5.0, 0.5) == pytest.approx(2.0, rel=1e-12)


def test_a_forecast_without_scatter_is_a_straight_line_read_backwards() -> None:
    # y = 1.866667 (0.4654747) + 1.757143 (0.1195229) x, covariance -0.050; y = 10.5
    # (0.5) is reached at x = 4.913 (0.322)
    intercept, slope, both = 1.866667, 1.757143, -0.050
    table = np.array([[0.4654747**2, both], [both, 0.1195229**2]])
    rng = np.random.default_rng(28037)
    a, b = rng.multivariate_normal([intercept, slope], table, 200_000).T
    limit = rng.normal(10.5, 0.5, a.size)
    found = first_passage_time(limit - a, b, np.array(0.0))
    # the printed sd is linearised, and the draws are of a ratio: 3 %
    assert np.median(found) == pytest.approx(4.913, abs=0.005)
    assert np.std(found) == pytest.approx(0.322, rel=0.03)
    alone = first_passage_time(limit - a, rng.permutation(b), np.array(0.0))
    assert np.std(alone) != pytest.approx(0.322, rel=0.2)  # the covariance left out
