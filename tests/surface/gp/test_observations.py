"""Errors of readings: their covariance, and what they do to a reading foretold."""

from __future__ import annotations

import numpy as np
import pytest

from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.observations import Noise, Source, observe
from geom.surface.gp.prior import default_prior
from geom.surface.rods.errors import rod_noise
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations, worn

NONE = np.zeros((3, 0))
#: Two sources of three readings: one by themselves, one shared by the first and last.
APART = Source("apart", "A", "mm", 2.0, np.array([4.0, 1.0, 9.0]), NONE)
SHARED = Source(
    "shared", "A", "mm", 1.0, np.zeros(3), np.array([[2.0], [0.0], [-3.0]]), 0.5
)
NOISE = Noise((APART, SHARED))
#: diag(4, 1, 9) + b b' with b = (2, 0, -3), by hand.
BY_HAND = np.array([[8.0, 0.0, -6.0], [0.0, 1.0, 0.0], [-6.0, 0.0, 18.0]])


def test_shared_errors_correlate_readings() -> None:
    np.testing.assert_allclose(NOISE.matrix, BY_HAND)
    np.testing.assert_allclose(NOISE.variance, np.diag(BY_HAND))


def test_a_sum_of_readings_errs_by_what_they_share() -> None:
    gain = np.array([0.5, -1.0, 2.0])
    total = sum(source.variance_of(gain) for source in NOISE.sources)
    assert total == pytest.approx(float(gain @ BY_HAND @ gain))


def test_the_slope_by_a_learned_size_is_that_of_the_covariance() -> None:
    pull = np.array([[1.0, 0.2, -0.4], [0.2, 0.5, 0.1], [-0.4, 0.1, 2.0]])

    def value(log: float) -> float:
        scaled = NOISE.with_learned(np.array([np.exp(log)]))
        return float(np.sum(pull * scaled.matrix))

    step = 1e-5
    slope = (value(step) - value(-step)) / (2.0 * step)
    assert SHARED.slope(pull) == pytest.approx(slope, rel=1e-6)


def test_a_reading_foretold_has_its_own_error_on_top_of_the_walls() -> None:
    design = plain_design()
    azimuth, height = stations(8, 5, 100.0, 1400.0)
    sheet = rod_readings(azimuth, height, 450.0 + worn(azimuth, height))
    prior = default_prior(450.0, 100.0, 1400.0)
    noise = rod_noise(sheet, design, pseudo=np.zeros(len(sheet), dtype=bool))
    gp = ConditionalGP(Covariance(prior, prior.median), noise, observe(sheet, design))
    asked = rod_readings(azimuth[:3] + 20.0, height[:3], np.full(3, 460.0))
    again = observe(asked, design)
    _, wall = gp.joint(again.places)
    mean, variance = gp.predict(again, NOISE)
    np.testing.assert_allclose(variance, np.diag(wall) + np.diag(BY_HAND))
    np.testing.assert_allclose(mean, gp.joint(again.places)[0])


def test_a_rod_off_the_axis_is_off_alike_all_round() -> None:
    """e cos(azimuth - direction): half a turn on it is as much the other way."""
    azimuth: Float = np.array([0.0, 90.0, 180.0, 270.0])
    sheet = rod_readings(azimuth, np.full(4, 500.0), np.full(4, 450.0))
    noise = rod_noise(sheet, plain_design(), pseudo=np.zeros(4, dtype=bool))
    (centring,) = (s for s in noise.sources if s.name == "rod centring")
    table = Noise((centring,)).matrix / centring.sd**2
    wave = np.cos(np.deg2rad(azimuth[:, None] - azimuth))
    np.testing.assert_allclose(table, wave, atol=1e-12)
