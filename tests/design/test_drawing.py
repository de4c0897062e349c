"""What an opening holds, also where azimuth starts again; and what is one drawing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.design import Design, Opening, Profile, RepairRules, load_design


def test_half_angle_is_that_of_the_arc():
    # An arc of pi/6 r spans 30 degrees.
    hole = Opening("door", azimuth=0.0, height=0.0, width=np.pi * 50.0, tall=10.0)
    assert hole.half_angle(300.0) == pytest.approx(15.0, abs=1e-12)


@pytest.mark.parametrize("centre", [0.0, 5.0, 180.0, 355.0])
def test_an_opening_holds_what_lies_in_it_across_azimuth_0(centre):
    hole = Opening("tuyere", azimuth=centre, height=50.0, width=np.pi * 50.0, tall=20.0)
    around = (centre + np.array([-15.1, -14.9, 0.0, 14.9, 15.1])) % 360.0
    held = hole.holds(around, np.full(5, 59.0), 300.0)
    assert held.tolist() == [False, True, True, True, False]
    assert not hole.holds(around, np.full(5, 61.0), 300.0).any()
    assert not hole.holds(around + 180.0, np.full(5, 50.0), 300.0).any()


@pytest.fixture
def design(sound, write) -> Design:
    return load_design(write(sound))


def test_a_design_is_of_the_drawing_of_itself_and_of_one_drawn_finer(design):
    finer = Profile(design.profile.height + 0.09, design.profile.radius - 0.09)
    shop = replace(design, repair=RepairRules(tolerance=3.0), datum_bands=())
    backwards = replace(design, openings=design.openings[::-1])
    for other in (design, replace(design, profile=finer), shop, backwards):
        assert design.differs_from(other) == ""


@pytest.mark.parametrize(
    ("part", "value"),
    [
        ("name", "Cupola B"),
        ("azimuth_sense", "counterclockwise"),
        ("azimuth_zero", "slag hole"),
        ("height_zero", "charging floor"),
        ("shell_radius", None),
        ("openings", ()),
    ],
)
def test_the_part_that_another_drawing_differs_in_is_named(design, part, value):
    other = replace(design, **{part: value})
    assert design.differs_from(other) == other.differs_from(design) == part
    assert design.differs_from(other, parts={"profile"}) == ""


def test_a_profile_or_an_opening_moved_by_a_tenth_of_a_millimetre_is_another(design):
    height, radius = design.profile.height, design.profile.radius
    for moved in (Profile(height + 0.11, radius), Profile(height, radius + 0.11)):
        assert design.differs_from(replace(design, profile=moved)) == "profile"
    shorter = Profile(height[:-1], radius[:-1])
    assert design.differs_from(replace(design, profile=shorter)) == "profile"
    tuyere, hole = design.openings
    wider = replace(design, openings=(replace(tuyere, width=tuyere.width + 0.11), hole))
    assert design.differs_from(wider) == "openings"


def test_rows_of_design_radii_are_held_against_the_profile(design):
    height = np.linspace(10.0, 2400.0, 50)
    radius = design.profile.radius_at(height)
    assert design.profile.row_that_differs(height, radius + 0.09) is None
    radius[7] += 0.11
    assert design.profile.row_that_differs(height, radius) == 7
    radius[9] = np.nan
    assert design.profile.row_that_differs(height, radius) == 9
    above = np.append(height, design.profile.top + 1.0)
    assert design.profile.row_that_differs(above, np.append(radius, 500.0)) == 9
    assert design.profile.row_that_differs(above[10:], np.append(radius, 500.0)[10:])
