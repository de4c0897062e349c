"""Centre and out-of-roundness of sections: planted, and against a fitted circle."""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.findings import Level
from geom.compare.levels import is_read_round, section_form, section_levels
from geom.datum import fit_circle
from geom.design import Design
from geom.frame import Sense, to_cartesian
from geom.surface import reconstruct
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations

AZIMUTH = np.arange(120) * 3.0
RADIUS = 450.0
EXACT = np.zeros((120, 120))


def ring(
    azimuth: Float, x: float, y: float, *, lobes: int = 0, height: float = 0.0
) -> Float:
    """Radii of a circle about (x, y), azimuth counterclockwise, with lobes on it."""
    a = np.deg2rad(azimuth)
    along, across = x * np.cos(a) + y * np.sin(a), x * np.sin(a) - y * np.cos(a)
    return np.asarray(
        along + np.sqrt(RADIUS**2 - across**2) + height * np.cos(lobes * a)
    )


def neighbours(sd: float, reach: float) -> Float:
    gap = np.deg2rad(AZIMUTH[:, None] - AZIMUTH[None, :])
    return np.asarray(sd**2 * np.exp(-((2.0 * np.sin(0.5 * gap)) ** 2) / reach**2))


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_a_circle_off_the_axis_is_round_and_its_centre_is_found(sense: Sense) -> None:
    mirrored = -AZIMUTH if sense == "clockwise" else AZIMUTH
    radius = ring(mirrored, 12.0, -7.0)
    x, y, deviation = section_form(AZIMUTH, radius, EXACT, sense)
    assert (x.value, y.value) == pytest.approx((12.0, -7.0), abs=1e-6)
    assert deviation.value == pytest.approx(0.0, abs=1e-6)
    assert (x.sd, y.sd, deviation.sd) == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)


@pytest.mark.parametrize("lobes", [2, 3, 5])
def test_lobes_are_told_peak_to_valley_and_move_no_centre(lobes: int) -> None:
    radius = ring(AZIMUTH, 0.0, 0.0, lobes=lobes, height=6.0)
    x, y, deviation = section_form(AZIMUTH, radius, EXACT, "counterclockwise")
    assert (x.value, y.value) == pytest.approx((0.0, 0.0), abs=1e-6)
    # at 3 degrees the valleys of five lobes are missed by at most 0.1 mm
    assert deviation.value == pytest.approx(12.0, abs=0.11)


def test_the_first_harmonic_is_the_centre_to_second_order() -> None:
    """The closed linear solution and the fitted circle agree within e**2 / R."""
    radius = ring(AZIMUTH, 9.0, 4.0, lobes=3, height=5.0)
    a = np.deg2rad(AZIMUTH)
    harmonic = 2.0 * np.mean(radius * [np.cos(a), np.sin(a)], axis=1)
    points = to_cartesian(AZIMUTH, radius, 0.0, "counterclockwise")
    circle = fit_circle(points[:, :2])
    x, y, _ = section_form(AZIMUTH, radius, EXACT, "counterclockwise")
    assert (x.value, y.value) == pytest.approx(tuple(circle.centre))
    assert harmonic == pytest.approx(list(circle.centre), abs=97.0 / RADIUS)


def test_the_centre_s_sd_is_that_of_circles_fitted_to_draws() -> None:
    covariance = neighbours(3.0, 0.8)
    radius = ring(AZIMUTH, 10.0, 0.0, lobes=2, height=4.0)
    drawn = np.random.default_rng(3).multivariate_normal(radius, covariance, 2000)
    ray = to_cartesian(AZIMUTH, 1.0, 0.0, "counterclockwise")[:, :2]
    fits = [fit_circle(ray * draw[:, None]) for draw in drawn]
    x, y, deviation = section_form(AZIMUTH, radius, covariance, "counterclockwise")
    # 2000 draws give a standard deviation to 1.6 %, at three times that
    assert x.sd == pytest.approx(np.std([c.centre[0] for c in fits]), rel=0.05)
    assert y.sd == pytest.approx(np.std([c.centre[1] for c in fits]), rel=0.05)
    spans = [circle.roundness for circle in fits]
    # both are means of 2000 draws: four standard errors of their difference
    chance = 4.0 * np.std(spans) * np.sqrt(2.0 / 2000.0)
    assert deviation.value == pytest.approx(np.mean(spans), abs=chance)
    assert deviation.sd == pytest.approx(np.std(spans), rel=0.07)


def oval_wall(design: Design, x: float, y: float, oval: float) -> tuple[Level, ...]:
    azimuth, height = stations(16, 8, 100.0, 1400.0)
    radius = ring(-azimuth, x, y, lobes=2, height=oval)
    error = np.random.default_rng(11).normal(0.0, 1.0, azimuth.size)
    readings = rod_readings(azimuth, height, radius + error, sd=1.0)
    return section_levels(reconstruct(readings, design), 100.0, 1400.0)


def test_a_planted_offset_and_oval_are_recovered_from_readings() -> None:
    for level in oval_wall(plain_design(), 14.0, 6.0, 8.0):
        x, y = level.centre_offset_x, level.centre_offset_y
        assert x is not None
        assert y is not None
        assert x.value == pytest.approx(14.0, abs=2.0)
        assert y.value == pytest.approx(6.0, abs=2.0)
        assert level.out_of_roundness is not None
        # what lies between stations and is not known adds to peak and valley
        assert 15.0 < level.out_of_roundness.value < 24.0


def test_intervals_hold_centre_and_roundness_as_often_as_they_say() -> None:
    """Sections drawn from their own law: 95 % of 300 within four standard errors."""
    rng = np.random.default_rng(17)
    covariance = neighbours(2.0, 0.5) + 0.25 * np.eye(120)
    truth = ring(AZIMUTH, 8.0, -3.0, lobes=3, height=5.0)
    points = to_cartesian(AZIMUTH, truth, 0.0, "counterclockwise")
    circle = fit_circle(points[:, :2])
    spread = neighbours(6.0, 0.7) + 1e-6 * np.eye(120)
    gain = spread @ np.linalg.inv(spread + covariance)
    left = spread - gain @ spread
    held = np.zeros(3)
    for _ in range(300):
        wall = truth + rng.multivariate_normal(np.zeros(120), spread)
        read = wall + rng.multivariate_normal(np.zeros(120), covariance)
        points = to_cartesian(AZIMUTH, wall, 0.0, "counterclockwise")
        circle = fit_circle(points[:, :2])
        best = truth + gain @ (read - truth)
        found = section_form(AZIMUTH, best, left, "counterclockwise")
        true = (*circle.centre, circle.roundness)
        held += [q.low95 < t < q.high95 for q, t in zip(found, true, strict=True)]
    assert held / 300 == pytest.approx(0.95, abs=0.05)
    half = [0.5 * (q.high95 - q.low95) for q in found]
    assert all(np.isfinite(half))


def test_a_section_with_a_side_unread_is_left_out() -> None:
    design = plain_design()
    azimuth, height = stations(16, 8, 100.0, 1400.0)
    near = (azimuth < 200.0) | (height > 900.0)
    readings = rod_readings(
        azimuth[near], height[near], np.full(near.sum(), 455.0), sd=1.0
    )
    levels = section_levels(reconstruct(readings, design), 100.0, 1400.0)
    assert levels[0].height > 800.0
    assert levels[-1].out_of_roundness is not None


def test_a_quarter_turn_without_readings_is_the_widest_gap_allowed() -> None:
    level = np.full(4, 500.0)
    assert is_read_round(np.array([0.0, 90.0, 180.0, 270.0]), level, 650.0)
    assert not is_read_round(np.array([0.0, 89.0, 180.0, 270.0]), level, 650.0)
    assert not is_read_round(np.array([0.0, 90.0, 180.0, 270.0]), level, 651.0)
