"""The surface from readings: symmetries, limits, honest ignorance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.errors import TooFewReadings
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from geom.surface.radial import AtStep, InOpenings, RowsApart
from tests.walls import (
    plain_design,
    rod_readings,
    stations,
    tapered_design,
    worn,
    worn_readings,
)

DESIGN = plain_design()


def reordered(readings: RodReadings, order: np.ndarray) -> RodReadings:
    fields = ("azimuth", "height", "value", "sd", "step")
    taken = {name: getattr(readings, name)[order] for name in fields}
    return replace(readings, **taken)


def rough(readings: RodReadings) -> RadialSurface:
    return reconstruct(readings, DESIGN, spacing=50.0, columns=36)


def test_wall_is_found_within_its_own_uncertainty() -> None:
    surface = reconstruct(worn_readings(DESIGN), DESIGN, spacing=20.0, columns=120)
    rows = surface.grid.surveyed_rows
    height, azimuth = np.meshgrid(surface.height, surface.azimuth, indexing="ij")
    off = (surface.cutback - worn(azimuth, height))[rows]
    sd = surface.radius_sd[rows]
    assert np.mean(np.abs(off) < 1.96 * sd) > 0.88
    assert np.sqrt(np.mean(off**2)) < 3.0


def test_order_of_readings_does_not_matter() -> None:
    readings = worn_readings(DESIGN, azimuths=8, heights=6)
    order = np.random.default_rng(0).permutation(len(readings))
    one, other = rough(readings), rough(reordered(readings, order))
    np.testing.assert_allclose(one.radius, other.radius, atol=1e-3)
    np.testing.assert_allclose(one.radius_sd, other.radius_sd, atol=1e-3)


def test_turning_the_azimuth_origin_turns_the_surface_and_nothing_else() -> None:
    readings = worn_readings(DESIGN, azimuths=8, heights=6)
    turned = replace(readings, azimuth=(readings.azimuth + 90.0) % 360.0)
    one, other = rough(readings), rough(turned)
    np.testing.assert_allclose(np.roll(one.radius, 9, axis=1), other.radius, atol=1e-3)


def test_nothing_is_said_outside_the_surveyed_heights() -> None:
    surface = rough(worn_readings(DESIGN))
    outside = (surface.height < 100.0) | (surface.height > 1400.0)
    assert outside.any()
    assert np.isnan(surface.radius[outside]).all()
    assert np.isnan(surface.radius_sd[outside]).all()
    assert np.isfinite(surface.radius[~outside]).all()


def test_repeated_readings_at_one_station_are_averaged_and_tighten_it() -> None:
    readings = worn_readings(DESIGN, azimuths=8, heights=6)
    again = readings.joined(readings).joined(readings)
    place = readings.height[:1], readings.azimuth[:1]
    once = rough(readings).posterior.joint(*place)[1]
    thrice = rough(again).posterior.joint(*place)[1]
    assert thrice[0, 0] < 0.6 * once[0, 0]


def test_diameters_cannot_see_odd_harmonics_and_the_sd_says_so() -> None:
    azimuth, height = stations(16, 10, 100.0, 1400.0)
    error = np.random.default_rng(1).normal(0.0, 1.0, azimuth.size)
    radius = 450.0 + worn(azimuth, height)
    far = 450.0 + worn(azimuth + 180.0, height)
    across = rod_readings(azimuth, height, radius + far + error, "diameter", sd=1.0)
    along = rod_readings(azimuth, height, radius + error, "radius", sd=1.0)
    blind, sighted = rough(across), rough(along)
    rows = blind.grid.surveyed_rows
    assert np.mean(blind.radius_sd[rows]) > 2.0 * np.mean(sighted.radius_sd[rows])
    mean, covariance = blind.posterior.joint(np.array([700.0]), np.array([60.0, 240.0]))
    odd_sd = np.sqrt(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1])
    even_sd = np.sqrt(covariance.sum())
    assert even_sd < 4.0 < odd_sd
    assert mean.sum() == pytest.approx(
        float(worn(np.array([60.0, 240.0]), 700.0).sum()), abs=8
    )


def test_cutback_and_radius_readings_of_one_wall_agree() -> None:
    azimuth, height = stations(8, 6, 100.0, 1400.0)
    depth = worn(azimuth, height)
    one = rough(rod_readings(azimuth, height, 450.0 + depth, sd=2.0))
    other = rough(rod_readings(azimuth, height, depth, "cutback", sd=2.0))
    np.testing.assert_allclose(one.radius, other.radius, atol=1e-6)


@pytest.mark.parametrize(
    ("azimuths", "heights", "words"),
    [
        (2, 5, "at least 3 different azimuths are needed, there are 2"),
        (12, 1, "at least 2 different heights are needed, there is 1"),
        (3, 2, "at least 8 readings are needed, there are 6"),
    ],
)
def test_too_few_readings_are_refused_and_the_message_says_how_many(
    azimuths: int, heights: int, words: str
) -> None:
    azimuth, height = stations(azimuths, heights, 300.0, 900.0)
    with pytest.raises(TooFewReadings, match=words) as caught:
        reconstruct(rod_readings(azimuth, height, np.full(azimuth.size, 450.0)), DESIGN)
    assert caught.value.file == "rod.csv"
    assert "Read more stations" in str(caught.value)


def test_readings_at_a_step_are_taken_above_it_and_a_warning_says_so() -> None:
    from tests.walls import tapered_design

    design = tapered_design(openings=())
    azimuth, height = stations(6, 4, 150.0, 1050.0)
    height = np.where(height == 450.0, 600.0, height)
    value = design.profile.radius_at(height) + 5.0
    readings = rod_readings(azimuth, height, value)
    readings = replace(readings, in_openings=("rod.csv, row 9",))
    surface = reconstruct(readings, design, spacing=50.0, columns=36)
    assert surface.diagnostics == (AtStep(6), InOpenings(("rod.csv, row 9",)))
    np.testing.assert_allclose(surface.cutback[surface.grid.surveyed], 5.0, atol=1.0)


def test_dataset_is_labelled_in_mm_and_round_trips_the_arrays() -> None:
    surface = rough(worn_readings(DESIGN, azimuths=8, heights=6))
    told = surface.to_xarray()
    assert dict(told.sizes) == {"height": surface.height.size, "azimuth": 36}
    assert told.radius.attrs["units"] == "mm"
    np.testing.assert_array_equal(told.radius.values, surface.radius)
    drawn = told.radius - told.design_radius
    np.testing.assert_allclose(drawn.values, told.cutback.values)
    assert told.surveyed.values.sum() == surface.grid.surveyed.sum()


def test_of_very_many_readings_the_mean_is_exact_and_the_sd_never_too_small() -> None:
    from geom.surface.gp import conditional as module

    readings = worn_readings(DESIGN, azimuths=14, heights=20)
    whole = rough(readings).posterior.best
    height, azimuth = np.linspace(110.0, 1390.0, 40), np.arange(0.0, 360.0, 15.0)
    mean, sd = whole.on_grid(height, azimuth)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_MANY", 100)
        patch.setattr(module, "_NEAR", 120)
        near_mean, near_sd = whole.on_grid(height, azimuth)
    np.testing.assert_allclose(near_mean, mean, atol=1e-9)
    assert (near_sd >= sd - 1e-9).all()
    assert np.mean(near_sd / sd) < 1.05
    assert not np.array_equal(near_sd, sd)


@pytest.mark.parametrize(
    ("heights", "told"),
    [
        ([100.0, 300.0, 600.0, 850.0, 1100.0, 1400.0], False),
        ([100.0, 300.0, 600.0, 950.0, 1100.0, 1400.0], True),
        # far from where the melting zone lies
        ([100.0, 420.0, 600.0, 800.0, 1000.0, 1400.0], False),
    ],
)
def test_rows_between_which_a_burnt_ring_may_lie_are_named(heights, told) -> None:
    design = tapered_design()
    azimuth, height = (
        part.ravel() for part in np.meshgrid(np.arange(0.0, 360.0, 30.0), heights)
    )
    readings = rod_readings(azimuth, height, design.profile.radius_at(height))
    surface = reconstruct(readings, design, spacing=50.0, columns=36)
    said = [d for d in surface.diagnostics if isinstance(d, RowsApart)]
    assert said == ([RowsApart(600.0, 950.0)] if told else [])
