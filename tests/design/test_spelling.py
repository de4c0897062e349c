"""The nearest known word is named where it is near."""

from __future__ import annotations

import pytest

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
