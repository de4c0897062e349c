"""The pose of a cloud found again, on dirty bands and on worn walls; and made exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.datum import (
    BandBlocks,
    FoundPose,
    Pose,
    find_pose,
    refine_pose,
)
from geom.errors import InputError
from geom.units import Bool, Float
from tests.datum.bands import BAND, BANDED, some_pose, spoiled, tall_design


@pytest.mark.parametrize("seed", range(5))
def test_the_pose_is_found_on_a_dirty_half_hidden_band(seed):
    nominal, true = some_pose(100 + seed)
    found = find_pose(spoiled(true, seed, 100_000), BANDED, nominal)
    error = found.pose.parameters - true.parameters
    assert np.hypot(*error[:2]) < 1.0
    assert np.abs(error[2:]).max() < 0.05
    assert found.on_bands
    assert abs(found.radius_bias) < 0.2
    # What is as known stays as known.
    assert found.pose.azimuth_of_x == nominal.azimuth_of_x
    assert found.pose.z_offset == nominal.z_offset
    # Three fifths of the band are seen, four fifths of that is wall.
    assert 15_000 < found.n_points < 25_000


def test_its_covariance_is_honest():
    total = 0.0
    for seed in range(60):
        nominal, true = some_pose(200 + seed)
        found = find_pose(spoiled(true, seed, 15_000), BANDED, nominal).pose
        error = found.parameters - true.parameters
        total += error @ np.linalg.solve(found.covariance, error)
    # Four parameters, 60 seeds: chi-square of 240 degrees of freedom, whose 0.1 % and
    # 99.9 % points are 177.9 and 313.4.
    assert 177.9 < total < 313.4
    # Standard uncertainties half or twice as large would be seen.
    assert total / 4.0 < 177.9
    assert total * 4.0 > 313.4


def test_the_same_points_give_the_same_pose_in_any_order():
    nominal, true = some_pose(7)
    points = spoiled(true, 7, 40_000)
    found = find_pose(points, BANDED, nominal).pose
    again = find_pose(points, BANDED, nominal).pose
    assert again.parameters.tolist() == found.parameters.tolist()
    turned = find_pose(points[::-1], BANDED, nominal).pose
    np.testing.assert_allclose(turned.parameters[:2], found.parameters[:2], atol=0.05)
    np.testing.assert_allclose(turned.parameters[2:], found.parameters[2:], atol=0.005)


def test_a_band_that_reads_wide_is_told():
    nominal, true = some_pose(8)
    wide = replace(
        BANDED, profile=replace(BANDED.profile, radius=BANDED.profile.radius + 3.0)
    )
    found = find_pose(spoiled(true, 8, 60_000, wide, shadow=0.0), BANDED, nominal)
    assert found.radius_bias == pytest.approx(3.0, abs=1.0)
    assert find_pose(spoiled(true, 8, 60_000), BANDED, nominal).radius_bias < 0.5


@pytest.mark.parametrize("scale", [25.4, 1.0 / 25.4, 10.0, 0.1, 1000.0, 2.54])
@pytest.mark.parametrize("design", [BANDED, tall_design()], ids=["band", "no band"])
def test_a_wrong_unit_is_refused(design, scale):
    nominal = Pose.nominal(design)
    points = spoiled(nominal.at(np.array([20.0, -10.0, 0.5, 0.2])), 9, 20_000)
    with pytest.raises(InputError, match="axis") as error:
        find_pose(points * scale, design, nominal)
    assert "--cloud-unit" in str(error.value.cure)
    assert find_pose(points, design, nominal).n_points > 200


def test_too_few_points_are_refused():
    nominal, true = some_pose(3)
    points = spoiled(true, 3, 40_000)
    for few in (points[:0], points[:150], points[points[:, 2] < points[:, 2].mean()]):
        with pytest.raises(InputError, match="at least 200"):
            find_pose(few, BANDED, nominal)
    nominal = replace(nominal, z_offset=nominal.z_offset + 5000.0)
    with pytest.raises(InputError, match="datum bands") as error:
        find_pose(points, BANDED, nominal)
    assert "--z-offset" in str(error.value.cure)


@pytest.mark.parametrize("rise", [0.0, 1000.0])
def test_points_all_in_one_place_or_one_above_the_other_fix_no_axis(rise):
    design = replace(BANDED, datum_bands=())
    radius = float(design.profile.radius_at(1000.0))
    points = np.tile([radius, 0.0, 500.0], (1000, 1))
    points[:, 2] += np.linspace(0.0, rise, 1000)
    with pytest.raises(InputError, match="fix no axis"):
        find_pose(points, design, Pose.nominal(design))


def clean_half(azimuth: Float, height: Float) -> Bool:
    """Half of the wall in patches as big as a man."""
    return np.sin(np.deg2rad(3.0 * azimuth)) * np.sin(height / 300.0) <= 0.0


WORN = {
    "patches": clean_half,
    "the lower half": lambda _, height: height > 1200.0,
    "most of one side below": lambda a, height: (height > 1600.0) | (a > 270.0),
}


@pytest.mark.parametrize("case", WORN)
@pytest.mark.parametrize("seed", range(2))
def test_without_a_band_the_wall_that_is_least_worn_is_on_its_drawing(case, seed):
    design = tall_design()
    nominal, true = some_pose(seed, design)
    rng = np.random.default_rng(seed)
    azimuth, height = rng.uniform(0, 360, 40_000), rng.uniform(0, 2400, 40_000)
    worn = np.where(WORN[case](azimuth, height), 0.0, 25.0)
    cutback = worn + rng.normal(0.0, 2.0, azimuth.size)
    dust = rng.uniform(size=azimuth.size) < 0.05
    cutback[dust] = rng.uniform(-250.0, 0.0, int(dust.sum()))
    radius = design.profile.radius_at(height) + cutback
    found = find_pose(true.from_wall(azimuth, radius, height), design, nominal)
    error = found.pose.parameters - true.parameters
    # The wall on the whole lies 10 mm and more outside of its drawing.
    assert worn.mean() > 10.0
    assert abs(found.radius_bias) < 1.0
    assert np.hypot(*error[:2]) < 1.0
    assert np.abs(error[2:]).max() < 0.05
    assert not found.on_bands


# --- made exact -----------------------------------------------------------------------


def blocks_of(
    points: Float, pose: Pose, width: float = 6.0, tall: float = 46.0
) -> BandBlocks:
    """Means of the band's points in blocks: six degrees by 46 mm."""
    width, tall = 6.0, 46.0
    azimuth, radius, height = pose.to_wall(points)
    cutback = radius - BANDED.profile.radius_at(height)
    kept = (height >= BAND.low) & (height < BAND.high) & (np.abs(cutback) < 15.0)
    across, up = azimuth[kept] // width, (height[kept] - BAND.low) // tall
    number = (up * round(360.0 / width) + across).astype(int)
    count = np.bincount(number)
    full = count > 5

    def mean(values: Float) -> Float:
        return (np.bincount(number, values) / np.maximum(count, 1))[full]

    a, h = (across + 0.5) * width, BAND.low + (up + 0.5) * tall
    return BandBlocks(mean(a), mean(h), mean(cutback[kept]), 4.0 / count[full])


def as_found(pose: Pose) -> FoundPose:
    return FoundPose(pose, on_bands=True, n_points=1000, radius_bias=0.0)


def test_all_points_make_the_pose_better_than_a_sample():
    before, after = [], []
    for seed in range(8):
        nominal, true = some_pose(300 + seed)
        points = spoiled(true, seed, 120_000)
        some = points[::20]
        found = find_pose(some, BANDED, nominal)
        better = refine_pose(found, BANDED, blocks_of(points, found.pose))
        before.append(found.pose.parameters - true.parameters)
        after.append(better.pose.parameters - true.parameters)
        assert (better.pose.sd < found.pose.sd).all()
    rms = [np.sqrt(np.mean(np.square(error), axis=0)) for error in (before, after)]
    assert (rms[1] < 0.7 * rms[0]).all()


@pytest.mark.parametrize("lit", [360.0, 200.0])
@pytest.mark.parametrize("wide", [0.0, 2.0])
def test_a_band_read_wide_is_not_taken_for_an_offset(lit, wide):
    _, true = some_pose(5)
    step = np.array([1.2, -0.8, 0.05, 0.04])
    azimuth, height = np.meshgrid(
        np.arange(3.0, lit, 6.0), np.arange(2120.0, 2330.0, 46.0)
    )
    azimuth, height = azimuth.ravel(), height.ravel()
    noise = np.random.default_rng(5).normal(0.0, 0.05, azimuth.size)
    drawn = BANDED.profile.radius_at(height)
    points = true.from_wall(azimuth, drawn + wide + noise, height)
    start = true.at(true.parameters - step)
    a, radius, up = start.to_wall(points)
    cutback = radius - BANDED.profile.radius_at(up)
    variance = np.full(a.size, 0.05**2)
    better = refine_pose(as_found(start), BANDED, BandBlocks(a, up, cutback, variance))
    error = better.pose.parameters - true.parameters
    assert np.abs(error[:2]).max() < 0.25
    assert np.abs(error[2:]).max() < 0.015
    assert better.radius_bias == pytest.approx(wide, abs=0.1)
    assert better.on_bands


def test_a_crust_on_some_of_the_band_is_left_out():
    _, true = some_pose(6)
    azimuth, height = np.meshgrid(
        np.arange(3.0, 360.0, 6.0), np.arange(2120.0, 2330.0, 46.0)
    )
    azimuth, height = azimuth.ravel(), height.ravel()
    cutback = np.random.default_rng(6).normal(0.0, 0.1, azimuth.size)
    cutback[azimuth < 40.0] -= 8.0
    variance = np.full(azimuth.size, 0.01)
    better = refine_pose(
        as_found(true), BANDED, BandBlocks(azimuth, height, cutback, variance)
    )
    error = better.pose.parameters - true.parameters
    assert np.abs(error[:2]).max() < 0.3
    assert abs(better.radius_bias) < 0.1


def test_too_few_blocks_change_nothing():
    _, true = some_pose(4)
    found = as_found(true)
    fields = [np.full(29, value) for value in (10.0, 2200.0, 3.0, 1.0)]
    assert refine_pose(found, BANDED, BandBlocks(*fields)) is found
    none = [np.zeros(0)] * 4
    assert refine_pose(found, BANDED, BandBlocks(*none)) is found


@pytest.mark.parametrize("seed", range(3))
def test_a_wall_burnt_to_one_side_is_not_taken_for_one_moved_over(seed):
    # Without a band; 25 mm gone on half the wall at all heights.
    rng = np.random.default_rng(seed)
    design = tall_design()
    nominal, true = some_pose(20 + seed, design)
    azimuth = rng.uniform(0.0, 360.0, 60_000)
    height = rng.uniform(0.0, 2400.0, azimuth.size)
    burnt = np.mod(azimuth - rng.uniform(0.0, 360.0), 360.0) < 180.0
    cutback = np.where(burnt, 25.0, 0.0) + rng.normal(0.0, 2.0, azimuth.size)
    points = true.from_wall(azimuth, design.profile.radius_at(height) + cutback, height)
    found = find_pose(points, design, nominal).pose
    assert np.abs(found.parameters - true.parameters)[:2].max() < 2.0
    assert np.abs(found.parameters - true.parameters)[2:].max() < 0.1
