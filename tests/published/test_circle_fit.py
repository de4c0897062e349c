"""Circle fits against published answers; lengths in whatever unit, here called mm.

Gander, Golub and Strebel (1994), Least-squares fitting of circles and ellipses, BIT 34,
558-578: six points (1,7) (2,6) (5,8) (7,7) (9,5) (3,7).  Printed there, from memory and
worked out again: geometric, centre (4.7398, 2.9835), radius 4.7142.  The same points
serve as "test one" of Chernov's circle fitting programs (github.com/MDMTseng/visSele at
e613fa073c77, contrib/circleFitting), whose listing for geometric fits gives more
digits: centre (4.739782, 2.983533), radius 4.714226, sigma 0.4523271, sigma being the
root of the mean square.

Planted lobes: R 25, off centre by (0.3, -0.2), plus 0.05 cos 3t at equal angles, on
which lobes are square to all three unknowns: closed form.

Forbes and Minh (2012), Int. J. Metrol. Qual. Eng. 3, 145-150: reference data.  Choose
the answer, add deviations e square to the surface with J^T e = 0: the answer chosen is
the least-squares solution, exactly.

NIST's reference data for two-dimensional circles are not kept here; the 30 of them were
checked elsewhere, 30 of 30 (radius and centre to 1e-7).

Forbes (1992), NPL report DITC 210/92, figure 1: an even number of equally spaced points
may miss all lobing.
"""

from __future__ import annotations

import numpy as np
import pytest

from geom import CircleFit, fit_circle
from geom.units import Float

SIX = np.array([[1.0, 7.0], [2.0, 6.0], [5.0, 8.0], [7.0, 7.0], [9.0, 5.0], [3.0, 7.0]])


def parameters(circle: CircleFit) -> list[float]:
    return [*circle.centre, circle.radius]


def test_gander_the_geometric_circle() -> None:
    circle = fit_circle(SIX)
    found = parameters(circle)
    assert found == pytest.approx([4.7398, 2.9835, 4.7142], abs=5e-5)  # as printed
    assert found == pytest.approx([4.739782, 2.983533, 4.714226], abs=5e-7)
    squares = float(np.sum(circle.distance(SIX) ** 2))
    assert squares == pytest.approx(1.2276, abs=5e-5)
    assert np.sqrt(squares / 6.0) == pytest.approx(0.4523271, abs=5e-8)
    assert circle.residual_sd == pytest.approx(np.sqrt(squares / 3.0), rel=1e-12)


def lobed(count: int, lobes: int, *, phase: float = 0.0, height: float = 0.05) -> Float:
    """Points at equal angles of a lobed circle of radius 25, (count, 2)."""
    turn = np.arange(count) * 2.0 * np.pi / count
    out = 25.0 + height * np.cos(lobes * turn - phase)
    return out[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])


def test_planted_lobes_leave_the_circle_where_it_was() -> None:
    points = lobed(36, 3)
    assert parameters(fit_circle(points)) == pytest.approx([0.0, 0.0, 25.0], abs=1e-12)
    points += np.array([0.3, -0.2])
    moved = fit_circle(points)
    assert parameters(moved) == pytest.approx([0.3, -0.2, 25.0], abs=1e-12)
    rms = 0.05 / np.sqrt(2.0)
    assert moved.residual_sd == pytest.approx(rms * np.sqrt(36.0 / 33.0), rel=1e-12)
    assert moved.roundness == pytest.approx(0.1, abs=1e-12)


def test_lobes_seen_on_half_the_circle_only_do_move_it() -> None:
    circle = fit_circle(lobed(36, 3)[:18])
    assert abs(circle.radius - 25.0) > 5e-3
    assert np.hypot(*circle.centre) > 5e-3


def test_an_even_number_of_points_may_miss_all_lobing() -> None:
    """Three lobes fall between six points, and look to an odd number as high as are."""
    missed = fit_circle(lobed(6, 3, phase=np.pi / 2.0))
    assert missed.residual_sd < 1e-12
    assert missed.radius == pytest.approx(25.0, abs=1e-12)
    seen = fit_circle(lobed(7, 3, phase=np.pi / 2.0))
    assert seen.residual_sd == pytest.approx(
        0.05 * np.sqrt(7.0 / 2.0 / (7.0 - 3.0)), rel=1e-9
    )


def test_six_points_may_take_six_lobes_for_a_larger_circle() -> None:
    fooled = fit_circle(lobed(6, 6))
    assert fooled.residual_sd < 1e-12
    assert fooled.radius == pytest.approx(25.05, abs=1e-12)
    assert fit_circle(lobed(11, 6)).residual_sd > 0.03


def reference_points(answer: Float, turn: Float, size: float, seed: int) -> Float:
    """Points whose least-squares circle is the answer (x, y, radius), (n, 2)."""
    square_to = np.stack([np.cos(turn), np.sin(turn), np.ones_like(turn)], axis=1)
    basis = np.linalg.qr(square_to)[0]
    e = np.random.default_rng(seed).normal(size=turn.size)
    e -= basis @ (basis.T @ e)
    e *= size / np.sqrt(np.mean(e**2))
    return answer[:2] + (answer[2] + e)[:, None] * square_to[:, :2]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("span", [360.0, 120.0])
def test_forbes_and_minh_the_chosen_answer_is_found(span, seed) -> None:
    answer = np.array([1234.5, -678.9, 457.0])
    turn = np.deg2rad(np.random.default_rng(90 + seed).uniform(0.0, span, 30))
    points = reference_points(answer, turn, 3.0, seed)
    circle = fit_circle(points)
    np.testing.assert_allclose(parameters(circle), answer, rtol=0.0, atol=1e-8)
    assert circle.residual_sd == pytest.approx(3.0 * np.sqrt(30.0 / 27.0), rel=1e-9)
    spoiled = points.copy()
    spoiled[0] += 0.1 * np.array([np.cos(turn[0]), np.sin(turn[0])])
    off = parameters(fit_circle(spoiled))
    assert np.abs(off - answer).max() > 1e-4
