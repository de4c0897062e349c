"""The examples of docs/file-formats.md are read as the text beside them says."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from geom.design import load_design
from geom.design.schema import TABLES
from geom.readings import load_readings
from geom.units import parse_number

TEXT = Path(__file__).parents[2].joinpath("docs", "file-formats.md").read_text("utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)


def block(start: str) -> str:
    """Give the example that holds some words."""
    (found,) = [content for _, content in BLOCKS if start in content]
    return found


@pytest.fixture
def drawn(write):
    return load_design(write(block("[lining]"), "lining.toml"))


def test_the_design_file_is_read(drawn):
    assert drawn.profile.steps == pytest.approx([1016.0])
    assert [o.kind for o in drawn.openings] == ["tuyere", "tuyere", "tap hole"]
    assert drawn.rod.step == pytest.approx(3.175)


def test_every_key_there_is_is_told():
    for table in TABLES:
        assert table.heading in block("[lining]")
        for key in table.keys:
            assert f"`{key}`" in TEXT


def test_the_long_form_is_read(drawn, write):
    text = block("azimuth_deg,height_in,radius_in,sd_in")
    readings = load_readings(write(text), drawn)
    assert readings.azimuth.tolist() == [0.0, 30.0, 60.0]
    assert readings.sd[2] == pytest.approx(6.35)
    assert readings.note == ("", "", "rough")


def test_the_wide_form_is_read(drawn, write):
    readings = load_readings(write(block("height_in \\ radius_in, 0deg")), drawn)
    assert readings.azimuth.tolist() == [0.0, 30.0, 60.0, 0.0, 60.0]
    assert np.unique(readings.step) == pytest.approx([3.175])
    assert readings.note[-1] == "slag at 30"


def test_turned_rows_are_read(drawn, write):
    readings = load_readings(write(block("radius_in, turn_deg")), drawn)
    assert readings.azimuth.tolist() == [15.0, 45.0, 75.0, 0.0, 30.0, 60.0]
    assert readings.height == pytest.approx(np.repeat([762.0, 609.6], 3))


def test_the_numbers_said_to_be_one_are_one():
    written = re.split(r"\s{2,}", block("18-3/8    18").strip())
    assert len(written) == 4
    assert {parse_number(text) for text in written} == {18.375}
