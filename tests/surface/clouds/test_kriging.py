"""The residual field between cells, against dense linear algebra and known fields."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.design import Profile
from geom.surface.clouds import kriging
from geom.surface.clouds.kriging import (
    LocalKriging,
    by_themselves,
    krige,
    local_variance,
    spherical,
)
from geom.surface.clouds.rings import ring_residual
from geom.surface.grid import Grid, make_grid
from geom.units import Bool, Float
from tests.walls import plain_design

#: A low wall in coarse cells: 12 rows of 30 mm, 60 columns of 47 mm.
LOW = Profile(np.array([0.0, 360.0]), np.array([450.0, 450.0]))
GRID = make_grid(
    plain_design(profile=LOW), surveyed=(0.0, 360.0), spacing=30.0, columns=60
)
REACH, FIELD_SD, NOISE = 140.0, 3.0, 1.0


def correlation(grid: Grid) -> Float:
    """Of the field between all cells, written out; (n, n)."""
    height, azimuth = (
        part.ravel() for part in np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    )
    turn = np.deg2rad(azimuth[:, None] - azimuth[None, :])
    chord = 2.0 * grid.design_radius.mean() * np.abs(np.sin(0.5 * turn))
    up = np.abs(height[:, None] - height[None, :])
    return spherical(chord / REACH) * spherical(up / REACH)


def cells(share: float, seed: int) -> tuple[Float, Float, Bool]:
    """A field, what points say of some of its cells, and which these are."""
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(correlation(GRID) + 1e-9 * np.eye(GRID.opening.size))
    field = FIELD_SD * (root @ rng.standard_normal(GRID.opening.size))
    field = field.reshape(GRID.shape)
    told = rng.uniform(size=GRID.shape) < share
    read = np.where(told, field + rng.normal(0.0, NOISE, GRID.shape), np.nan)
    return field, read, told


def fitted(read: Float, told: Bool) -> LocalKriging:
    flat = np.ones(GRID.shape)
    asked = np.ones(GRID.shape, dtype=bool)
    return krige(read, NOISE**2 * flat, flat, asked, scattered=0 * flat, grid=GRID)


def test_the_weights_are_those_of_dense_linear_algebra(monkeypatch):
    # With all neighbours asked and one choice of reach, kriging is the conditional
    # mean of a normal field (Rasmussen and Williams 2006, eq. 2.23 and 2.24).
    field, read, told = cells(0.07, 1)
    all_of_them = replace(
        kriging.ASSUMED,
        kriging_reaches=(REACH,),
        kriging_factors=(1.0,),
        kriging_windows=(15,),
        kriging_neighbours=int(told.sum()),
        kriging_points=1e9,
    )
    monkeypatch.setattr(kriging, "ASSUMED", all_of_them)
    found = fitted(read, told)
    sd = found.field_sd.ravel()
    prior = correlation(GRID) * sd[:, None] * sd[None, :]
    at = np.flatnonzero(told)
    seen = prior[np.ix_(at, at)] + NOISE**2 * np.eye(at.size)
    gain = np.linalg.solve(seen, prior[at]).T
    np.testing.assert_allclose(found.weights.toarray()[:, at], gain, atol=1e-8)
    left = np.diag(prior) - np.einsum("ij,ji->i", gain, prior[at])
    stated = found.variance + found.scatter(np.where(told, NOISE**2, 0.0))
    np.testing.assert_allclose(stated.ravel(), left, atol=1e-8)
    # Sums over the field: the same error written out for all cells.
    missed = np.eye(sd.size) - found.weights.toarray()
    from scipy.sparse import csr_array

    two = np.zeros((2, sd.size))
    two[0], two[1, :90] = 1.0 / sd.size, 1.0 / 90.0
    along, across = found.sides(csr_array(two @ missed), found.correlations(GRID))
    own = (along @ across.T).toarray()
    np.testing.assert_allclose(own, two @ missed @ prior @ missed.T @ two.T, atol=1e-8)
    assert np.isfinite(field).all()


@pytest.mark.parametrize("share", [0.6, 0.9])
def test_what_is_stated_of_cells_holds(share):
    off, stated = [], []
    for seed in range(4):
        field, read, told = cells(share, seed)
        found = fitted(read, told)
        sd = np.sqrt(found.variance + found.scatter(np.where(told, NOISE**2, 0.0)))
        off.append(found.apply(read) - field)
        stated.append(sd)
    ratio = np.array(off) / np.array(stated)
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1.0, abs=0.12)
    assert np.mean(np.abs(ratio) < 1.96) == pytest.approx(0.95, abs=0.025)
    # better than the points of a cell, and far better than the fitted wall
    assert np.sqrt(np.mean(np.array(off) ** 2)) < 0.7 * FIELD_SD


def test_more_points_where_the_wall_lies_further_out_do_not_move_it():
    # A loss with upright edges, scanned five times as densely as the wall beside it.
    rng = np.random.default_rng(5)
    deep = np.zeros(GRID.shape, dtype=bool)
    deep[3:9, 20:40] = True
    field = np.where(deep, 20.0, 0.0)
    mean = []
    for _ in range(4):
        told = rng.uniform(size=GRID.shape) < np.where(deep, 0.9, 0.18)
        read = np.where(told, field + rng.normal(0.0, NOISE, GRID.shape), np.nan)
        found = fitted(read, told)
        mean.append(float((found.apply(read) - field).mean()))
    points = float(np.nanmean(read) - field.mean())
    assert points > 4.0
    assert abs(np.mean(mean)) < 0.1 * points


def test_scatter_alone_is_no_field():
    rng = np.random.default_rng(6)
    read = rng.normal(0.0, 2.0, GRID.shape)
    variance = local_variance(read, np.full(GRID.shape, 4.0), 1.0)
    # the square of a residual would be 4
    assert variance.mean() < 0.12
    found = krige(
        read, np.full(GRID.shape, 4.0), np.ones(GRID.shape),
        np.ones(GRID.shape, bool), scattered=np.zeros(GRID.shape), grid=GRID,
    )  # fmt: skip
    assert np.sqrt(np.mean(found.apply(read) ** 2)) < 0.6


def test_cells_of_many_points_stand_by_themselves():
    before, own = np.full(GRID.shape, 3.0), np.full(GRID.shape, 1.0)
    residual = np.random.default_rng(7).normal(0.0, 2.0, GRID.shape)
    told = by_themselves(before / (before + own), before)
    np.testing.assert_allclose(told.apply(residual), 0.75 * residual)
    # 1 / (1 / own + 1 / before): what two independent estimates of one thing leave
    np.testing.assert_allclose(told.variance + told.scatter(own), 0.75)


def test_a_course_all_round_is_told_by_its_row():
    # 0.5 mm all round under points of 2 mm: no cell nor its neighbours could tell.
    rng = np.random.default_rng(9)
    grid = make_grid(plain_design(), surveyed=(0.0, 1500.0), columns=120)
    course = 0.5 * np.sin(2.0 * np.pi * grid.height / 115.0)
    told = rng.uniform(size=grid.shape) < 0.5
    read = course[:, None] + rng.normal(0.0, 2.0, grid.shape)
    read = np.where(told, read, np.nan)
    mean, covariance = ring_residual(read, np.full(grid.shape, 4.0), grid)
    off = mean - course
    assert np.sqrt(np.mean(off**2)) < 0.5 * np.sqrt(np.mean(course**2))
    ratio = off / np.sqrt(np.diag(covariance))
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1.0, abs=0.3)
    # its twin without courses stays as it is
    none = np.where(told, rng.normal(0.0, 2.0, grid.shape), np.nan)
    mean, _ = ring_residual(none, np.full(grid.shape, 4.0), grid)
    assert np.sqrt(np.mean(mean**2)) < 0.1
