"""What cannot be of this lining is refused with its likely cause."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.design import Profile
from geom.errors import InputError
from geom.readings import load_readings
from geom.units import MM_PER

AZIMUTHS = range(45, 345, 30)
HEIGHTS = (24, 40, 60, 80)
#: Inches: an invented wall, worn most at 40 in.
WORN = {24: 18.25, 40: 20.5, 60: 19.0, 80: 18.0}


def sheet(height_unit, column, value, *, height_factor=1.0):
    """Write a sheet of the worn wall; value takes the radius in inches."""
    lines = [f"azimuth_deg,height_{height_unit},{column}"]
    lines += [
        f"{a},{h * height_factor!r},{value(WORN[h])!r}"
        for h in HEIGHTS
        for a in AZIMUTHS
    ]
    return "\n".join(lines)


def refusal(path, design) -> InputError:
    """Give the error that a sheet meets."""
    with pytest.raises(InputError) as caught:
        load_readings(path, design)
    assert caught.value.file == str(path)
    assert caught.value.place
    assert caught.value.cure
    return caught.value


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("radius_in", lambda r: r),
        ("diameter_in", lambda r: 2 * r),
        ("cutback_in", lambda r: r - 18),
        ("radius_mm", lambda r: 25.4 * r),
    ],
)
def test_the_wall_as_it_is_passes(write, lining, column, value):
    path = write(sheet("in", column, value))
    assert len(load_readings(path, lining)) == 40


SLIPS = {
    "inches as millimetres": ("radius_mm", lambda r: r, "inches", "radius_in"),
    "inches as centimetres": ("radius_cm", lambda r: r, "inches", "radius_in"),
    "inches as metres": ("radius_m", lambda r: r, "inches", "radius_in"),
    "millimetres as inches": ("radius_in", lambda r: 25.4 * r, "millimet", "radius_mm"),
    "millimetres as metres": ("radius_m", lambda r: 25.4 * r, "millimet", "radius_mm"),
    "centimetres as inches": ("radius_in", lambda r: 2.54 * r, "centimet", "radius_cm"),
    "centimetres as millimetres": (
        "radius_mm",
        lambda r: 2.54 * r,
        "centimet",
        "radius_cm",
    ),
    "metres as inches": ("radius_in", lambda r: 0.0254 * r, "metres", "radius_m"),
    "diameters as radii": ("radius_in", lambda r: 2 * r, "diameters", "diameter_in"),
    "radii as diameters": ("diameter_in", lambda r: r, "radii", "radius_in"),
    "radii of a clean wall as diameters": (
        "diameter_mm",
        lambda _: 457.2,
        "radii",
        "radius_mm",
    ),
    "diameters in inches as millimetres": (
        "diameter_mm",
        lambda r: 2 * r,
        "inches",
        "diameter_in",
    ),
    "radii as cut-backs": ("cutback_in", lambda r: r, "radii", "radius_in"),
    "cut-backs as radii": ("radius_in", lambda r: r - 18, "cut-backs", "cutback_in"),
    "millimetre cut-backs as inches": (
        "cutback_in",
        lambda r: round(25.4 * (r - 18)),
        "millimet",
        "cutback_mm",
    ),
}


@pytest.mark.parametrize("name", SLIPS)
def test_a_whole_sheet_of_another_unit_or_quantity_is_named(write, lining, name):
    column, value, looks, cure = SLIPS[name]
    path = write(sheet("in", column, value))
    fault = refusal(path, lining)
    assert fault.what.startswith(f"the readings look like {looks}")
    assert f"Name it {cure}," in fault.cure
    assert fault.place == "row 1"


@pytest.mark.parametrize(
    ("unit", "factor", "looks"),
    [("mm", 1.0, "in"), ("in", 25.4, "mm"), ("in", 2.54, "cm"), ("m", 25.4, "mm"),
     ("m", 1.0, "in"), ("in", 0.0254, "m")],
)  # fmt: skip
def test_heights_in_another_unit_are_named(write, design, unit, factor, looks):
    path = write(sheet(unit, "radius_in", lambda r: r, height_factor=factor))
    fault = refusal(path, design)
    assert fault.what.startswith(f"the heights look like {looks}, not {unit}")
    assert f"Name the column height_{looks}," in fault.cure


@pytest.mark.parametrize("unit", sorted(MM_PER))
def test_heights_in_their_own_unit_pass(write, design, unit):
    factor = float(MM_PER["in"] / MM_PER[unit])
    path = write(sheet(unit, "radius_in", lambda r: r, height_factor=factor))
    assert len(load_readings(path, design)) == 40


def test_a_survey_of_one_low_ring_passes(write, design):
    rows = "".join(f"{a},50,18\n" for a in range(30, 340, 30))
    path = write("azimuth_deg,height_mm,radius_in\n" + rows)
    assert len(load_readings(path, design)) == 11


ROWS = {
    # column, reading of the row at fault, and what is said with and without a shell
    "zero": ("radius_in", "0", "not greater than 0", "not greater than 0"),
    "a cut-back": ("radius_in", "-35", "Is this a cut-back?", "Is this a cut-back?"),
    "past the shell": ("radius_in", "27 1/8", "past the shell (27 in", None),
    "a diameter": ("radius_in", "36", "Is this a diameter?", "Is this a diameter?"),
    "worn diameter": ("radius_in", "41", "Is this a diameter?", "Is this a diameter?"),
    "millimetres": ("radius_in", "470", "in millimetres?", "in millimetres?"),
    "a digit too many": ("radius_in", "1838", "Is a digit", "Is a digit"),
    "inches": ("radius_mm", "18.5", "Is this in inches?", "Is this in inches?"),
    "far inside": ("radius_in", "8", "not in 9 in to 27 in", "not in 9 in to 28.8 in"),
    "far outside": ("radius_in", "29", "past the shell", "not in 9 in to 28.8 in"),
    "a radius among diameters": ("diameter_in", "17", "Is this a radius?", "radius?"),
    "a diameter past the shell": ("diameter_in", "55", "past the shell", None),
    "a diameter of nothing": ("diameter_in", "0", "not greater than 0", "than 0"),
    "cut-back past the shell": ("cutback_in", "9 1/4", "past the shell", None),
    "cut-back past anything": (
        "cutback_in",
        "11",
        "past the shell",
        "not in 7.2 in to",
    ),
    "a radius among cut-backs": ("cutback_in", "18", "Is this a radius?", "radius?"),
    "build-up past the axis": ("cutback_in", "-18", "not greater than 0", "than 0"),
    "build-up past most": ("cutback_in", "-12", None, "not in 7.2 in to 28.8 in"),
}
CLEAN = {"radius_in": "18", "radius_mm": "457", "diameter_in": "36", "cutback_in": "0"}


@pytest.mark.parametrize("name", ROWS)
def test_a_single_reading_that_cannot_be_is_named(write, lining, name):
    column, reading, with_shell, without = ROWS[name]
    words = with_shell if lining.shell_radius else without
    rows = "".join(f"{a},24,{CLEAN[column]}\n" for a in AZIMUTHS)
    path = write(f"azimuth_deg,height_in,{column}\n{rows}200,60,{reading}\n")
    if words is None:
        assert len(load_readings(path, lining)) == 11
        return
    fault = refusal(path, lining)
    assert fault.place == f"row 12, column {column}"
    assert words in str(fault)
    assert "paper sheet" in fault.cure


@pytest.mark.parametrize("reading", ["27", "685.8", "9", "26.99"])
def test_what_is_just_possible_is_kept(write, design, reading):
    unit = "mm" if reading == "685.8" else "in"
    text = f"azimuth_deg,height_in,radius_{unit}\n"
    text += "".join(f"{a},24,{18 * (25.4 if unit == 'mm' else 1)}\n" for a in AZIMUTHS)
    path = write(f"{text}200,60,{reading}\n")
    assert len(load_readings(path, design)) == 11


@pytest.mark.parametrize(
    ("height", "words"),
    [("-1", "outside the profile (0 in to 95 in)"), ("95.1", "height 95.1 in")],
)
def test_a_height_outside_the_profile_is_named(write, design, height, words):
    rows = "".join(f"{a},24,18\n" for a in AZIMUTHS)
    path = write(f"azimuth_deg,height_in,radius_in\n{rows}10,{height},18\n")
    fault = refusal(path, design)
    assert words in fault.what
    assert "bottom plate" in fault.cure
    assert fault.place == "row 12, column height_in"


@pytest.mark.parametrize("sd", ["0", "-1", "100", "1000"])
def test_an_sd_that_is_none_is_named(write, design, sd):
    path = write(f"azimuth_deg,height_in,radius_in,sd_mm\n10,24,18,1\n20,24,18,{sd}\n")
    fault = refusal(path, design)
    assert "0.001 <= sd < 100 mm" in fault.what
    assert fault.place == "row 3, column sd_mm"


@pytest.mark.parametrize("sd", ["0.01", "99.9", ""])
def test_an_sd_that_may_be_is_kept(write, design, sd):
    path = write(f"azimuth_deg,height_in,radius_in,sd_mm\n10,24,18,{sd}\n")
    assert len(load_readings(path, design)) == 1


# The tuyere of the design spans 5 in on a radius of 18 in: 30 +- 7.958 degrees, and
# 17.5 +- 1.75 in; the tap hole spans 0 +- 9.549 degrees and 4 +- 3 in.
@pytest.mark.parametrize(
    ("azimuth", "height", "hole"),
    [
        (30, 17.5, "tuyere"),
        (22.1, 15.8, "tuyere"),
        (37.9, 19.2, "tuyere"),
        (22.0, 17.5, None),
        (38.0, 17.5, None),
        (30, 15.7, None),
        (30, 19.3, None),
        (355, 4, "tap hole"),
        (9.5, 4, "tap hole"),
        (360, 1.1, "tap hole"),
        (9.6, 4, None),
        (350.4, 4, None),
    ],
)
def test_a_reading_in_an_opening_is_named(write, design, azimuth, height, hole):
    path = write(f"azimuth_deg,height_in,radius_in\n90,50,18\n{azimuth},{height},18\n")
    if hole is None:
        assert len(load_readings(path, design)) == 2
        return
    fault = refusal(path, design)
    assert f"lies in the {hole} at azimuth" in fault.what
    assert fault.place.startswith("row 3")


def test_a_diameter_meets_openings_at_both_ends(write, design):
    text = "azimuth_deg,height_in,diameter_in\n90,50,36\n{},17.5,36\n"
    assert "tuyere" in refusal(write(text.format(30)), design).what
    assert "tuyere" in refusal(write(text.format(210), "b.csv"), design).what
    assert len(load_readings(write(text.format(120), "c.csv"), design)) == 2
    one_sided = text.replace("diameter", "radius").replace("36", "18").format(210)
    assert len(load_readings(write(one_sided, "d.csv"), design)) == 2


def test_the_design_radius_is_that_at_the_readings_height(write, no_shell):
    cone = replace(
        no_shell,
        profile=Profile(np.array([0.0, 2000.0]), np.array([300.0, 900.0])),
        openings=(),
    )
    # At 100 mm the design radius is 330 mm, at 1900 mm it is 870 mm.
    head = "azimuth_deg,height_mm,radius_mm\n0,100,330\n0,1000,600\n0,1900,870\n"
    assert len(load_readings(write(head), cone)) == 3
    path = write(head + "0,100,600\n", "b.csv")
    fault = refusal(path, cone)
    assert "design radius there is 330 mm" in fault.what
    assert len(load_readings(write(head + "0,1900,600\n", "c.csv"), cone)) == 4


@given(
    unit=st.sampled_from(sorted(MM_PER)),
    other=st.sampled_from(sorted(MM_PER)),
    wear=st.lists(st.floats(0.97, 1.25), min_size=4, max_size=12),
)
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    max_examples=60,
    deadline=None,
    derandomize=True,
)
def test_no_sheet_of_radii_in_another_unit_passes(write, design, unit, other, wear):
    size = 18.0 * float(MM_PER["in"] / MM_PER[unit])
    rows = "".join(f"{45 + 20 * i},50,{size * w!r}\n" for i, w in enumerate(wear))
    path = write(f"azimuth_deg,height_in,radius_{other}\n{rows}")
    if unit == other:
        assert len(load_readings(path, design)) == len(wear)
        return
    assert f"radius_{unit}" in str(refusal(path, design))


@pytest.mark.parametrize("hours", [range(1, 13), (3, 6, 9, 12), (1, 2, 3)])
def test_hours_typed_as_degrees_are_refused_with_the_cure(write, design, hours):
    lines = ["azimuth_deg,height_in,radius_in"]
    lines += [f"{hour},{height},{WORN[height]}" for height in HEIGHTS for hour in hours]
    fault = refusal(write("\n".join(lines)), design)
    assert "hours?" in str(fault)
    assert "clock" in fault.cure
    assert "degrees" in fault.cure


@pytest.mark.parametrize("azimuths", [range(12), range(10, 100, 10), (1.5, 3, 6)])
def test_degrees_that_are_no_hours_pass(write, no_shell, azimuths):
    lines = ["azimuth_deg,height_in,radius_in"]
    lines += [f"{a},{height},{WORN[height]}" for height in HEIGHTS for a in azimuths]
    assert len(load_readings(write("\n".join(lines)), no_shell)) == 4 * len(azimuths)
