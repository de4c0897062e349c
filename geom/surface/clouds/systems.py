"""The compiled inner loop of local kriging: a small system for every cell.

A cell's neighbours are some twenty at most: a call of a library for each costs as much
as its solution, so the factor is worked out here.
"""

# mypy: disable-error-code="no-untyped-def,misc,untyped-decorator"
# ruff: noqa: PLR0917

from __future__ import annotations

import numpy as np

from geom.parallel import compiled


@compiled(error_model="numpy")
def solved(place, scale, near, own_place, own_scale, noise, up, around, weight, left):
    """Weights of each cell's neighbours, and what they leave open.

    Solved by Cholesky's factor, upper rows times lower.

    Parameters
    ----------
    place : int array (n, 2)
        Row and column of the cells with points.
    scale, noise : array (n,)
        Standard deviation of the field there, and variance of the points' mean.
    near : int array (t, c)
        Which of them are the neighbours of each cell asked for.
    own_place, own_scale : array (t, 2) and (t,)
        Of those.
    up, around : array (m, m) and (k, k)
        Correlation of the field between rows, and between columns.
    weight : array (t, c)
        Written to.
    left : array (t,)
        Variance about the estimate, less what scatter adds to it; written to.
    """
    count = near.shape[1]
    factor = np.empty((count, count))
    across = np.empty(count)
    for t in range(near.shape[0]):
        row, column = own_place[t]
        for i in range(count):
            one = near[t, i]
            r, k, s = place[one, 0], place[one, 1], scale[one]
            across[i] = up[r, row] * around[k, column] * (own_scale[t] * s)
            weight[t, i] = across[i]
            for j in range(i, count):
                other = near[t, j]
                factor[i, j] = (
                    up[r, place[other, 0]] * around[k, place[other, 1]]
                    * s * scale[other]
                )  # fmt: skip
            factor[i, i] += noise[one]
        own = weight[t]
        for i in range(count):
            pivot = 1.0 / np.sqrt(factor[i, i])
            upper = factor[i, i:]
            upper *= pivot
            own[i] *= pivot
            for k in range(i + 1, count):
                by = factor[i, k]
                for j in range(k, count):
                    factor[k, j] -= by * factor[i, j]
                own[k] -= by * own[i]
        for i in range(count - 1, -1, -1):
            total = own[i]
            for j in range(i + 1, count):
                total -= factor[i, j] * own[j]
            own[i] = total / factor[i, i]
        explained, scatter = 0.0, 0.0
        for i in range(count):
            explained += own[i] * across[i]
            scatter += own[i] * own[i] * noise[near[t, i]]
        left[t] = max(own_scale[t] * own_scale[t] - explained - scatter, 0.0)


def compile_systems() -> None:
    """Compile it, as `geom.surface.clouds.kernels.compile_all` does the others."""
    at, near, one = np.zeros((1, 2), np.int64), np.zeros((1, 1), np.int64), np.ones(1)
    table = np.ones((1, 1))
    solved(at, one, near, at, one, one, table, table, table.copy(), one.copy())
