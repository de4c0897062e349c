"""Volumes on the cylinder against closed forms, on the pinned grid.

Sources: frustum R 14, r 7, h 30 cm, exactly 3430 pi cm3, and R 1 m, r 0.25 m, h 5 m
(schoolbook examples; their printed values use pi = 22/7 and pi = 3, so the exact ones
are asserted); ring by Pappus' second theorem; wedge on a semicircle, V = 2 h r**2 / 3
(vias.org, Computational Geometry, cylindrical wedge); average end areas overestimate a
frustum (prismoidal rule, common surveying practice).
"""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.volume import buildup_volume, rebuild_volume
from geom.design import Profile
from geom.stats.normal import expected_excess
from geom.surface import Grid, make_grid
from geom.units import Float
from tests.walls import plain_design

#: What the project promises on the pinned grid.
PROMISED = 1e-4


def pinned_grid(top: float, radius: float = 450.0) -> Grid:
    profile = Profile(np.array([0.0, top]), np.array([radius, radius]))
    return make_grid(plain_design(profile=profile), surveyed=(0.0, top))


def solid_of_revolution(grid: Grid, outer: Float) -> float:
    """Volume inside a radius given by height: cut-back from an axis of radius 0."""
    section = expected_excess(outer, np.zeros_like(outer), np.zeros_like(outer))
    return float(np.sum(grid.patch * section[:, None]))


def test_cylinder_shell_has_its_exact_volume() -> None:
    grid = pinned_grid(1500.0)
    cutback = np.full(grid.shape, 30.0)
    exact = np.pi * (480.0**2 - 450.0**2) * 1500.0
    got = rebuild_volume(grid, cutback, np.zeros(grid.shape))
    assert got == pytest.approx(exact, rel=1e-12)


def test_shell_standing_proud_is_build_up_and_not_rebuild() -> None:
    grid = pinned_grid(1500.0)
    cutback, sd = np.full(grid.shape, -20.0), np.zeros(grid.shape)
    exact = np.pi * (450.0**2 - 430.0**2) * 1500.0
    assert buildup_volume(grid, cutback, sd) == pytest.approx(exact, rel=1e-12)
    assert rebuild_volume(grid, cutback, sd) == 0.0


@pytest.mark.parametrize(
    ("bottom", "top", "tall", "exact"),
    [
        (140.0, 70.0, 300.0, 3430.0 * np.pi * 1e3),
        (1000.0, 250.0, 5000.0, np.pi * 5e3 / 3.0 * (1e6 + 2.5e5 + 6.25e4)),
        (56.0 * 5, 42.0 * 5, 150.0, np.pi * 150 / 3 * (280**2 + 280 * 210 + 210**2)),
    ],
)
def test_frustum_has_its_exact_volume(
    bottom: float, top: float, tall: float, exact: float
) -> None:
    grid = pinned_grid(tall)
    outer = bottom + (top - bottom) * grid.height / tall
    assert solid_of_revolution(grid, outer) == pytest.approx(exact, rel=PROMISED)


def test_average_end_areas_are_too_large_on_the_same_frustum() -> None:
    exact = 3430.0 * np.pi * 1e3
    end_areas = 300.0 * np.pi * (140.0**2 + 70.0**2) / 2.0
    assert end_areas / exact == pytest.approx(1.0714, abs=1e-4)
    assert end_areas != pytest.approx(exact, rel=PROMISED)


def test_triangular_ring_follows_pappus() -> None:
    grid = pinned_grid(600.0)
    depth = np.interp(grid.height, [100.0, 300.0, 500.0], [0.0, 80.0, 0.0])
    cutback = np.repeat(depth[:, None], grid.azimuth.size, axis=1)
    exact = 2.0 * np.pi * (450.0 + 80.0 / 3.0) * (400.0 * 80.0 / 2.0)
    got = rebuild_volume(grid, cutback, np.zeros(grid.shape))
    assert got == pytest.approx(exact, rel=PROMISED)


def half_round_ring_error(spacing: float) -> float:
    groove = 100.0
    profile = Profile(np.array([0.0, 400.0]), np.array([450.0, 450.0]))
    grid = make_grid(
        plain_design(profile=profile), surveyed=(0.0, 400.0), spacing=spacing
    )
    inside = np.maximum(groove**2 - (grid.height - 200.0) ** 2, 0.0)
    cutback = np.repeat(np.sqrt(inside)[:, None], 360, axis=1)
    centroid = 450.0 + 4.0 * groove / (3.0 * np.pi)
    exact = 2.0 * np.pi * centroid * np.pi * groove**2 / 2.0
    return abs(rebuild_volume(grid, cutback, np.zeros(grid.shape)) / exact - 1.0)


def test_half_round_ring_converges_at_the_order_its_edges_allow() -> None:
    coarse, fine = half_round_ring_error(10.0), half_round_ring_error(2.5)
    order = np.log(coarse / fine) / np.log(4.0)
    assert order == pytest.approx(1.5, abs=0.25)  # a square-root edge gives 3/2
    assert fine < 5e-4


def test_wedge_on_a_semicircle_has_two_thirds_of_its_box() -> None:
    radius, tall = 450.0, 900.0
    grid = pinned_grid(tall, radius)
    lift = np.sin(np.deg2rad(grid.azimuth))[None, :] * tall
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = grid.height[:, None] * radius / lift
    inner = np.where((lift > 0) & (inner < radius), inner, radius)
    section = expected_excess(radius - inner, np.zeros_like(inner), inner)
    got = float(np.sum(grid.patch * section))
    assert got == pytest.approx(2.0 * tall * radius**2 / 3.0, rel=PROMISED)
