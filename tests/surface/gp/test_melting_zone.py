"""The hump of wear above the tuyeres: found where it is, not made where it is not."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Design, Opening
from geom.readings import RodReadings
from geom.surface import reconstruct
from geom.surface.gp.prior import find_melting_zone, hump
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations

TUYERES = tuple(Opening("tuyere", a, 450.0, 120.0, 90.0) for a in (0.0, 120.0, 240.0))
DESIGN = plain_design(openings=TUYERES)
CENTRE, BELOW, ABOVE, DEPTH = 720.0, 120.0, 250.0, 40.0


def wear(height: Float) -> Float:
    return np.asarray(DEPTH * hump(height, CENTRE, BELOW, ABOVE))


def sheet(
    heights: int, *, azimuths: int = 12, noise: float = 2.0, seed: int = 1
) -> RodReadings:
    azimuth, height = stations(azimuths, heights, 150.0, 1400.0)
    error = np.random.default_rng(seed).normal(0.0, noise, azimuth.size)
    return rod_readings(azimuth, height, 450.0 + wear(height) + error, sd=noise)


def test_a_planted_hump_is_found() -> None:
    found = find_melting_zone(sheet(14), DESIGN)
    assert found.centre == pytest.approx(CENTRE, abs=15.0)
    assert found.below == pytest.approx(BELOW, rel=0.2)
    assert found.above == pytest.approx(ABOVE, rel=0.2)
    assert found.depth == pytest.approx(DEPTH, rel=0.1)


@pytest.mark.parametrize("heights", [6, 14])
def test_what_is_said_of_its_place_is_true(heights: int) -> None:
    off = []
    for seed in range(20):
        found = find_melting_zone(sheet(heights, seed=seed), DESIGN)
        off.append(abs(found.centre - CENTRE) / found.centre_sd)
    # it may say too little of its certainty, readings of one ring being alike, not more
    assert np.quantile(off, 0.95) < 1.96


def test_more_rows_tell_its_place_better() -> None:
    few, many = (find_melting_zone(sheet(n), DESIGN) for n in (5, 25))
    assert many.centre_sd < few.centre_sd


def test_without_tuyeres_it_is_found_all_the_same() -> None:
    found = find_melting_zone(sheet(14), plain_design())
    assert found.centre == pytest.approx(CENTRE, abs=15.0)


def test_a_slip_of_a_foot_does_not_bend_it() -> None:
    good = sheet(14)
    value = good.value.copy()
    value[30] += 305.0
    bad = rod_readings(good.azimuth, good.height, value, sd=2.0)
    clean, slipped = (find_melting_zone(r, DESIGN) for r in (good, bad))
    assert slipped.centre == pytest.approx(clean.centre, abs=5.0)
    assert slipped.depth == pytest.approx(clean.depth, abs=1.5)


def test_the_ways_it_may_change_are_slopes_of_the_hump() -> None:
    found = find_melting_zone(sheet(14), DESIGN)
    height = np.linspace(160.0, 1390.0, 60)
    ways = [way.at_heights(height) for way in found.changes(150.0, 1400.0)]
    step = 1e-3
    told = (found.centre, np.log(found.below), np.log(found.above))
    for k, sd in enumerate((found.centre_sd, found.below_sd, found.above_sd)):
        ahead, behind = (
            [value + sign * step * sd * (k == n) for n, value in enumerate(told)]
            for sign in (1.0, -1.0)
        )
        slope = (shape(height, *ahead) - shape(height, *behind)) / (2.0 * step)
        # patterns are straight lines 5 mm long
        np.testing.assert_allclose(ways[k], found.depth * slope, atol=0.15)
        assert np.abs(ways[k]).max() > 0.3


def shape(height: Float, centre: float, below: float, above: float) -> Float:
    return hump(height, centre, np.exp(below), np.exp(above))


@pytest.mark.parametrize("design", [DESIGN, plain_design()], ids=["tuyeres", "none"])
def test_a_sound_wall_is_not_given_a_hump_between_its_rows(design: Design) -> None:
    azimuth, height = stations(8, 5, 150.0, 1400.0)
    error = np.random.default_rng(4).normal(0.0, 1.5, azimuth.size)
    readings = rod_readings(azimuth, height, 450.0 + error, sd=1.5)
    surface = reconstruct(readings, design, spacing=25.0, columns=36)
    assert np.nanmax(np.abs(surface.cutback)) < 4.0


def test_between_few_rows_the_hump_is_drawn_and_its_interval_holds_it() -> None:
    readings = sheet(6, azimuths=8)
    surface = reconstruct(readings, DESIGN, spacing=25.0, columns=36)
    rows = surface.grid.surveyed_rows
    true = wear(surface.height[rows])[:, None]
    off = np.abs(surface.cutback[rows] - true)
    assert np.sqrt(np.mean(off**2)) < 3.0
    assert np.mean(off < 1.96 * surface.radius_sd[rows]) > 0.9
