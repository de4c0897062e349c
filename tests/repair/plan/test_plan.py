"""The whole plan: nothing counted twice, nothing lost."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

import geom
from geom.compare.findings import Findings
from geom.design import Brickwork, Profile, Shop
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import Account, NoBrickFits, RepairPlan
from geom.surface import RadialSurface, reconstruct
from tests.repair.known_wall import Field
from tests.repair.surveyed import (
    SPLIT,
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
#: A shop that cuts more of the edges away.
CUTTING = Shop(bricks=(STRETCHER, SPLIT), brickwork=Brickwork(squaring=25.0))
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
    "lumps": together(hollow(30.0, 700.0, -40.0), hollow(90.0, 780.0, 60.0)),
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
        solid = 0.0 if layup is None else layup.volume + layup.joints
        room = zone.rebuild if layup is None else zone.rebuild + zone.cut.value
        room += 0.0 if layup is None else layup.before
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


def beyond_the_wall(surface: RadialSurface, bricks: Sequence[PlacedBrick]) -> float:
    """What of some bricks lies in the wall that is left, by points in them, mm3."""
    step = (np.arange(40) + 0.5) / 40.0
    side, up, into = (part.ravel() for part in np.meshgrid(step, step, step))
    grid, total = surface.grid, 0.0
    for brick in bricks:
        piece = brick.piece
        points = brick.points(
            (side - 0.5) * piece.front, up * piece.up, into * piece.into
        )
        row = np.searchsorted(grid.edge, points[:, 0], side="right") - 1
        step_wide = 360.0 / grid.azimuth.size
        column = np.floor(points[:, 1] / step_wide + 0.5).astype(int)
        wall = surface.radius[row, column % grid.azimuth.size]
        total += piece.volume * float(np.mean(points[:, 2] > wall))
    return total


def test_what_is_cut_is_what_of_the_bricks_lies_in_the_wall() -> None:
    plan, surface, _ = planned(
        plain_design(shop=CUTTING), hollow(180.0, 500.0, 60.0), sd=0.0, columns=360
    )
    layup = plan.of_action("brick")[0].brickwork
    counted = beyond_the_wall(surface, layup.bricks)
    assert counted > 1e4
    assert layup.cut == pytest.approx(counted, rel=0.05)
    assert beyond_the_wall(surface, layup.bricks[1:]) < 0.9 * counted


def test_what_goes_in_is_the_hollow_and_what_is_cut_by_plain_sums() -> None:
    field = box(180.0, 24.0, 300.0, 540.0, 50.0)
    plan, _, _ = planned(plain_design(shop=SHOP), field, sd=0.0)
    (zone,) = plan.zones
    # sides upright and 50 deep: the hollow is 45 degrees of a ring, 240 mm tall
    lost = np.deg2rad(45.0) * 240.0 * (500.0**2 - 450.0**2) / 2.0
    assert zone.rebuild == pytest.approx(lost, rel=1e-6)
    assert plan.account.put_in == pytest.approx(lost + zone.cut.value, rel=1e-9)
    assert 0.3 < plan.account.bricks / lost < 0.7
    assert zone.cut.value < 0.02 * lost


def test_work_goes_chip_top_down_then_brick_then_daub_bottom_up() -> None:
    field = together(
        hollow(30.0, 750.0, -30.0), box(60.0, 10.0, 250.0, 400.0, -20.0),
        box(100.0, 20.0, 600.0, 800.0, 50.0), box(200.0, 20.0, 300.0, 500.0, 50.0),
        box(300.0, 20.0, 300.0, 500.0, 15.0), box(250.0, 20.0, 210.0, 300.0, 35.0),
    )  # fmt: skip
    plan, _, _ = planned(plain_design(shop=SHOP), field)
    assert [zone.work for zone in plan.zones] == [
        *("chip", "chip"), *("brick", "brick"), *("daub", "daub")
    ]  # fmt: skip
    assert plan.zones[0].height_from > plan.zones[1].height_from
    assert plan.zones[2].height_from < plan.zones[3].height_from
    # brick is called for in the lowest place, but nothing fits into 90 mm of height
    assert plan.zones[4].action == "brick"
    assert plan.zones[4].height_from < plan.zones[5].height_from


def test_brickwork_takes_its_cells_out_of_the_daub_zone() -> None:
    wide = together(
        box(100.0, 40.0, 300.0, 600.0, 25.0), box(100.0, 11.0, 400.0, 500.0, 20.0)
    )
    plan, _, findings = planned(plain_design(shop=CUTTING), wide)
    brick, daub = plan.zones
    was = findings.maps.zone == daub.id
    assert np.sum(was & (brick.share > 0.0)) > 0
    assert np.max(brick.share + daub.share) <= 1.0 + 1e-9
    assert np.all((daub.share + brick.share)[was] == pytest.approx(1.0))
    assert (plan.owner[brick.share > 0.5] == brick.id).all()


def test_brick_zones_that_meet_keep_to_their_own() -> None:
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


def test_a_zone_that_no_brick_fits_is_daubed_in_layers() -> None:
    design = plain_design(shop=Shop(bricks=(STRETCHER,)))
    plan, _, findings = planned(design, box(180.0, 20.0, 300.0, 500.0, 40.0))
    (zone,) = plan.of_action("brick")
    assert zone.brickwork is None
    assert zone.settled
    assert NoBrickFits(2) in zone.notes  # 40 mm in layers of an inch at most
    assert zone.daub.layers == 2
    assert zone.daub.volume.value == pytest.approx(zone.rebuild)
    assert plan.account.bricks == plan.account.cut == 0.0
    assert plan.notes == ()
    closes(plan, findings)


def test_a_small_furnace_always_gets_a_plan() -> None:
    bore = Profile(np.array([0.0, 1500.0]), np.array([342.9, 342.9]))  # 27 in
    design = plain_design(length_unit="in", profile=bore, shell_radius=457.2)
    for depth in (35.0, 50.0, 80.0, 110.0):
        plan, _, findings = planned(design, box(180.0, 30.0, 300.0, 600.0, depth))
        (zone,) = plan.of_action("brick")
        assert zone.settled
        assert plan.notes == ()
        assert plan.account.left < 0.2 * plan.account.rebuild
        closes(plan, findings)


@pytest.mark.parametrize("least", [None, 40.0, 55.0])
def test_no_seat_is_cut_nearer_to_the_shell_than_the_least_lining(
    least: float | None,
) -> None:
    design = plain_design(
        shop=Shop(bricks=(SPLIT,)), shell_radius=540.0, least_lining=least
    )
    plan, _, _ = planned(design, hollow(180.0, 500.0, 60.0), sd=0.0, columns=360)
    (zone,) = plan.of_action("brick")
    bricks = () if zone.brickwork is None else zone.brickwork.bricks
    assert least == 55.0 or bricks
    away = 540.0 - (least or 0.0)
    for brick in bricks:
        height, azimuth, radius = brick.corners()[4:].T
        gone = 450.0 + hollow(180.0, 500.0, 60.0)(azimuth, height)
        assert np.all(radius <= np.maximum(gone, away) + 0.5)


def test_bricks_that_may_stand_proud_close_the_account_too() -> None:
    work = Brickwork(cover_least=-8.0)
    design = plain_design(shop=Shop(bricks=(STRETCHER, SPLIT), brickwork=work))
    plan, _, findings = planned(design, box(180.0, 20.0, 300.0, 500.0, 50.0))
    layup = plan.of_action("brick")[0].brickwork
    assert layup.bricks[0].cover == -8.0
    account = plan.account
    assert account.before > 0.0
    close(account.put_in, room_to_fill(account))
    close(account.rebuild, findings.volume.rebuild.value)


# --- all round -----------------------------------------------------------------------


def ring_of(depth: float) -> Field:
    return lambda a, h: np.where(abs(h - 500.0) < 130.0, depth + 0.0 * a, 0.0)


def test_a_wall_gone_all_round_is_bricked_all_round() -> None:
    design = plain_design(shop=Shop(bricks=(SPLIT,)))
    plan, _, findings = planned(design, ring_of(50.0), columns=360)
    (zone,) = plan.of_action("brick")
    assert (zone.azimuth_from, zone.azimuth_to) == (0.0, 359.999)
    (course,) = {brick.course for brick in zone.brickwork.bricks}
    assert course == 0
    # 220 mm stand upright in 260; round them: 2 pi asin(55 / 466) of 110 and a joint
    each = 2.0 * np.rad2deg(np.arctan(55.0 / 462.7)) + np.rad2deg(3.0 / 466.0)
    assert len(zone.brickwork.bricks) in {int(360.0 / each), int(360.0 / each) - 1}
    assert zone.brickwork.volume / zone.rebuild > 0.4
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
    assert daub.sd == pytest.approx(found.sd, rel=0.1)


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
