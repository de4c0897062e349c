"""A number and its uncertainty travel as one."""

from __future__ import annotations

import numpy as np
import pytest

from geom.quantity import K95, Quantity


def test_the_normal_interval_is_that_of_the_tables():
    # 1.95996 from any table of the normal distribution (97.5 % point).
    q = Quantity.normal(100.0, 2.0)
    assert q.low95 == pytest.approx(100.0 - 3.91993, abs=1e-5)
    assert q.high95 == pytest.approx(100.0 + 3.91993, abs=1e-5)
    assert pytest.approx(1.959964, abs=1e-6) == K95


def test_samples_give_mean_sd_and_central_interval():
    samples = np.arange(1001.0)
    q = Quantity.of_samples(samples)
    assert q.value == pytest.approx(500.0)
    # Of 0 ... n-1 the variance is n (n + 1) / 12.
    assert q.sd == pytest.approx(np.sqrt(1001 * 1002 / 12))
    assert (q.low95, q.high95) == pytest.approx((25.0, 975.0))


def test_a_better_mean_shifts_the_interval_with_it():
    samples = np.random.default_rng(5).normal(10.0, 1.0, 500)
    plain, better = (
        Quantity.of_samples(samples),
        Quantity.of_samples(samples, value=11.0),
    )
    shift = 11.0 - plain.value
    assert better.value == 11.0
    assert better.sd == plain.sd
    assert better.low95 == pytest.approx(plain.low95 + shift)
    assert better.high95 == pytest.approx(plain.high95 + shift)


def test_a_change_of_unit_scales_every_part():
    assert Quantity(1.0, 2.0, -3.0, 5.0).times(10.0) == Quantity(
        10.0, 20.0, -30.0, 50.0
    )


def test_through_a_rising_function_the_ends_are_carried():
    q = Quantity(3.0, 0.1, 2.8, 3.2).through(lambda x: x * x, slope=6.0)
    assert (q.value, q.low95, q.high95) == pytest.approx((9.0, 7.84, 10.24))
    assert q.sd == pytest.approx(0.6)


def test_a_floor_cuts_the_interval_and_not_the_sd():
    q = Quantity(1.0, 2.0, -3.0, 5.0).not_below(0.0)
    assert q == Quantity(1.0, 2.0, 0.0, 5.0)
    assert Quantity(-1.0, 2.0, -5.0, -0.5).not_below(0.0) == Quantity(
        0.0, 2.0, 0.0, 0.0
    )


def test_the_document_has_four_plain_numbers():
    made = Quantity(*np.array([1.0, 2.0, -3.0, 5.0])).to_dict()
    assert made == {"value": 1.0, "sd": 2.0, "low95": -3.0, "high95": 5.0}
    assert all(type(part) is float for part in made.values())


def test_few_make_the_interval_students():
    made = Quantity.student(1.0, 2.0, 4)
    # 2.776 from any table of Student's distribution, 4 degrees of freedom.
    assert made.high95 == pytest.approx(1.0 + 2.0 * 2.776, abs=1e-3)
    assert made.sd == 2.0


def test_without_degrees_of_freedom_there_is_no_interval():
    made = Quantity.student(1.0, 2.0, 0)
    assert np.isnan([made.low95, made.high95]).all()


def test_a_negated_quantity_has_its_interval_turned_round():
    made = -Quantity(1.0, 0.5, 0.0, 3.0)
    assert made == Quantity(-1.0, 0.5, -3.0, 0.0)
    assert -made == Quantity(1.0, 0.5, 0.0, 3.0)
