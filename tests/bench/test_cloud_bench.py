"""The cloud bench asks every route the same, and they answer the same."""

import sys
import time
from dataclasses import replace

import numpy as np
import pytest
from cloud import _counts
from cloud_distance import MISSING
from cloud_distance import PEERS as MESHES
from cloud_distance import main as ask_in_process
from cloud_files import BARE, write
from cloud_large import counted_file
from cloud_mesh import distances, revolved
from cloud_peers import PEERS, Question, counted, daubline, own_cells, tally_medians
from cloud_timing import TooLong, best, in_child, many, stopped_after
from cloud_wall import DUST_IS_ONE_IN, NOISE, design_toml, make_wall

from geom import load_design
from geom.surface.clouds.histogram import BIN

COUNT, LEAST = 20_000, 10
#: Some 14 points a cell, where the wall is worn deepest.
WALL = make_wall(low=600.0, high=840.0)
ASKED = Question.of(WALL, spacing=12.0, columns=72)


@pytest.fixture(scope="module")
def held():
    return WALL.columns(COUNT)


@pytest.fixture(scope="module")
def full(held):
    """Cells of ten points or more."""
    cell, _ = ASKED.placed(*held)
    enough = np.bincount(cell, minlength=ASKED.grid.wall.size) >= LEAST
    assert enough.sum() > 1000
    return enough.reshape(ASKED.grid.shape)


@pytest.fixture(scope="module")
def ours(held):
    return daubline(ASKED, *held)


def gap(one, other, full):
    return float(np.max(np.abs(one - other)[full]))


def volume(value, full):
    return ASKED.volume(np.where(full, value, np.nan))


@pytest.mark.parametrize("route", PEERS.values(), ids=PEERS)
def test_every_route_finds_the_medians_and_the_volume_of_ours(route, held, full, ours):
    found = route(ASKED, *held)
    # our medians are the middles of bins; one route tells 0.1 mm apart, and a point at
    # the edge of a bin or a cell may fall on either side of it in float32
    assert gap(found, ours, full) < 0.5 * BIN + 0.1
    assert volume(found, full) == pytest.approx(volume(ours, full), rel=0.002)


def test_a_scan_two_millimetres_off_is_distinguished(held, full, ours):
    pose = WALL.pose
    off = replace(WALL, pose=replace(pose, offset_x=pose.offset_x + 2.0))
    found = PEERS["numpy, sort"](replace(ASKED, wall=off), *held)
    assert gap(found, ours, full) > 1.0


def test_a_median_is_distinguished_from_a_mean_of_all_points(held, full, ours):
    cell, value = ASKED.placed(*held)
    size = ASKED.grid.wall.size
    mean = np.bincount(cell, value, size) / np.maximum(np.bincount(cell, None, size), 1)
    found = (mean - 150.0).reshape(ASKED.grid.shape)
    assert gap(found, ours, full) > 5.0  # dust pulls it
    assert abs(volume(found, full) / volume(ours, full) - 1.0) > 0.002


def test_medians_are_near_the_known_wear(full, ours):
    off = (ours - ASKED.truth())[full]
    # 1.25 sd / sqrt(14) is 0.7 mm; dust and bins add a little
    assert np.sqrt(np.mean(off**2)) < 0.6 * NOISE
    assert abs(np.mean(off)) < 0.1


def test_own_cells_are_nearer_still_and_have_the_volume(held, full, ours):
    found = own_cells(ASKED, *held)
    true = ASKED.truth()
    own, median = (np.sqrt(np.mean((v - true)[full] ** 2)) for v in (found, ours))
    assert own < median
    assert volume(found, full) == pytest.approx(volume(true, full), rel=0.002)


def test_points_in_runs_are_the_points_asked_for():
    runs = list(WALL.runs(2500, size=1000))
    assert [len(run) for run in runs] == [1000, 1000, 500]
    _, radius, height = WALL.pose.to_wall(np.concatenate(runs).astype(np.float64))
    assert height.min() > 599.9
    assert height.max() < 840.1
    drawn = WALL.design.profile.radius_at(height)
    wall = np.arange(2500) % 1000 % DUST_IS_ONE_IN != 0
    assert np.all((radius - drawn)[wall] > 0.0)
    assert (radius[~wall] < 400.0).mean() == pytest.approx((400 / 700) ** 2, abs=0.15)


def test_points_in_order_go_round_once():
    azimuth, _, _ = WALL.pose.to_wall(
        np.stack(WALL.columns(1000, in_order=True), axis=1).astype(np.float64)
    )
    wall = np.arange(1000) % DUST_IS_ONE_IN != 0
    assert np.all(np.diff(azimuth[wall]) > -0.01)
    assert np.ptp(azimuth) > 359.0


@pytest.mark.parametrize("ending", BARE)
def test_every_file_gives_back_the_points_that_were_written(ending, tmp_path):
    path = tmp_path / f"scan{ending}"
    write(path, WALL.runs(COUNT), COUNT)
    assert BARE[ending][1](path) == COUNT
    tally = counted_file(ASKED, path)
    assert tally.total == COUNT
    held = counted(ASKED, *WALL.columns(COUNT))
    # LAS and text hold 0.1 and 0.01 mm: few points change their bin
    moved = np.abs(tally.counts.astype(np.int64) - held.counts).sum() / (2 * COUNT)
    assert moved < 0.06
    assert np.abs(tally.missed - held.missed).sum() < 10
    both = np.isfinite(tally_medians(tally)) & np.isfinite(tally_medians(held))
    off = (tally_medians(tally) - tally_medians(held))[both]
    assert abs(np.mean(off)) < 0.02


def test_the_design_file_is_the_design(tmp_path):
    path = tmp_path / "furnace.toml"
    path.write_text(design_toml(WALL.design), encoding="utf-8")
    read = load_design(path)
    assert np.array_equal(read.profile.height, WALL.design.profile.height)
    assert np.array_equal(read.profile.radius, WALL.design.profile.radius)
    assert read.shell_radius == WALL.design.shell_radius
    assert read.datum_bands == WALL.design.datum_bands
    assert set(read.openings) == set(WALL.design.openings)
    assert read.azimuth_sense == WALL.design.azimuth_sense


def test_the_mesh_of_the_drawing_is_closed_and_as_big_as_the_bore():
    vertices, triangles = revolved(WALL)
    a, b, c = vertices[triangles].transpose(1, 0, 2)
    found = np.sum(a * np.cross(b, c)) / 6.0  # divergence theorem
    height, radius = WALL.design.profile.height, WALL.design.profile.radius
    low, high = radius[:-1], radius[1:]
    frusta = np.pi / 3.0 * np.diff(height) @ (low**2 + low * high + high**2)
    # 360 chords leave 5e-5 of a circle out; seen from inside it would be negative
    assert found == pytest.approx(frusta, rel=1e-4)


@pytest.mark.parametrize("which", MESHES)
def test_distances_from_the_mesh_are_the_cut_back(which):
    found = distances(WALL, which, 0.01)
    assert found.failure in {"", "not installed"}
    assert found.failure == "" or which != "VTK"  # which daubline itself needs
    if found.failure == "":
        assert found.points >= 1000
        assert found.seconds > 0.0
        # the cone leans 0.5 degrees, chords lie 0.02 mm inside; a wrong sign is 80 mm
        assert found.gap < 0.05


def test_a_mesh_library_that_is_missing_is_no_failure(monkeypatch, tmp_path):
    def without(*_):
        raise ImportError

    monkeypatch.setitem(MESHES, "VTK", without)
    np.savez(tmp_path / "mesh.npz", vertices=np.eye(3), triangles=[[0, 1, 2]])
    np.save(tmp_path / "points.npy", np.eye(3))
    assert ask_in_process("VTK", tmp_path, 1.0) == MISSING


def test_a_peer_that_takes_too_long_is_stopped():
    with pytest.raises(TooLong), stopped_after(0.05):
        time.sleep(5.0)
    with stopped_after(5.0):
        assert best(lambda: 7, rounds=2)[0] == 7


def test_a_child_tells_its_own_memory():
    big = np.ones(40_000_000)  # 320 MB of the parent's
    child = in_child([sys.executable, "-c", "print(3); x = bytearray(50_000_000)"])
    assert (child.code, child.out) == (0, "3\n")
    assert 50.0 < child.megabytes < 1e-6 * big.nbytes
    assert in_child([sys.executable, "-c", "raise SystemExit(4)"]).code == 4


def test_numbers_of_points_are_read_and_stated_alike():
    assert _counts("1e6,2.5e7") == (1_000_000, 25_000_000)
    assert [many(n) for n in _counts("1e6,2.5e7")] == ["1e6", "2.5e7"]
