"""Sections against shapely's polygon areas and the mean of squares."""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.levels import level_heights, section_area, section_levels
from geom.frame import to_cartesian
from geom.surface import reconstruct
from tests.walls import plain_design, tapered_design, worn, worn_readings


def test_area_of_an_irregular_section_agrees_with_shapely() -> None:
    from shapely import Polygon

    azimuth = np.arange(3600) * 0.1
    radius = 450.0 + worn(azimuth, np.full(azimuth.size, 700.0))
    area, sd = section_area(radius, np.zeros((3600, 3600)))
    outline = to_cartesian(azimuth, radius, 0.0, "clockwise")[:, :2]
    # a chord falls short of its arc by a share of about (0.1 deg)**2 / 6 = 5e-7, the
    # ripples of the wall add to it
    assert area == pytest.approx(Polygon(outline).area, rel=5e-6)
    assert sd == 0.0


def test_mean_radius_would_understate_the_area_of_a_lobed_section() -> None:
    azimuth = np.arange(120) * 3.0
    radius = 450.0 + 60.0 * np.cos(np.deg2rad(2.0 * azimuth))
    area, _ = section_area(radius, np.zeros((120, 120)))
    exact = np.pi * (450.0**2 + 60.0**2 / 2.0)
    assert area == pytest.approx(exact, rel=1e-12)
    assert area > np.pi * radius.mean() ** 2


def test_sd_of_an_area_agrees_with_draws() -> None:
    azimuth = np.arange(60) * 6.0
    gap = np.deg2rad(azimuth[:, None] - azimuth[None, :])
    covariance = 36.0 * np.exp(-np.abs(np.sin(gap / 2.0)) * 3.0)
    radius = 450.0 + 10.0 * np.cos(np.deg2rad(azimuth))
    rng = np.random.default_rng(5)
    drawn = rng.multivariate_normal(radius, covariance, 20000)
    areas = np.pi / 60.0 * np.sum(drawn**2, axis=1)
    area, sd = section_area(radius, covariance)
    assert area == pytest.approx(areas.mean(), abs=4.0 * sd / np.sqrt(20000))
    assert sd == pytest.approx(areas.std(), rel=0.02)


def test_levels_stand_at_every_corner_and_never_further_than_250_mm() -> None:
    heights = level_heights(tapered_design(), 100.0, 1400.0)
    assert {100.0, 600.0, 1400.0} <= set(heights)
    assert np.diff(heights).max() <= 250.0


def test_a_step_of_the_profile_has_a_section_below_and_one_above() -> None:
    design = tapered_design()
    surface = reconstruct(worn_readings(design, azimuths=8, heights=6), design)
    at_step = [v for v in section_levels(surface, 100.0, 1400.0) if v.height == 600.0]
    assert [v.side for v in at_step] == ["below", "above"]
    assert [v.design_diameter for v in at_step] == pytest.approx([860.0, 900.0])


def test_area_change_and_diameter_tell_the_same_story() -> None:
    design = plain_design()
    surface = reconstruct(worn_readings(design), design)
    level = max(
        section_levels(surface, 100.0, 1400.0),
        key=lambda one: one.area_diameter.value,
    )
    share = (level.area_diameter.value / level.design_diameter) ** 2 - 1.0
    assert level.area_change_percent.value == pytest.approx(100.0 * share, rel=1e-9)
    truth = worn(np.arange(360.0), np.full(360, level.height))
    true_diameter = 2.0 * np.sqrt(np.mean((450.0 + truth) ** 2))
    assert level.area_diameter.low95 < true_diameter < level.area_diameter.high95
