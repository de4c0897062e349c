"""The nearest known word is named where it is near."""

from __future__ import annotations

import pytest

import geom
from geom.design.text_file import close_word, join_words, nearest_known


@pytest.mark.parametrize(
    ("word", "known"),
    [
        ("heigth", "height"),
        ("RADIUS", "radius"),
        ("radii", "radius"),
        ("azimut", "azimuth"),
    ],
)
def test_a_slip_finds_its_word(word, known):
    assert close_word(word, ["height", "radius", "azimuth", "width", "tall"]) == known


@pytest.mark.parametrize("word", ["", "§§§", "Winkel", "read_by", "units"])
def test_nothing_is_suggested_that_is_not_near(word):
    known = ["height", "radius", "azimuth_deg", "note", "length_unit"]
    assert close_word(word, known) == ""
    assert nearest_known(word, known) == ""


def test_words_are_put_in_a_row():
    assert join_words(["a"]) == "a"
    assert join_words(["a", "b"]) == "a or b"
    assert join_words(["a", "b", "c"], last="and") == "a, b and c"


def test_an_answer_of_a_new_drawing_that_nothing_reads_is_refused() -> None:
    told = {
        "name": "Cupola W (invented)", "unit": "mm", "profile": "570 at 0, 570 at 2600",
        "azimuth_zero": "tap hole", "azimuth_sense": "CW", "height_zero": "plate",
    }  # fmt: skip
    assert "[[hole]]" in geom.design_text(told | {"tap_hole": "90 x 90 at 150, 12"})
    with pytest.raises(geom.InputError, match=r"unknown answer 'taphole'.*tap_hole"):
        geom.design_text(told | {"taphole": "90 x 90 at 150, 12"})
