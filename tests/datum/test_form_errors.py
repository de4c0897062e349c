"""How far form errors of a band reach, and what wear to one side may do to a pose."""

from __future__ import annotations

import numpy as np
import pytest

from geom.datum import (
    BandBlocks,
    FoundPose,
    Pose,
    WallPatches,
    find_pose,
    refine_pose,
    settled_on_sound_wall,
    worn_wall_covariance,
)
from geom.datum.form_errors import form_covariance, sound_wall_pose
from geom.units import Float
from tests.datum.bands import BANDED, some_pose, tall_design

AZIMUTH, HEIGHT = (
    field.ravel()
    for field in np.meshgrid(
        np.arange(3.0, 360.0, 6.0), np.arange(2120.0, 2330.0, 46.0)
    )
)
PLACES = Pose.nominal(BANDED).from_wall(
    AZIMUTH, BANDED.profile.radius_at(HEIGHT), HEIGHT
)


def form(rng: np.random.Generator, reach: float, size: float) -> Float:
    """Errors of a band that go together over so many mm."""
    apart = np.linalg.norm(PLACES[:, None] - PLACES[None], axis=-1)
    table = size**2 * np.exp(-apart / reach) + 1e-9 * np.eye(len(apart))
    return np.linalg.cholesky(table) @ rng.standard_normal(len(apart))


def surprise(reach: float, size: float, noise: float) -> Float:
    """Squared errors of the pose over its covariance, from 24 bands; (24, 4).

    Their mean has a standard error of sqrt(2 / 24) = 0.3 where the covariance is right.
    """
    _, true = some_pose(3)
    found = FoundPose(true, on_bands=True, n_points=1000, radius_bias=0.0)
    squared = []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        cutback = form(rng, reach, size) + rng.normal(0.0, noise, AZIMUTH.size)
        variance = np.full(AZIMUTH.size, noise**2)
        blocks = BandBlocks(AZIMUTH, HEIGHT, cutback, variance)
        pose = refine_pose(found, BANDED, blocks).pose
        squared.append(((pose.parameters - true.parameters) / pose.sd) ** 2)
    return np.array(squared)


@pytest.mark.parametrize("reach", [200.0, 600.0])
def test_a_band_out_of_round_over_more_than_a_brick_fixes_the_pose_less_well(reach):
    # Taken for independent blocks these are 6 and more: the pose is sds off.
    mean = surprise(reach, 0.5, 0.1).mean(axis=0)
    assert (mean < 2.0).all()
    assert (mean > 0.25).all()


def test_a_band_whose_blocks_err_alone_fixes_it_as_well_as_before():
    mean = surprise(60.0, 1e-4, 0.3).mean(axis=0)
    assert (mean < 1.7).all()
    assert (mean > 0.3).all()


def test_the_covariance_of_a_mean_grows_with_the_reach():
    table = np.ones((AZIMUTH.size, 1))
    gain = table.T / AZIMUTH.size
    variance = np.full(AZIMUTH.size, 0.25)
    found = []
    for reach in (1.0, 600.0):
        spread = []
        for seed in range(6):
            errors = form(np.random.default_rng(seed), reach, 0.5)
            residual = errors - errors.mean()
            spread.append(form_covariance(table, residual, variance, PLACES, gain))
        found.append(float(np.mean(spread)))
    # So many blocks that err alone know the mean to 0.25 mm2 over their number.
    assert 0.5 < found[0] / (0.25 / AZIMUTH.size) < 20.0
    assert found[1] > 3.0 * found[0]


def worn_pose(cutback: Float, azimuth: Float, height: Float) -> tuple[Float, Float]:
    """Error of the pose on a worn wall without bands, and the sd that wear gives it."""
    design = tall_design()
    nominal, true = some_pose(11, design)
    radius = design.profile.radius_at(height) + cutback
    points = true.from_wall(azimuth, radius, height)
    pose = find_pose(points, design, nominal).pose
    covariance = worn_wall_covariance(points, design, pose)
    return pose.parameters - true.parameters, np.sqrt(np.diag(covariance))


def test_on_wall_that_is_as_drawn_the_axis_is_known_well_without_a_band():
    rng = np.random.default_rng(2)
    azimuth, height = rng.uniform(0, 360, 20_000), rng.uniform(0, 2400, 20_000)
    error, sd = worn_pose(rng.normal(0.0, 2.0, azimuth.size), azimuth, height)
    assert (sd[:2] < 0.5).all()
    assert (np.abs(error) < 1.96 * sd).all()


@pytest.mark.parametrize("deep", [3.0, 10.0])
def test_wear_to_one_side_at_all_heights_is_owned_to(deep):
    rng = np.random.default_rng(4)
    azimuth, height = rng.uniform(0, 360, 20_000), rng.uniform(0, 2400, 20_000)
    wear = deep * (1.0 + np.cos(np.deg2rad(azimuth - 70.0))) / 2.0
    error, sd = worn_pose(wear + rng.normal(0.0, 2.0, azimuth.size), azimuth, height)
    # The sandwich alone owns to a few hundredths of a millimetre.
    assert np.hypot(*error[:2]) > 0.3
    assert (np.abs(error) < 2.5 * sd).all()


def test_a_few_missing_bricks_are_no_wear_to_one_side():
    rng = np.random.default_rng(5)
    azimuth, height = rng.uniform(0, 360, 20_000), rng.uniform(0, 2400, 20_000)
    hole = (azimuth % 90.0 < 15.0) & (height % 300.0 < 150.0)
    cutback = np.where(hole, 60.0, 0.0) + rng.normal(0.0, 2.0, azimuth.size)
    _, sd = worn_pose(cutback, azimuth, height)
    assert (sd[:2] < 0.6).all()


def patches(cutback: Float, change: Float) -> WallPatches:
    """A wall of 900 mm in patches as a pose finds it that is off by a change."""
    jacobian = Pose.nominal(tall_design()).jacobian(
        WIDE, HIGH, np.zeros(WIDE.size), np.full(WIDE.size, 450.0)
    )
    rng = np.random.default_rng(8)
    found = cutback + jacobian @ change + rng.normal(0.0, 0.4, WIDE.size)
    area = np.full(WIDE.size, 50.0 * 47.0)
    return WallPatches(found, np.full(WIDE.size, 0.01), jacobian, area)


WIDE, HIGH = (
    field.ravel()
    for field in np.meshgrid(np.arange(3.0, 360.0, 6.0), np.arange(25.0, 2400.0, 50.0))
)
#: Known to 3 mm and 0.15 degrees, and off by as much.
LOOSE = np.diag([3.0, 3.0, 0.15, 0.15]) ** 2
OFF = np.array([2.5, -3.5, 0.1, -0.2])
RING = 25.0 * np.exp(-0.5 * ((HIGH - 800.0) / 250.0) ** 2)


def facing(side: float, power: float) -> Float:
    """1 on one side and nothing on the other."""
    return np.maximum(np.cos(np.deg2rad(WIDE - side)), 0.0) ** power


@pytest.mark.parametrize(
    "wear",
    [
        RING,
        RING * facing(200.0, 2.0),
        # slag that hangs on one side
        RING - 12.0 * facing(40.0, 8.0) * (HIGH < 400.0),
        # as far as a scanner's range may be off
        RING + 0.8,
    ],
    ids=["ring", "one side", "slag", "range"],
)
def test_sound_wall_tells_where_the_axis_is(wear):
    change, covariance = sound_wall_pose(patches(wear, OFF), LOOSE)
    sd = np.sqrt(np.diag(covariance))
    assert (np.abs(change - OFF)[:2] < 0.35).all()
    assert (np.abs(change - OFF) < 2.5 * sd).all()
    assert (sd[:2] < 0.6).all()
    pose = Pose.nominal(tall_design()).at(np.zeros(4), LOOSE)
    better = settled_on_sound_wall(pose, patches(wear, OFF), on_bands=True)
    np.testing.assert_allclose(better.parameters, change)
    np.testing.assert_allclose(better.covariance, covariance)


def test_where_no_wall_is_sound_what_was_known_before_stays():
    wear = 14.0 + 9.0 * np.sin(HIGH / 130.0) * np.cos(np.deg2rad(3.0 * WIDE))
    change, covariance = sound_wall_pose(patches(wear, np.zeros(4)), LOOSE)
    assert (np.diag(covariance) > 0.3 * np.diag(LOOSE)).all()
    assert (np.abs(change) < 2.0 * np.sqrt(np.diag(covariance))).all()


@pytest.mark.parametrize("deep", [3.0, 8.0])
def test_wear_to_one_side_alike_at_all_heights_is_owned_to_by_sound_wall(deep):
    # An axis off by half of it, and a wall wider by as much, look the same.
    wear = 0.5 * deep * (1.0 + np.cos(np.deg2rad(WIDE - 70.0)))
    change, covariance = sound_wall_pose(patches(wear, np.zeros(4)), LOOSE)
    assert (np.abs(change) < 2.5 * np.sqrt(np.diag(covariance))).all()


def test_a_pose_that_bands_know_well_stays():
    tight = np.diag([0.1, 0.1, 0.005, 0.005]) ** 2
    wear = 4.0 * (1.0 + np.cos(np.deg2rad(WIDE - 70.0)))
    change, covariance = sound_wall_pose(patches(wear, np.zeros(4)), tight)
    assert (np.abs(change) < 3.0 * np.sqrt(np.diag(tight))).all()
    assert (np.diag(covariance) <= np.diag(tight) * (1.0 + 1e-9)).all()
