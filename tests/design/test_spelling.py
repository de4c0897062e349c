"""The nearest known word is named, whatever was written."""

from __future__ import annotations

import pytest

from geom.design.text_file import join_words, nearest_word


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
    assert nearest_word(word, ["height", "radius", "azimuth", "width", "tall"]) == known


def test_there_is_always_a_nearest_word():
    assert nearest_word("", ["height", "radius"]) in ("height", "radius")
    assert nearest_word("§§§", ["radius"]) == "radius"


def test_words_are_put_in_a_row():
    assert join_words(["a"]) == "a"
    assert join_words(["a", "b"]) == "a or b"
    assert join_words(["a", "b", "c"], last="and") == "a, b and c"
