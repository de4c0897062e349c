"""Daub, against closed forms and published shrinkage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare.nodes import make_nodes
from geom.design import Mix
from geom.quantity import Quantity
from geom.repair.plan.daub import daub_for, sand_share, swelling
from tests.repair.surveyed import box, surface_of
from tests.walls import plain_design

LITRE = 1e6


def test_volume_lost_on_drying_is_the_cube_of_the_length_lost() -> None:
    """Searle, The Natural History of Clay (1912), p. 29: 18 % by volume.

    Recomputed: 6.401 % of the length.  Three times the length, the usual short cut,
    gives 19.2 %.
    """
    mix = Mix(shrinkage=0.06401, rebound=0.0)
    lost = 1.0 - 1.0 / swelling(mix)
    assert lost == pytest.approx(0.18, abs=5e-5)
    assert abs(lost - 3.0 * mix.shrinkage) > 0.01


def test_what_falls_off_is_mixed_too() -> None:
    assert swelling(Mix(shrinkage=0.0, rebound=0.1)) == pytest.approx(1.0 / 0.9)


def test_parts_by_volume_are_weighed_by_bulk_density() -> None:
    mix = Mix(sand=3.0, clay=1.0, sand_density=1600.0, clay_density=1090.0)
    assert sand_share(mix) == pytest.approx(4800.0 / 5890.0)
    assert sand_share(replace(mix, by="mass")) == pytest.approx(0.75)


def test_a_hundred_litres_by_hand() -> None:
    mix = Mix(
        sand=3.0, clay=1.0, by="mass", water_least=0.08, water_most=0.12,
        daub_density=1980.0, batch=40.0, shrinkage=0.0, rebound=0.2, layer_most=50.0,
        wash=1.0,
    )  # fmt: skip
    volume = Quantity.normal(100.0 * LITRE, 10.0 * LITRE)
    daub = daub_for(volume, mix, thickness=51.0, face=2e6)
    assert daub.mixed.value == pytest.approx(125.0 * LITRE)
    assert daub.mass.value == pytest.approx(247.5)
    assert daub.sand.value + daub.clay.value == pytest.approx(225.0)  # 247.5 / 1.1
    assert daub.sand.value == pytest.approx(168.75)
    assert (daub.water_least, daub.water_most) == pytest.approx((18.0, 27.0))
    assert daub.batches == 4  # 125 / 40
    assert daub.layers == 2
    assert daub.wash == pytest.approx(2.0 * LITRE)
    for part in (daub.mixed, daub.mass, daub.sand, daub.clay):
        assert part.sd / part.value == pytest.approx(0.1)
        assert part.high95 / part.value == pytest.approx(volume.high95 / volume.value)


def test_no_daub_is_no_batch() -> None:
    daub = daub_for(Quantity.normal(0.0, 0.0), Mix(), thickness=0.0, face=0.0)
    assert (daub.batches, daub.layers, daub.mass.value) == (0, 1, 0.0)


def test_sd_beyond_a_depth_is_that_of_draws() -> None:
    field = box(180.0, 40.0, 300.0, 700.0, 20.0)
    surface = surface_of(plain_design(), field, sd=5.0)
    nodes = make_nodes(surface)
    patch = surface.grid.patch * (surface.cutback > 10.0)
    weight = nodes.gather(patch)
    pull = nodes.hermite(weight) - 0.5 * nodes.hermite(weight, depth=22.0)
    some = np.flatnonzero(weight)
    drawn = nodes.mean[some][:, None] + nodes.draws(some, 4000, seed=5)

    def beyond(depth: float) -> np.ndarray:
        deep = np.maximum(drawn - depth, 0.0)
        return weight[some] @ (deep * (450.0 + depth + 0.5 * deep))

    # 4000 draws give a standard deviation to about 1.1 %, at three times that
    exact = (beyond(0.0) - 0.5 * beyond(22.0)).std()
    assert nodes.sd_of(pull) == pytest.approx(exact, rel=0.04)
    assert nodes.sd_of(nodes.hermite(weight)) > 1.1 * exact
    assert nodes.sd_of(0.0 * pull) == 0.0
