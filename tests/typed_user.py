"""A strict user of the package: read by mypy (``scripts/check.py``), never run.

A function behind a bare decorator would be Any to a user: then ``assert_type`` fails,
and so does every ``type: ignore`` below, for there is nothing left to ignore.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, assert_type

import numpy as np

import geom

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure


def survey(design: geom.Design) -> None:
    """What each function of the main job gives."""
    readings = geom.load_readings("rod.csv", design)
    assert_type(readings, geom.RodReadings | geom.CloudReadings)
    surface = geom.reconstruct(readings, design)
    assert_type(surface, geom.RadialSurface)
    findings = geom.assess(surface, design)
    assert_type(findings, geom.Findings)
    works = geom.prepare_repair(surface, findings, design)
    assert_type(works, geom.RepairPackage)
    written = geom.write_survey("out", readings, surface, findings, works=works)
    assert_type(written, list[Path])
    geom.export(findings, "zones.xlsx")


def in_memory(design: geom.Design) -> None:
    """Readings that were never in a file, and what they become elsewhere."""
    ring = np.arange(12) * 30.0
    readings = geom.readings_from_arrays(ring, ring, ring, design, unit="mm")
    assert_type(readings, geom.RodReadings)
    assert_type(geom.readings_from_dataframe({}, design), geom.RodReadings)
    surface = geom.reconstruct(readings, design)
    assert_type(surface.to_xarray(), xr.Dataset)
    assert_type(surface.plot(), Figure)
    assert_type(surface.plot_section(height=1000.0), Figure)
    volume = geom.assess(surface, design).volume.rebuild
    assert_type(2 * volume / 1e6 + 1.0, geom.Quantity)


def repair(design: geom.Design, surface: geom.RadialSurface) -> None:
    """After the survey."""
    before = geom.load_survey_before("out", design)
    findings = geom.assess(surface, design)
    result = geom.recheck(before, surface, findings, design)
    assert_type(result, geom.Recheck)
    geom.write_recheck("recheck", result, design, overwrite=True)
    assert_type(geom.plan_day("out", design), geom.DayPlan)
    assert_type(geom.plan_repair(surface, findings, design), geom.RepairPlan)


def heats(design: geom.Design) -> None:
    """Heat after heat."""
    record = geom.open_record("record")
    assert_type(record, geom.Record)
    wear = geom.study_wear(record)
    assert_type(wear, geom.Wear)
    geom.write_wear("wear", wear, record)
    change = geom.compare_surveys("first", "last", design)
    assert_type(change, geom.Change)
    both = geom.compare_campaigns((record, "one"), (record, "two"))
    assert_type(both, geom.Comparison)


def stations(design: geom.Design, surface: geom.RadialSurface) -> None:
    """Where to measure."""
    plan = geom.plan_stations(design)
    assert_type(plan, geom.SamplingPlan)
    geom.write_rod_sheet("sheet", design, plan)
    advice = geom.next_stations(surface, geom.load_readings("rod.csv", design))
    assert_type(advice, geom.Advice)
    assert_type(geom.plan_next_stations(design, advice), geom.SamplingPlan)


def mistaken(design: geom.Design) -> None:
    """What none of them takes."""
    readings = geom.load_readings(1.5, design)  # type: ignore[arg-type]
    geom.load_readings("rod.csv", "lining.toml")  # type: ignore[arg-type]
    geom.reconstruct("rod.csv", design)  # type: ignore[arg-type]
    surface = geom.reconstruct(readings, "lining.toml")  # type: ignore[arg-type]
    geom.assess("surface.nc", design)  # type: ignore[arg-type]
    findings = geom.assess(surface, "lining.toml")  # type: ignore[arg-type]
    geom.export(readings, "rod.csv")  # type: ignore[arg-type]
    geom.write_survey("out", surface, readings, findings)  # type: ignore[arg-type]
    surface.plot_section(760.0)  # type: ignore[call-arg]
