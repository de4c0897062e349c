"""Mean distance of a disc from a point of its rim, and bottoms that are not ours.

Closed form 32 R / (9 pi) = 1.1317685 R: from memory, worked out here by integration.
Published draws of it, in a stored forum thread on random points of a circle:
1.131613 and 1.131671; their number is not told, so the last digits are theirs.

Weisstein, "Disk Line Picking", MathWorld (after Solomon 1978, p. 36): two random points
of a unit disc are 128 / (45 pi) = 0.905414787 apart on average.  Another question, here
to check the draws themselves.

Cylindrical wedge on a semicircle, V = 2 h r**2 / 3 (vias.org, Computational Geometry).
A caution: that wedge ends on a diameter.  A plane bed falls across the whole disc and
holds pi r**2 times the mean of its thick and thin edge; ours is a cone and holds more.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from geom.repair.audit.sand_bottom import MEAN_DISTANCE, bottom_volume
from geom.units import Float

DRAWS = 400_000


def in_disc(rng: np.random.Generator, count: int) -> Float:
    """Points evenly spread over the unit disc; (2, count)."""
    radius, angle = np.sqrt(rng.random(count)), rng.uniform(0.0, 2.0 * np.pi, count)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)])


def test_closed_form_is_the_integral() -> None:
    assert pytest.approx(1.1317685, abs=5e-8) == MEAN_DISTANCE
    total, _ = dblquad(
        lambda r, a: np.hypot(r * np.cos(a) - 1.0, r * np.sin(a)) * r,
        0.0,
        2.0 * np.pi,
        0.0,
        1.0,
        epsrel=1e-8,
    )
    assert total / np.pi == pytest.approx(MEAN_DISTANCE, rel=1e-7)
    # polar about the rim itself: the disc is r < 2 cos(a), so that it is exact
    again, _ = quad(lambda a: (2.0 * np.cos(a)) ** 3 / 3.0, -np.pi / 2, np.pi / 2)
    assert again / np.pi == pytest.approx(MEAN_DISTANCE, rel=1e-10)


def test_published_draws_agree() -> None:
    for drawn in (1.131613, 1.131671):
        assert drawn == pytest.approx(MEAN_DISTANCE, abs=2e-4)


def test_draws_of_our_own_agree_and_tell_the_two_questions_apart() -> None:
    rng = np.random.default_rng(32)
    one, other = in_disc(rng, DRAWS), in_disc(rng, DRAWS)
    from_rim = np.hypot(one[0] - 1.0, one[1])
    apart = np.hypot(*(one - other))
    # four standard errors
    near = 4.0 / np.sqrt(DRAWS)
    assert from_rim.mean() == pytest.approx(MEAN_DISTANCE, abs=near * from_rim.std())
    two_points = 128.0 / (45.0 * np.pi)
    assert apart.mean() == pytest.approx(two_points, abs=near * apart.std())
    assert from_rim.mean() != pytest.approx(two_points, abs=near * from_rim.std())


def test_volume_is_the_disc_times_the_mean_thickness() -> None:
    rng = np.random.default_rng(9)
    points = 450.0 * in_disc(rng, DRAWS)
    thickness = 100.0 + 0.0625 * np.hypot(points[0] - 450.0, points[1])
    drawn = np.pi * 450.0**2 * thickness
    error = 4.0 * drawn.std() / np.sqrt(DRAWS)
    assert bottom_volume(450.0, 100.0, 0.0625) == pytest.approx(drawn.mean(), abs=error)


def test_a_plane_bed_and_a_wedge_on_a_semicircle_are_other_solids() -> None:
    radius, rise = 450.0, 0.0625 * 900.0
    rng = np.random.default_rng(4)
    points = radius * in_disc(rng, DRAWS)
    area = np.pi * radius**2
    plane = area * np.mean(rise * (points[0] + radius) / (2.0 * radius))
    assert plane == pytest.approx(area * rise / 2.0, rel=3e-3)
    # up to the height h over a half disc, from its diameter
    high = rise / 2.0
    wedge = area * np.mean(np.maximum(points[0], 0.0) / radius * high)
    assert wedge == pytest.approx(2.0 * high * radius**2 / 3.0, rel=6e-3)
    cone = bottom_volume(radius, 0.0, 0.0625)
    assert cone / (area * rise / 2.0) == pytest.approx(MEAN_DISTANCE, rel=1e-12)
    assert cone > 1.1 * plane > 2.0 * wedge
