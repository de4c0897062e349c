"""Findings as a whole."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest

from geom.compare import Findings, assess
from geom.surface import RadialSurface, reconstruct
from tests.walls import tapered_design, worn, worn_readings


@cache
def surveyed() -> tuple[RadialSurface, Findings]:
    design = tapered_design()
    surface = reconstruct(worn_readings(design), design)
    return surface, assess(surface, design, created=datetime(2031, 5, 4, tzinfo=UTC))


def test_document_has_the_pinned_keys_and_is_plain_json() -> None:
    _, findings = surveyed()
    told = findings.to_dict()
    assert list(told) == [
        "schema", "lining", "title", "created", "version", "units", "readings",
        "surveyed", "datum", "volume", "deepest", "levels", "zones", "budget",
        "warnings",
    ]  # fmt: skip
    assert told["schema"] == "daubline.findings/1"
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert set(told["volume"]["rebuild"]) == {"value", "sd", "low95", "high95"}


def test_volumes_leave_the_door_in_cubic_metres_and_areas_in_square_metres() -> None:
    _, findings = surveyed()
    told = findings.to_dict()
    assert told["volume"]["rebuild"]["value"] == findings.volume.rebuild.value * 1e-9
    assert told["surveyed"]["area"] == pytest.approx(findings.surveyed.area * 1e-6)
    whole = 2.0 * np.pi * 0.45 * 1.3
    assert 0.9 * whole < told["surveyed"]["area"] < 1.05 * whole


def test_shares_of_the_budget_add_up_and_name_each_source() -> None:
    _, findings = surveyed()
    assert sum(b.share_of_volume_variance for b in findings.budget) == pytest.approx(
        1.0
    )
    assert {b.source for b in findings.budget} == {
        "wall between the readings",
        "sizes and lengths learned",
        "sd stated on the sheet",
    }


def test_true_volume_and_deepest_point_lie_where_they_are_said_to() -> None:
    surface, findings = surveyed()
    grid = surface.grid
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    true = worn(azimuth, height)
    drawn = grid.design_radius[:, None]
    section = ((drawn + true) ** 2 - drawn**2) / 2
    volume = float(np.sum(grid.patch * np.maximum(section, 0.0)))
    rebuild = findings.volume.rebuild
    assert rebuild.low95 < volume < rebuild.high95
    assert abs(findings.deepest.azimuth - 65.0) < 15.0
    deepest = findings.deepest.cutback
    assert abs(deepest.value - true[grid.surveyed].max()) < 3.0 * deepest.sd


def test_created_and_title_are_what_was_asked() -> None:
    _, findings = surveyed()
    assert findings.created == "2031-05-04T00:00:00+00:00"
    assert findings.title == findings.lining == "invented"
