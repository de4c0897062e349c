"""The deepest point: distributions of a maximum against closed forms, and of holes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from scipy.stats import norm

from geom.compare.draws import WallDraws, draw_walls, prior_of
from geom.compare.extremes import HOLES, deepest_point, maximum_quantity, unseen_holes
from geom.compare.nodes import Nodes, make_nodes
from geom.quantity import K95, Quantity
from geom.surface import RadialSurface, reconstruct
from geom.surface.gp.posterior import GPPosterior
from geom.units import Float
from tests.walls import (
    plain_design,
    rod_readings,
    stations,
    tapered_design,
    worn,
    worn_readings,
)

DRAWS = 4000


@cache
def some_surface() -> RadialSurface:
    design = plain_design()
    readings = worn_readings(design, azimuths=8, heights=6)
    return reconstruct(readings, design, spacing=50.0, columns=60)


def flat_nodes(deep: int, covariance: Float) -> Nodes:
    """Nodes with ``deep`` of them level at 50 mm and the rest 400 mm short of them."""
    nodes = make_nodes(some_surface())
    mean = np.full(nodes.mean.size, -350.0)
    mean[:deep] = 50.0
    return replace(nodes, mean=mean, covariance=covariance)


def as_surface(nodes: Nodes) -> RadialSurface:
    held = nodes.owner >= 0
    field = np.where(held, nodes.mean[np.maximum(nodes.owner, 0)], np.nan)
    surface = some_surface()
    return replace(surface, radius=field + surface.grid.design_radius[:, None])


def as_drawn(nodes: Nodes, *, sound: float = 1.0) -> WallDraws:
    """Draws of the process alone; sound wall has no unseen holes."""
    every = np.arange(nodes.mean.size)
    wall = nodes.mean[:, None] + nodes.draws(every, DRAWS, seed=0)
    return WallDraws(
        nodes, wall, wall, np.full(nodes.mean.size, sound), np.zeros(wall.shape[1])
    )


def maximum_of_normals(count: int) -> tuple[float, float]:
    """Mean and upper 95 % limit of the greatest of independent standard normals."""
    x = np.linspace(-8.0, 10.0, 200001)
    share = norm.cdf(x) ** count
    mean = float(10.0 - np.trapezoid(share, x))
    return mean, float(x[np.searchsorted(share, 0.975)])


@pytest.mark.parametrize("deep", [1, 2, 40])
def test_greatest_of_level_independent_places_follows_order_statistics(
    deep: int,
) -> None:
    q = make_nodes(some_surface()).mean.size
    nodes = flat_nodes(deep, 9.0 * np.eye(q))
    surface = as_surface(nodes)
    found = deepest_point(surface, as_drawn(nodes)).cutback
    mean, high = maximum_of_normals(deep)
    # 4000 draws: the mean to 0.016 sd, the limits to about 0.05 sd, at three times that
    assert found.value == pytest.approx(50.0 + 3.0 * mean, abs=0.15)
    assert found.high95 == pytest.approx(50.0 + 3.0 * high, abs=0.45)
    # the lower end is that of the deepest cell of the best surface, if it is lower
    row, column = place_of_deepest(surface)
    single = 50.0 - K95 * surface.radius_sd[row, column]
    low = np.quantile(as_drawn(nodes).cutback[:deep].max(axis=0), 0.025)
    assert found.low95 == pytest.approx(min(single, low), abs=1e-6)


def place_of_deepest(surface: RadialSurface) -> tuple[int, int]:
    grid = surface.grid
    wall = grid.surveyed & ~grid.opening
    flat = int(np.argmax(np.where(wall, surface.cutback, -np.inf)))
    return flat // grid.azimuth.size, flat % grid.azimuth.size


def test_an_opening_is_no_wall_however_far_back_it_lies() -> None:
    nodes = flat_nodes(40, 9.0 * np.eye(make_nodes(some_surface()).mean.size))
    surface = as_surface(nodes)
    row, column = place_of_deepest(surface)
    opening = np.zeros(surface.grid.shape, dtype=bool)
    opening[row, (column + 30) % surface.grid.azimuth.size] = True
    grid = replace(surface.grid, wall=np.where(opening, 0.0, surface.grid.wall))
    whole = replace(surface, grid=grid)
    holed = replace(whole, radius=np.where(opening, 9000.0, surface.radius))
    one, other = (deepest_point(wall, as_drawn(nodes)) for wall in (whole, holed))
    assert other == one
    assert other.cutback.value < 100.0


def test_places_that_move_together_are_no_deeper_than_one() -> None:
    q = make_nodes(some_surface()).mean.size
    nodes = flat_nodes(40, np.full((q, q), 9.0))
    found = deepest_point(as_surface(nodes), as_drawn(nodes)).cutback
    assert found.value == pytest.approx(50.0, abs=0.15)
    assert found.sd == pytest.approx(3.0, rel=0.04)


def test_the_lower_end_of_a_greatest_goes_down_to_the_single_deepest_cell() -> None:
    draws = np.random.default_rng(2).normal(60.0, 2.0, 10_000)
    plain = Quantity.of_samples(draws)
    assert maximum_quantity(draws, 70.0) == plain
    lower = maximum_quantity(draws, 45.0)
    assert (lower.value, lower.sd, lower.high95) == (
        plain.value,
        plain.sd,
        plain.high95,
    )
    assert lower.low95 == 45.0


# --- holes that no reading could see -------------------------------------------------


@dataclass(frozen=True)
class Seen:
    """A posterior of which only the holes its readings stand in are asked."""

    found: int
    read: int

    def holes_seen(self, least: float, deeper: float) -> tuple[int, int]:
        assert (least, deeper) == (HOLES.surprise, HOLES.deeper)
        return self.found, self.read


def surprised(found: int, read: int, shell: float | None = 685.0) -> RadialSurface:
    stand_in = SimpleNamespace(
        posterior=Seen(found, read), design=SimpleNamespace(shell_radius=shell)
    )
    return cast("RadialSurface", stand_in)


def level_walls(sound: Float | None = None) -> tuple[WallDraws, Float]:
    """Wall of 4 m2 in all, 20 mm cut back; and the area of each node, m2."""
    nodes = make_nodes(some_surface())
    q = nodes.mean.size
    level = np.full((q, DRAWS), 20.0)
    some = np.zeros(q) if sound is None else sound
    return WallDraws(nodes, level, level, some, np.zeros(level.shape[1])), np.full(
        q, 4.0 / q
    )


def test_wall_that_is_sound_has_no_unseen_hole() -> None:
    q = make_nodes(some_surface()).mean.size
    walls, area = level_walls(np.ones(q))
    hole, _ = unseen_holes(surprised(9, 100), walls, area, 0)
    assert not hole.any()
    half = np.arange(q) < q // 2
    walls, area = level_walls(half.astype(float))
    hole, place = unseen_holes(surprised(9, 100), walls, area, 0)
    assert hole.any()
    assert not half[place].any()


@pytest.mark.parametrize(("found", "read"), [(0, 100), (2, 100), (12, 100), (0, 0)])
def test_holes_come_at_the_rate_that_the_survey_teaches(found: int, read: int) -> None:
    walls, area = level_walls()
    hole, _ = unseen_holes(surprised(found, read), walls, area, 0)
    # of 4 m2 a station sees a brick's face, a scan nine tenths
    seen = read * 0.2286 * 0.0635 if read else 0.9 * 4.0
    # no hole: mean of exp(-rate * unseen) over a gamma of the rate
    shape, rate = 0.15 + found, 2.0 + seen
    none = (rate / (rate + 4.0 - seen)) ** shape
    assert np.mean(hole == 0.0) == pytest.approx(none, abs=0.025)


def test_more_surprises_make_deeper_holes_likelier() -> None:
    walls, area = level_walls()
    deep = [
        float(np.quantile(unseen_holes(surprised(n, 100), walls, area, 0)[0], 0.975))
        for n in (0, 2, 12)
    ]
    assert deep[0] < deep[1] - 10.0 < deep[2] - 20.0


@pytest.mark.parametrize(
    ("shell", "mean"), [(685.0, 25.0), (None, 25.0), (490.0, 10.0)]
)
def test_a_hole_is_as_deep_as_a_brick_and_less_in_a_thin_lining(
    shell: float | None, mean: float
) -> None:
    walls, area = level_walls()
    # so few come, of no surprise, that hardly ever two meet in one draw
    hole, _ = unseen_holes(surprised(0, 200, shell), walls, area, 0)
    some = hole[hole > 0.0]
    assert some.size > 60
    # gamma of shape 2; two holes at once are rare and deepen the mean a little
    sure = 3.0 * mean / np.sqrt(2.0 * some.size)
    assert some.mean() == pytest.approx(1.05 * mean, abs=sure)


def test_the_deepest_point_counts_holes_and_the_lining_left_does_too() -> None:
    q = make_nodes(some_surface()).mean.size
    nodes = flat_nodes(40, 9.0 * np.eye(q))
    walls = as_drawn(nodes, sound=0.0)
    surface = as_surface(nodes)
    calm = replace(surface, posterior=Seen(0, 10_000))
    odd = replace(surface, posterior=Seen(12, 48))
    without, some = (deepest_point(one, walls) for one in (calm, odd))
    hole, place = unseen_holes(odd, walls, area_of(walls, odd), 0)
    drawn = walls.cutback[place, np.arange(DRAWS)] + hole
    both = np.maximum(walls.cutback[:40].max(axis=0), drawn)
    assert some.cutback.value == pytest.approx(both.mean(), abs=1e-6)
    assert some.cutback.high95 == pytest.approx(np.quantile(both, 0.975), abs=1e-6)
    assert without.remaining_lining is not None
    assert some.remaining_lining is not None
    assert some.remaining_lining.low95 <= without.remaining_lining.low95
    assert some.cutback.low95 == pytest.approx(without.cutback.low95, abs=0.5)


def area_of(walls: WallDraws, surface: RadialSurface) -> Float:
    grid = surface.grid
    wall = grid.surveyed & ~grid.opening
    return walls.nodes.gather(np.where(wall, grid.face_area, 0.0)) * 1e-6


def test_readings_in_holes_are_those_the_others_do_not_foretell() -> None:
    """Leave-one-out residuals against the same worked out one by one."""
    design = plain_design()
    azimuth, height = stations(8, 6, 100.0, 1400.0)
    value = 450.0 + worn(azimuth, height)
    value += np.random.default_rng(1).normal(0.0, 1.0, value.size)
    value[20] += 16.0
    readings = rod_readings(azimuth, height, value, sd=1.0)
    posterior = reconstruct(readings, design, spacing=100.0, columns=36).posterior
    assert isinstance(posterior, GPPosterior)
    root = posterior.best.inverse_cholesky
    table = np.linalg.inv(root.T @ root)
    told = table @ posterior.best.weights
    off, sd = [], []
    for k in range(told.size):
        others = np.arange(told.size) != k
        pull = np.linalg.solve(table[np.ix_(others, others)], table[others, k])
        off.append(told[k] - pull @ told[others])
        sd.append(np.sqrt(table[k, k] - pull @ table[others, k]))
    residual, spread = np.array(off), np.array(sd)
    counts = []
    for least, deeper in ((0.5, 0.1), (1.0, 2.0), (2.0, 12.0)):
        odd = (residual > least * spread) & (residual > deeper)
        counts.append(int(odd.sum()))
        assert posterior.holes_seen(least, deeper) == (counts[-1], told.size)
    assert counts[0] > counts[-1]


# --- on surfaces ---------------------------------------------------------------------


def walls_of(surface: RadialSurface) -> WallDraws:
    nodes = make_nodes(surface)
    return draw_walls(nodes, prior_of(surface, nodes))


def test_least_lining_left_mirrors_the_deepest_point_of_a_straight_wall() -> None:
    design = plain_design()
    surface = reconstruct(worn_readings(design), design)
    point = deepest_point(surface, walls_of(surface))
    assert point.remaining_lining is not None
    total = point.remaining_lining.value + point.cutback.value
    assert total == pytest.approx(685.0 - 450.0, abs=1e-6)
    assert point.remaining_lining.low95 == pytest.approx(235.0 - point.cutback.high95)


def test_on_a_taper_the_least_lining_may_be_elsewhere() -> None:
    design = tapered_design()
    surface = reconstruct(worn_readings(design), design)
    point = deepest_point(surface, walls_of(surface))
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
    assert deepest_point(surface, walls_of(surface)).remaining_lining is None


def test_the_same_seed_draws_the_same() -> None:
    surface = some_surface()
    walls = walls_of(surface)
    first = deepest_point(surface, walls)
    assert deepest_point(surface, walls_of(surface)) == first
    other = deepest_point(surface, walls, seed=1)
    assert other.cutback != first.cutback
