"""Joint draws of correlated normal variables.

A root R of a covariance, R R^T = C, turns independent standard normal draws into draws
with that covariance.  Two roots serve: that of Cholesky for a table that is positive
definite, and that of the eigenvectors for one that is so but for rounding.  Which one
is taken changes the draws of a seed, not their law.

References
----------
Gentle (2009), Computational Statistics, section 7.4: multivariate normal draws.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from geom.units import Float


def cholesky_root(covariance: Float) -> Float:
    """Lower triangular root of a positive definite table (n, n).

    Raises
    ------
    numpy.linalg.LinAlgError
        If it is not positive definite.
    """
    return np.asarray(np.linalg.cholesky(covariance))


def eigen_root(covariance: Float) -> Float:
    """Root (n, n) by eigenvectors; eigenvalues below zero by rounding count as zero."""
    strength, axes = np.linalg.eigh(covariance)
    return np.asarray(axes * np.sqrt(np.maximum(strength, 0.0)))


def joint_normal(
    covariance: Float,
    rng: np.random.Generator,
    n: int,
    *,
    root: Callable[[Float], Float] = cholesky_root,
) -> Float:
    """Draw normal variables of mean 0 and a given covariance.

    Parameters
    ----------
    covariance : array (m, m)
    rng : Generator
        Is asked for one (m, n) block of standard normal draws.
    n : int
        Draws.
    root : callable
        `cholesky_root` or `eigen_root`.

    Returns
    -------
    array (m, n)

    Examples
    --------
    >>> table = np.array([[4.0, 1.0], [1.0, 1.0]])
    >>> made = joint_normal(table, np.random.default_rng(0), 100_000)
    >>> np.cov(made).round(1).tolist()
    [[4.0, 1.0], [1.0, 1.0]]
    """
    factor = root(covariance)
    return np.asarray(factor @ rng.standard_normal((len(covariance), n)))
