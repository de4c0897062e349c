"""Walls known from diameters alone: what one end may have more than the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from geom.compare import assess
from geom.compare.findings import Findings
from geom.design import DatumBand
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.prior import Component, LogNormal, Prior
from geom.surface.reconstruct import expected_prior
from geom.surface.rods.diameters import with_unseen_half
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations

RADIUS = 450.0
#: Cut-back of the burnt ring, mm: deepest, its height, and its half-width to 1/e.
DEEP, MIDDLE, WIDE = 30.0, 700.0, 220.0
LITRE = 1e6


def ring(height: Float) -> Float:
    return np.asarray(DEEP * np.exp(-(((height - MIDDLE) / WIDE) ** 2)))


def one_sided(azimuth: Float, height: Float) -> Float:
    """All on the side of 40 degrees, none across: twice the ring's at its crest."""
    facing = np.maximum(np.cos(np.deg2rad(azimuth - 40.0)), 0.0)
    return np.asarray(2.0 * ring(height) * facing)


def diameters(
    cutback: Callable[[Float, Float], Float], *, noise: float = 2.0, seed: int = 5
) -> RodReadings:
    """Twelve rods by ten heights would read, each across the axis once."""
    azimuth, height = stations(12, 10, 60.0, 1440.0)
    half = azimuth < 180.0
    azimuth, height = azimuth[half], height[half]
    rng = np.random.default_rng(seed)
    value = 2.0 * RADIUS + cutback(azimuth, height) + cutback(azimuth + 180.0, height)
    value = value + rng.normal(0.0, noise, value.size)
    return rod_readings(azimuth, height, value.round(1), "diameter")


def even(azimuth: Float, height: Float) -> Float:
    return np.asarray(ring(height) + 0.0 * azimuth)


def sound(azimuth: Float, height: Float) -> Float:
    return np.asarray(0.0 * azimuth + 0.0 * height)


WALLS: dict[str, Callable[[Float, Float], Float]] = {
    "ring": even,
    "one-sided": one_sided,
    "sound": sound,
}


@cache
def wall_of(family: str) -> RadialSurface:
    readings = diameters(WALLS[family])
    return reconstruct(readings, plain_design(), spacing=40.0, columns=60)


@cache
def findings_of(family: str) -> Findings:
    return assess(wall_of(family), plain_design())


def true_rebuild(cutback: Callable[[Float, Float], Float]) -> float:
    """Litres between the lowest and the highest reading; midpoint rule."""
    azimuth, height = (
        np.arange(0.5, 360.0)[None, :],
        np.arange(61.0, 1440.0, 2.0)[:, None],
    )
    deep = np.maximum(cutback(azimuth, height), 0.0) + 0.0 * azimuth
    section = deep * (RADIUS + 0.5 * deep)
    return float(section.sum() * np.deg2rad(1.0) * 2.0 / LITRE)


@pytest.mark.parametrize("family", list(WALLS))
def test_what_diameters_cannot_see_is_not_rebuild(family: str) -> None:
    true = true_rebuild(WALLS[family])
    found = findings_of(family).volume.rebuild.times(1.0 / LITRE)
    assert found.low95 - 1e-9 <= true <= found.high95
    # a diameter tells the sum of both ends: to some 2 mm / sqrt(60) all over
    assert found.value == pytest.approx(true, abs=1.5)
    assert found.high95 - found.low95 < 8.0
    # the sound wall above and below the ring is known to be sound on either side
    surface = wall_of(family)
    far = np.abs(surface.grid.height - MIDDLE) > 2.5 * WIDE
    assert np.nanmax(surface.radius_sd[far]) < 3.5


def test_the_deepest_may_be_on_one_side_or_on_both() -> None:
    """Both walls give the same diameters, so the same deepest has to hold both."""
    deepest = findings_of("ring").deepest.cutback
    assert deepest.low95 < DEEP + 1.0
    assert deepest.high95 > 1.8 * DEEP
    # ... and hardly more than all of it on one side
    assert deepest.high95 < 2.5 * DEEP


def test_the_mean_of_two_ends_is_known_and_their_difference_is_not() -> None:
    surface = wall_of("one-sided")
    height, azimuth = np.array([MIDDLE]), np.array([40.0, 220.0])
    mean, covariance = surface.posterior.joint(height, azimuth)
    both = np.sqrt(np.array([0.5, 0.5]) @ covariance @ np.array([0.5, 0.5]))
    apart = np.sqrt(np.array([0.5, -0.5]) @ covariance @ np.array([0.5, -0.5]))
    assert mean.mean() == pytest.approx(DEEP, abs=3.0 * both)
    assert both < 3.0
    # a share as likely anywhere between none and all of it
    assert apart == pytest.approx(DEEP / np.sqrt(3.0), rel=0.2)


def places() -> Points2D:
    rng = np.random.default_rng(0)
    return Points2D(rng.uniform(0.0, 360.0, 30), rng.uniform(0.0, 1400.0, 30))


def turned(points: Points2D) -> Points2D:
    return Points2D(points.azimuth + 180.0, points.height)


@pytest.mark.parametrize(("parity", "sign"), [("even", 1.0), ("odd", -1.0)])
def test_a_part_of_a_parity_is_what_is_left_half_a_turn_on(
    parity: str, sign: float
) -> None:
    part = Component(
        "local",
        LogNormal(7.0, 0.0),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=LogNormal(600.0, 0.0),
        length_scale_height=LogNormal(200.0, 0.0),
        scaled_by_height=False,
    )
    own = replace(part, parity=parity)  # type: ignore[arg-type]
    whole, of_parity = (
        Covariance(Prior((p,), RADIUS), np.zeros(0)) for p in (part, own)
    )
    here, there = places(), turned(places())
    expected = 0.5 * (whole.between(here, here) + sign * whole.between(there, here))
    table = of_parity.between(here, here)
    np.testing.assert_allclose(table, expected, atol=1e-9)
    np.testing.assert_allclose(of_parity.between(there, here), sign * table, atol=1e-9)
    grid = of_parity.variance(here.height, here.azimuth)
    np.testing.assert_allclose(np.diag(grid), np.diag(table), rtol=1e-9)


def test_radii_are_modelled_as_ever() -> None:
    design = plain_design(datum_bands=(DatumBand(1300.0, 1450.0),))
    azimuth, height = stations(8, 6, 60.0, 1240.0)
    readings = rod_readings(azimuth, height, RADIUS + ring(height))
    prior = expected_prior(readings, design)
    assert with_unseen_half(prior, readings, design) is prior


def test_half_a_diameter_counts_at_either_end() -> None:
    count = wall_of("ring").readings_in_cells
    assert count.sum() == 60.0
    assert set(np.unique(count)) == {0.0, 0.5}
