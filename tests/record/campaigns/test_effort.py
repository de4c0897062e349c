"""Daub, bricks and hours that repairs took, per tonne, from the plans they went by."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from geom.design import Crew
from geom.quantity import Quantity
from geom.record.campaigns.campaign import Material, Repair
from geom.record.campaigns.effort import repair_effort
from geom.record.store.occasion import Occasion
from tests.walls import plain_design

LITRE = 1e6


def plan(*, bricks, litres, face):
    """As ``findings.json`` holds it: so much to be set, put on and wetted."""
    volume, water = {"value": litres / 1000.0}, {"water_least": 2.0, "water_most": 3.0}
    return {
        "zones": [{"daub": {"mixed": volume, "layers": 1}, "chip": None}],
        "daub": {"wash_area": face, "thickness": 9.0, "layers": 1, **water},
        "support": {"segments": [{"bricks": bricks}], "stops": []},
        "bottom": None,
        "openings": [],
    }


def repaired(heat, since):
    return Repair(heat, Quantity.normal(LITRE, LITRE), since)


def effort(plans, *, crew=None, since=(20.0, 20.0)):
    design = plain_design()
    crew = (
        Crew(men=2, brick_rate=12.0, daub_rate=24.0, wash_rate=6.0)
        if crew is None
        else crew
    )
    design = replace(design, shop=replace(design.shop, crew=crew))
    occasions = [
        Occasion(heat, stage, date(2026, 1, heat))
        for heat in range(1, len(plans) + 1)
        for stage in ("before repair", "after repair")
    ]
    repairs = tuple(repaired(k, since[k - 1]) for k in range(1, len(plans) + 1))
    found = Material(repairs, (), None)
    table = dict(zip(occasions[::2], plans, strict=True))
    return repair_effort(found, occasions, design, plan_of=table.__getitem__)


def test_all_that_plans_ask_for_over_all_tonnes():
    """24 bricks at 12/h, 24 L at 24/h, 3 m2 wetted and washed at 6/h: 4 h of a man."""
    made = effort([plan(bricks=24, litres=24.0, face=3.0)] * 2)
    assert (made.repairs, made.is_crew_stated) == (2, True)
    assert made.bricks.value == pytest.approx(24.0 / 20.0)
    assert made.daub.value == pytest.approx(24.0 / 20.0 * LITRE)
    # the day rounds each step up to five minutes, two men
    assert made.hours.value == pytest.approx(4.0 / 20.0, abs=4 * 2 / 12.0 / 20.0)
    assert made.hours.sd == 0.0


def test_repairs_that_differ_give_the_interval_of_a_ratio_of_sums():
    """Cochran (1977), eq. 6.13: 12 and 36 bricks for 20 tonnes each, by hand."""
    both = [
        plan(bricks=12, litres=24.0, face=3.0),
        plan(bricks=36, litres=24.0, face=3.0),
    ]
    bricks = effort(both).bricks
    # residuals -12 and 12: sqrt(2 / 1 * 288) / 40
    assert (bricks.value, bricks.sd) == pytest.approx(
        (1.2, (2.0 * 288.0) ** 0.5 / 40.0)
    )


@pytest.mark.parametrize(
    "plans", [[{}, {}], [{}, plan(bricks=1, litres=1.0, face=1.0)]]
)
def test_without_two_plans_nothing_is_guessed(plans):
    made = effort(plans)
    assert (made.daub, made.bricks, made.hours) == (None, None, None)


def test_a_crew_of_our_own_choice_is_told():
    made = effort([plan(bricks=24, litres=24.0, face=3.0)] * 2, crew=Crew())
    assert not made.is_crew_stated
