"""A small invented furnace and output folders of its surveys, for tests of records."""

from __future__ import annotations

import json
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from geom.compare import Findings, assess
from geom.design import Design, load_design
from geom.record.store.occasion import Occasion, Stage
from geom.surface import RadialSurface, reconstruct
from geom.views.netcdf import write_netcdf
from tests.walls import rod_readings, stations

DRAWING = """
[lining]
name = "Cupola S (invented)"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[shell]
radius = 620

[[profile]]
height = 0
radius = 400
[[profile]]
height = 150
radius = 400
[[profile]]
height = 150
radius = 420
[[profile]]
height = 320
radius = 440

[[tuyere]]
azimuth = 40
height = 90
width = 90
tall = 60
"""


def drawing(folder: Path, text: str = DRAWING) -> Path:
    path = folder / "cupola-s.toml"
    path.write_text(text, encoding="utf-8")
    return path


@cache
def surveyed(
    path: Path, low: float = 30.0, high: float = 290.0
) -> tuple[Design, RadialSurface, Findings]:
    """A worn wall, read on 8 azimuths at 5 heights, seen as a survey sees it."""
    design = load_design(path)
    azimuth, height = stations(8, 5, low, high)
    worn = 12.0 + 10.0 * np.cos(np.deg2rad(azimuth - 60.0)) + 0.03 * height
    radius = design.profile.radius_at(height) + worn
    readings = rod_readings(azimuth, height, radius, sd=2.0)
    surface = reconstruct(readings, design)
    return design, surface, assess(surface, design, title="Heat 7")


def output_folder(folder: Path, path: Path, **heights: float) -> Path:
    """What ``daubline survey`` writes of it, as far as a record reads it."""
    _, surface, findings = surveyed(path, **heights)
    folder.mkdir()
    write_netcdf(folder / "surface.nc", surface, findings)
    text = json.dumps(findings.to_dict())
    (folder / "findings.json").write_text(text, encoding="utf-8")
    return folder


def occasion(heat: int, stage: Stage = "before repair", **more: object) -> Occasion:
    """A day a heat, from the first of January 2026."""
    day = date(2026, 1, 1) + timedelta(days=heat)
    return Occasion(heat, stage, **({"date": day} | more))  # type: ignore[arg-type]
