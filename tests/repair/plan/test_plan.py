"""The whole plan: nothing counted twice, nothing lost."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

import geom
from geom.compare.findings import Findings
from geom.design import Brick, Brickwork, Shop
from geom.repair.masonry.layup import Misfit
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import Account, RepairPlan
from geom.surface import RadialSurface, reconstruct
from tests.repair.known_wall import Field
from tests.repair.surveyed import (
    SLIGHT,
    SPLIT,
    STEEP,
    STRETCHER,
    box,
    findings_of,
    hollow,
    planned,
    surface_of,
    together,
)
from tests.walls import plain_design, tapered_design, worn_readings

SCANS = Path(__file__).parents[3] / "scans"
SHOP = Shop(bricks=(STRETCHER, SPLIT))
FEW = settings(max_examples=5, deadline=None, derandomize=True)

#: Each has to close: a smooth burn, a zone over azimuth 0, zones that touch, lumps.
WALLS: dict[str, Field] = {
    "burnt": together(hollow(60.0, 550.0, 70.0), hollow(220.0, 400.0, 25.0)),
    "over zero": together(box(2.0, 25.0, 400.0, 620.0, 55.0), hollow(0.0, 300.0, 20.0)),
    "close by": together(
        box(90.0, 12.0, 300.0, 560.0, 50.0), box(115.0, 8.0, 480.0, 700.0, 60.0)
    ),
    "stepped": together(
        box(180.0, 30.0, 300.0, 420.0, 45.0), box(200.0, 9.0, 420.0, 640.0, 45.0)
    ),
    "lumps": together(hollow(30.0, 700.0, -40.0), hollow(60.0, 600.0, 60.0)),
}


def room_to_fill(account: Account) -> float:
    """All the room there is for what goes in, mm3."""
    return account.rebuild - account.left + account.cut + account.before


def close(one: float, other: float) -> None:
    assert one == pytest.approx(other, rel=1e-6, abs=1.0)


def closes(plan: RepairPlan, findings: Findings) -> None:
    account = plan.account
    close(account.put_in, room_to_fill(account))
    close(account.chip, account.buildup - account.proud)
    close(account.rebuild, findings.volume.rebuild.value)
    close(account.buildup, findings.volume.buildup.value)
    filled = [zone for zone in plan.zones if zone.daub is not None]
    close(sum(zone.rebuild for zone in filled) + account.left, account.rebuild)
    close(sum(zone.daub.volume.value for zone in filled), account.daub)
    close(plan.daub.volume.value, account.daub)
    for zone in filled:
        layup = zone.brickwork
        solid = 0.0 if layup is None else layup.tally.volume + layup.joints
        room = zone.rebuild if layup is None else zone.rebuild + zone.cut.value
        close(solid + zone.daub.volume.value, room)


def owned_once(plan: RepairPlan) -> None:
    total = sum(zone.share for zone in plan.zones)
    assert np.max(total) <= 1.0 + 1e-9


@pytest.mark.parametrize("name", WALLS)
def test_the_account_closes_on_invented_walls(name: str) -> None:
    plan, _, findings = planned(tapered_design(shop=SHOP), WALLS[name])
    assert any(zone.brickwork is not None for zone in plan.zones)
    closes(plan, findings)
    owned_once(plan)


@pytest.mark.parametrize("sheet", ["cupola-2-heat-41.csv", "cupola-2-heat-52.csv"])
def test_the_account_closes_on_the_demo(sheet: str) -> None:
    design = geom.load_design(SCANS / "cupola-2.toml")
    surface = geom.reconstruct(geom.load_readings(SCANS / sheet, design), design)
    findings = geom.assess(surface, design)
    plan = plan_repair(surface, findings, design, draws=2)
    assert {zone.action for zone in plan.zones} == {"chip", "brick", "daub"}
    closes(plan, findings)
    owned_once(plan)
    assert json.loads(json.dumps(plan.to_dict())) == plan.to_dict()


def test_the_account_closes_on_readings_of_a_worn_wall() -> None:
    design = tapered_design()
    surface = reconstruct(worn_readings(design, azimuths=9, heights=7), design)
    findings = geom.assess(surface, design)
    closes(plan_repair(surface, findings, design, draws=2), findings)


def test_an_account_that_counts_a_zone_twice_does_not_close() -> None:
    plan, _, findings = planned(tapered_design(shop=SHOP), WALLS["close by"])
    twice = RepairPlan(**{**vars(plan), "zones": (*plan.zones, plan.zones[-1])})
    with pytest.raises(AssertionError):
        closes(twice, findings)
    with pytest.raises(AssertionError):
        owned_once(twice)


def test_what_goes_in_is_the_wall_down_to_the_seat_by_plain_sums() -> None:
    field = box(180.0, 24.0, 300.0, 500.0, 50.0)
    plan, surface, _ = planned(plain_design(shop=SHOP), field, sd=0.0)
    (zone,) = plan.zones
    grid, seat = surface.grid, 110.0 + 6.0
    assert zone.brickwork.seat == seat
    put_in = 0.0
    for i, low in enumerate(grid.edge[:-1]):
        tall = grid.edge[i + 1] - low
        for k in range(grid.azimuth.size):
            depth = max(seat, float(np.nan_to_num(surface.cutback[i, k])))
            outside = (450.0 + depth) ** 2 - 450.0**2
            put_in += zone.share[i, k] * outside / 2.0 * tall * 2.0 * np.pi / 120.0
    assert plan.account.put_in == pytest.approx(put_in, rel=1e-9)
    # four courses of 63 mm from 300 mm up, over 15 columns of 3 degrees
    exact = np.deg2rad(45.0) * 4 * 63.0 * ((450.0 + seat) ** 2 - 450.0**2) / 2.0
    assert put_in == pytest.approx(exact, rel=1e-6)


def test_work_goes_chip_then_brick_then_daub_and_bottom_up() -> None:
    field = together(
        hollow(30.0, 750.0, -30.0), box(100.0, 20.0, 600.0, 800.0, 50.0),
        box(200.0, 20.0, 300.0, 500.0, 50.0), box(300.0, 20.0, 300.0, 500.0, 15.0),
    )  # fmt: skip
    plan, _, _ = planned(plain_design(shop=SHOP), field)
    assert [zone.action for zone in plan.zones] == ["chip", "brick", "brick", "daub"]
    assert plan.zones[1].height_from < plan.zones[2].height_from


def test_brickwork_takes_its_cells_out_of_the_daub_zone() -> None:
    wide = together(
        box(100.0, 40.0, 300.0, 600.0, 15.0), box(100.0, 12.0, 400.0, 500.0, 35.0)
    )
    plan, _, findings = planned(plain_design(shop=SHOP), wide)
    brick, daub = plan.zones
    was = findings.maps.zone == daub.id
    assert np.sum(was & (brick.share > 0.0)) > 0
    assert np.max(brick.share + daub.share) <= 1.0 + 1e-9
    assert np.all((daub.share + brick.share)[was] == pytest.approx(1.0))
    assert (plan.owner[brick.share > 0.5] == brick.id).all()


def test_brick_zones_that_meet_are_clipped() -> None:
    plan, _, findings = planned(plain_design(shop=SHOP), WALLS["close by"])
    bricks = plan.of_action("brick")
    assert len(bricks) == 2
    closes(plan, findings)
    first = min(bricks, key=lambda zone: zone.id)
    second = max(bricks, key=lambda zone: zone.id)
    assert np.max(first.share + second.share) <= 1.0 + 1e-9
    for zone in bricks:
        own = findings.maps.zone == zone.id
        assert np.all((first.share + second.share)[own] == pytest.approx(1.0))


def test_a_zone_that_no_brick_fits_says_why_and_is_left() -> None:
    design = plain_design(shop=SHOP, shell_radius=547.0)
    plan, _, findings = planned(design, box(180.0, 20.0, 300.0, 500.0, 50.0))
    (zone,) = plan.of_action("brick")
    assert zone.brickwork is None
    assert zone.daub is None
    assert not zone.settled
    (note,) = zone.notes
    assert note.misfits[0] == Misfit("shell", 116.0, 97.0, "stretcher")
    assert plan.account.bricks == plan.account.cut == 0.0
    assert plan.account.left == pytest.approx(plan.account.rebuild, rel=1e-6)
    assert plan.notes[0].reason == "no brick fits"
    closes(plan, findings)


def test_a_hole_deeper_than_brick_bed_and_cover_says_so() -> None:
    design = plain_design(shop=SHOP, shell_radius=670.0)
    plan, _, _ = planned(design, box(180.0, 20.0, 300.0, 500.0, 170.0))
    misfit = plan.zones[0].notes[0].misfits[0]
    assert misfit == Misfit("too deep", 160.0, 170.0, "stretcher")


def test_bricks_that_may_stand_proud_close_the_account_too() -> None:
    work = Brickwork(cover_least=-8.0)
    design = plain_design(shop=Shop(bricks=(STRETCHER,), brickwork=work))
    plan, _, findings = planned(design, box(180.0, 20.0, 300.0, 500.0, 50.0))
    layup = plan.of_action("brick")[0].brickwork
    assert (layup.cover, layup.seat, layup.in_front) == (-8.0, 108.0, 0.0)
    account = plan.account
    assert account.before > 0.0
    close(account.put_in, room_to_fill(account))
    close(account.rebuild, findings.volume.rebuild.value)


# --- full rings ----------------------------------------------------------------------


def ring_of(depth: float) -> Field:
    return lambda a, h: np.where(abs(h - 500.0) < 100.0, depth + 0.0 * a, 0.0)


def test_a_wall_gone_all_round_is_rebuilt_in_full_rings() -> None:
    design = plain_design(shop=Shop(bricks=(STRETCHER,)))
    plan, _, _ = planned(design, ring_of(60.0), columns=360)
    (zone,) = plan.of_action("brick")
    layup = zone.brickwork
    assert (zone.azimuth_from, zone.azimuth_to) == (0.0, 359.999)
    assert len(layup.courses) == layup.tally.rings == 4  # 200 mm in courses of 63
    # closed formula: 2 pi 450 / (220 + 3) = 12.68, 13 bricks with the one that is cut
    (count,) = layup.tally.bricks
    assert (count.whole + count.pieces, count.pieces) in {(4 * 13, 4), (4 * 12, 0)}
    tall = layup.courses[-1].high - layup.courses[0].low
    seat = np.pi * ((450.0 + layup.seat) ** 2 - 450.0**2) * tall
    assert plan.account.put_in == pytest.approx(seat, rel=1e-3)
    assert layup.joints > 0.0


def test_a_pair_that_turns_the_ring_goes_before_a_straight() -> None:
    straight = Brick("straight", 150.0, 150.0, 60.0)
    design = plain_design(shop=Shop(bricks=(straight, STEEP, SLIGHT)))
    plan, _, findings = planned(design, ring_of(60.0), columns=360)
    (zone,) = plan.of_action("brick")
    names = [count.name for count in zone.brickwork.tally.bricks]
    assert names == ["steep", "slight"]
    assert zone.brickwork.tally.rings == 4
    # both circles are filled: 450 mm at the hot face, 600 mm at the back
    steep, slight = (c.whole / 4 for c in zone.brickwork.tally.bricks)
    hot = steep * 73.0 + slight * 88.0
    back = (steep + slight) * 103.0
    assert hot == pytest.approx(2.0 * np.pi * 450.0, rel=0.02)
    assert back == pytest.approx(2.0 * np.pi * 600.0, rel=0.02)
    closes(plan, findings)


# --- uncertainty ---------------------------------------------------------------------


def test_daub_of_two_zones_together_is_less_sure_than_if_they_erred_alone() -> None:
    field = together(
        box(100.0, 15.0, 300.0, 500.0, 20.0), box(140.0, 15.0, 300.0, 500.0, 20.0)
    )
    plan, _, _ = planned(plain_design(shop=SHOP), field, sd=2.0)
    one, other = (zone.daub.volume.sd for zone in plan.zones)
    alone = np.hypot(one, other)
    assert 1.05 * alone < plan.daub.volume.sd < one + other


def test_daub_of_a_zone_agrees_with_the_findings() -> None:
    field = box(100.0, 30.0, 300.0, 500.0, 20.0)
    plan, _, findings = planned(plain_design(shop=SHOP), field, sd=2.0)
    found, daub = findings.zones[0].volume, plan.zones[0].daub.volume
    assert daub.value == pytest.approx(found.value, rel=1e-9)
    # by Mehler's sum here, by draws at the nodes there
    assert 0.6 < daub.sd / found.sd < 1.5


def test_what_has_to_be_measured_again_is_told_and_not_planned() -> None:
    field = box(100.0, 20.0, 300.0, 500.0, 30.0)
    surface: RadialSurface = surface_of(plain_design(shop=SHOP), field, sd=11.0)
    findings = findings_of(surface)
    assert [zone.action for zone in findings.zones] == ["measure again"]
    plan = plan_repair(surface, findings, surface.design, draws=4)
    assert plan.zones == ()
    assert plan.notes[0].reason == "measure again"
    assert plan.account.put_in == 0.0
    assert plan.account.left == pytest.approx(plan.account.rebuild)
