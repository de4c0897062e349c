"""A strict user of the package: read by mypy (``scripts/check.py``), never run.

A function behind a bare decorator would be Any to a user: then ``assert_type`` fails,
and so does every ``type: ignore`` below, for there is nothing left to ignore.
"""

from __future__ import annotations

from typing import assert_type

import geom
from geom.compare.findings import Findings
from geom.readings.cloud import CloudReadings
from geom.readings.rod import RodReadings
from geom.surface.radial import RadialSurface


def survey(design: geom.Design) -> None:
    """What each function of the main job gives."""
    readings = geom.load_readings("rod.csv", design)
    assert_type(readings, RodReadings | CloudReadings)
    surface = geom.reconstruct(readings, design)
    assert_type(surface, RadialSurface)
    assert_type(geom.assess(surface, design), Findings)


def mistaken(design: geom.Design) -> None:
    """What none of them takes."""
    readings = geom.load_readings(1.5, design)  # type: ignore[arg-type]
    geom.load_readings("rod.csv", "lining.toml")  # type: ignore[arg-type]
    geom.reconstruct("rod.csv", design)  # type: ignore[arg-type]
    surface = geom.reconstruct(readings, "lining.toml")  # type: ignore[arg-type]
    geom.assess("surface.nc", design)  # type: ignore[arg-type]
    geom.assess(surface, "lining.toml")  # type: ignore[arg-type]
