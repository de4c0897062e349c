"""What an opening holds, also where azimuth starts again."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Opening


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
