"""The order list: enough with the confidence asked, whole bricks, whole bags."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import gamma

from geom.compare.findings import ACTIONS
from geom.compare.nodes import make_nodes
from geom.compare.zones import call_actions
from geom.design import Brickwork, Mix, Opening, Shop
from geom.repair.plan.order import (
    Demand,
    clay_of,
    known_zones,
    made_up,
    order_list,
    posterior_walls,
    sand_of,
    sufficient,
    together,
)
from geom.repair.wall import Wall
from geom.units import Float
from tests.repair.surveyed import (
    STRETCHER,
    box,
    hollow,
    planned,
    surface_of,
)
from tests.walls import plain_design

MIX = Mix(by="mass", shrinkage=0.0, rebound=0.0, water_least=0.1, water_most=0.1,
          daub_density=2200.0, bag=25.0, clay_density=1000.0, wash=1.0)  # fmt: skip
SHOP = Shop(bricks=(STRETCHER,), mix=MIX)
HOLE = Opening("tuyere", 95.0, 420.0, 60.0, 60.0)


def demand(bricks: int = 0, litres: float = 0.0) -> Demand:
    counts = {"stretcher": bricks} if bricks else {}
    return Demand(counts, 1.452e6 * bricks, litres * 1e6, 0.0, 0.0)


def test_enough_is_the_quantile_of_a_gamma() -> None:
    drawn = np.random.default_rng(1).gamma(9.0, 2.0, 4000)
    mean, sd = drawn.mean(), drawn.std()
    told = gamma.ppf(0.9, (mean / sd) ** 2, scale=sd**2 / mean)
    enough = sufficient(drawn, 0.0, 0.9, count_sd=0.0)
    assert enough == pytest.approx(told, rel=1e-9)
    held = np.mean(drawn <= enough)
    assert held == pytest.approx(0.9, abs=0.015)  # three sd of a share of 4000


def test_enough_of_what_is_seldom_needed() -> None:
    rare = np.array([0.0] * 97 + [5.0] * 3)
    often = np.array([0.0] * 50 + [4.0, 6.0] * 25)
    assert sufficient(rare, 0.0, 0.95) == 0.0
    # half need none, so 90 % of the others has to be covered
    told = gamma.ppf(0.9, 25.0, scale=0.2)
    enough = sufficient(often, 0.0, 0.95, count_sd=0.0)
    assert enough == pytest.approx(told, rel=1e-9)


def test_a_count_is_off_by_more_than_drawn_walls_show() -> None:
    # a normal of mean 100 and sd 3 is near enough to that gamma: 1.645 sd more
    enough = sufficient(np.full(40, 100.0), 0.0, 0.95)
    assert enough == pytest.approx(100.0 + 1.645 * 3.0, abs=0.15)


def test_never_less_than_the_plan() -> None:
    assert sufficient(np.array([1.0, 2.0, 3.0]), 8.0, 0.95) == 8.0


def test_sand_clay_and_bags_by_hand() -> None:
    # 100 litres of 2200 kg/m3 with water 0.1 of the dry mass: 200 kg dry, 3 to 1
    plan = demand(litres=100.0)
    assert (sand_of(plan, MIX), clay_of(plan, MIX)) == pytest.approx((150.0, 50.0))
    thin = Demand({}, 0.0, 0.0, 2e6, 3e6)  # 2 litres of joints, 3 m2 at 1 mm
    assert clay_of(thin, MIX) == pytest.approx(5.0)
    sand, clay = order_list(plan, [plan, plan], [STRETCHER], SHOP)
    # a count is off by 3 %: 0.95 of that gamma
    more = gamma.ppf(0.95, 1.0 / 0.03**2, scale=0.03**2)
    assert (sand.material, sand.best, sand.packs) == ("sand", pytest.approx(150), 7)
    assert (clay.material, clay.best, clay.packs) == ("fire clay", pytest.approx(50), 3)
    assert (sand.enough, clay.enough) == pytest.approx((150.0 * more, 50.0 * more))
    assert clay.pack == 25.0


def test_stock_on_hand_is_not_bought_again() -> None:
    drawn = [demand(bricks=n) for n in (90, 100, 110)]
    shop = replace(SHOP, brickwork=Brickwork(shortfall="brick"))
    for stock, packs in ((None, 118), (40, 78), (200, 0)):
        bricks = [replace(STRETCHER, stock=stock)]
        line = order_list(demand(bricks=100), drawn, bricks, shop)[0]
        assert (line.best, line.enough) == (100.0, 118.0)
        # brick and daub shall suffice at once with 0.95: each with 0.975
        share = 1.0 / 150.0 + 0.03**2  # variances: of the draws, of the count
        told = gamma.ppf(0.975, 1.0 / share, scale=100.0 * share)
        assert line.enough == np.ceil(told)
        assert (line.stock, line.packs) == (stock, packs)


def test_bricks_that_the_plan_does_not_lay_but_might_have_to_are_ordered() -> None:
    drawn = [demand(bricks=n) for n in (0, 0, 8, 12)]
    shop = replace(SHOP, brickwork=Brickwork(shortfall="brick"))
    line = order_list(demand(), drawn, [STRETCHER], shop)[0]
    assert line.best == 5.0
    assert line.enough >= 12.0


def test_daub_makes_up_for_bricks_that_run_short() -> None:
    rng = np.random.default_rng(3)
    drawn = [
        Demand({}, 1e6 * brick, 2e7, 0.0, 0.0) for brick in rng.gamma(9.0, 2.0, 4000)
    ]
    line, sand, clay = order_list(demand(bricks=5), drawn, [STRETCHER], SHOP)
    # 18 litres are expected; bricks of 1.452 litres, whole ones
    assert line.enough == 13.0
    at_hand = 13.0 * 1.452e6
    held = np.array(
        [
            sand_of(made_up(one, at_hand), MIX) <= sand.enough
            and clay_of(made_up(one, at_hand), MIX) <= clay.enough
            for one in drawn
        ]
    )
    # the gamma is of what is skewed more than one: near 0.95
    assert 0.93 <= held.mean() <= 0.99


def test_what_is_expected_is_the_mean_and_not_what_the_plan_lays() -> None:
    drawn = [demand(bricks=n, litres=10.0 * n) for n in (80, 100, 150)]
    line, sand, _ = order_list(demand(bricks=90), drawn, [STRETCHER], SHOP)
    assert line.best == 110.0
    assert sand.best == pytest.approx(110.0 * 10.0 * 1.5)


def test_brick_and_daub_suffice_at_once_with_the_confidence_asked() -> None:
    rng = np.random.default_rng(5)
    drawn = rng.gamma(25.0, 1.0, (2, 4000))
    most = [sufficient(one, 0.0, together(0.9), count_sd=0.0) for one in drawn]
    held = (drawn <= np.array(most)[:, None]).all(axis=0)
    assert 0.9 - 0.015 <= held.mean() <= 0.95  # three sd of a share of 4000
    alone = [sufficient(one, 0.0, 0.9, count_sd=0.0) for one in drawn]
    assert (drawn <= np.array(alone)[:, None]).all(axis=0).mean() < 0.85


def test_drawn_walls_are_those_of_the_readings() -> None:
    field = box(180.0, 400.0, 0.0, 2000.0, 20.0)
    surface = surface_of(plain_design(), field, sd=3.0)
    nodes = make_nodes(surface)
    every = np.arange(nodes.mean.size)
    errors = nodes.draws(every, 400, seed=2)
    walls = list(posterior_walls(surface, nodes, errors))
    rows = surface.grid.surveyed_rows
    cutback = np.stack([wall.cutback[rows] for wall in walls])
    # 400 draws: the mean to 0.15 mm, the sd to 3.5 %; three times that
    assert cutback.mean(axis=0) == pytest.approx(20.0, abs=0.6)
    assert np.sqrt(np.mean(cutback.var(axis=0))) == pytest.approx(3.0, rel=0.05)
    assert np.isnan(walls[0].cutback[~rows]).all()
    again = next(posterior_walls(surface, nodes, nodes.draws(every, 400, seed=2)))
    assert (again.cutback[rows] == walls[0].cutback[rows]).all()
    side = np.corrcoef(cutback[:, 10, 5], cutback[:, 10, 10])[0, 1]
    away = np.pi / 180.0 * 15.0 * 450.0
    assert side == pytest.approx(np.exp(-0.5 * (away / 200.0) ** 2), abs=0.08)


def test_orders_grow_with_the_confidence_asked_and_with_what_is_not_known() -> None:
    field = box(180.0, 40.0, 300.0, 600.0, 36.0)

    def bricks(confidence: float, sd: float) -> float:
        shop = Shop((STRETCHER,), Brickwork(), MIX, confidence=confidence)
        plan, _, _ = planned(plain_design(shop=shop), field, sd=sd, draws=24)
        return plan.order[-1].enough

    assert bricks(0.6, 3.0) < bricks(0.99, 3.0)
    assert bricks(0.9, 1.0) < bricks(0.9, 5.0)


def test_zones_of_a_known_wall_are_those_of_the_rule() -> None:
    fields = (
        box(90.0, 12.0, 300.0, 560.0, 50.0), hollow(150.0, 500.0, 40.0),
        box(200.0, 3.0, 300.0, 340.0, 60.0), hollow(300.0, 700.0, 25.0),
    )  # fmt: skip

    def field(azimuth: Float, height: Float) -> Float:
        return np.max([one(azimuth, height) for one in fields], axis=0)

    surface = surface_of(plain_design(openings=(HOLE,)), field, sd=0.0)
    grid, rules = surface.grid, surface.design.repair
    wall = Wall(grid, surface.cutback, np.zeros(grid.shape), surface.design)
    action = call_actions(grid, surface.cutback, wall.sd, rules)
    bricked, daubed = known_zones(wall)
    assert (bricked == (action == ACTIONS.index("brick"))).all()
    assert (daubed == (action == ACTIONS.index("daub"))).all()
    assert bricked.any()
    assert daubed.any()
