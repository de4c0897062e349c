"""The deepest point: distribution of a maximum against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from geom.compare.extremes import deepest_point
from geom.compare.nodes import Nodes, make_nodes
from geom.surface import RadialSurface, reconstruct
from geom.units import Float
from tests.walls import plain_design, tapered_design, worn, worn_readings


def flat_nodes(surface: RadialSurface, deep: int, covariance: Float) -> Nodes:
    """Nodes with ``deep`` of them level at 50 mm and the rest 400 mm short of them."""
    nodes = make_nodes(surface)
    mean = np.full(nodes.mean.size, -350.0)
    mean[:deep] = 50.0
    return Nodes(
        height=nodes.height,
        azimuth=nodes.azimuth,
        design_radius=nodes.design_radius,
        mean=mean,
        covariance=covariance,
        owner=nodes.owner,
    )


def as_surface(surface: RadialSurface, nodes: Nodes) -> RadialSurface:
    from dataclasses import replace

    held = nodes.owner >= 0
    field = np.where(held, nodes.mean[np.maximum(nodes.owner, 0)], np.nan)
    return replace(surface, radius=field + surface.grid.design_radius[:, None])


def maximum_of_normals(count: int) -> tuple[float, float, float]:
    """Mean and 95 % limits of the greatest of independent standard normals."""
    x = np.linspace(-8.0, 10.0, 200001)
    share = norm.cdf(x) ** count
    mean = float(10.0 - np.trapezoid(share, x))
    low, high = (float(x[np.searchsorted(share, p)]) for p in (0.025, 0.975))
    return mean, low, high


@pytest.mark.parametrize("deep", [1, 2, 40])
def test_greatest_of_level_independent_places_follows_order_statistics(
    deep: int,
) -> None:
    design = plain_design()
    surface = reconstruct(worn_readings(design, azimuths=8, heights=6), design)
    q = make_nodes(surface).mean.size
    nodes = flat_nodes(surface, deep, 9.0 * np.eye(q))
    found = deepest_point(as_surface(surface, nodes), nodes).cutback
    mean, low, high = maximum_of_normals(deep)
    # 4000 draws: the mean to 0.016 sd, the limits to about 0.05 sd, at three times that
    assert found.value == pytest.approx(50.0 + 3.0 * mean, abs=0.15)
    assert found.low95 == pytest.approx(50.0 + 3.0 * low, abs=0.45)
    assert found.high95 == pytest.approx(50.0 + 3.0 * high, abs=0.45)


def test_places_that_move_together_are_no_deeper_than_one() -> None:
    design = plain_design()
    surface = reconstruct(worn_readings(design, azimuths=8, heights=6), design)
    q = make_nodes(surface).mean.size
    nodes = flat_nodes(surface, 40, np.full((q, q), 9.0))
    found = deepest_point(as_surface(surface, nodes), nodes).cutback
    assert found.value == pytest.approx(50.0, abs=0.15)
    assert found.sd == pytest.approx(3.0, rel=0.04)


def test_least_lining_left_mirrors_the_deepest_point_of_a_straight_wall() -> None:
    design = plain_design()
    surface = reconstruct(worn_readings(design), design)
    point = deepest_point(surface, make_nodes(surface))
    assert point.remaining_lining is not None
    total = point.remaining_lining.value + point.cutback.value
    assert total == pytest.approx(685.0 - 450.0, abs=1e-6)
    assert point.remaining_lining.low95 == pytest.approx(235.0 - point.cutback.high95)


def test_on_a_taper_the_least_lining_may_be_elsewhere() -> None:
    design = tapered_design()
    surface = reconstruct(worn_readings(design), design)
    point = deepest_point(surface, make_nodes(surface))
    assert point.remaining_lining is not None
    height, azimuth = np.meshgrid(surface.height, surface.azimuth, indexing="ij")
    out = (surface.grid.design_radius[:, None] + worn(azimuth, height))[
        surface.grid.surveyed
    ]
    assert point.remaining_lining.low95 < 685.0 - out.max()
    assert 685.0 - out.max() < point.remaining_lining.high95


def test_a_design_without_shell_says_nothing_of_lining_left() -> None:
    design = plain_design(shell_radius=None)
    surface = reconstruct(worn_readings(design, azimuths=8, heights=6), design)
    assert deepest_point(surface, make_nodes(surface)).remaining_lining is None


def test_the_same_seed_draws_the_same() -> None:
    design = plain_design()
    surface = reconstruct(worn_readings(design, azimuths=8, heights=6), design)
    nodes = make_nodes(surface)
    assert deepest_point(surface, nodes) == deepest_point(surface, nodes)
    other = deepest_point(surface, nodes, seed=1)
    assert other.cutback != deepest_point(surface, nodes).cutback
