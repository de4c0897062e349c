"""The finest division a column is written in."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.readings.sheets.sheet import finest_division

SEEDED = settings(derandomize=True, deadline=None)


@pytest.mark.parametrize(
    ("texts", "unit", "step"),
    [
        (["18 3/8", "18 1/2", "18"], "in", Fraction(1, 8)),
        (["18⅜", "18½"], "in", Fraction(1, 8)),
        (["18 4/8"], "in", Fraction(1, 8)),
        (["-1/4", "1/16"], "in", Fraction(1, 16)),
        (["455", "460"], "mm", Fraction(1)),
        (["455.5", "460"], "mm", Fraction(1, 10)),
        (["455.50"], "mm", Fraction(1, 100)),
        (["45.5", "46.25"], "cm", Fraction(1, 100)),
        (["0.455", "0.46"], "m", Fraction(1, 1000)),
        (["1e1"], "mm", Fraction(1)),
        (["4.555e2"], "mm", Fraction(1, 10)),
        # An inch fraction that a spreadsheet shows as a decimal is still a fraction ...
        (["18.375", "18.5", "18.125"], "in", Fraction(1, 8)),
        (["18.25", "18.5", "18.75"], "in", Fraction(1, 4)),
        (["18.375", "18 1/2"], "in", Fraction(1, 8)),
        (["18.0625", "18.375"], "in", Fraction(1, 16)),
        # ... but one such number, or one among others, may be a decimal.
        (["18.375"], "in", Fraction(1, 1000)),
        (["18.375", "18.5", "18.126"], "in", Fraction(1, 1000)),
        (["18.25", "18"], "in", Fraction(1, 100)),
        (["18.5", "19.5", "17.5", "18", "20.5", "21.5"], "in", Fraction(1, 10)),
        (["18.3", "18 3/8"], "in", Fraction(1, 10)),
        # Millimetres are not written in eighths.
        (["455.375", "455.5", "455.125"], "mm", Fraction(1, 1000)),
    ],
)
def test_the_division_is_that_of_the_whole_column(texts, unit, step):
    assert finest_division(texts, unit=unit) == step
    assert finest_division(reversed(texts), unit=unit) == step


def test_a_decimal_comma_is_a_decimal():
    assert finest_division(["455,5"], unit="mm", decimal_comma=True) == Fraction(1, 10)


def test_numbers_past_any_use_do_no_harm():
    assert finest_division(["1e300", "1e-300"], unit="in") == Fraction(1, 10**300)


@SEEDED
@given(
    st.lists(st.integers(0, 2000), min_size=1, max_size=20),
    st.sampled_from([2, 4, 8, 16, 32, 64]),
)
def test_fractions_give_their_denominator(parts, bottom):
    texts = [f"{part // bottom} {part % bottom}/{bottom}" for part in parts]
    assert finest_division(texts, unit="in") == Fraction(1, bottom)
