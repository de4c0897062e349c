"""Few single points: each a radius reading, errors of the pose and range shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import geom
from geom.design.drawing import ScannerErrors
from geom.readings import load_readings
from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.sparse import POSE, RANGE, single_readings
from tests.datum.bands import BANDED, tall_design


def points_of(design, count: int, *, off: float = 8.0, seed: int = 0) -> np.ndarray:
    """Points of a wall worn by 15 mm below its band, 2 mm of scatter."""
    rng = np.random.default_rng(seed)
    azimuth = rng.uniform(0.0, 360.0, count)
    height = rng.uniform(20.0, 2380.0, count)
    worn = np.where(height < 1500.0, 15.0, 0.0)
    radius = design.profile.radius_at(height) + worn + rng.normal(0.0, 2.0, count)
    pose = geom.datum.Pose.nominal(design).at(np.array([off, -5.0, 0.1, -0.2]))
    return pose.from_wall(azimuth, radius, height)


def load(tmp_path, points, design, **options):
    path = tmp_path / "station.npy"
    np.save(path, points)
    return load_readings(path, design, cloud_unit="mm", **options)


def test_every_point_is_a_radius_with_the_scanners_own_sd(tmp_path):
    design = replace(BANDED, scanner=ScannerErrors(range_error=1.5, point_sd=3.0))
    readings = load(tmp_path, points_of(design, 1100), design, sparse=True)
    sheet, (found,), warnings = single_readings(readings, design)
    assert len(sheet) == 1100
    assert set(sheet.kind) == {"radius"}
    assert set(sheet.sd) == {3.0}
    assert not warnings
    assert found.on_bands
    assert found.pose.offset_x == pytest.approx(8.0, abs=1.0)
    # All points share the range; the pose moves opposite sides against each other.
    assert sheet.common[RANGE][:, 0] == pytest.approx(1.5)
    assert sheet.common[POSE].shape == (1100, 5)
    assert abs(float(sheet.common[POSE][:, 0].mean())) < 0.1


def test_the_wall_is_told_and_owns_to_the_range(tmp_path):
    design, coarse = BANDED, {"spacing": 40.0, "columns": 90}
    readings = load(tmp_path, points_of(design, 250), design, sparse=True)
    surface = geom.reconstruct(readings, design, **coarse)
    findings = geom.assess(surface, design)
    assert {POSE, RANGE} <= {line.source for line in findings.budget}
    assert findings.datum is not None
    low = (surface.height > 300.0) & (surface.height < 1200.0)
    off = surface.cutback[low] - 15.0
    assert np.isfinite(off).mean() > 0.9  # not where nobody read
    assert np.sqrt(np.nanmean(off**2)) < 1.5
    wide = replace(design, scanner=ScannerErrors(range_error=5.0))
    wider = geom.assess(geom.reconstruct(readings, wide, **coarse), wide)
    assert wider.volume.net.sd > 1.5 * findings.volume.net.sd


def test_sound_wall_tells_the_axis_of_few_points_without_a_band(tmp_path):
    # Found on worn wall it is 7 mm off.
    design = tall_design()
    readings = load(tmp_path, points_of(design, 1100), design, sparse=True)
    _, (found,), _ = single_readings(readings, design)
    off = found.pose.parameters - [8.0, -5.0, 0.1, -0.2]
    assert (np.abs(off) < 2.0 * found.pose.sd).all()
    assert np.hypot(*off[:2]) < 1.5


def test_too_few_points_for_an_axis_are_taken_as_told_with_a_warning(tmp_path):
    points = points_of(tall_design(), 30, off=0.0)
    readings = load(tmp_path, points, BANDED, sparse=True)
    _, (found,), (warning,) = single_readings(readings, BANDED)
    assert warning.sd == ASSUMED.stated_set_up_sd
    assert found.pose.parameters.tolist() == [0.0] * 4
    assert found.pose.sd[0] == pytest.approx(ASSUMED.stated_set_up_sd)


def test_a_cloud_too_large_is_not_read_singly(tmp_path):
    readings = load(tmp_path, points_of(BANDED, 4000), BANDED, sparse=True)
    with pytest.raises(geom.InputError, match="4,000 points") as error:
        single_readings(readings, BANDED)
    assert "--sparse" in error.value.cure


@pytest.mark.parametrize("design", [BANDED, tall_design()], ids=["band", "no band"])
def test_a_sparse_cloud_is_called_sparse_and_told_what_to_do(tmp_path, design):
    readings = load(tmp_path, points_of(design, 1100), design)
    with pytest.raises(geom.InputError) as error:
        geom.reconstruct(readings, design)
    assert "--sparse" in str(error.value)


def test_sparse_is_for_point_clouds_only(tmp_path):
    path = tmp_path / "rods.csv"
    path.write_text("azimuth_deg,height_mm,radius_mm\n0,100,450\n")
    with pytest.raises(geom.InputError, match="point clouds only"):
        load_readings(path, BANDED, sparse=True)


@pytest.mark.parametrize("unit", ["mm", "m"])
@pytest.mark.parametrize("rows", [slice(0, 1), slice(None)])
def test_numbers_near_the_greatest_there_are_are_no_wall(tmp_path, unit, rows):
    points = points_of(BANDED, 4000)
    points[rows, :2] = [1e308, -1.7e308]
    path = tmp_path / "station.npy"
    np.save(path, points)
    readings = load_readings(path, BANDED, cloud_unit=unit)
    # warnings of numpy are errors here; what is refused is refused in a sentence
    with pytest.raises(geom.InputError, match=r"datum bands|no axis|sparse"):
        geom.reconstruct(readings, BANDED)
