"""The profile: straight between its entries, a step where two share a height."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Profile

STEPPED = Profile(
    height=np.array([0.0, 100.0, 100.0, 300.0]),
    radius=np.array([500.0, 520.0, 450.0, 470.0]),
)


def test_between_entries_the_wall_is_straight():
    # By hand: 500 + 20 * 0.25; 450 + 20 * 0.5.
    assert STEPPED.radius_at([25.0, 200.0]) == pytest.approx([505.0, 460.0], abs=1e-12)


def test_entries_themselves_are_met():
    assert STEPPED.radius_at([0.0, 300.0]).tolist() == [500.0, 470.0]
    assert STEPPED.radius_at([0.0, 300.0], side="below").tolist() == [500.0, 470.0]


def test_at_a_step_the_side_is_chosen():
    assert float(STEPPED.radius_at(100.0)) == 450.0
    assert float(STEPPED.radius_at(100.0, side="below")) == 520.0


@pytest.mark.parametrize("side", ["above", "below"])
def test_steps_at_the_ends_are_met_from_their_side(side):
    ends = Profile(
        height=np.array([0.0, 0.0, 100.0, 100.0]),
        radius=np.array([400.0, 500.0, 500.0, 600.0]),
    )
    expected = {"above": [500.0, 600.0], "below": [400.0, 500.0]}[side]
    assert ends.radius_at([0.0, 100.0], side=side).tolist() == expected


def test_outside_there_is_no_radius():
    assert np.isnan(STEPPED.radius_at([-0.001, 300.001, np.nan])).all()


def test_any_shape_is_kept():
    assert STEPPED.radius_at(np.full((2, 3), 50.0)).shape == (2, 3)
    assert STEPPED.radius_at(50.0).shape == ()


def test_slopes_are_those_of_the_pieces():
    # By hand: 20/100 and 20/200.
    assert STEPPED.slope_at([50.0, 100.0, 250.0]) == pytest.approx([0.2, 0.1, 0.1])


def test_corners_and_steps():
    assert STEPPED.corners.tolist() == [0.0, 100.0, 300.0]
    assert STEPPED.steps.tolist() == [100.0]
    assert (STEPPED.bottom, STEPPED.top) == (0.0, 300.0)


def test_the_mean_radius_weighs_by_height():
    # By hand: (510 * 100 + 460 * 200) / 300.
    assert STEPPED.mean_radius == pytest.approx(143000.0 / 300.0, abs=1e-9)
