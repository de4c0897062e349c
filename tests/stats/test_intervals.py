"""How much more, how many times: against closed forms and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm, t

from geom.quantity import K95, Quantity
from geom.stats.intervals import (
    mover_difference,
    mover_ratio,
    normal_equivalent_sd,
)


def test_a_difference_of_normals_is_that_of_the_root_of_squares():
    made = mover_difference(Quantity.normal(10.0, 3.0), Quantity.normal(8.0, 4.0))
    told = Quantity.normal(-2.0, 5.0)
    assert made.to_dict() == pytest.approx(told.to_dict())


def test_a_lopsided_interval_goes_over_to_the_side_it_belongs_to():
    # What may be much more than told may make the difference much less.
    wide_above = Quantity(10.0, 2.0, 9.0, 18.0)
    made = mover_difference(wide_above, Quantity.normal(10.0, 0.0))
    assert (made.low95, made.high95) == pytest.approx((-8.0, 1.0))


def fieller(one: Quantity, other: Quantity) -> np.ndarray:
    """Roots of (other - r one)^2 = K95^2 (sd_other^2 + r^2 sd_one^2); Fieller 1954."""
    a = one.value**2 - (K95 * one.sd) ** 2
    b = -2.0 * one.value * other.value
    c = other.value**2 - (K95 * other.sd) ** 2
    return np.sort(np.roots([a, b, c]))


@pytest.mark.parametrize(
    ("one", "other"), [((10, 1), (8, 1)), ((5, 2), (20, 1)), ((3, 0.2), (-1, 1))]
)
def test_a_ratio_of_normals_has_the_interval_of_fieller(one, other):
    pair = Quantity.normal(*one), Quantity.normal(*other)
    made = mover_ratio(*pair)
    assert [made.low95, made.high95] == pytest.approx(fieller(*pair))
    assert made.value == pytest.approx(other[0] / one[0])
    # The symmetric interval of the first order is another one.
    plain = Quantity.normal(made.value, made.sd)
    assert made.high95 - plain.high95 + made.low95 - plain.low95 != pytest.approx(0.0)


def test_a_ratio_below_nothing_is_the_mirror_of_one_above():
    one, other = Quantity(5.0, 1.0, 4.0, 7.0), Quantity(3.0, 1.0, 2.0, 3.5)
    mirrored = Quantity(-3.0, 1.0, -3.5, -2.0)
    made, there = mover_ratio(one, other), mover_ratio(one, mirrored)
    assert (there.low95, there.high95) == pytest.approx((-made.high95, -made.low95))


def test_no_ratio_to_what_may_be_nothing():
    assert mover_ratio(Quantity.normal(1.0, 0.6), Quantity.normal(2.0, 0.1)) is None
    assert mover_ratio(Quantity.normal(-3.0, 0.1), Quantity.normal(2.0, 0.1)) is None
    assert mover_ratio(Quantity.normal(1.0, 0.4), Quantity.normal(2.0, 0.1)) is not None


def test_intervals_hold_the_truth_95_times_in_100():
    chance = np.random.default_rng(3)
    draws = 4000
    truth = np.array([4.0, 3.0])
    sd = np.array([0.8, 0.5])
    seen = truth + sd * chance.standard_normal((draws, 2))
    held = {"difference": 0, "ratio": 0, "too narrow": 0}
    for row in seen:
        one, other = (Quantity.normal(v, s) for v, s in zip(row, sd, strict=True))
        apart, times = mover_difference(one, other), mover_ratio(one, other)
        held["difference"] += apart.low95 <= -1.0 <= apart.high95
        held["ratio"] += times is not None and times.low95 <= 0.75 <= times.high95
        # Spoiled: the second's doubt alone.
        held["too narrow"] += abs(other.value / one.value - 0.75) < (
            K95 * sd[1] / one.value
        )
    share = {name: count / draws for name, count in held.items()}
    # Four standard errors of a share of 0.95 among 4000.
    assert share["difference"] == pytest.approx(0.95, abs=0.014)
    assert share["ratio"] == pytest.approx(0.95, abs=0.014)
    assert share["too narrow"] < 0.9


def test_a_widened_sd_calls_as_students_law_does():
    value = np.array([0.0, 1.0, 3.0, -6.0, 40.0])
    freedom = np.array([4.0, 2.0, 5.0, 9.0, 1e6])
    sd = normal_equivalent_sd(value, np.ones(5), freedom)
    there = np.abs(value) > 0
    mine = norm.sf(np.abs(value[there]) / sd[there])
    assert mine == pytest.approx(t.sf(np.abs(value[there]), freedom[there]), rel=1e-6)
    assert (sd[there][:-1] > 1.0).all()
    assert np.isfinite(sd).all()
