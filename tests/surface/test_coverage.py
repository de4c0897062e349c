"""Stated intervals hold the truth as often as they say, on walls nobody modelled.

The walls are those of the benchmark (`scripts/bench/linings.py`), written without
regard to the model; the whole of it is `scripts/bench/accuracy.py`.  The bounds are
what a small seeded set can promise: points of one wall are correlated, so a share of 12
walls' points has a standard error of about 1.5 %.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from geom.compare.draws import draw_walls, prior_of
from geom.compare.nodes import make_nodes
from geom.compare.volume import volumes
from geom.quantity import K95
from geom.stats.normal import exceedance_probability, expected_excess
from geom.surface import RadialSurface, reconstruct
from geom.units import Bool, Float

BENCH = str(Path(__file__).resolve().parents[2] / "scripts" / "bench")
FAMILIES = ("even", "tuyere", "patchy", "one-sided")


@pytest.fixture(scope="module")
def surveys() -> list[tuple[RadialSurface, Float]]:
    """Twelve walls read at 12 x 10 stations with 2 mm noise, and the truth."""
    sys.path.insert(0, BENCH)
    try:
        return list(surveyed_walls())
    finally:
        sys.path.remove(BENCH)


def surveyed_walls() -> Iterator[tuple[RadialSurface, Float]]:
    from linings import make_lining, read

    for family in FAMILIES:
        for seed in range(3):
            lining = make_lining(family, 4000 + seed)
            readings = read(lining, 12, 10, noise=2.0, seed=seed)
            surface = reconstruct(readings, lining.design, spacing=30.0, columns=60)
            height, azimuth = np.meshgrid(
                surface.height, surface.azimuth, indexing="ij"
            )
            true = lining.cutback(azimuth.ravel(), height.ravel())
            yield surface, true.reshape(height.shape)


def on_wall(surface: RadialSurface) -> Bool:
    return surface.grid.surveyed & ~surface.grid.opening


def test_95_percent_intervals_of_points_hold_about_95_percent(surveys) -> None:
    held = [
        np.mean(np.abs(s.cutback - true)[on_wall(s)] < K95 * s.radius_sd[on_wall(s)])
        for s, true in surveys
    ]
    assert 0.92 < np.mean(held) < 0.985


def test_intervals_half_as_wide_would_not(surveys) -> None:
    held = [
        np.mean(
            np.abs(s.cutback - true)[on_wall(s)] < K95 / 2 * s.radius_sd[on_wall(s)]
        )
        for s, true in surveys
    ]
    assert np.mean(held) < 0.85


def test_volume_intervals_hold_the_true_volume(surveys) -> None:
    held = []
    for surface, true in surveys:
        grid = surface.grid
        nodes = make_nodes(surface)
        walls = draw_walls(nodes, prior_of(surface, nodes))
        told = volumes(grid, surface.cutback, surface.radius_sd, walls)
        drawn = grid.design_radius[:, None]
        section = expected_excess(true, np.zeros_like(true), drawn)
        volume = float(np.sum(grid.patch * section))
        held.append(told.rebuild.low95 < volume < told.rebuild.high95)
    # of 12 at 95 %, fewer than 9 would come once in 500 such sets
    assert sum(held) >= 9


def test_probability_of_brick_is_reliable(surveys) -> None:
    said, came = [], []
    for surface, true in surveys:
        wall = on_wall(surface)
        limit = surface.design.repair.brick_threshold
        chance = exceedance_probability(surface.cutback, surface.radius_sd, limit)
        said.append(chance[wall])
        came.append(true[wall] > limit)
    chance, brick = np.concatenate(said), np.concatenate(came)
    bins = np.minimum((chance * 10).astype(int), 9)
    gaps = [abs(np.sum(chance[bins == k] - brick[bins == k])) for k in range(10)]
    assert sum(gaps) / chance.size < 0.03
