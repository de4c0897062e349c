"""Lengths: every written form gives its number, and units change both ways."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.units import (
    MM_PER,
    as_fraction,
    from_mm,
    parse_number,
    say_both,
    say_length,
    to_mm,
)

SEEDED = settings(derandomize=True, deadline=None)

# Single signs for fractions, from the Unicode names ("VULGAR FRACTION THREE EIGHTHS").
SIGNS = {
    Fraction(1, 4): "¼", Fraction(1, 2): "½", Fraction(3, 4): "¾",
    Fraction(1, 8): "⅛", Fraction(3, 8): "⅜", Fraction(5, 8): "⅝", Fraction(7, 8): "⅞",
}  # fmt: skip


def written_forms(whole: int, part: Fraction, top: int, bottom: int) -> list[str]:
    """All the ways a shop writes ``whole top/bottom``."""
    decimal = f"{float(whole + part)!r}"
    forms = [
        f"{whole} {top}/{bottom}",
        f"{whole}-{top}/{bottom}",
        f"{whole}  {top} / {bottom}",
        f" {whole}\u00a0{top}\u2044{bottom} ",
        decimal,
        f"+{decimal}",
    ]
    if whole == 0:
        forms.append(f"{top}/{bottom}")
    if part in SIGNS:
        forms += [f"{whole}{SIGNS[part]}", f"{whole} {SIGNS[part]}"]
        forms += [f"{whole}-{SIGNS[part]}"] + [SIGNS[part]] * (whole == 0)
    return forms


@SEEDED
@given(
    whole=st.integers(0, 500),
    top=st.integers(0, 63),
    bottom=st.sampled_from([2, 4, 8, 16, 32, 64]),
    minus=st.sampled_from(["", "-", "\u2212"]),
)
def test_every_written_form_of_64ths_gives_the_same_number(whole, top, bottom, minus):
    top %= bottom
    part = Fraction(top, bottom)
    # 64ths of numbers up to 500 are exact in a double, so equality is exact.
    expected = float(whole + part) * (-1.0 if minus else 1.0)
    for form in written_forms(whole, part, top, bottom):
        text = form.strip().removeprefix("+")
        assert parse_number(minus + text) == expected, minus + text
        if not minus:
            assert parse_number(form) == expected, form


@SEEDED
@given(st.decimals(-9999, 9999, places=3))
def test_a_decimal_comma_says_what_the_point_says(value):
    text = str(value)
    with_comma = text.replace(".", ",")
    assert parse_number(with_comma, decimal_comma=True) == float(value)
    assert parse_number(text, decimal_comma=True) == float(value)
    with pytest.raises(ValueError, match="not a number"):
        parse_number(with_comma)


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "-", "abc", "nan", "inf", "-inf", "1e999", "1e-9999", "0x10", "1_000",
        "18 3/8 in", '18"', "18'", "18 3/8\"", "18 3", "18 3/", "/8", "3//8", "3/8/2",
        "1/0", "18 1/0", "8½3", "½3", "½½", "1½/2", "½e2", "18 -3/8", "1,5", "1.5/2",
        "18–3/8", "8-Mar", "1.2.3",
        "19 9/8", "199 9/8", "15 3/7", "8/8", "18⅓", "1/128",
        "9" * 400, "9" * 400 + "/7", "1/" + "9" * 5000,
    ],
)  # fmt: skip
def test_what_is_no_number_is_refused(text):
    with pytest.raises(
        ValueError, match=r"not a number|divides by|not a fraction of|too l"
    ) as told:
        parse_number(text)
    assert len(str(told.value)) < 200


def test_a_ratio_may_be_any_fraction():
    assert parse_number("1/24", ratio=True) == 1 / 24
    assert parse_number("4/3", ratio=True) == 4 / 3


@pytest.mark.parametrize("text", ["1.234,5", "1,234,5", "18,", ","])
def test_a_comma_that_is_no_decimal_mark_is_not_guessed_at(text):
    if text == "18,":
        assert parse_number(text, decimal_comma=True) == 18.0
        return
    with pytest.raises(ValueError, match="not a number"):
        parse_number(text, decimal_comma=True)


@SEEDED
@given(st.text(max_size=50))
def test_any_text_is_a_finite_number_or_refused(text):
    try:
        value = parse_number(text)
    except ValueError:
        return
    assert abs(value) < float("inf")


def test_an_inch_is_25_4_mm_exactly():
    # International yard and pound agreement, 1959; NIST SP 811, appendix B.8.
    assert MM_PER["in"] == Fraction(254, 10)
    assert to_mm(1.0, "in") == 25.4
    assert to_mm(12.0, "in") == pytest.approx(304.8, abs=1e-12)
    assert [to_mm(1.0, unit) for unit in ("mm", "cm", "m")] == [1.0, 10.0, 1000.0]


@SEEDED
@given(st.floats(-1e5, 1e5), st.sampled_from(sorted(MM_PER)))
def test_there_and_back_is_the_same_length(value, unit):
    # Two roundings of a double.
    assert from_mm(to_mm(value, unit), unit) == pytest.approx(
        value, rel=5e-16, abs=1e-300
    )
    assert to_mm(from_mm(value, unit), unit) == pytest.approx(
        value, rel=5e-16, abs=1e-300
    )


@SEEDED
@given(st.integers(-64 * 100, 64 * 100))
def test_a_fraction_said_is_the_fraction_read(parts):
    assert parse_number(as_fraction(parts / 64, finest=64)) == parts / 64


@SEEDED
@given(st.floats(-100.0, 100.0), st.sampled_from([1, 2, 4, 8, 16, 32, 64]))
def test_rounding_to_a_fraction_is_off_by_half_a_step_at_most(inches, finest):
    said = parse_number(as_fraction(inches, finest=finest))
    assert abs(said - inches) <= 0.5 / finest + 1e-12


@pytest.mark.parametrize(
    ("mm", "unit", "said", "both"),
    [
        (0.0, "in", "0 in", "0 in (0 mm)"),
        (31.75, "in", "1 1/4 in", "1 1/4 in (32 mm)"),
        (-9.525, "in", "-3/8 in", "-3/8 in (-10 mm)"),
        (-0.2, "mm", "0 mm", "0 mm"),
        (457.2, "cm", "45.7 cm", "45.7 cm (457 mm)"),
        (457.2, "m", "0.457 m", "0.457 m (457 mm)"),
    ],
)
def test_lengths_are_said_as_the_shop_says_them(mm, unit, said, both):
    assert say_length(mm, unit) == said
    assert say_both(mm, unit) == both
