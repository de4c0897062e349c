"""The face of the package: what a command does, its user can do in Python."""

from __future__ import annotations

import argparse
import inspect
import pydoc
from dataclasses import is_dataclass
from pathlib import Path

import numpy as np
import pytest

import geom
from geom.cli.main import parser
from geom.readings.load import load_readings

ROOT = Path(__file__).resolve().parent.parent
SCANS = ROOT / "scans"

#: What does the work of each command.
DONE_BY = {
    "design": ("design_text", "load_design"),
    "check": ("design_faults", "reading_faults"),
    "survey": ("load_readings", "learn_prior", "reconstruct", "assess", "write_survey"),
    "view": ("open_window", "draw_window"),
    "next": ("next_stations",),
    "sheet": ("plan_stations", "plan_next_stations", "write_rod_sheet"),
    "desk": ("run_desk",),
    "day": ("plan_day", "write_day"),
    "strickle": ("strickle_bytes",),
    "recheck": ("load_survey_before", "recheck", "write_recheck"),
    "record start": ("start_record",),
    "record add": ("add_survey", "Occasion"),
    "record list": ("open_record",),
    "record check": ("check_record",),
    "record rebuild": ("rebuild_manifest",),
    "record log": ("read_heat_log", "add_survey"),
    "change": ("compare_surveys", "write_change"),
    "wear": ("open_record", "study_wear", "write_wear"),
    "campaigns": ("compare_campaigns", "write_campaigns"),
}


def commands(top: argparse.ArgumentParser, before: str = "") -> dict[str, object]:
    """Commands and those below them, by what is typed."""
    found: dict[str, object] = {}
    for action in top._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                inner = commands(below, f"{before}{name} ")
                found |= inner or {f"{before}{name}": below}
    return found


def test_every_command_has_its_functions_on_the_face() -> None:
    assert set(commands(parser())) == set(DONE_BY)
    wanted = {name for names in DONE_BY.values() for name in names}
    assert wanted <= set(geom.__all__)


def test_what_the_functions_give_is_on_the_face_too() -> None:
    given = {"RodReadings", "CloudReadings", "RadialSurface", "Findings", "Zone"}
    given |= {"RepairPlan", "RepairPackage", "DayPlan", "Recheck", "SurveyBefore"}
    given |= {"Record", "Occasion", "Change", "Wear", "Comparison", "Advice", "Station"}
    given |= {"SamplingPlan", "PastSurvey", "PastPrior", "Maps", "Grid", "Design"}
    assert given <= set(geom.__all__)
    assert all(is_dataclass(getattr(geom, name)) for name in given)


def test_help_is_a_table_of_contents() -> None:
    top, _, _ = pydoc.plain(pydoc.render_doc(geom)).partition("PACKAGE CONTENTS")
    lines = top.splitlines()
    listed = {name.strip(" ,:") for name in top.replace(",", " ").split()}
    assert set(geom.__all__) - {"__version__"} <= listed
    assert len(lines) < 100
    assert top.index("load_design") < top.index("load_readings") < top.index("assess")


def test_every_function_of_the_face_says_what_it_takes() -> None:
    for name in geom.__all__:
        one = getattr(geom, name)
        if inspect.isfunction(one):
            hints = set(inspect.signature(one).parameters) - set(one.__annotations__)
            assert one.__doc__, name
            assert hints == set(), name


@pytest.fixture(scope="module")
def design() -> geom.Design:
    return geom.load_design(SCANS / "cupola-2.toml")


@pytest.fixture(scope="module")
def sheet(design: geom.Design) -> geom.RodReadings:
    readings = load_readings(SCANS / "cupola-2-heat-41.csv", design)
    assert isinstance(readings, geom.RodReadings)
    return readings


def test_arrays_are_the_readings_of_their_sheet(
    design: geom.Design, sheet: geom.RodReadings
) -> None:
    value = sheet.value / 25.4
    value[5] = np.nan
    read = geom.readings_from_arrays(
        sheet.azimuth, sheet.height / 25.4, value, design, unit="in"
    )
    assert len(read) == len(sheet) - 1
    assert read.value == pytest.approx(np.delete(sheet.value, 5))
    assert (read.step == sheet.step[0]).all()
    assert read.place[5] == "arrays, element 6 (counted from 0)"
    assert np.isnan(read.sd).all()
    mm = geom.readings_from_arrays(
        sheet.azimuth, sheet.height, sheet.value, design, unit="mm", sd=sheet.step
    )
    assert (mm.step > 1e-4).all()
    assert mm.sd == pytest.approx(sheet.step)


def test_a_frame_is_the_readings_of_its_sheet(
    design: geom.Design, sheet: geom.RodReadings
) -> None:
    import pandas as pd
    import polars as pl

    path = SCANS / "cupola-2-heat-41.csv"
    frames = pd.read_csv(path, comment="#"), pl.read_csv(path, comment_prefix="#")
    for frame in frames:
        read = geom.readings_from_dataframe(frame, design)
        assert (read.value == sheet.value).all()
        assert (read.azimuth == sheet.azimuth).all()
        assert (read.step == sheet.step).all()
    hours = {"clock": ["3:30"], "height_in": [24], "radius_mm": [460.0]}
    assert geom.readings_from_dataframe(hours, design).azimuth.tolist() == [105.0]


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"x": [1.0]}, "its columns x are none of a rod sheet"),
        ({}, r"its columns \(none\)"),
        (
            {"azimuth_deg": [0], "height_in": [24], "radius_in": ["low"]},
            r"DataFrame, element 0 \(counted from 0\), column radius_in",
        ),
    ],
)
def test_a_frame_that_cannot_be_read_says_where(
    design: geom.Design, columns: dict[str, list[object]], words: str
) -> None:
    with pytest.raises(geom.InputError, match=words):
        geom.readings_from_dataframe(columns, design)


def test_a_row_of_a_frame_is_named_by_its_index(design: geom.Design) -> None:
    import pandas as pd

    columns = {"azimuth_deg": [0, 30], "height_in": [24, 24], "radius_in": [18, "low"]}
    frame = pd.DataFrame(columns, index=[7, 25])
    with pytest.raises(geom.InputError, match="DataFrame, index 25, column radius_in"):
        geom.readings_from_dataframe(frame, design)
    twice = pd.DataFrame(columns, index=[7, 7])
    with pytest.raises(geom.InputError, match=r"element 1 \(counted from 0\), column"):
        geom.readings_from_dataframe(twice, design)
    nothing = pd.DataFrame({**columns, "radius_in": ["n/a", "n/a"]}, index=[7, 25])
    with pytest.raises(geom.InputError, match="DataFrame, columns: the sheet holds no"):
        geom.readings_from_dataframe(nothing, design)


def test_arrays_that_cannot_be_read_say_why(design: geom.Design) -> None:
    one = np.array([457.0])
    with pytest.raises(geom.InputError, match=r"not of one length: azimuth_deg \(2,\)"):
        geom.readings_from_arrays([0, 1], one, one, design, unit="mm")
    with pytest.raises(geom.InputError, match="radius in ft is no reading"):
        geom.readings_from_arrays([0], one, one, design, unit="ft")
    with pytest.raises(geom.InputError, match=r"arrays, element 0 \(counted from 0\)"):
        geom.readings_from_arrays([0], -one, one, design, unit="mm")
