"""The demo's laser scan is what its script makes, and shows what was planted."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import geom
from geom.datum import Pose
from geom.surface.radial import BandAxisOff

ROOT = Path(__file__).resolve().parent.parent
SCANS = ROOT / "scans"
LASER = SCANS / "cupola-2-heat-41-scan.laz"
TARGETS = SCANS / "cupola-2-heat-41-targets.csv"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        path = ROOT / "scripts" / "make_laser_scan.py"
        spec = importlib.util.spec_from_file_location("make_laser_scan", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(ROOT / "scripts"))
    return module


@pytest.fixture(scope="module")
def design() -> geom.Design:
    return geom.load_design(SCANS / "cupola-2.toml")


@pytest.fixture(scope="module")
def pose(script, design) -> Pose:
    return script.true_pose(design)


@pytest.fixture(scope="module")
def surface(scanned_demo) -> geom.RadialSurface:
    return scanned_demo


@pytest.fixture(scope="module")
def true_cutback(script, surface) -> np.ndarray:
    wall, grid = script.Wall(), surface.grid
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    return wall.radius(azimuth, height) - grid.design_radius[:, None]


def test_the_sound_band_has_no_axis_of_its_own(surface):
    assert not any(isinstance(d, BandAxisOff) for d in surface.diagnostics)


def test_the_scan_is_what_the_script_makes(script, design, pose, tmp_path):
    import laspy

    again = tmp_path / "again.laz"
    points = script.scan(design, pose)
    script.write_laz(again, points)
    kept, made = laspy.read(LASER), laspy.read(again)
    assert LASER.stat().st_size < 3e6
    assert len(kept.points) == len(made.points) > 400_000
    for axis in "XYZ":
        # another machine may round a half the other way
        assert np.abs(kept[axis] - made[axis]).max() <= 1
    assert TARGETS.read_text("utf-8") == script.target_sheet(design, pose)


def test_the_scan_is_displaced_tilted_spoiled_and_in_shadow(pose, surface):
    assert np.hypot(pose.offset_x, pose.offset_y) > 30.0
    assert np.hypot(pose.tilt_x, pose.tilt_y) > 1.0
    wall = surface.grid.surveyed & ~surface.grid.opening
    assert 0.03 < np.mean(~surface.seen[wall]) < 0.3
    assert surface.points_left_out > 0.02 * surface.count


def test_the_survey_finds_where_the_scanner_stood(pose, surface):
    found = surface.poses[0]
    miss = found.parameters - pose.parameters
    assert np.all(np.abs(miss) < 3.0 * found.sd)
    assert np.hypot(*miss[:2]) < 5.0
    assert np.hypot(*miss[2:]) < 0.2
    # Of direction and height the targets told; they stand on unworn wall.
    assert found.azimuth_of_x == pytest.approx(pose.azimuth_of_x, abs=0.5)
    assert found.z_offset == pytest.approx(pose.z_offset, abs=4.0)


def test_the_wall_is_where_it_was_planted(surface, true_cutback):
    wall = surface.grid.surveyed & ~surface.grid.opening
    off = surface.cutback - true_cutback
    held = np.abs(off) < 1.96 * surface.radius_sd
    assert np.sqrt(np.mean(off[wall & surface.seen] ** 2)) < 3.0
    # One scan, and its pose moves the whole wall: a share, not 95 % of many scans.
    assert held[wall].mean() > 0.8
    assert np.nanmean(surface.radius_sd[wall & ~surface.seen]) > np.nanmean(
        surface.radius_sd[wall & surface.seen]
    )


def test_the_volume_that_was_planted_is_in_the_interval(surface, design, true_cutback):
    grid = surface.grid
    drawn = grid.design_radius[:, None]
    worn = drawn + np.maximum(true_cutback, 0.0)
    each = 0.5 * (worn**2 - drawn**2) * grid.row_height[:, None] * grid.sector
    planted = float(np.sum((each * grid.wall)[grid.surveyed]))
    rebuild = geom.assess(surface, design).volume.rebuild
    assert rebuild.low95 < planted < rebuild.high95
    assert not rebuild.low95 < 1.5 * planted < rebuild.high95
