"""The colour scale: fixed, neutral on the drawing, legible to everybody."""

import numpy as np
import pytest

from geom.compare.findings import ACTIONS
from geom.views.charts import colours
from geom.views.charts.colours import (
    ACTION_STYLES,
    cutback_limits,
    cutback_rgb,
    to_linear,
)

BRICK = 31.75

# Machado, Oliveira and Fernandes (2009), "A physiologically-based model for simulation
# of color vision deficiency", table 1, severity 1.0; typed from memory, rows add to 1.
BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


def luminance(rgb):
    """Relative luminance, ITU-R BT.709 weights as in IEC 61966-2-1."""
    return to_linear(rgb) @ [0.2126, 0.7152, 0.0722]


def test_the_drawing_is_the_lightest_colour_and_nearly_white():
    table = luminance(colours.cutback_table())
    on_drawing = luminance(cutback_rgb(0.0, BRICK))
    assert on_drawing > 0.88
    assert np.argmax(table) == 128
    assert on_drawing == pytest.approx(table.max(), abs=1e-3)  # one code value


def test_each_side_only_darkens_so_a_grey_copy_keeps_the_amount():
    table = luminance(colours.cutback_table())
    assert (np.diff(table[:129]) > 0).all()
    assert (np.diff(table[128:]) < 0).all()


def test_limits_come_from_the_threshold_and_not_from_the_data():
    assert cutback_limits(40.0) == (-40.0, 80.0)
    alone = cutback_rgb([10.0], 40.0)[0]
    in_company = cutback_rgb([10.0, 500.0, -300.0], 40.0)[0]
    assert (alone == in_company).all()
    assert (alone != cutback_rgb([10.0], 30.0)[0]).any()


def test_what_was_not_measured_has_a_colour_that_is_no_cutback():
    missing = cutback_rgb(np.nan, BRICK)
    assert missing.tolist() == [0xA7, 0xA3, 0xB3]
    # 20 code values is a difference seen side by side.
    away = np.abs(colours.cutback_table() - missing).max(axis=1)
    assert away.min() > 20


def test_beyond_the_ends_the_end_colour_is_given():
    low, high = cutback_limits(BRICK)
    assert (cutback_rgb(9 * high, BRICK) == cutback_rgb(high, BRICK)).all()
    assert (cutback_rgb(9 * low, BRICK) == cutback_rgb(low, BRICK)).all()


@pytest.mark.parametrize("kind", BLIND)
def test_lost_and_proud_differ_for_the_colour_blind(kind):
    for part in (0.4, 0.7, 1.0):
        lost, proud = (
            np.array(BLIND[kind]) @ cutback_rgb(side * part * BRICK, BRICK)
            for side in (1.0, -1.0)
        )
        # A red against green scale of like darkness comes out near 20 here.
        assert np.linalg.norm(lost - proud) > 60


def test_linear_light_is_the_standard_transfer_function():
    # IEC 61966-2-1: the branches meet at code 0.04045 x 255 = 10.3; code 188 is half
    # the light to within half a code value.
    assert to_linear(10.31475) == pytest.approx(0.04045 / 12.92, rel=1e-6)
    assert to_linear(188) == pytest.approx(0.5, abs=0.004)
    assert to_linear(188) != pytest.approx(188 / 255, abs=0.1)


def test_every_action_has_its_own_look_in_black_and_white():
    hatches = [ACTION_STYLES[action].hatch for action in ACTIONS]
    assert len(set(hatches)) == len(ACTIONS)
    assert ACTION_STYLES["leave"].hatch == ""
