"""Chipping: how much, how thick, where to stop, what is fouled."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Opening, Profile
from geom.repair.plan.chipping import openings_fouled, stop_at
from geom.repair.plan.order import demand_of
from geom.repair.plan.partition import ZoneShare
from geom.repair.plan.result import RepairPlan
from geom.repair.wall import Wall
from geom.surface import make_grid
from tests.repair.surveyed import box, hollow, planned, surface_of, together
from tests.walls import plain_design

TUYERE = Opening("tuyere", 0.0, 450.0, 120.0, 100.0)
CONE = Profile(np.array([0.0, 1500.0]), np.array([400.0, 550.0]))


def fouled_by(low: float, high: float, columns: slice) -> bool:
    design = plain_design(openings=(TUYERE,))
    grid = make_grid(design, surveyed=(200.0, 900.0), columns=360)
    mask = np.zeros(grid.shape, dtype=bool)
    mask[(grid.height > low) & (grid.height < high), columns] = True
    return openings_fouled(grid, mask, design) == (TUYERE,)


def test_an_opening_is_fouled_by_build_up_at_its_edge_and_not_by_that_beyond() -> None:
    # the tuyere: 400 to 500 mm, 7.64 degrees to each side
    assert fouled_by(500.0, 560.0, slice(0, 5))
    assert not fouled_by(520.0, 560.0, slice(0, 5))
    assert fouled_by(420.0, 480.0, slice(9, 20))
    assert not fouled_by(420.0, 480.0, slice(10, 20))
    assert fouled_by(420.0, 480.0, slice(345, 352))  # over azimuth 0


def test_chipping_stops_at_the_drawn_radius_at_mid_height() -> None:
    assert stop_at(plain_design(profile=CONE), 300.0, 600.0) == (450.0, 445.0)


def test_a_lump_is_told_with_its_volume_thickness_and_opening() -> None:
    design = plain_design(openings=(TUYERE,))
    plan, _, findings = planned(design, box(21.0, 10.4, 400.0, 600.0, -30.0), sd=1.5)
    (zone,) = plan.zones
    chip = zone.chip
    assert zone.action == "chip"
    assert zone.daub is None
    assert (zone.azimuth_from, zone.azimuth_to) == (10.5, 31.5)
    section = 450.0 * 30.0 - (30.0**2 + 1.5**2) / 2.0
    exact = section * np.deg2rad(21.0) * 200.0
    assert chip.volume.value == pytest.approx(exact, rel=1e-6)
    # the plan's is in closed form, the findings' from draws of the same wall
    said = findings.zones[0].volume
    assert chip.volume.value == pytest.approx(said.value)
    # nodes of all the wall, half of which the edge of so small a lump cuts: 0.85 here
    assert 0.8 < chip.volume.sd / said.sd < 1.1
    assert chip.thickness.value == pytest.approx(30.0)
    assert (chip.stop_height, chip.stop_radius) == (500.0, 450.0)
    assert chip.fouled == (TUYERE,)
    assert plan.account.chip == pytest.approx(chip.volume.value)


def test_a_face_that_is_chipped_is_not_washed() -> None:
    lump = box(21.0, 10.4, 400.0, 600.0, -30.0)
    plan, _, _ = planned(plain_design(), lump)
    assert plan.daub.wash_area == 0.0
    assert not [item for item in plan.order if item.best > 0.0]
    both, _, _ = planned(
        plain_design(), together(lump, box(200.0, 10.4, 400.0, 600.0, 20.0))
    )
    (daubed,) = (zone for zone in both.zones if zone.action == "daub")
    assert both.daub.wash_area == pytest.approx(daubed.area)
    other, _, _ = planned(plain_design(), box(200.0, 10.4, 400.0, 600.0, 20.0))
    assert amounts(both) == pytest.approx(amounts(other), rel=1e-3)


def test_nothing_is_ordered_for_a_zone_that_is_chipped() -> None:
    surface = surface_of(plain_design(), box(21.0, 10.4, 400.0, 600.0, -5.0), sd=6.0)
    wall = Wall(surface.grid, surface.cutback, surface.radius_sd, surface.design)
    mask = surface.cutback < -1.0
    chip, daub = (
        ZoneShare(1, action, mask.astype(float), mask) for action in ("chip", "daub")
    )
    nothing = demand_of(wall, [chip])
    assert (nothing.daub, nothing.face) == (0.0, 0.0)
    both = demand_of(wall, [chip, daub])
    assert both.face == pytest.approx(float(surface.grid.face_area[mask].sum()))
    assert both.daub > 0.0


def test_a_lump_is_as_thick_as_where_it_stands_proudest() -> None:
    plan, surface, _ = planned(plain_design(), hollow(90.0, 550.0, -40.0))
    chips = [zone.chip for zone in plan.zones if zone.chip is not None]
    assert max(chip.thickness.value for chip in chips) == pytest.approx(
        -float(np.nanmin(surface.cutback))
    )


def amounts(plan: RepairPlan) -> dict[str, float]:
    return {item.material: item.best for item in plan.order}
