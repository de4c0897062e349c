"""Joint uncertainty of volumes against draws from the joint posterior."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import gamma

from geom.compare.draws import WallDraws
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.volume import gamma_quantity, net_sd, rebuild_volume, volumes
from geom.surface import RadialSurface, reconstruct
from geom.units import Float
from tests.walls import tapered_design, worn_readings


@cache
def surface_and_nodes() -> tuple[RadialSurface, Nodes]:
    design = tapered_design()
    surface = reconstruct(worn_readings(design, azimuths=9, heights=7), design)
    return surface, make_nodes(surface)


def drawn_volumes(nodes: Nodes, patch: Float, count: int) -> tuple[Float, Float]:
    rng = np.random.default_rng(11)
    root = np.linalg.cholesky(nodes.covariance + 1e-8 * np.eye(nodes.mean.size))
    x = nodes.mean + (root @ rng.standard_normal((nodes.mean.size, count))).T
    section = ((nodes.design_radius + x) ** 2 - nodes.design_radius**2) / 2.0
    return np.maximum(section, 0.0) @ patch, np.maximum(-section, 0.0) @ patch


def test_volumes_follow_draws_of_the_process_where_wall_is_worn() -> None:
    surface, nodes = surface_and_nodes()
    told = volumes(surface.grid, surface.cutback, surface.radius_sd, as_drawn(nodes))
    rebuild, buildup = drawn_volumes(nodes, nodes.gather(surface.grid.patch), 4000)
    # 4000 draws give a standard deviation to about 1.1 %, at three times that
    assert told.rebuild.sd == pytest.approx(rebuild.std(), rel=0.05)
    assert told.buildup.sd == pytest.approx(buildup.std(), rel=0.08)
    assert told.net.sd == pytest.approx((rebuild - buildup).std(), rel=0.05)
    patch = nodes.gather(surface.grid.patch)
    assert nodes.sd_of_excess(patch) == pytest.approx(rebuild.std(), rel=0.04)
    assert net_sd(nodes, patch) == pytest.approx((rebuild - buildup).std(), rel=0.04)
    # the value is that of the closed form on the fine grid
    closed = rebuild_volume(surface.grid, surface.cutback, surface.radius_sd)
    assert told.rebuild.value == pytest.approx(closed, rel=1e-6)
    assert told.net.value == pytest.approx(told.rebuild.value - told.buildup.value)


def test_the_variance_of_a_volume_is_mehlers_sum_over_all_pairs() -> None:
    _, nodes = surface_and_nodes()
    count = nodes.mean.size
    assert count > 150  # more than goes through at once
    hermite = np.random.default_rng(3).normal(size=(4, count))
    rho = nodes.covariance / np.outer(nodes.sd, nodes.sd)
    terms = [
        own @ rho ** (k + 1) @ own / factorial
        for k, (own, factorial) in enumerate(zip(hermite, (1, 2, 6, 24), strict=True))
    ]
    assert nodes.sd_of(hermite) == pytest.approx(np.sqrt(sum(terms)), rel=1e-9)
    some = np.flatnonzero(np.arange(count) % 3)
    part = np.zeros_like(hermite)
    part[:, some] = hermite[:, some]
    assert nodes.sd_of(hermite, at=some) == pytest.approx(nodes.sd_of(part), rel=1e-9)


def test_the_net_volume_of_a_wall_at_the_axis_errs_by_its_square() -> None:
    """R + m = 0: of ``sum patch X**2 / 2`` the variance is ``tr(D C D C) / 2``."""
    _, nodes = surface_and_nodes()
    at_axis = replace(
        nodes, mean=-np.broadcast_to(nodes.design_radius, nodes.mean.shape)
    )
    patch = np.linspace(0.5, 2.0, nodes.mean.size)
    table = patch[:, None] * nodes.covariance
    assert net_sd(at_axis, patch) ** 2 == pytest.approx(0.5 * np.trace(table @ table))


def test_interval_holds_95_percent_of_the_draws() -> None:
    surface, nodes = surface_and_nodes()
    told = volumes(
        surface.grid, surface.cutback, surface.radius_sd, as_drawn(nodes)
    ).rebuild
    rebuild, _ = drawn_volumes(nodes, nodes.gather(surface.grid.patch), 4000)
    shifted = rebuild - rebuild.mean() + told.value
    held = np.mean((shifted > told.low95) & (shifted < told.high95))
    assert held == pytest.approx(0.95, abs=0.015)  # three sd of shares of 4000 each


def as_drawn(nodes: Nodes) -> WallDraws:
    """Draws of the process alone, none of them sound."""
    every = np.arange(nodes.mean.size)
    wall = nodes.mean[:, None] + nodes.draws(every, 4000, seed=3)
    return WallDraws(
        nodes, wall, wall, np.zeros(nodes.mean.size), np.zeros(wall.shape[1])
    )


def test_independent_cells_would_claim_far_too_little() -> None:
    surface, nodes = surface_and_nodes()
    joint = volumes(
        surface.grid, surface.cutback, surface.radius_sd, as_drawn(nodes)
    ).rebuild.sd
    patch = nodes.gather(surface.grid.patch)
    alone = float(np.sqrt(np.sum((patch * nodes.design_radius * nodes.sd) ** 2)))
    assert alone < 0.5 * joint


def test_expected_volume_is_more_than_that_of_the_best_surface() -> None:
    surface, _ = surface_and_nodes()
    grid, cutback = surface.grid, surface.cutback
    known = rebuild_volume(grid, cutback, np.zeros(grid.shape))
    assert rebuild_volume(grid, cutback, surface.radius_sd) > known


def test_nodes_keep_every_bit_of_the_surveyed_wall() -> None:
    surface, nodes = surface_and_nodes()
    gathered = nodes.gather(surface.grid.patch)
    assert gathered.sum() == pytest.approx(surface.grid.patch.sum(), rel=1e-12)


def test_interval_of_a_positive_volume_is_that_of_a_gamma() -> None:
    got = gamma_quantity(4.0, 3.0)
    shape = (4.0 / 3.0) ** 2
    told = gamma.ppf([0.025, 0.975], shape, scale=4.0 / shape)
    assert (got.low95, got.high95) == pytest.approx(tuple(told), rel=1e-9)
    assert got.low95 > 0.0


def test_no_volume_has_no_interval_below_zero() -> None:
    assert gamma_quantity(0.0, 0.0).low95 == 0.0
