"""How numbers and places are said."""

from dataclasses import replace

import pytest

from geom.quantity import Quantity
from geom.views import say as words


@pytest.fixture(scope="module")
def zone(furnace):
    return furnace.findings.zones[0]


def test_a_zone_across_azimuth_zero_is_told_so(furnace, zone):
    crossing = replace(zone, azimuth_from=330.0, azimuth_to=45.0)
    assert words.span(crossing) == 75.0
    assert words.say_degrees(crossing, furnace.design) == (
        "330° to 45° clockwise, across 0°"
    )
    assert words.say_clock(crossing, furnace.design) == (
        "from 11 o'clock to half past 1"
    )


def test_the_clock_runs_clockwise_for_either_sense(build, zone):
    # Counterclockwise 30 to 90 is, on the clock, from 9 o'clock on to 11 o'clock.
    design = build("mm", "counterclockwise").design
    part = replace(zone, azimuth_from=30.0, azimuth_to=90.0)
    assert words.say_clock(part, design) == "from 9 o'clock to 11 o'clock"
    assert words.say_degrees(part, design) == "30° to 90° counterclockwise"


def test_all_round_is_said_as_all_round(furnace, zone):
    whole = replace(zone, azimuth_from=0.0, azimuth_to=360.0)
    assert words.say_clock(whole, furnace.design) == "all the way round"
    assert words.say_degrees(whole, furnace.design) == "all round"


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_more_than_half_round_is_not_taken_for_the_rest(build, zone, sense):
    """From 2 to 1 o'clock is eleven hours; the hour between them is from 1 to 2."""
    design = build("mm", sense).design
    ends = {"clockwise": (60.0, 30.0), "counterclockwise": (330.0, 300.0)}[sense]
    long = replace(zone, azimuth_from=ends[0], azimuth_to=ends[1])
    assert words.span(long) == 330.0
    assert words.say_clock(long, design) == (
        "from 2 o'clock the long way round to 1 o'clock"
    )
    rest = replace(zone, azimuth_from=ends[1], azimuth_to=ends[0])
    assert words.say_clock(rest, design) == "from 1 o'clock to 2 o'clock"


def test_nearly_all_round_is_not_one_place(furnace, zone):
    nearly = replace(zone, azimuth_from=95.0, azimuth_to=86.0)
    assert words.say_clock(nearly, furnace.design) == "all round but at 3 o'clock"
    narrow = replace(zone, azimuth_from=86.0, azimuth_to=95.0)
    assert words.say_clock(narrow, furnace.design) == "at 3 o'clock"


def test_lengths_are_said_in_the_shops_unit_first(build):
    inch, metric = build().design, build("mm").design
    assert words.say_heights(457.2, 622.3, inch) == "18 to 24 1/2 in (457 to 622 mm)"
    assert words.say_heights(457.2, 622.3, metric) == "457 to 622 mm"
    said = words.say_length_interval(Quantity.normal(31.75, 3.0), inch)
    assert said == "1 1/4 in (32 mm); 95 %: 1 to 1 1/2 in (26 to 38 mm)"


def test_volumes_are_litres_and_cubic_feet(build):
    # A cubic foot is 28.316846592 litres (NIST SP 811, appendix B.8).
    foot = 28.316846592e6
    assert words.say_volume(foot, build().design) == "1.00 ft³ (28.3 L)"
    assert words.say_volume(foot, build("mm").design) == "28.3 L"
    said = words.say_volume_interval(
        Quantity(foot, 0, 0.5 * foot, 2 * foot), build().design
    )
    assert said == "0.500 to 2.00 ft³"
    assert words.say_cubic_metres(Quantity(foot, 0, foot, foot)).startswith(
        "in m³: 0.0283"
    )


@pytest.mark.parametrize(
    ("raw", "said"),
    [("a\nb\t c", "a b c"), ("\x00\x1bx\u202ey", "xy"), ("  ", ""), ("z" * 9, "zzzz…")],
)
def test_anybodys_text_is_made_plain(raw, said):
    assert words.plain(raw, most=5) == said


def test_a_time_that_is_none_is_said_as_it_stands():
    assert words.say_time("2026-01-05T06:30:00+00:00") == "2026-01-05 06:30 UTC"
    assert words.say_time("last week") == "last week"
