"""What is said of sums of scanned wall: levels on a flank, scatter that nodes share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse import csr_array

from geom.readings import RodReadings
from geom.surface import GPPosterior
from geom.surface.clouds.kriging import LocalKriging, by_themselves
from geom.surface.clouds.posterior import (
    POSE_PARAMETERS,
    CloudPosterior,
    PointErrors,
    SystematicErrors,
)
from geom.surface.gp.prior import default_prior
from geom.surface.grid import make_grid
from geom.surface.rods.fit import fit_wall
from geom.units import Float
from tests.walls import no_points, plain_design

GRID = make_grid(plain_design(), surveyed=(0.0, 1500.0))
AROUND = np.arange(120) * 3.0


def scanned(mean: Float, local: LocalKriging, variance: float = 4.0) -> CloudPosterior:
    """A wall seen all over."""
    nothing = np.zeros(GRID.shape)
    return CloudPosterior(
        fitted=GPPosterior(best=None),  # asked only where the wall is hidden
        grid=GRID,
        mean=mean,
        sd=np.ones(GRID.shape),
        occluded=np.zeros(GRID.shape, dtype=bool),
        sd_inflation=np.ones(GRID.shape),
        grazing_variance=nothing,
        roughness_variance=nothing,
        local=local,
        ring_covariance=np.zeros((GRID.height.size, GRID.height.size)),
        cell_points=no_points(GRID.shape),
        points=PointErrors(np.full(GRID.shape, variance), np.full(GRID.shape, -1)),
        systematic=SystematicErrors(
            POSE_PARAMETERS, np.zeros((5, *GRID.shape)), np.zeros((5, 5))
        ),
    )


def by_own_points() -> LocalKriging:
    return by_themselves(np.ones(GRID.shape), np.ones(GRID.shape))


@pytest.mark.parametrize("height", [700.0, 703.0, 705.0, 709.9])
def test_a_level_on_a_flank_is_at_its_own_height(height):
    # 0.4 mm back for every mm up: the nearest row is up to 2 mm off.
    flank = np.repeat(0.4 * GRID.height[:, None], GRID.azimuth.size, axis=1)
    mean, covariance = scanned(flank, by_own_points()).joint(np.array([height]), AROUND)
    np.testing.assert_allclose(mean, 0.4 * height, atol=1e-6)
    # three columns of two rows, by how near these are
    row = np.searchsorted(GRID.height, height)
    low, high = GRID.height[row - 1], GRID.height[row]
    part = (height - low) / (high - low)
    own = 4.0 / 3.0 * ((1.0 - part) ** 2 + part**2)
    np.testing.assert_allclose(np.diag(covariance), own, rtol=1e-9)


def test_beyond_the_outermost_row_a_level_is_that_row():
    flank = np.repeat(0.4 * GRID.height[:, None], GRID.azimuth.size, axis=1)
    wall = scanned(flank, by_own_points())
    mean, _ = wall.joint(np.array([0.0]), AROUND)
    np.testing.assert_allclose(mean, 0.4 * GRID.height[0], atol=1e-9)


def test_nodes_of_a_piece_of_wall_stand_for_no_wall_beside_it():
    # The outermost of the piece reach as far out as they reach in.
    rows, columns = slice(60, 90, 7), slice(100, 160, 11)
    up = np.exp(GRID.height / 300.0)
    field = up[:, None] + 0.01 * GRID.azimuth[None, :] ** 2
    mean, covariance = scanned(field, by_own_points()).joint(
        GRID.height[rows], GRID.azimuth[columns]
    )
    np.testing.assert_allclose(mean[0], field[57:64, 95:106].mean(), rtol=1e-9)
    np.testing.assert_allclose(mean[-1], field[85:92, 150:161].mean(), rtol=1e-9)
    np.testing.assert_allclose(np.diag(covariance), 4.0 / 77.0, rtol=1e-9)


def test_a_net_all_round_leaves_no_cell_out():
    rows, columns = GRID.height[3::7], GRID.azimuth[2::5]
    wall = scanned(np.zeros(GRID.shape), by_own_points())
    _, covariance = wall.joint(rows, columns)
    whole = 7.0 * 5.0
    inner = np.diag(covariance).reshape(rows.size, columns.size)[1:-1]
    np.testing.assert_allclose(inner, 4.0 / whole, rtol=1e-9)


def test_the_variance_of_a_sum_needs_no_covariance_of_nodes():
    # Cells are told by points around, half of them follow the fitted wall or hide.
    rng = np.random.default_rng(3)
    wall = half_hidden(rng)
    height, azimuth = GRID.height[5::30], GRID.azimuth[4::40]
    weight = rng.uniform(0.0, 2.0, height.size * azimuth.size)
    _, covariance = wall.joint(height, azimuth)
    shares = wall.sources_of_sum(height, azimuth, weight, 1.0)
    total = sum(share.variance for share in shares)
    assert total == pytest.approx(float(weight @ covariance @ weight), rel=1e-9)


def half_hidden(rng: np.random.Generator) -> CloudPosterior:
    """A wall of which a patch is hidden, and which follows its fit elsewhere too."""
    readings = RodReadings(
        kind=("cutback",) * 40,
        azimuth=rng.uniform(0.0, 360.0, 40),
        height=rng.uniform(100.0, 1400.0, 40),
        value=rng.normal(10.0, 4.0, 40),
        sd=np.full(40, 2.0),
        step=np.zeros(40),
        place=("",) * 40,
        note=("",) * 40,
    )
    design = plain_design()
    prior = default_prior(design.profile.mean_radius, 0.0, 1500.0, row=200.0)
    fit = fit_wall(
        readings,
        design,
        prior,
        seed=0,
        may_be_outlier=np.zeros(40, dtype=bool),
        n_samples=0,
    )
    block = np.full(GRID.shape, -1)
    block[10:20, 30:60], block[60:80, 200:240] = 0, 1
    hidden = np.zeros(GRID.shape, dtype=bool)
    hidden[40:90, 100:200] = True
    local = by_themselves(np.full(GRID.shape, 0.6), np.ones(GRID.shape))
    wall = scanned(rng.normal(8.0, 2.0, GRID.shape), local)
    slope = rng.normal(0.0, 1.0, (5, *GRID.shape))
    return replace(
        wall,
        fitted=fit.posterior,
        occluded=hidden,
        grazing_variance=rng.uniform(0.0, 0.1, GRID.shape),
        roughness_variance=rng.uniform(0.5, 1.0, GRID.shape),
        points=PointErrors(rng.uniform(1.0, 3.0, GRID.shape), block, first=7),
        systematic=SystematicErrors(POSE_PARAMETERS, slope, 0.01 * np.eye(5)),
    )


def test_cells_told_by_the_same_points_are_off_together():
    # Every cell of three columns is told by the middle one's points.
    count = GRID.opening.size
    cell = np.arange(count).reshape(GRID.shape)
    column = np.arange(GRID.azimuth.size) // 3 * 3 + 1
    told = cell[:, column].ravel()
    weights = csr_array((np.ones(count), (cell.ravel(), told)), shape=(count, count))
    local = LocalKriging(weights, np.zeros(GRID.shape), np.zeros(GRID.shape), reach=0.0)
    heights = GRID.height[40:44]
    azimuth = GRID.azimuth[:60]
    _, covariance = scanned(np.zeros(GRID.shape), local).joint(heights, azimuth)
    inner = covariance[60:120, 60:120]
    np.testing.assert_allclose(np.diag(inner)[1:59], 4.0, rtol=1e-9)
    assert inner[3, 4] == pytest.approx(4.0)
    assert inner[3, 6] == 0.0


def test_scatter_enters_the_fitted_wall_by_blocks():
    block = np.full(GRID.shape, -1)
    block[:2, :3] = 0
    block[2:4, :3] = 1
    variance = np.random.default_rng(0).uniform(1.0, 3.0, GRID.shape)
    table = PointErrors(variance, block).in_blocks().toarray()
    assert table.shape == (2, block.size)
    np.testing.assert_allclose(
        table[1].reshape(GRID.shape)[2:4, :3], variance[2:4, :3] / 6.0
    )
    assert np.count_nonzero(table) == 12
