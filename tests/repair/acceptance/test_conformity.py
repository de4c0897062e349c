"""Conformance probability and decisions, against closed forms and published examples.

The examples are those of JCGM 106:2012 (The role of measurement uncertainty in
conformity assessment), clause 7, with the values printed there to two figures.  Inputs
and values are from memory, except the resistors' inputs, which were read in a stored
script that works the example out anew; every value agrees with the arithmetic.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from geom.quantity import Quantity
from geom.repair.acceptance.conformity import (
    conformance_probability,
    decide,
    judge,
)
from geom.repair.assumptions import ASSUMED

INF = np.inf

#: Best estimate, standard uncertainty, tolerance limits, printed probability.
PUBLISHED = {
    "7.3 Zener diode, V, at most -5.40": (-5.47, 0.05, -INF, -5.40, 0.92),
    "7.3 container, kPa, at least 490": (509.7, 8.6, 490.0, INF, 0.99),
    "7.4 gear oil, mm2/s, 12.5 to 16.3": (13.6, 1.8, 12.5, 16.3, 0.66),
    "9.5 resistors made, ohm, 1499.8 to 1500.2": (1500.0, 0.12, 1499.8, 1500.2, 0.90),
}


@pytest.mark.parametrize("case", PUBLISHED)
def test_published_conformance_probabilities(case):
    mean, sd, low, high, printed = PUBLISHED[case]
    # Printed to two figures; the container's z is rounded to 2.3 before it is used.
    assert conformance_probability(mean, sd, low, high) == pytest.approx(
        printed, abs=0.0051
    )


@pytest.mark.parametrize("case", PUBLISHED)
def test_published_values_tell_a_spoiled_uncertainty(case):
    mean, sd, low, high, printed = PUBLISHED[case]
    # The container is so far inside that only a larger uncertainty shows.
    assert abs(conformance_probability(mean, 1.5 * sd, low, high) - printed) > 0.02


def test_both_limits_count():
    mean, sd, _, high, printed = PUBLISHED["7.4 gear oil, mm2/s, 12.5 to 16.3"]
    only_upper = conformance_probability(mean, sd, -INF, high)
    assert only_upper == pytest.approx(0.93, abs=0.005)
    assert abs(only_upper - printed) > 0.2


@pytest.mark.parametrize(
    ("within", "chance"),
    [(1.0, 0.682689), (1.959964, 0.95), (2.0, 0.954500), (3.0, 0.997300)],
)
def test_central_chances_are_those_of_the_normal_tables(within, chance):
    assert conformance_probability(0.0, 1.0, -within, within) == pytest.approx(
        chance, abs=1e-6
    )
    assert conformance_probability(
        7.0, 2.0, 7.0 - 2.0 * within, 7.0 + 2.0 * within
    ) == (pytest.approx(chance, abs=1e-6))


@pytest.mark.parametrize("mean", [-9.0, 0.0, 2.5, 6.0, 14.0])
@pytest.mark.parametrize("sd", [0.5, 3.0, 20.0])
def test_chance_is_the_integral_of_the_density(mean, sd):
    area, _ = quad(lambda x: norm.pdf(x, mean, sd), -6.0, 6.0, epsabs=1e-12)
    assert conformance_probability(mean, sd, -6.0, 6.0) == pytest.approx(area, abs=1e-9)


def test_what_is_known_exactly_is_in_or_out_and_the_limit_is_in():
    chance = conformance_probability(np.array([-6.0, 0.0, 6.0, 6.1]), 0.0, -6.0, 6.0)
    assert chance.tolist() == [1.0, 1.0, 1.0, 0.0]
    assert np.isnan(conformance_probability(np.nan, 1.0, -6.0, 6.0))


def test_decisions_change_at_the_stated_chances():
    told = [decide(chance) for chance in (1.0, 0.95, 0.949, 0.051, 0.05, 0.0)]
    assert told == [
        "accept",
        "accept",
        "cannot tell",
        "cannot tell",
        "reject",
        "reject",
    ]


def test_a_poor_measurement_is_never_accepted():
    tolerance = 6.0
    most = tolerance / 1.959964  # JCGM 106:2012: P = 0.95 dead on the drawing
    assert judge(Quantity.normal(0.0, 0.999 * most), tolerance).decision == "accept"
    assert judge(Quantity.normal(0.0, 1.001 * most), tolerance).decision != "accept"


def by_guard_band(mean: float, sd: float, tolerance: float) -> str:
    """JCGM 106:2012, 8.3: where the mean lies, a guard band in or out of tolerance."""
    band = norm.ppf(ASSUMED.sure) * sd
    if abs(mean) <= tolerance - band:
        return "accept"
    return "reject" if abs(mean) >= tolerance + band else "cannot tell"


def test_the_chance_is_the_stricter_rule_to_accept_by():
    tolerance = 6.0
    for mean in np.linspace(-15.0, 15.0, 121):
        for sd in (0.2, 1.0, 2.0, 3.0, 5.0):
            chance = judge(Quantity.normal(mean, sd), tolerance).decision
            band = by_guard_band(mean, sd, tolerance)
            if chance == "accept":
                assert band == "accept"
            if band == "reject":
                assert chance == "reject"
            if sd <= 0.2 * tolerance:
                # Both ends cannot matter at once: the rules are the same.
                assert chance == band
    # Here they part: a mean on the drawing, the tolerance 1.8 sd wide.
    assert by_guard_band(0.0, tolerance / 1.8, tolerance) == "accept"
    assert judge(Quantity.normal(0.0, tolerance / 1.8), tolerance).chance < ASSUMED.sure


def accepted_at_the_limit(told_sd: float) -> float:
    """Share accepted of what lies exactly on the limit, measured with sd 1."""
    error = np.random.default_rng(3).normal(0.0, 1.0, 20_000)
    chance = conformance_probability(6.0 + error, told_sd, -6.0, 6.0)
    return float(np.mean(chance >= ASSUMED.sure))


def test_what_lies_on_the_limit_is_accepted_once_in_twenty():
    # 20,000 draws: standard error 0.0015.
    assert accepted_at_the_limit(1.0) == pytest.approx(0.05, abs=0.006)


def test_an_uncertainty_told_too_small_accepts_far_more():
    assert accepted_at_the_limit(0.5) > 0.15
