"""The day of a repair, against sums by hand on a plan written out here."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import pytest

from geom.design import Crew, Mix, Opening, Shop
from geom.errors import InputError
from geom.repair.plan.day import DayPlan, day_plan
from tests.walls import plain_design

LITRE = 1e-3  # m3
#: Every rate and time another number, so that none stands in for another.
CREW = Crew(
    men=4, chip_rate=5.0, brick_rate=10.0, daub_rate=10.0, wash_rate=2.0,
    bottom_rate=100.0, cool_hours=8.0, ready_hours=1.5, bar_hours=0.75,
    clean_hours=0.5, measure_hours=1.25, again_hours=0.25, stiffen_hours=2.0,
    opening_hours=1.0, cool_again_hours=3.0, doors_hours=0.5, boards_hours=1.0,
    light_hours=2.5,
)  # fmt: skip
DESIGN = plain_design(
    openings=(
        Opening("tap hole", 0.0, 200.0, 100.0, 100.0),
        Opening("slag hole", 180.0, 300.0, 80.0, 80.0),
    ),
    shop=Shop(crew=CREW, mix=Mix(batch=60.0, working_life=0.75, rebound=0.0)),
)


def daub(litres: float, layers: int) -> dict[str, Any]:
    return {"mixed": {"value": litres * LITRE}, "layers": layers}


def mixed(litres: float) -> dict[str, Any]:
    return {"mixed": {"value": litres * LITRE}}


def zone(daub: object = None, chip: float | None = None) -> dict[str, Any]:
    chips = None if chip is None else {"volume": {"value": chip * LITRE}}
    return {"daub": daub, "chip": chips}


#: 40 L to chip; 90 L in three layers and 30 in one; 50 bricks in three segments.
REPAIR: dict[str, Any] = {
    "zones": [zone(chip=15.0), zone(chip=25.0), zone(daub(90, 3)), zone(daub(30, 1))],
    "daub": {
        "wash_area": 4.0,
        "thickness": 50.8,
        "layers": 3,
        "water_least": 8.0,
        "water_most": 12.0,
    },
    "support": {"segments": [{"bricks": n} for n in (20, 18, 12)], "stops": []},
    "openings": [
        {"bricks": 6, "daub": None, "crushed_mix": mixed(8.0), "sand_mix": mixed(2.0)},
        {"bricks": 2, "daub": mixed(10.0), "crushed_mix": None, "sand_mix": None},
    ],
    "bottom": {"mass": {"value": 300.0}},
}


def planned(*, again: int = 2, design: object = DESIGN, **changes: Any) -> DayPlan:
    return day_plan(copy.deepcopy(REPAIR) | changes, design, again=again)


def hours(day: DayPlan) -> dict[str, float]:
    return {step.name: step.hours for step in day.steps}


def test_steps_stand_in_the_order_of_the_trade() -> None:
    assert [step.name for step in planned().steps] == [
        "cool", "lock out", "bar down", "chip", "clean openings", "measure",
        "measure again", "order", "wet", "brick", "daub", "wash", "prove", "openings",
        "dry", "cool again", "doors", "bottom", "boards", "kindling",
    ]  # fmt: skip


def test_every_step_takes_what_the_crew_needs_for_it() -> None:
    found = hours(planned())
    by_hand = {
        "cool": 8.0,
        "lock out": 1.5,
        "bar down": 0.75,
        "chip": 40.0 / (4 * 5.0),
        "clean openings": 2 * 0.5 / 4,
        "measure": 1.25,
        "measure again": 2 * 0.25,
        "order": 0.0,
        "wet": 4.0 / (4 * 2.0),
        "brick": 50 / (4 * 10.0) + 2 * 2.0,
        "daub": 120.0 / (4 * 10.0) + 2 * 2.0,
        "wash": 0.5,
        "prove": 1.25,
        "openings": 2 * 1.0 / 4 + 8 / (4 * 10.0) + 20.0 / (4 * 10.0),
        "dry": 24.0 + 100.0 / 30.0 + 1.0,
        "cool again": 3.0,
        "doors": 0.5,
        "bottom": 300.0 / (4 * 100.0),
        "boards": 1.0,
        "kindling": 420.0 / 30.0 + 3.0,
    }
    for name, expected in by_hand.items():
        # rounded up to five minutes
        assert expected - 1e-9 <= found[name] < expected + 1 / 12, name
    assert set(found) == set(by_hand)


def test_steps_follow_one_another_and_add_up() -> None:
    day = planned()
    for one, after in zip(day.steps, day.steps[1:], strict=False):
        assert after.start == one.end
    assert day.hours == pytest.approx(sum(step.hours for step in day.steps))
    waits = {step.name: step.waits for step in day.steps}
    assert waits["brick"] == waits["daub"] == 4.0
    assert waits["chip"] == waits["doors"] == 0.0
    assert waits["cool"] == 8.0


def test_batches_are_used_up_within_the_working_life() -> None:
    """40 L/h for 45 min are 30 L: 60, 30 and 30 L of the layers make 2, 1 and 1."""
    day = planned()
    assert [batch.layer for batch in day.batches] == [1, 1, 2, 3]
    assert [batch.volume / 1e6 for batch in day.batches] == pytest.approx([30.0] * 4)
    start = next(step.start for step in day.steps if step.name == "daub")
    mixed = [batch.mixed - start for batch in day.batches]
    assert mixed == pytest.approx([0.0, 0.75, 3.5, 6.25])
    for batch in day.batches:
        assert batch.used - batch.mixed <= 0.75 + 1e-9
    assert day.batches[-1].used - start == pytest.approx(7.0)


def test_no_batch_is_larger_than_the_mixer() -> None:
    shop = replace(DESIGN.shop, mix=replace(DESIGN.shop.mix, batch=20.0))
    day = planned(design=replace(DESIGN, shop=shop))
    assert max(batch.volume for batch in day.batches) <= 20.0e6 + 1e-3
    assert len(day.batches) == 3 + 2 + 2


def test_a_layer_begins_when_the_one_before_is_stiff() -> None:
    day = planned()
    for before, after in zip(day.batches, day.batches[1:], strict=False):
        rest = 2.0 if after.layer > before.layer else 0.0
        assert after.mixed - before.used == pytest.approx(rest)


def test_what_there_is_nothing_of_is_left_out() -> None:
    bare = planned(
        again=0,
        design=replace(DESIGN, openings=()),
        zones=[],
        daub=REPAIR["daub"] | {"thickness": 0.0, "wash_area": 0.0, "layers": 0},
        support={"segments": [], "stops": []},
        bottom=None,
        openings=[],
    )
    assert [step.name for step in bare.steps] == [
        "cool", "lock out", "bar down", "measure", "doors", "boards", "kindling",
    ]  # fmt: skip
    assert bare.steps[-1].hours == 2.5
    assert bare.batches == ()
    assert bare.drying is None


def test_a_stop_is_handed_on() -> None:
    assert not planned().stop
    stopped = planned(support=REPAIR["support"] | {"stops": [{"reason": "opened"}]})
    assert stopped.stop


@pytest.mark.parametrize(
    "spoiled",
    [
        {"zones": None},
        {"zones": [{"daub": None}]},
        {"zones": [zone(daub(-5.0, 1))]},
        {"zones": [zone(daub(float("inf"), 1))]},
        {"zones": [zone(daub(5.0, 0))]},
        {"support": {}},
        {"bottom": {"mass": "heavy"}},
        {"openings": [{"bricks": 1}]},
        {"daub": None},
    ],
)
def test_a_plan_that_was_changed_is_refused(spoiled: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="not as it was written"):
        planned(**spoiled)


def test_no_plan_is_told_so() -> None:
    with pytest.raises(InputError, match="no repair plan"):
        day_plan({}, DESIGN, again=0)
