"""Directions: the pinned frame, there and back, for both senses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.frame import clock_face, to_cartesian, turn, wrap

SEEDED = settings(derandomize=True, deadline=None)

SENSES = ["clockwise", "counterclockwise"]
AZIMUTHS = st.floats(-1e4, 1e4)


@SEEDED
@given(
    azimuth=st.floats(0.0, 359.999),
    radius=st.floats(1.0, 5000.0),
    height=st.floats(-1000.0, 1e4),
    sense=st.sampled_from(SENSES),
)
def test_cartesian_and_back(azimuth, radius, height, sense):
    x, y, z = to_cartesian(azimuth, radius, height, sense)
    hand = -1.0 if sense == "clockwise" else 1.0
    assert np.hypot(x, y) == pytest.approx(radius, rel=1e-12)
    back = np.rad2deg(np.arctan2(hand * y, x))
    # Rounding of an angle of 360 degrees in a double, through sine and cosine.
    assert abs(turn(azimuth, back)) < 1e-9
    assert z == height


@pytest.mark.parametrize(
    ("azimuth", "sense", "expected"),
    [
        # The frame: (r cos a, -r sin a, z) clockwise, (r cos a, r sin a, z) else.
        (0.0, "clockwise", (2.0, 0.0, 5.0)),
        (90.0, "clockwise", (0.0, -2.0, 5.0)),
        (270.0, "clockwise", (0.0, 2.0, 5.0)),
        (90.0, "counterclockwise", (0.0, 2.0, 5.0)),
        (180.0, "counterclockwise", (-2.0, 0.0, 5.0)),
        (30.0, "counterclockwise", (np.sqrt(3.0), 1.0, 5.0)),
    ],
)
def test_points_lie_where_the_frame_says(azimuth, sense, expected):
    assert to_cartesian(azimuth, 2.0, 5.0, sense) == pytest.approx(expected, abs=1e-12)


def test_the_two_senses_mirror_each_other():
    azimuth = np.linspace(0.0, 350.0, 36)
    one, other = (to_cartesian(azimuth, 3.0, 1.0, sense) for sense in SENSES)
    assert one[:, 0] == pytest.approx(other[:, 0], abs=1e-15)
    assert one[:, 1] == pytest.approx(-other[:, 1], abs=1e-15)


def test_arrays_broadcast():
    found = to_cartesian(np.zeros((4, 1)), np.ones(3), 0.0, "clockwise")
    assert found.shape == (4, 3, 3)


@SEEDED
@given(AZIMUTHS)
def test_wrapped_azimuths_lie_in_the_circle(azimuth):
    wrapped = float(wrap(azimuth))
    assert 0.0 <= wrapped < 360.0
    assert abs(float(turn(wrapped, azimuth))) < 1e-9


@pytest.mark.parametrize(
    ("azimuth", "expected"),
    [(0, 0), (360, 0), (-90, 270), (725, 5), (-1e-20, 0), (359.5, 359.5)],
)
def test_wrapping(azimuth, expected):
    assert float(wrap(azimuth)) == expected


@SEEDED
@given(AZIMUTHS, AZIMUTHS)
def test_a_turn_is_the_shorter_way(start, end):
    gap = float(turn(start, end))
    assert -180.0 <= gap < 180.0
    away = abs(float(wrap(start + gap - end)))
    assert min(away, 360.0 - away) < 1e-8


def test_a_turn_of_almost_half_the_circle_stays_below_180():
    # The remainder of a tiny negative number is rounded up to a whole circle.
    assert float(turn(0.0, np.nextafter(-180.0, -181.0))) < 180.0
    assert float(turn(1e-14, -180.0)) < 180.0
    assert float(turn(0.0, 180.0)) == -180.0


@pytest.mark.parametrize(
    ("azimuth", "clockwise", "counterclockwise"),
    [
        (0.0, "12 o'clock", "12 o'clock"),
        (30.0, "1 o'clock", "11 o'clock"),
        (90.0, "3 o'clock", "9 o'clock"),
        (105.0, "half past 3", "half past 8"),
        (180.0, "6 o'clock", "6 o'clock"),
        (345.0, "half past 11", "half past 12"),
        (359.0, "12 o'clock", "12 o'clock"),
        (-30.0, "11 o'clock", "1 o'clock"),
    ],
)
def test_the_clock_face_is_that_seen_from_above(azimuth, clockwise, counterclockwise):
    assert clock_face(azimuth, "clockwise") == clockwise
    assert clock_face(azimuth, "counterclockwise") == counterclockwise
