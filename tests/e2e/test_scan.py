"""The main job on point clouds, from the command to every file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import geom
from geom.cli import main
from geom.views.names import FILES
from tests.schema_faults import schema_faults

SCANS = Path(__file__).parents[2] / "scans"
DESIGN = SCANS / "cupola-2.toml"
SCAN = SCANS / "cupola-2-heat-41-scan.laz"
TARGETS = SCANS / "cupola-2-heat-41-targets.csv"
ROD = SCANS / "cupola-2-heat-41.csv"
TOLD = ("--cloud-unit", "mm", "--scanner", "0,0,0", "--targets", str(TARGETS))


def survey(out: Path, *more: str) -> int:
    return main(["survey", str(DESIGN), *more, "--out", str(out), "--quiet"])


@pytest.fixture(scope="module")
def out(few_walls, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("scan") / "out"
    assert survey(folder, str(SCAN), *TOLD) == 0
    return folder


@pytest.fixture(scope="module")
def findings(out) -> dict:
    return json.loads((out / "findings.json").read_text("utf-8"))


def test_every_file_is_written(out):
    assert {path.name for path in out.iterdir()} == set(FILES)


def test_findings_tell_points_and_pose(findings):
    readings, datum = findings["readings"], findings["datum"]
    assert readings["kinds"] == ["laser points"]
    assert readings["count"] > 400_000
    assert 0 < readings["rejected"] < 0.2 * readings["count"]
    assert set(datum) == {
        "offset_x", "offset_y", "tilt_x", "tilt_y", "sd_offset", "sd_tilt",
    }  # fmt: skip
    assert 0.0 < datum["sd_offset"] < 5.0
    assert 0.0 < datum["sd_tilt"] < 0.5
    assert schema_faults("findings", findings) == []


def test_the_budget_names_what_a_scan_rests_on_and_adds_up(findings):
    budget = {b["source"]: b["share_of_volume_variance"] for b in findings["budget"]}
    assert {
        "wall not seen", "scatter of the points", "grazing incidence",
        "offset of the cloud", "tilt of the cloud", "height of the cloud",
    } <= set(budget)  # fmt: skip
    assert sum(budget.values()) == pytest.approx(1.0, abs=1e-9)
    assert budget["grazing incidence"] > 0.0


def test_the_gridded_file_says_what_the_laser_saw(out):
    import netCDF4

    with netCDF4.Dataset(out / "surface.nc") as held:
        seen = np.asarray(held["seen"][:])
        surveyed = np.asarray(held["surveyed"][:])
        sd = np.ma.filled(held["cutback_sd"][:], np.nan)
    assert set(np.unique(seen)) == {0, 1}
    assert not (seen & ~surveyed.astype(bool)).any()
    hidden = (surveyed == 1) & (seen == 0) & np.isfinite(sd)
    assert np.median(sd[hidden]) > np.median(sd[seen == 1])


def test_rod_and_scan_together_are_one_surface(findings):
    design = geom.load_design(DESIGN)
    told = {"cloud_unit": "mm", "scanner": (0, 0, 0), "targets": TARGETS}
    both = geom.load_readings([SCAN, ROD], design, **told)
    assert both.kinds == ["laser points", "rod radius"]
    surface = geom.reconstruct(both, design, spacing=20.0, columns=180)
    alone = findings["volume"]["rebuild"]
    volume = geom.assess(surface, design).volume.rebuild.times(1e-9)
    assert surface.count == findings["readings"]["count"] + len(both.rod)
    spread = float(np.hypot(volume.sd, alone["sd"]))
    assert abs(volume.value - alone["value"]) < 3.0 * spread
    # The rod reaches lower than the laser sees.
    assert surface.grid.surveyed_heights[0] <= 10 * 25.4


def test_the_same_points_in_another_format_and_unit_give_the_same_wall(
    scanned_demo, tmp_path
):
    import laspy

    las = laspy.read(SCAN)
    points = np.stack([las.x, las.y, las.z], axis=1)
    np.save(tmp_path / "scan.npy", points / 25.4)
    lines = TARGETS.read_text("utf-8").splitlines()
    rows = [line.split(",") for line in lines[2:]]
    sheet = ["name,x_in,y_in,z_in"]
    sheet += [",".join([n, *(repr(float(v) / 25.4) for v in xyz)]) for n, *xyz in rows]
    (tmp_path / "seen.csv").write_text("\n".join(sheet), "utf-8")
    design = geom.load_design(DESIGN)

    told = {"cloud_unit": "in", "scanner": (0, 0, 0), "targets": tmp_path / "seen.csv"}
    readings = geom.load_readings(tmp_path / "scan.npy", design, **told)
    first, other = scanned_demo, geom.reconstruct(readings, design)
    # The first look takes points from other places of the file, and rounding
    # puts a few into the neighbouring cell; the lowest rings are seen only just.
    both = np.isfinite(first.radius) & np.isfinite(other.radius)
    assert both.sum() > 0.95 * np.isfinite(first.radius).sum()
    off = np.abs(first.radius - other.radius)[both] / first.radius_sd[both]
    assert np.median(off) < 0.2
    assert np.quantile(off, 0.99) < 1.0


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ((str(SCAN),), "does not say in which unit"),
        ((str(SCAN), "--cloud-unit", "m"), "axis|points lie"),
        ((str(SCAN), "--cloud-unit", "mm"), "axis|points lie|no ring"),
        ((str(ROD), "--cloud-unit", "mm"), "there is none"),
        ((str(SCAN), *TOLD, "--z-offset", "4"), "by themselves"),
        ((str(SCAN), *TOLD, "--own-frames"), "by themselves"),
    ],
)
def test_a_scan_that_cannot_be_placed_is_refused(tmp_path, capsys, more, words):
    import re

    assert survey(tmp_path / "out", *more) == 2
    said = capsys.readouterr().err
    assert re.search(words, said), said
    assert "Traceback" not in said
    assert not (tmp_path / "out").exists()


def test_a_scan_that_breaks_off_is_refused_with_its_place(tmp_path, capsys):
    broken = tmp_path / "short.npy"
    np.save(broken, np.zeros((1000, 3)))
    broken.write_bytes(broken.read_bytes()[:-100])
    assert survey(tmp_path / "out", str(broken), "--cloud-unit", "mm") == 2
    assert "byte" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_where_to_measure_next_is_for_rods(capsys):
    assert main(["next", str(DESIGN), str(SCAN)]) == 2
    assert capsys.readouterr().err
