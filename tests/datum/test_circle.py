"""Circles through points of a section: the best one, its uncertainty, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom import CircleFit, InputError, Quantity, fit_circle
from geom.units import Float


def section(
    count: int,
    *,
    seed: int,
    noise: float = 2.0,
    span: float = 360.0,
    centre: tuple[float, float] = (12.0, -7.0),
    radius: float = 457.0,
) -> Float:
    """Points of a round section read with noise along the radius, (n, 2)."""
    rng = np.random.default_rng(seed)
    turn = np.deg2rad(rng.uniform(0.0, span, count))
    out = radius + rng.normal(0.0, noise, count)
    return centre + out[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])


def best(circle: CircleFit) -> Float:
    return np.array([*circle.centre, circle.radius])


def squares(points: Float, at: Float) -> float:
    """Sum of squared distances from a circle, written out anew."""
    out = np.sqrt((points[:, 0] - at[0]) ** 2 + (points[:, 1] - at[1]) ** 2)
    return float(np.sum((out - at[2]) ** 2))


def test_three_points_are_met_exactly_and_leave_nothing_to_judge_by() -> None:
    # 0 and 180 degrees and one on top: Thales' circle
    circle = fit_circle([[10.0, 5.0], [-10.0, 5.0], [0.0, 15.0]])
    np.testing.assert_allclose(best(circle), [0.0, 5.0, 10.0], atol=1e-12)
    assert circle.dof == 0
    assert np.isnan(circle.residual_sd)
    assert np.isnan(circle.radius_sd)
    assert np.isnan(circle.centre_sd).all()


def test_nothing_nearby_fits_better() -> None:
    points = section(15, seed=1, noise=20.0, span=200.0)
    circle = fit_circle(points)
    least = squares(points, best(circle))
    for step in np.concatenate([np.eye(3), -np.eye(3)]) * 0.05:
        assert squares(points, best(circle) + step) > least
    assert least == pytest.approx(circle.residual_sd**2 * 12, rel=1e-12)
    assert np.sum(circle.distance(points) ** 2) == pytest.approx(least, rel=1e-12)


@settings(max_examples=25, deadline=None)
@given(
    turn=st.floats(0.0, 360.0),
    by=st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)),
    scale=st.sampled_from([1.0, 25.4, 1e-3]),
)
def test_turned_moved_and_scaled_points_give_the_same_circle(turn, by, scale) -> None:
    points = section(12, seed=2, span=150.0)
    c, s = np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))
    matrix = np.array([[c, -s], [s, c]])
    plain = fit_circle(points)
    other = fit_circle(scale * points @ matrix.T + np.array(by))
    centre = scale * (matrix @ best(plain)[:2]) + np.array(by)
    tolerance = 1e-7 * max(1.0, scale)  # far from the origin, digits are lost
    np.testing.assert_allclose(best(other)[:2], centre, atol=tolerance)
    assert other.radius == pytest.approx(scale * plain.radius, abs=tolerance)
    assert other.radius_sd == pytest.approx(scale * plain.radius_sd, rel=1e-5)


def test_a_weight_of_two_is_the_point_read_twice() -> None:
    points = section(9, seed=3, noise=15.0)
    weight = np.ones(9)
    weight[4] = 2.0
    heavy = fit_circle(points, weight=weight)
    twice = fit_circle(np.append(points, points[[4]], axis=0))
    np.testing.assert_allclose(best(heavy), best(twice), atol=1e-9)
    assert not np.allclose(best(heavy), best(fit_circle(points)), atol=1e-2)


def test_weights_count_only_against_each_other_and_zero_leaves_out() -> None:
    points = section(9, seed=4)
    points[0] += 300.0
    weight = np.ones(9)
    weight[0] = 0.0
    left_out = fit_circle(points, weight=weight)
    without = fit_circle(points[1:])
    np.testing.assert_allclose(best(left_out), best(without), atol=1e-9)
    assert left_out.dof == without.dof == 5
    assert left_out.residual_sd == pytest.approx(without.residual_sd, rel=1e-9)
    more = fit_circle(points, weight=7.0 * weight)
    np.testing.assert_allclose(more.covariance, left_out.covariance, rtol=1e-6)
    assert not np.allclose(best(left_out), best(fit_circle(points)), atol=1.0)


def test_weights_of_one_over_variance_give_the_sd_of_weight_one() -> None:
    sd = np.repeat([1.0, 8.0], 200)
    points = section(400, seed=5, noise=1.0)
    truth = np.array([12.0, -7.0])
    away = points - truth
    out = np.linalg.norm(away, axis=1)
    points = truth + away * ((457.0 + sd * (out - 457.0)) / out)[:, None]
    circle = fit_circle(points, weight=sd**-2.0)
    assert circle.residual_sd == pytest.approx(1.0, abs=0.11)  # 3 / sqrt(2 * 397)
    assert circle.radius_sd < fit_circle(points).radius_sd


def test_few_points_have_a_wide_interval() -> None:
    """Student's t of 97.5 %: 12.706, 2.228 and 1.960 (JCGM 100:2008, table G.2)."""
    for dof, factor in ((1, 12.706), (10, 2.228), (10**9, 1.960)):
        quantity = Quantity.student(457.0, 2.0, dof)
        assert (quantity.value, quantity.sd) == (457.0, 2.0)
        assert quantity.high95 == pytest.approx(457.0 + 2.0 * factor, abs=2e-3)
        assert quantity.low95 == pytest.approx(457.0 - 2.0 * factor, abs=2e-3)
    assert np.isnan(Quantity.student(457.0, np.nan, 0).high95)


@pytest.mark.parametrize("span", [360.0, 120.0])
def test_95_percent_intervals_hold_the_truth_about_95_times_in_100(span) -> None:
    truth = np.array([12.0, -7.0, 457.0])
    held = np.zeros(3)
    for seed in range(200):
        circle = fit_circle(section(60, seed=seed, span=span))
        sds = [*circle.centre_sd, circle.radius_sd]
        for k, (value, sd) in enumerate(zip(best(circle), sds, strict=True)):
            interval = Quantity.student(value, sd, circle.dof)
            held[k] += interval.low95 < truth[k] < interval.high95
    assert ((held >= 180) & (held <= 198)).all(), held


def test_the_covariance_is_the_scatter_of_repeated_surveys() -> None:
    fits = [fit_circle(section(80, seed=s, span=120.0)) for s in range(400)]
    scatter = np.cov(np.stack([best(fit) for fit in fits]), rowvar=False)
    stated = np.mean([fit.covariance for fit in fits], axis=0)
    # 400 draws: variances to sqrt(2 / 400) = 7 %; asserted at 3 times that
    np.testing.assert_allclose(stated, scatter, rtol=0.25, atol=0.25)
    assert abs(scatter[0, 2]) > 1.0  # on a third of the way round they go together


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([[1.0, 0.0], [2.0, 1.0]], "2 points came; a circle needs 3"),
        (np.zeros((0, 2)), "0 points came"),
        ([[0.0, 1.0], [1.0, 3.0], [2.0, 5.0], [7.0, 15.0]], "on a line"),
        ([[4.0, 1.0], [4.0, 1.0], [4.0, 1.0]], "on a line"),
        ([0.0, 1.0, 2.0], "a row of x, y a point"),
        ([[0.0, 0.0], [1.0, 1.0], [np.nan, 0.0]], "not numbers"),
    ],
)
def test_what_cannot_be_a_circle_is_refused_with_its_cure(points, says) -> None:
    with pytest.raises(InputError, match=says) as refused:
        fit_circle(points)
    assert refused.value.cure


@pytest.mark.parametrize(
    ("weight", "says"),
    [
        ([1.0, 1.0], "2 weights came for 4 points"),
        ([1.0, 1.0, 1.0, -1.0], "negative"),
        ([1.0, 1.0, 1.0, np.inf], "not numbers"),
        ([1.0, 1.0, 0.0, 0.0], "2 points came"),
    ],
)
def test_weights_that_cannot_be_are_refused(weight, says) -> None:
    points = [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]]
    with pytest.raises(InputError, match=says):
        fit_circle(points, weight=weight)


def test_points_that_bend_both_ways_are_not_given_a_giant_circle() -> None:
    x = np.linspace(-100.0, 100.0, 9)
    y = np.where(np.arange(9) % 2, 1.0, -1.0) * 1e-3 * x
    with pytest.raises(InputError, match="on a line"):
        fit_circle(np.column_stack([x, y]))


def test_roundness_is_from_the_highest_lobe_to_the_lowest() -> None:
    turn = np.deg2rad(np.arange(0.0, 360.0, 5.0))
    out = 457.0 + 1.5 * np.cos(2.0 * turn)  # square to centre and radius: closed form
    points = out[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    assert fit_circle(points + 40.0).roundness == pytest.approx(3.0, abs=1e-9)
    assert fit_circle(points / out[:, None]).roundness < 1e-12
