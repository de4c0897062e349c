"""Stations that nobody could reach: no readings, and kept as places."""

from __future__ import annotations

from pathlib import Path

import pytest

from geom import InputError, load_readings
from geom.readings import RodReadings
from tests.walls import plain_design

DESIGN = plain_design()


def loaded(tmp_path: Path, text: str) -> RodReadings:
    path = tmp_path / "rod.csv"
    path.write_text(text, "utf-8")
    readings = load_readings(path, DESIGN)
    assert isinstance(readings, RodReadings)
    return readings


@pytest.mark.parametrize("word", ["no access", "No  Access", "n/a", "N/A", "-", "–"])
def test_a_cell_may_say_that_nobody_could_reach(tmp_path: Path, word: str) -> None:
    rows = [f"30,600,{word},crust hangs", "0,600,455,", "60,600,457.5,"]
    long = loaded(tmp_path, "\n".join(["azimuth_deg,height_mm,radius_mm,note", *rows]))
    wide = loaded(
        tmp_path, f"height_mm \\ radius_mm,0deg,30deg,60deg\n600,455,{word},457.5\n"
    )
    for readings in (long, wide):
        assert readings.value.tolist() == [455.0, 457.5]
        assert readings.step.tolist() == [0.1, 0.1]
        assert readings.no_access.azimuth.tolist() == [30.0]
        assert readings.no_access.height.tolist() == [600.0]


def test_a_blank_reading_of_the_long_form_is_still_a_fault(tmp_path: Path) -> None:
    text = "azimuth_deg,height_mm,radius_mm\n0,600,455\n30,600,\n"
    with pytest.raises(InputError, match="the radius is blank"):
        loaded(tmp_path, text)


def test_a_negative_cutback_is_a_reading(tmp_path: Path) -> None:
    text = "azimuth_deg,height_mm,cutback_mm\n0,600,-12\n30,600,-\n"
    readings = loaded(tmp_path, text)
    assert readings.value.tolist() == [-12.0]
    assert readings.no_access.azimuth.tolist() == [30.0]


@pytest.mark.parametrize("text", [
    "azimuth_deg,height_mm,radius_mm\n0,600,n/a\n",
    "height_mm \\ radius_mm,0deg\n600,n/a\n",
])  # fmt: skip
def test_a_sheet_of_nothing_else_holds_no_readings(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError, match="holds no readings"):
        loaded(tmp_path, text)


def test_sheets_joined_and_sorted_keep_their_places(tmp_path: Path) -> None:
    text = "azimuth_deg,height_mm,radius_mm\n0,600,455\n30,600,n/a\n60,700,456\n"
    one = loaded(tmp_path, text)
    both = one.joined(one)
    assert both.no_access.height.tolist() == [600.0, 600.0]
    assert both.take(both.canonical_order()).no_access.azimuth.tolist() == [30.0, 30.0]


@pytest.mark.parametrize(("turn", "azimuth"), [
    ("15", [15.0, 105.0]), ("-15", [345.0, 75.0]), ("", [0.0, 90.0]),
    ("270", [270.0, 0.0]),
])  # fmt: skip
def test_a_turned_row_stands_further_on_than_its_heads(
    tmp_path: Path, turn: str, azimuth: list[float]
) -> None:
    text = f"height_mm \\ radius_mm,turn_deg,0deg,90deg\n600,{turn},455,456\n"
    assert loaded(tmp_path, text).azimuth.tolist() == azimuth


@pytest.mark.parametrize(("head", "turn", "fault"), [
    ("turn_deg", "400", "a row turned by 400 degrees"),
    ("turn_deg", "half", "half"),
    ("turn_deg,turn_deg", "15,15", "two columns for turn_deg"),
])  # fmt: skip
def test_a_turn_that_is_none_is_refused(
    tmp_path: Path, head: str, turn: str, fault: str
) -> None:
    text = f"height_mm \\ radius_mm,{head},0deg,90deg\n600,{turn},455,456\n"
    with pytest.raises(InputError, match=fault):
        loaded(tmp_path, text)


def test_comments_that_a_spreadsheet_quoted_are_comments(tmp_path: Path) -> None:
    text = (
        '"# Radius, mm; the highest on top",,\n'
        "height_mm \\ radius_mm,0deg,90deg\n600,455,456\n"
    )
    assert loaded(tmp_path, text).value.tolist() == [455.0, 456.0]
