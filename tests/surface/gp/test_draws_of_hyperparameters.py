"""Draws of sizes and lengths: reproducible, about the mode, none far below it."""

from __future__ import annotations

import numpy as np
import pytest

from geom.surface.gp.hyperparameters import (
    MarginalLikelihood,
    fit_map,
    laplace_draws,
    orthogonal_normals,
)
from geom.surface.gp.observations import observe
from geom.surface.reconstruct import expected_prior
from geom.surface.rods.errors import rod_noise
from tests.walls import plain_design, rod_readings, stations, worn

DESIGN = plain_design()


def likelihood() -> MarginalLikelihood:
    azimuth, height = stations(9, 7, 100.0, 1400.0)
    value = 450.0 + worn(azimuth, height)
    value += np.random.default_rng(2).normal(0.0, 3.0, value.size)
    readings = rod_readings(azimuth, height, value)
    noise = rod_noise(readings, DESIGN, pseudo=np.zeros(len(readings), dtype=bool))
    prior = expected_prior(readings, DESIGN)
    return MarginalLikelihood.of(observe(readings, DESIGN), noise, prior)


def scattered(count: int) -> MarginalLikelihood:
    """Of places that share neither height nor azimuth."""
    rng = np.random.default_rng(4)
    azimuth, height = rng.uniform(0.0, 360.0, count), rng.uniform(100.0, 1400.0, count)
    readings = rod_readings(azimuth, height, 450.0 + worn(azimuth, height))
    noise = rod_noise(readings, DESIGN, pseudo=np.zeros(count, dtype=bool))
    prior = expected_prior(readings, DESIGN)
    return MarginalLikelihood.of(observe(readings, DESIGN), noise, prior)


@pytest.mark.parametrize("wall", [likelihood(), scattered(40)], ids=["rows", "alone"])
def test_the_gradient_is_that_of_differences(wall: MarginalLikelihood) -> None:
    median, spread = wall.theta_prior
    theta = median + 0.3 * spread * np.cos(np.arange(median.size))
    _, slopes = wall.log_marginal_likelihood(theta)
    for k in range(theta.size):
        step = np.zeros(theta.size)
        step[k] = 1e-4
        above, below = (
            wall.log_marginal_likelihood(theta + sign * step)[0] for sign in (1, -1)
        )
        assert slopes[k] == pytest.approx((above - below) / 2e-4, rel=1e-5, abs=1e-5)


def test_no_draw_lies_much_deeper_than_it_was_drawn() -> None:
    wall = likelihood()
    best = fit_map(wall)
    top = wall.log_posterior(best)[0]
    draws = np.concatenate(
        [laplace_draws(wall, best, count=16, seed=seed) for seed in range(3)]
    )
    fall = np.array([top - wall.log_posterior(draw)[0] for draw in draws])
    # half a chi squared of so many dimensions, and what is let pass
    count = best.size
    most = 0.5 * (count + 4.0 * np.sqrt(2.0 * count)) + 1.0
    assert fall.max() < most
    assert len(np.unique(draws[:, 0])) == 48


def test_draws_move_little_when_a_reading_does() -> None:
    wall = likelihood()
    best = fit_map(wall)
    spread = wall.theta_prior[1]
    one = laplace_draws(wall, best, count=8, seed=1)
    other = laplace_draws(wall, best + 1e-6 * spread, count=8, seed=1)
    assert np.abs((one - other) / spread).max() < 1e-2


def test_as_many_pairs_as_parameters_have_the_normal_covariance_whatever_the_seed() -> (
    None
):
    for seed in range(3):
        half = orthogonal_normals(7, 7, seed=seed)
        both = np.concatenate([half, -half])
        np.testing.assert_allclose(both.T @ both / 14.0, np.eye(7), atol=1e-12)
    # fewer are the first of them, more begin anew
    np.testing.assert_array_equal(orthogonal_normals(3, 7, seed=2), half[:3])
    more = orthogonal_normals(10, 7, seed=2)
    np.testing.assert_array_equal(more[:7], half)
    np.testing.assert_allclose(np.sum(more**2, axis=1), 7.0)
    assert np.abs(more[7:] @ half.T).max() < 6.9
