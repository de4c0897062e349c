"""Errors that no number of points averages away: pose, the scanner's range, scale."""

from __future__ import annotations

import numpy as np
import pytest

from geom.datum import FoundPose, Pose
from geom.design import DatumBand
from geom.readings import load_readings
from geom.readings.cloud import Cloud
from geom.surface.clouds import register
from geom.surface.clouds.register import Beam, _block_diagonal, register_clouds
from geom.surface.grid import make_grid
from tests.datum.bands import tall_design
from tests.walls import plain_design


class NoPoints:
    """A source of no points, for a cloud whose place alone counts."""

    name, count = "none.npy", 0


def beam_from(scanner) -> Beam:
    """To four places round a wall of 450 mm, at height 700 mm."""
    design = plain_design()
    cloud = Cloud(NoPoints(), 1.0, 0.0, 0.0, scanner)
    azimuth = np.array([0.0, 90.0, 180.0, 270.0])
    pose = Pose.nominal(design)
    return Beam.of(cloud, pose, azimuth, np.full(4, 450.0), np.full(4, 700.0))


def test_a_range_error_is_one_of_radius_where_the_laser_is_square_on():
    square, scale = beam_from(np.array([0.0, 0.0, 700.0])).ranging
    assert square == pytest.approx(np.ones(4))
    # 10 ppm of 450 mm are 4.5 micrometres.
    assert 10.0 * scale == pytest.approx(np.full(4, 0.0045))


def test_at_an_angle_only_part_of_it_is():
    # 450 mm up: 45 degrees to all of the wall there.
    square, scale = beam_from(np.array([0.0, 0.0, 1150.0])).ranging
    assert square == pytest.approx(np.full(4, np.sqrt(0.5)))
    assert scale == pytest.approx(np.full(4, 450.0e-6))


def test_a_scanner_whose_place_is_not_known_is_taken_to_stand_square_on():
    beam = beam_from(None)
    assert beam.ranging[0].tolist() == [1.0] * 4
    assert beam.grazing.tolist() == [0.0] * 4


def test_the_range_is_one_error_of_all_frames():
    design = plain_design()
    found = [FoundPose(Pose.nominal(design), True, 1000, 0.0)] * 2
    errors = _block_diagonal(found, design)
    assert errors.shape == (12, 12)
    assert np.sqrt(np.diag(errors)[-2:]) == pytest.approx([1.0, 10.0])
    assert design.scanner.range_error == 1.0


@pytest.mark.parametrize("astray", [0.0, 40.0])
def test_cells_are_laid_on_the_axis_that_sound_wall_tells(
    tmp_path, monkeypatch, astray
):
    # A band that few points hit, and a wall worn to one side; the axis is looked for
    # first where the band says, or where nobody would.
    design = tall_design(datum_bands=(DatumBand(2250.0, 2390.0),))
    rng = np.random.default_rng(6)
    azimuth, height = rng.uniform(0.0, 360.0, 40_000), rng.uniform(10.0, 2390.0, 40_000)
    kept = (height < 2240.0) | (rng.uniform(size=height.size) < 0.3)
    azimuth, height = azimuth[kept], height[kept]
    ring = 30.0 * np.exp(-0.5 * ((height - 900.0) / 200.0) ** 2)
    facing = np.maximum(np.cos(np.deg2rad(azimuth - 130.0)), 0.0)
    radius = design.profile.radius_at(height) + ring * facing
    radius += rng.normal(0.0, 2.0, height.size)
    true = Pose.nominal(design).at(np.array([9.0, -6.0, 0.2, 0.15]))
    np.save(tmp_path / "scan.npy", true.from_wall(azimuth, radius, height))
    readings = load_readings(tmp_path / "scan.npy", design, cloud_unit="mm")
    grid = make_grid(design, surveyed=(0.0, 2400.0), spacing=20.0, columns=180)
    if astray:
        off = true.at(
            true.parameters + np.array([astray, 0.0, 0.0, 0.0]),
            np.diag([20.0, 20.0, 0.5, 0.5]) ** 2,
        )
        guess = FoundPose(off, on_bands=False, n_points=1000, radius_bias=0.0)
        monkeypatch.setattr(register, "find_frame_pose", lambda *_: guess)
    clouds = register_clouds(readings, design, grid, tick=lambda _: None)
    (found,) = clouds.found
    # a band is weighed with all of its points, block by block, and told of by itself
    assert bool(found.band_axes) == found.on_bands == (astray == 0.0)
    off = found.pose.parameters - true.parameters
    # on the band alone 24 mm off
    assert (np.abs(off[:2]) < 0.3).all()
    assert (found.pose.sd[:2] < 0.5).all()
    np.testing.assert_allclose(
        clouds.systematic.covariance[:4, :4], found.pose.covariance
    )
    # sound wall is as drawn on all sides, above and below
    for sound in (grid.height > 1700.0, grid.height < 300.0):
        cutback = clouds.cells.cutback[sound]
        sides = [np.nanmean(cutback[:, k : k + 45]) for k in range(0, 180, 45)]
        assert np.abs(sides).max() < 0.2
    # and worn wall is where it is
    middle = np.abs(grid.height - 900.0) < 50.0
    deep = np.nanmean(clouds.cells.cutback[middle], axis=0)
    assert grid.azimuth[np.argmax(_smooth(deep))] == pytest.approx(130.0, abs=6.0)


def _smooth(values):
    lapped = np.concatenate([values[-8:], values, values[:8]])
    return np.convolve(lapped, np.ones(17) / 17.0, mode="valid")
