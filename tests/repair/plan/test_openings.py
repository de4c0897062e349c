"""What openings are rebuilt with, against sums by hand."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from geom.design import Design, Mix, Opening, Shop
from geom.design.shop import Bottom, Brick, OpeningSizes
from geom.document import as_document
from geom.quantity import Quantity
from geom.repair.audit.sand_bottom import sand_bottom
from geom.repair.plan.openings import (
    Spout,
    bricks_for,
    opening_demands,
    opening_works,
)
from geom.repair.plan.order import clay_of, crushed_of, order_list, sand_of
from tests.repair.surveyed import box, planned
from tests.walls import plain_design

IN, IN2, IN3 = 25.4, 25.4**2, 25.4**3
STRAIGHT = Brick("straight", 9 * IN, 4.5 * IN, 2.5 * IN)
#: One litre in place is one litre of 2 kg, of which 0.1 of the dry mass is water.
MIX = Mix(shrinkage=0.0, rebound=0.0, daub_density=2200.0, water_least=0.1,
          water_most=0.1, sand_density=1600.0, clay_density=1000.0,
          crushed_density=1500.0, wash=1.0)  # fmt: skip


def furnace(*openings: Opening, mix: Mix = MIX) -> Design:
    """A straight wall, 9 in thick."""
    shop = Shop(bricks=(STRAIGHT,), mix=mix, bottom=Bottom())
    return plain_design(openings=openings, shell_radius=450.0 + 9 * IN, shop=shop)


def tap(**sizes: float) -> Opening:
    told = OpeningSizes(**{key: value * IN for key, value in sizes.items()})
    return Opening("tap hole", 0.0, 5 * IN, 4 * IN, 4 * IN, sizes=told)


def test_a_tap_hole_by_its_defaults() -> None:
    (work,) = opening_works(furnace(tap()))
    # breast 4 + 2 x 4 1/2 by 4 + 4 1/2 in, 9 in deep, less a former of 4 in
    space = (13 * 8.5 - np.pi * 4.0) * 9
    assert work.breast_width == pytest.approx(13 * IN)
    assert work.breast_height == pytest.approx(8.5 * IN)
    assert (work.former.width, work.former.shape) == (pytest.approx(4 * IN), "round")
    # 0.6 x 881.4 / 101.25 in3 = 5.2: five whole bricks; 375.2 in3 are rammed
    assert (work.bricks, work.brick) == (5, "straight")
    rammed = space - 5 * 9 * 4.5 * 2.5
    assert rammed == pytest.approx(375.15, abs=0.01)
    assert work.crushed_mix.volume.value == pytest.approx(rammed * IN3)
    # sides cut within 1/2 in, evenly: of width and height each 1/2 in / sqrt(3)
    sd = 9 * np.hypot(13, 8.5) * 0.5 / np.sqrt(3.0)
    assert work.crushed_mix.volume.sd == pytest.approx(sd * IN3)
    # spout 24 x 6 in, 3 in high, lined 1 1/2 in
    assert work.sand_mix.volume.value == pytest.approx(24 * 9 * 1.5 * IN3)
    assert work.daub.volume.value == pytest.approx(2 * 24 * 3 * 1.5 * IN3)
    face = 13 * 8.5 - np.pi * 4.0 + 24 * 12
    assert work.wash_area == pytest.approx(face * IN2)
    assert work.wash == pytest.approx(face * IN2 * 1.0)
    assert (work.depth, work.depth_from) == (pytest.approx(9 * IN), "drawing")


def test_what_is_told_comes_before_the_defaults() -> None:
    (work,) = opening_works(
        furnace(
            tap(
                depth=6,
                bore=2,
                former=1.5,
                breast_width=10,
                breast_height=7,
                spout_length=30,
                spout_width=8,
                spout_lining=2,
            )
        )
    )
    space = (70 - np.pi / 4 * 1.5**2) * 6
    assert work.bricks == int(0.6 * space / 101.25) == 2
    rammed = (space - 2 * 101.25) * IN3
    assert work.crushed_mix.volume.value == pytest.approx(rammed)
    assert work.sand_mix.volume.value == pytest.approx(30 * 12 * 2 * IN3)
    assert work.daub.volume.value == pytest.approx(2 * 30 * 4 * 2 * IN3)
    assert work.depth_from == "design file"


def test_mixes_by_hand() -> None:
    (work,) = opening_works(furnace(tap()))
    litres = work.crushed_mix.volume.value / 1e6
    dry = litres * 2.2 / 1.1
    # one part to one by volume, 1500 to 1000 kg/m3
    assert work.crushed_mix.aggregate.value == pytest.approx(0.6 * dry)
    assert work.crushed_mix.clay.value == pytest.approx(0.4 * dry)
    assert work.crushed_mix.water_least == pytest.approx(0.1 * dry)
    # five parts of sand to one, 1600 to 1000
    dry = work.sand_mix.volume.value / 1e6 * 2.0
    assert work.sand_mix.aggregate.value == pytest.approx(dry * 8000 / 9000)
    wet = opening_works(furnace(tap(), mix=replace(MIX, rebound=0.2)))[0].crushed_mix
    assert wet.mixed.value == pytest.approx(1.25 * wet.volume.value)


def test_a_slag_hole_is_rammed_with_daub() -> None:
    hole = Opening("slag hole", 180.0, 400.0, 3 * IN, 2 * IN)
    (work,) = opening_works(furnace(hole))
    # 3 + 3 by 2 + 3 in, 9 in deep, less a former of 2 in: 241.7 in3, one brick
    space = (6 * 5 - np.pi) * 9
    assert work.bricks == 1
    spout = 18 * 7 * 1 + 2 * 18 * 2.5 * 1
    daub = space - 101.25 + spout
    assert work.daub.volume.value == pytest.approx(daub * IN3)
    assert (work.crushed_mix, work.sand_mix) == (None, None)


def test_a_tuyere_is_daubed_about_its_former_and_its_lip_is_a_wedge() -> None:
    tuyere = Opening("tuyere", 30.0, 445.0, 5 * IN, 3.5 * IN)
    lipped = replace(tuyere, azimuth=90.0, lip=0.5 * IN)
    plain, out = opening_works(furnace(tuyere, lipped))
    coat = 2 * (5 + 3.5) * 9 * 0.5
    assert plain.daub.volume.value == pytest.approx(coat * IN3)
    # evenly from none to twice that
    assert plain.daub.volume.sd == pytest.approx(coat * IN3 / np.sqrt(3.0))
    assert plain.daub.volume.low95 == pytest.approx(0.05 * coat * IN3)
    assert plain.daub.volume.high95 == pytest.approx(1.95 * coat * IN3)
    # 5 in wide, 1/2 in out, running out over 1 1/2 in
    lip = 5 * 0.5 * 0.5 * 1.5
    assert out.daub.volume.value == pytest.approx((coat + lip) * IN3)
    assert (plain.number, out.number) == (1, 2)
    assert (plain.former.shape, plain.spout) == ("box", None)


def test_every_opening_has_its_line_and_it_can_be_written() -> None:
    door = Opening("door", 90.0, 900.0, 12 * IN, 10 * IN)
    odd = Opening("peep hole", 200.0, 700.0, 1 * IN, 1 * IN)
    design = furnace(tap(), door, odd)
    works = opening_works(design)
    assert [(w.kind, w.number) for w in works] == [
        ("tap hole", 1), ("door", 1), ("peep hole", 1)
    ]  # fmt: skip
    assert works[1].former is None
    assert works[1].daub.volume.value == pytest.approx(2 * 22 * 9 * 0.5 * IN3)
    told = json.loads(json.dumps(as_document(works)))
    assert told[0]["crushed_mix"]["volume"]["value"] == pytest.approx(
        works[0].crushed_mix.volume.value / 1e9
    )
    assert told[0]["wash_area"] == pytest.approx(works[0].wash_area / 1e6)


def test_without_shell_or_depth_a_wall_of_nine_inches_is_taken_and_said_so() -> None:
    design = replace(furnace(tap()), shell_radius=None)
    (work,) = opening_works(design)
    assert (work.depth, work.depth_from) == (pytest.approx(9 * IN), "default")


def test_a_spout_of_no_length_is_none_and_no_straight_brick_lays_none() -> None:
    (work,) = opening_works(furnace(tap(spout_length=0)))
    assert (work.spout, work.sand_mix, work.daub) == (None, None, None)
    key = Brick("key", 9 * IN, 4.5 * IN, 2.5 * IN, "width", 4 * IN)
    design = furnace(tap())
    design = replace(design, shop=replace(design.shop, bricks=(key,)))
    (work,) = opening_works(design)
    assert (work.bricks, work.brick) == (0, "")
    assert work.crushed_mix.volume.value == pytest.approx(
        (13 * 8.5 - np.pi * 4.0) * 9 * IN3
    )


def test_a_spout_by_hand() -> None:
    spout = Spout(length=100.0, width=40.0, side=20.0, lining=10.0)
    assert (spout.bottom, spout.sides, spout.face) == (60e3, 40e3, 8000.0)


def test_draws_have_the_mean_and_sd_that_are_told() -> None:
    tuyeres = [Opening("tuyere", a, 445.0, 5 * IN, 3.5 * IN) for a in (0.0, 120.0)]
    works = opening_works(furnace(*tuyeres, replace(tap(), azimuth=60.0)))
    best, *drawn = opening_demands(works, None, 4000, seed=1)
    spout = works[2].daub.volume.value
    daub = sum(work.daub.volume.value for work in works)
    assert best.daub == pytest.approx(daub)
    assert best.crushed == pytest.approx(works[2].crushed_mix.volume.value)
    assert len(drawn) == 4000
    volumes = np.array([one.daub for one in drawn])
    # tuyeres are worn alike: their sds add; 4,000 draws give an sd to 1.1 %
    sd = 2 * works[0].daub.volume.sd
    assert volumes.std() == pytest.approx(sd, rel=0.03)
    assert volumes.mean() == pytest.approx(daub, abs=4 * sd / 4000**0.5)
    assert volumes.min() >= spout
    again = [*opening_demands(works, None, 4, seed=1)]
    assert again == [*opening_demands(works, None, 4, seed=1)]


def test_bricks_and_mixes_of_openings_are_on_the_order() -> None:
    design = furnace(tap())
    works = opening_works(design)
    laid = bricks_for(works, breakage=0.05)
    assert laid == {"straight": 6}  # 5 and 5 in a hundred, whole
    best, *drawn = opening_demands(works, None, 200, seed=0)
    lines = order_list(best, drawn, (STRAIGHT,), design.shop, besides=laid)
    by_name = {line.material: line for line in lines}
    assert set(by_name) == {"straight", "sand", "fire clay", "crushed fire brick"}
    brick = by_name["straight"]
    assert (brick.best, brick.enough, brick.packs) == (6.0, 6.0, 6)
    (work,) = works
    sand = work.daub.aggregate.value + work.sand_mix.aggregate.value
    clay = sum(p.clay.value for p in (work.daub, work.crushed_mix, work.sand_mix))
    wash = work.wash * 1000.0 * 1e-9
    assert by_name["sand"].best == pytest.approx(sand)
    # the crushed mix varies: the mean of 200 draws to four standard errors
    spread = work.crushed_mix.clay.sd * 4 / 200**0.5
    assert by_name["fire clay"].best == pytest.approx(clay + wash, abs=spread)
    crushed = by_name["crushed fire brick"]
    held = np.array([one.crushed for one in drawn])
    share = work.crushed_mix.aggregate.value / work.crushed_mix.volume.value
    assert np.mean(held * share <= crushed.enough) >= 0.995


def test_bottom_sand_is_on_the_order_with_its_fillet() -> None:
    design = furnace(tap())
    plan, surface, _ = planned(design, box(120.0, 20.0, 400.0, 600.0, 20.0))
    bed = sand_bottom(design, surface=surface)
    (line,) = [line for line in plan.order if line.material == "bottom sand"]
    assert line.best == pytest.approx(bed.mass.value, rel=0.02)
    assert line.enough >= bed.mass.value
    assert line.enough == pytest.approx(1.08 * bed.mass.value, rel=0.03)
    bare = planned(furnace(), box(120.0, 20.0, 400.0, 600.0, 20.0))[0]
    assert "bottom sand" not in {line.material for line in bare.order}


def test_draws_of_the_bottom_have_its_sd() -> None:
    volume = Quantity.normal(8e7, 2e6)
    best, *drawn = opening_demands((), volume, 4000, seed=3)
    assert (best.bottom, best.daub) == (8e7, 0)
    held = np.array([one.bottom for one in drawn])
    assert held.std() == pytest.approx(2e6, rel=0.04)
    assert held.mean() == pytest.approx(8e7, abs=4 * 2e6 / 4000**0.5)


def test_stock_is_taken_off_bricks_of_wall_and_openings_together() -> None:
    design = furnace(tap())
    best, *drawn = opening_demands(opening_works(design), None, 4, seed=0)
    some = replace(STRAIGHT, stock=4)
    lines = order_list(best, drawn, (some,), design.shop, besides={"straight": 6})
    assert (lines[0].enough, lines[0].stock, lines[0].packs) == (6.0, 4, 2)


def test_the_plan_has_openings_beside_its_zones_and_the_account_still_closes() -> None:
    field = box(120.0, 20.0, 400.0, 600.0, 20.0)
    plain, *_ = planned(furnace(), field)
    with_tap, *_ = planned(furnace(tap()), field)
    assert [work.kind for work in with_tap.openings] == ["tap hole"]
    assert with_tap.account == plain.account
    assert with_tap.daub.volume == plain.daub.volume
    lines, before = (
        {line.material: line for line in plan.order} for plan in (with_tap, plain)
    )
    (work,) = with_tap.openings
    more = work.daub.aggregate.value + work.sand_mix.aggregate.value
    assert lines["sand"].best - before["sand"].best == pytest.approx(more)
    assert "crushed fire brick" not in before
    told = with_tap.to_dict()["openings"]
    assert told[0]["bricks"] == work.bricks == 5


def test_what_is_ordered_for_openings_and_bottom_is_enough_as_often_as_asked() -> None:
    holes = [Opening("tuyere", 60.0 * k, 445.0, 5 * IN, 3.5 * IN) for k in range(1, 6)]
    design = furnace(tap(), *holes)
    works, bed = opening_works(design), Quantity.normal(8e7, 4e6)
    best, *drawn = opening_demands(works, bed, 40, seed=0)
    lines = {
        line.material: line.enough
        for line in order_list(best, drawn, (STRAIGHT,), design.shop)
    }
    _, *others = opening_demands(works, bed, 2000, seed=8)
    need = {
        "sand": lambda one: sand_of(one, MIX),
        "fire clay": lambda one: clay_of(one, MIX),
        "crushed fire brick": lambda one: crushed_of(one, MIX),
        "bottom sand": lambda one: one.bottom * 1700.0 * 1e-9,
    }
    assert set(lines) == set(need)
    enough = [
        all(lines[name] >= of(one) for name, of in need.items()) for one in others
    ]
    # asked for 0.95; 2,000 draws tell a share to 0.005
    assert np.mean(enough) >= 0.94
    # and with the best estimates alone it is seldom enough
    short = [all(of(best) >= of(one) for of in need.values()) for one in others]
    assert np.mean(short) < 0.6
