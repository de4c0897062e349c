"""A small part of the fleet (scripts/bench/fleet.py), whose walls nobody tuned on.

Every bound here would be broken by a fault that was once there: a melting zone that
enters by a power of its share (rows far apart: 4.5 times the error of a thin plate), a
normal posterior whose positive part is summed (a sound wall: 3.6 L to rebuild, 3.4 L of
build-up, neither of which may be nothing), the greatest of the best surface in place of
the surface's greatest.
"""

from __future__ import annotations

import sys
import warnings
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import geom

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts/bench"))

import fleet
import fleet_peers as peers
from fleet_scores import score
from fleet_surveys import WAYS, write_rods

FURNACE = {furnace.name: k for k, furnace in enumerate(fleet.FLEET)}
WAY = {way.name: k for k, way in enumerate(WAYS)}


@cache
def surveyed(
    folder: Path, furnace: str, way: str, family: str
) -> tuple[dict[str, Any], float]:
    """Figures of one survey, and its error over that of a thin-plate spline."""
    job = FURNACE[furnace], WAY[way], fleet.FAMILIES.index(family)
    wall, rng = fleet.wall_of(job)
    drawn, sheet = folder / "lining.toml", folder / "rods.csv"
    drawn.write_text(wall.furnace.toml(), "utf-8")
    design = geom.load_design(drawn)
    write_rods(WAYS[job[1]], wall, rng, sheet)
    readings = geom.load_readings(sheet, design)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        surface = geom.reconstruct(readings, design, spacing=20.0, columns=180)
        findings = geom.assess(surface, design)
    record: dict[str, Any] = {}
    score(record, wall, surface, findings, None)
    rows, columns = np.nonzero(record["_place"])
    some = np.random.default_rng(0).permutation(rows.size)[:3000]
    rows, columns = rows[some], columns[some]
    at, up = np.asarray(readings.azimuth), np.asarray(readings.height)
    value = np.asarray(readings.value) - design.profile.radius_at(up)
    flat = peers.Flat(design.profile.mean_radius, at, up, value)
    there = surface.grid.azimuth[columns], surface.grid.height[rows]
    true = record["_true"][rows, columns]
    off = peers.thin_plate(flat, *there) - true
    own = record["_mean"][rows, columns] - true
    return record, float(np.sqrt(np.mean(own**2) / max(np.mean(off**2), 0.09)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fleet")


def figure(record: dict[str, Any], name: str) -> tuple[float, float, bool]:
    """Stated value, true value, and whether the 95 % interval holds it."""
    (found,) = [row for row in record["figures"] if row[0] == name]
    return found[1], found[2], found[3]


@pytest.mark.parametrize(
    ("furnace", "way", "family"),
    [
        ("36 in", "8x6", "ring"),
        ("48 in, tapered well", "rows 18 in apart", "ring"),
        # with the share of the melting zone as a power: 1.57
        ("27 in", "rows 18 in apart", "one-sided"),
        # with a melting zone that is the same all round: 1.31
        ("18 in", "above the tuyeres", "ring"),
    ],
)
def test_rows_far_apart_are_no_worse_than_a_thin_plate(
    folder: Path, furnace: str, way: str, family: str
) -> None:
    record, ratio = surveyed(folder, furnace, way, family)
    assert ratio < 1.25
    if family == "ring":
        stated, true, _ = figure(record, "deepest")
        assert abs(stated - true) < 60.0


@pytest.mark.parametrize("way", ["12x10", "16x14"])
def test_a_sound_wall_may_need_nothing(folder: Path, way: str) -> None:
    record, _ = surveyed(folder, "36 in", way, "sound")
    for name in ("rebuild", "buildup"):
        stated, true, held = figure(record, name)
        assert true == 0.0
        assert held
        assert stated < 0.5


@pytest.mark.parametrize(
    ("furnace", "way"), [("900 mm, two rows", "12x10"), ("36 in boshed", "16x14")]
)
def test_figures_of_a_ring_of_wear_hold(folder: Path, furnace: str, way: str) -> None:
    record, _ = surveyed(folder, furnace, way, "ring")
    for name in ("buildup", "deepest", "lining left"):
        assert figure(record, name)[2], name
    stated, true, _ = figure(record, "rebuild")
    assert stated == pytest.approx(true, rel=0.12)
    assert record["points"][0] > 0.88


def test_a_loss_no_reading_met_may_be_the_deepest(folder: Path) -> None:
    record, _ = surveyed(folder, "1800 mm", "12x10", "bricks")
    assert figure(record, "deepest")[2]
    assert figure(record, "lining left")[2]


@pytest.mark.parametrize(
    ("furnace", "family"), [("27 in", "sound"), ("36 in boshed", "ring")]
)
def test_what_diameters_cannot_see_is_no_rebuild(
    folder: Path, furnace: str, family: str
) -> None:
    record, _ = surveyed(folder, furnace, "diameters", family)
    stated, true, held = figure(record, "rebuild")
    assert held
    # as large everywhere as where the wall is burnt: 21 and 29 L too much
    assert abs(stated - true) < 4.0
    assert figure(record, "buildup")[2]
    assert figure(record, "deepest")[2]
