"""What the numbers of a pose mean, by scipy's rotations and finite differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.datum import Pose
from tests.datum.bands import BANDED, some_pose


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("seed", range(4))
def test_to_the_wall_and_back_is_the_same_point(seed, sense):
    _, pose = some_pose(seed, replace(BANDED, azimuth_sense=sense))
    rng = np.random.default_rng(seed)
    points = rng.uniform(-1000.0, 3000.0, (500, 3))
    np.testing.assert_allclose(pose.from_wall(*pose.to_wall(points)), points, atol=1e-9)
    there = (
        rng.uniform(0, 360, 500),
        rng.uniform(1, 900, 500),
        rng.uniform(0, 2400, 500),
    )
    azimuth, radius, height = pose.to_wall(pose.from_wall(*there))
    turn = np.mod(azimuth - there[0] + 180.0, 360.0) - 180.0
    np.testing.assert_allclose(turn, 0.0, atol=1e-9)
    np.testing.assert_allclose(radius, there[1], atol=1e-9)
    np.testing.assert_allclose(height, there[2], atol=1e-9)


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("seed", range(4))
def test_the_convention_is_the_pinned_one(seed, sense):
    # A point p of the design axis frame appears at R p + t; rotations by scipy.
    from scipy.spatial.transform import Rotation

    design = replace(BANDED, azimuth_sense=sense)
    _, pose = some_pose(seed, design)
    rng = np.random.default_rng(seed)
    azimuth, radius, height = rng.uniform(
        [[0.0], [100.0], [0.0]], [[360], [700], [2400]], (3, 99)
    )
    hand = -1.0 if sense == "clockwise" else 1.0
    a = np.deg2rad(azimuth)
    p = np.stack([radius * np.cos(a), hand * radius * np.sin(a), height], axis=1)
    # The cloud's +x points at design azimuth azimuth_of_x.
    about_axis = Rotation.from_euler("z", -hand * pose.azimuth_of_x, degrees=True)
    # About the axes that stay: first x, then y.
    tilt = Rotation.from_euler("xy", [pose.tilt_x, pose.tilt_y], degrees=True)
    turn = tilt * about_axis
    middle = np.array([0.0, 0.0, 1200.0])
    at_middle = middle + np.array([pose.offset_x, pose.offset_y, pose.z_offset])
    t = at_middle - turn.apply(middle)
    np.testing.assert_allclose(
        pose.from_wall(azimuth, radius, height), turn.apply(p) + t, atol=1e-9
    )
    # Tilted in the other order it is another pose.
    other = Rotation.from_euler("yx", [pose.tilt_y, pose.tilt_x], degrees=True)
    wrong = (other * about_axis).apply(p - middle) + at_middle
    assert np.abs(pose.from_wall(azimuth, radius, height) - wrong).max() > 0.01


def test_directions_are_those_a_person_would_see():
    flat = Pose.nominal(BANDED, azimuth_of_x=90.0, z_offset=-100.0)
    assert BANDED.azimuth_sense == "clockwise"
    # Seen from above, clockwise: next after +x comes -y.
    place = flat.from_wall(
        np.array([90.0, 180.0]), np.full(2, 450.0), np.full(2, 300.0)
    )
    expected = [[450.0, 0.0, 200.0], [0.0, -450.0, 200.0]]
    np.testing.assert_allclose(place, expected, atol=1e-9)
    np.testing.assert_allclose(flat.origin, [0.0, 0.0, 1100.0])
    # By the right-hand rule the top leans to +x about y, and to -y about x.
    for tilts, lean in (((0.0, 1.0), [1.0, 0.0]), ((1.0, 0.0), [0.0, -1.0])):
        leaning = flat.at(np.array([5.0, -3.0, *tilts]))
        foot, middle, top = leaning.from_wall(
            np.zeros(3), np.zeros(3), np.array([0.0, 1200.0, 2400.0])
        )
        np.testing.assert_allclose(middle, [5.0, -3.0, 1100.0], atol=1e-9)
        reach = 1200.0 * np.sin(np.deg2rad(1.0))
        np.testing.assert_allclose(
            (top - middle)[:2], reach * np.array(lean), atol=1e-9
        )
        np.testing.assert_allclose(
            (foot - middle)[:2], -reach * np.array(lean), atol=1e-9
        )


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("turn", [0.0, 73.0])
def test_the_lean_is_the_slope_of_cut_back_with_the_pose(sense, turn):
    design = replace(BANDED, azimuth_sense=sense)
    profile = design.profile
    pose = Pose.nominal(design, azimuth_of_x=turn, z_offset=40.0)
    azimuth, height = np.meshgrid(np.arange(0.0, 360.0, 30.0), [100.0, 1100.0, 2200.0])
    azimuth, height = azimuth.ravel(), height.ravel()
    drawn, slope = profile.radius_at(height), profile.slope_at(height)
    assert np.ptp(slope) > 0.02
    lean = pose.jacobian(azimuth, height, slope, drawn)
    assert lean.shape == (36, 4)
    for k, step in enumerate([0.01, 0.01, 1e-4, 1e-4]):
        both = []
        for way in (step, -step):
            true = pose.at(way * np.eye(4)[k])
            _, radius, up = pose.to_wall(true.from_wall(azimuth, drawn, height))
            both.append(radius - profile.radius_at(up))
        finite = (both[0] - both[1]) / (2.0 * step)
        np.testing.assert_allclose(lean[:, k], finite, atol=2e-5)
        assert np.abs(finite).max() > 0.9
