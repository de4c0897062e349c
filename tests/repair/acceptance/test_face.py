"""Mean and share in tolerance of a face, and how far readings reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.design import DatumBand
from geom.repair.acceptance.conformity import conformance_probability
from geom.repair.acceptance.judge import (
    decide_face,
    distance_to_reading,
    face_state,
    readings_to_decide,
)
from geom.repair.assumptions import ASSUMED
from geom.surface import reconstruct
from tests.repair.acceptance.test_material import even_wall
from tests.walls import plain_design, rod_readings, stations

TOLERANCE = 6.0


def everywhere(surface):
    return np.broadcast_to(surface.grid.surveyed, surface.grid.shape)


@pytest.mark.parametrize(("cutback", "sd"), [(0.0, 3.0), (5.0, 2.0), (9.0, 1.5)])
def test_a_wall_that_moves_as_one_has_the_chance_of_one_deviation(cutback, sd):
    surface, nodes = even_wall(cutback, sd)
    state = face_state(surface, nodes, everywhere(surface), TOLERANCE)
    expected = float(conformance_probability(cutback, sd, -TOLERANCE, TOLERANCE))
    # Four standard errors of 4,000 draws.
    error = 4.0 * np.sqrt(expected * (1.0 - expected) / ASSUMED.face_draws) + 1e-3
    assert state.chance == pytest.approx(expected, abs=error)
    assert state.share.value == pytest.approx(expected, abs=error)
    assert state.mean.value == pytest.approx(cutback)
    assert state.mean.sd == pytest.approx(sd)


def patchy(share: float):
    """A wall known exactly: a share of its columns 10 mm out, the rest on it."""
    surface, nodes = even_wall(0.0, 0.0)
    out = np.arange(surface.grid.azimuth.size) < share * surface.grid.azimuth.size
    radius = surface.radius + np.where(out[None, :], 10.0, 0.0)
    return replace(surface, radius=radius), nodes


def test_the_share_of_a_wall_known_exactly_is_counted():
    surface, nodes = patchy(0.25)
    state = face_state(surface, nodes, everywhere(surface), TOLERANCE)
    assert state.share.value == pytest.approx(0.75)
    assert state.share.sd == pytest.approx(0.0, abs=1e-12)
    assert state.mean.value == pytest.approx(2.5)


def test_a_mean_in_tolerance_does_not_hide_a_hollow():
    surface, nodes = patchy(0.25)
    state = face_state(surface, nodes, everywhere(surface), TOLERANCE)
    assert abs(state.mean.value) < TOLERANCE
    assert state.chance == 0.0
    assert decide_face(state, 1.0) == "reject"
    small, nodes = patchy(1.0 / 18.0)
    state = face_state(small, nodes, everywhere(small), TOLERANCE)
    assert decide_face(state, 1.0) == "accept"


@pytest.mark.parametrize(
    ("out", "measured", "decision"),
    [
        (0.0, 0.95, "accept"),
        (0.0, 0.85, "cannot tell"),
        (1.0, 0.05, "cannot tell"),
        (1.0, 0.15, "reject"),
        (0.25, 0.5, "reject"),
        (1.0 / 18.0, 0.92, "accept"),
        (1.0 / 18.0, 0.89, "cannot tell"),
    ],
)
def test_what_was_measured_stands_for_the_whole_once_enough_was(
    out, measured, decision
):
    surface, nodes = patchy(out)
    state = face_state(surface, nodes, everywhere(surface), TOLERANCE)
    assert decide_face(state, measured) == decision


@pytest.mark.parametrize(("cutback", "sd", "count"), [(2.0, 2.6, 3), (12.0, 4.5, 4)])
def test_readings_to_decide_are_those_that_bring_the_mean_clear_of_the_limit(
    cutback, sd, count
):
    """Of a wall that moves as one: |T - m| is 1.645 sd sqrt(count / (count + more))."""
    surface, nodes = even_wall(cutback, sd)
    state = face_state(surface, nodes, everywhere(surface), TOLERANCE)
    assert decide_face(state, 1.0) == "cannot tell"
    wanted = count * ((1.645 * sd / (TOLERANCE - cutback)) ** 2 - 1.0)
    # draws tell the limit to a few hundredths of sd
    found = readings_to_decide(surface, nodes, everywhere(surface), TOLERANCE, count)
    assert found == pytest.approx(np.ceil(wanted), abs=1)


def test_on_the_limit_no_number_of_readings_decides():
    surface, nodes = even_wall(TOLERANCE, 1.0)
    face = everywhere(surface)
    assert readings_to_decide(surface, nodes, face, TOLERANCE, 4) is None


def read_wall(**changes):
    design = plain_design(**changes)
    azimuth, height = stations(6, 4, 200.0, 800.0)
    readings = rod_readings(azimuth, height, np.full(24, 450.0), sd=1.0)
    return reconstruct(readings, design, spacing=50.0, columns=36)


def test_distance_to_the_nearest_reading_is_across_the_wall():
    surface = read_wall()
    away = distance_to_reading(surface)
    top = int(np.argmin(np.abs(surface.height - 1475.0)))
    rise = surface.height[top] - 800.0
    assert away[top, 0] == pytest.approx(rise)
    # Half way between two azimuths 60 degrees apart: a chord of 30 degrees.
    chord = 2.0 * 450.0 * np.sin(np.deg2rad(15.0))
    assert away[top, 3] == pytest.approx(np.hypot(chord, rise))
    # Across azimuth 0 as anywhere.
    np.testing.assert_allclose(away[:, -1], away[:, 1])


def test_a_datum_band_is_not_a_reading():
    plain = distance_to_reading(read_wall())
    banded = distance_to_reading(read_wall(datum_bands=(DatumBand(1200.0, 1400.0),)))
    assert banded.max() == pytest.approx(plain.max(), rel=0.05)
    assert banded.max() > 600.0


def test_both_ends_of_a_diameter_were_read():
    design = plain_design()
    azimuth, height = stations(6, 4, 200.0, 800.0)
    half = azimuth < 180.0
    readings = rod_readings(
        azimuth[half], height[half], np.full(12, 900.0), kind="diameter", sd=1.0
    )
    surface = reconstruct(readings, design, spacing=50.0, columns=36)
    np.testing.assert_allclose(
        distance_to_reading(surface), distance_to_reading(read_wall()), atol=1e-6
    )
