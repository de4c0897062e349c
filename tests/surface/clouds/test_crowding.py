"""Points that crowd where wall lies further out, against counts drawn so."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.sparse import csr_array

from geom.design import Profile
from geom.surface.clouds.cells import Cells, NearPoints
from geom.surface.clouds.crowding import _by_errors, crowding, crowding_rate
from geom.surface.clouds.kriging import LocalKriging, krige, spherical
from geom.surface.grid import make_grid
from geom.units import Bool, Float
from tests.walls import plain_design

GRID = make_grid(plain_design(), surveyed=(0.0, 1500.0), columns=120)
EVERYWHERE = np.ones(GRID.shape, dtype=bool)
NOISE = 1.8


def bricks(rng: np.random.Generator) -> Float:
    """Losses with upright edges on a wall that is 2 mm back."""
    wall = np.full(GRID.shape, 2.0)
    for _ in range(40):
        row, column = rng.integers(0, GRID.shape[0] - 8), rng.integers(0, 120)
        deep = rng.uniform(15.0, 45.0)
        wall[row : row + 8, (column + np.arange(8)) % 120] = deep
    return wall


def counted(wall: Float, rate: float, rng: np.random.Generator, *, loose: float = 0.0):
    """Numbers of points, about 0.8 a cell; looser than chance if asked."""
    usual = 0.5 * np.exp(np.sin(np.deg2rad(3.0 * GRID.azimuth)))[None, :]
    mean = usual * np.exp(rate * wall)
    if loose:
        mean = mean * rng.gamma(1.0 / loose, loose, GRID.shape)
    return rng.poisson(mean).astype(np.float64)


@pytest.mark.parametrize("rate", [0.0, 0.02, -0.01])
@pytest.mark.parametrize("loose", [0.0, 2.0])
def test_the_rate_is_found_and_how_well(rate: float, loose: float) -> None:
    ratio = []
    for seed in range(40):
        rng = np.random.default_rng([1, seed])
        wall = bricks(rng)
        found, sd = crowding_rate(
            counted(wall, rate, rng, loose=loose), wall, EVERYWHERE
        )
        assert sd < 0.01
        ratio.append((found - rate) / sd)
    assert abs(np.mean(ratio)) < 0.6
    assert np.std(ratio) == pytest.approx(1.0, abs=0.3)


def test_wall_without_relief_says_nothing() -> None:
    rng = np.random.default_rng(2)
    flat = np.zeros(GRID.shape)
    rate, sd = crowding_rate(counted(flat, 0.0, rng), flat, EVERYWHERE)
    assert rate == 0.0
    assert sd == pytest.approx(0.02)
    none = crowding_rate(np.zeros(GRID.shape), flat, EVERYWHERE)
    assert none == (0.0, pytest.approx(0.02))


def scanned(rate: float, seed: int) -> tuple[Float, Float, Float, Bool]:
    """Errors of a kriged wall of bricks, what it is moved by, and cells with points.

    Points lie anywhere in cells of which the edges of bricks cut through some.
    """
    rng = np.random.default_rng([3, seed])
    # four by four places in every cell, with edges wherever they happen to lie
    fine = np.repeat(np.repeat(bricks(rng), 4, axis=0), 4, axis=1)
    fine = np.roll(fine, tuple(rng.integers(0, 4, 2)), axis=(0, 1))
    rows, columns = GRID.shape
    mean = 0.04 * np.exp(rate * fine)
    count = rng.poisson(mean)
    noise = rng.standard_normal(fine.shape)
    total = count * fine + NOISE * np.sqrt(count) * noise
    squares = count * fine**2 + 2 * fine * NOISE * np.sqrt(count) * noise
    squares += NOISE**2 * rng.chisquare(np.maximum(count, 1)) * (count > 0)

    def summed(part: Float) -> Float:
        return part.reshape(rows, 4, columns, 4).sum(axis=(1, 3))

    n, total, squares = summed(count), summed(total), summed(squares)
    own, many = n > 0, np.maximum(n, 1)
    value = np.where(own, total / many, np.nan)
    scatter = np.where(own, NOISE**2 / many, 0.0)
    cells = Cells(
        cutback=value,
        variance=np.where(own, scatter, np.nan),
        count=n.astype(np.float64),
        own=own,
        near=NearPoints(
            n.astype(np.float64),
            np.zeros(GRID.shape),
            np.where(own, np.maximum(squares - total**2 / many, 0.0), 0.0),
            np.maximum(n - 1.0, 0.0),
        ),
        total=int(n.sum()),
        rejected=0,
        in_front=0,
    )
    local = krige(
        value - 2.0, scatter, cells.count, EVERYWHERE, scattered=0 * scatter, grid=GRID
    )
    kriged = 2.0 + local.apply(value - 2.0)
    found = crowding(cells, kriged, EVERYWHERE, local=local, scatter=scatter, grid=GRID)
    true = fine.reshape(rows, 4, columns, 4).mean(axis=(1, 3))
    return kriged - true, found.shift, np.asarray(own)


def test_what_crowding_adds_to_a_wall_of_lost_bricks_is_taken_off() -> None:
    walls = [scanned(0.02, seed) for seed in range(12)]

    def over(which: Callable[[Float, Float, Bool], Float]) -> float:
        return float(np.mean([which(*wall) for wall in walls]))

    # of cells that have points, by where in them these lie
    assert over(lambda off, _, own: off[own].mean()) > 0.12
    assert abs(over(lambda off, moved, own: (off + moved)[own].mean())) < 0.04
    # of all: of cells without points it takes off too much where edges are many
    before = over(lambda off, *_: off.mean())
    assert before > 0.15
    assert abs(over(lambda off, moved, _: (off + moved).mean())) < before


def test_points_that_do_not_crowd_move_nothing_that_matters() -> None:
    moved = [float(scanned(0.0, seed)[1].mean()) for seed in range(8)]
    assert np.abs(np.mean(moved)) < 0.03


def test_a_normal_field_read_where_it_lies_back_is_found_in_the_mean() -> None:
    # The model itself: cells that have points are those that lie back, mostly.
    rate, sd, reach = 0.15, 3.0, 100.0
    low = Profile(np.array([0.0, 300.0]), np.array([450.0, 450.0]))
    grid = make_grid(plain_design(profile=low), surveyed=(0.0, 300.0), columns=48)
    turn = np.deg2rad(grid.azimuth[:, None] - grid.azimuth[None, :])
    chord = 2.0 * grid.design_radius.mean() * np.abs(np.sin(0.5 * turn))
    up = np.abs(grid.height[:, None] - grid.height[None, :])
    prior = np.kron(spherical(up / reach), spherical(chord / reach)) * sd**2
    root = np.linalg.cholesky(prior + 1e-9 * np.eye(len(prior)))
    before, after = [], []
    for seed in range(30):
        rng = np.random.default_rng([4, seed])
        field = (root @ rng.standard_normal(len(prior))).reshape(grid.shape)
        count = rng.poisson(0.25 * np.exp(rate * field)).astype(np.float64)
        own = count > 0.0
        scatter = np.where(own, NOISE**2 / np.maximum(count, 1.0), 0.0)
        read = field + np.sqrt(scatter) * rng.standard_normal(grid.shape)
        at = np.flatnonzero(own)
        seen = prior[np.ix_(at, at)] + np.diag(scatter.ravel()[at])
        weights = np.zeros(prior.shape)
        weights[:, at] = np.linalg.solve(seen, prior[at]).T
        local = LocalKriging(
            csr_array(weights), np.zeros(grid.shape), np.full(grid.shape, sd), reach
        )
        kriged = local.apply(np.where(own, read, np.nan))
        expected = 0.25 * np.exp(rate * kriged)
        moved = kriged + rate * _by_errors(local, count - expected, scatter, grid)
        before.append(float((kriged - field).mean()))
        after.append(float((moved - field).mean()))
    chance = float(np.std(after)) / np.sqrt(len(after))
    assert np.mean(before) > 0.2
    assert abs(np.mean(after)) < 3.0 * chance + 0.25 * np.mean(before)


def test_errors_times_a_field_are_those_of_dense_linear_algebra() -> None:
    rng = np.random.default_rng(5)
    grid = make_grid(plain_design(), surveyed=(0.0, 1500.0), spacing=150.0, columns=24)
    told = rng.uniform(size=grid.shape) < 0.6
    read = np.where(told, rng.normal(0.0, 3.0, grid.shape), np.nan)
    scatter = np.where(told, 1.5, 0.0)
    everywhere = np.ones(grid.shape, dtype=bool)
    local = krige(
        read, scatter, told.astype(float), everywhere, scattered=0 * scatter, grid=grid
    )
    field = rng.normal(0.0, 1.0, grid.shape)
    weights = local.weights.toarray()
    around = [table.toarray() for table in local.correlations(grid) or ()]
    prior = np.kron(*around) if around else np.eye(field.size)
    prior = local.field_sd.ravel()[:, None] * prior * local.field_sd.ravel()
    missed = np.eye(field.size) - weights
    dense = missed @ prior @ missed.T + weights @ np.diag(scatter.ravel()) @ weights.T
    found = _by_errors(local, field, scatter, grid)
    np.testing.assert_allclose(found.ravel(), dense @ field.ravel(), atol=1e-9)
