"""Joint normal draws, and partial moments against numerical integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.stats import multivariate_normal, norm, t

from geom.stats.normal import (
    cholesky_root,
    eigen_root,
    exceedance_probability,
    expected_excess,
    expected_shortfall,
    heavy_exceedance,
    heavy_quantile,
    hermite_excess,
    joint_normal,
)

TABLE = np.array([[4.0, 1.2, 0.0], [1.2, 1.0, -0.3], [0.0, -0.3, 2.0]])


@pytest.mark.parametrize("root", [cholesky_root, eigen_root])
def test_draws_have_the_covariance_that_was_asked_for(root):
    made = joint_normal(TABLE, np.random.default_rng(1), 200_000, root=root)
    # a covariance of 200 000 draws is known to sqrt(2 / 200000) = 0.3 % of its scale
    np.testing.assert_allclose(np.cov(made), TABLE, atol=0.05)


@pytest.mark.parametrize("root", [cholesky_root, eigen_root])
def test_a_root_times_its_transpose_is_the_covariance(root):
    np.testing.assert_allclose(root(TABLE) @ root(TABLE).T, TABLE, atol=1e-12)


def test_only_the_eigenvectors_bear_a_table_without_full_rank():
    flat = np.ones((2, 2))
    with pytest.raises(np.linalg.LinAlgError):
        cholesky_root(flat - 1e-9 * np.eye(2))
    one, other = joint_normal(flat, np.random.default_rng(2), 50, root=eigen_root)
    np.testing.assert_allclose(one, other)


def test_a_seed_gives_the_numbers_it_always_gave():
    made = joint_normal(TABLE, np.random.default_rng(3), 5)
    chance = np.random.default_rng(3).standard_normal((3, 5))
    np.testing.assert_array_equal(made, np.linalg.cholesky(TABLE) @ chance)


RADIUS = 450.0
CASES = [(0.0, 5.0), (10.0, 5.0), (-10.0, 5.0), (40.0, 2.0), (-3.0, 12.0)]


def excess(x: float) -> float:
    return ((RADIUS + x) ** 2 - RADIUS**2) / 2.0 if x > 0 else 0.0


@pytest.mark.parametrize(("mean", "sd"), CASES)
def test_expected_excess_is_the_integral_over_the_normal(
    mean: float, sd: float
) -> None:
    told, _ = quad(lambda x: excess(x) * norm.pdf(x, mean, sd), 0.0, mean + 12 * sd)
    got = expected_excess(np.array(mean), np.array(sd), np.array(RADIUS))
    assert float(got) == pytest.approx(told, rel=1e-7, abs=1e-6)


@pytest.mark.parametrize(("mean", "sd"), CASES)
def test_excess_less_shortfall_is_the_plain_second_moment(
    mean: float, sd: float
) -> None:
    told = RADIUS * mean + 0.5 * (mean**2 + sd**2)
    args = np.array(mean), np.array(sd), np.array(RADIUS)
    got = expected_excess(*args) - expected_shortfall(*args)
    assert float(got) == pytest.approx(told, rel=1e-12)


def test_plugging_the_mean_in_is_too_little_where_the_wall_is_uncertain() -> None:
    got = expected_excess(np.array(0.0), np.array(6.0), np.array(RADIUS))
    assert float(got) > 1000.0 > excess(0.0)


def test_without_uncertainty_it_is_the_plain_formula_and_nan_stays_nan() -> None:
    mean = np.array([10.0, -10.0, np.nan])
    got = expected_excess(mean, np.array([0.0, 0.0, np.nan]), np.array(RADIUS))
    np.testing.assert_allclose(got, [excess(10.0), 0.0, np.nan])


@pytest.mark.parametrize(("mean", "sd"), CASES)
@pytest.mark.parametrize("alike", [-0.4, 0.3, 0.8])
def test_four_hermite_terms_give_the_covariance_of_two_cells(
    mean: float, sd: float, alike: float
) -> None:
    other_mean, other_sd = 4.0, 6.0
    covariance = alike * sd * other_sd
    pair = multivariate_normal(
        [mean, other_mean], [[sd**2, covariance], [covariance, other_sd**2]]
    )
    both, _ = dblquad(
        lambda y, x: excess(x) * excess(y) * pair.pdf([x, y]),
        max(0.0, mean - 8 * sd),
        max(1.0, mean + 8 * sd),
        0.0,
        other_mean + 8 * other_sd,
        epsabs=1.0,
        epsrel=1e-5,
    )
    args = [np.array([mean, other_mean]), np.array([sd, other_sd]), np.full(2, RADIUS)]
    means = expected_excess(*args)
    told = both - means[0] * means[1]
    terms = hermite_excess(*args)
    factorial = (1.0, 2.0, 6.0, 24.0)
    got = sum(
        c[0] * c[1] * alike ** (k + 1) / factorial[k] for k, c in enumerate(terms)
    )
    largest = abs(terms[0][0] * terms[0][1])
    assert got == pytest.approx(told, abs=0.03 * largest + 2.0)


def test_chance_above_is_the_normal_tail_and_a_step_without_uncertainty() -> None:
    got = exceedance_probability(
        np.array([31.75, 40.0, 20.0, np.nan]), np.array([3.0, 0, 0, 1]), 31.75
    )
    np.testing.assert_allclose(got, [0.5, 1.0, 0.0, np.nan])


@pytest.mark.parametrize("freedom", [3.0, 4.0, 12.0])
def test_chance_above_with_a_variance_that_is_known_roughly(freedom: float) -> None:
    """Against scipy's Student t, which is scaled to the standard deviation here."""
    sd, mean = np.array([2.0, 5.0, 0.0, 1.0]), np.array([31.0, 40.0, 20.0, np.nan])
    got = heavy_exceedance(mean, sd, 31.75, freedom)
    scale = sd / t(freedom).std()
    told = t.sf(31.75, freedom, mean[:2], scale[:2])
    np.testing.assert_allclose(got, [*told, 0.0, np.nan], rtol=1e-9)
    for share in (0.1, 0.5, 0.9):
        above = heavy_exceedance(
            np.array(heavy_quantile(share, freedom)), np.array(1.0), 0.0, freedom
        )
        assert above == pytest.approx(share)
