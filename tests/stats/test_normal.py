"""Joint normal draws: their covariance, their roots, and one stream of numbers."""

from __future__ import annotations

import numpy as np
import pytest

from geom.stats.normal import cholesky_root, eigen_root, joint_normal

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
