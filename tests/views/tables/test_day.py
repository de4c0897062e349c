"""How the day and its drying are worded: steps, cautions, batches, hold points."""

from __future__ import annotations

from dataclasses import replace

import pytest

from geom.design import Crew, Drying, Shop
from geom.repair.plan.daub import drying_schedule
from geom.repair.plan.day import day_plan
from geom.views.tables.day import (
    batch_rows,
    day_lines,
    day_rows,
    drying_lines,
    drying_rows,
)
from tests.repair.plan.test_day import REPAIR

DAUB = {"thickness": 50.8, "layers": 2, "water_least": 20.0, "water_most": 30.0}


@pytest.fixture(scope="module")
def design(furnace):
    return furnace.design


def test_steps_and_hold_points_stand_in_order_with_their_times(design):
    rows = drying_rows(drying_schedule(DAUB, Shop()), design)
    # 24 h, then 100, 140, 110, 170 degC at 30 an hour and an hour held each time
    assert [row[0] for row in rows[:3]] == [
        "Set",
        "Heat to 250 °F (120 °C)",
        "Hold point: 250 °F (120 °C)",
    ]
    assert [row[2] for row in rows] == [
        "24:00", "27:20", "28:20", "33:00", "34:00", "37:40", "38:40", "44:20",
        "45:20",
    ]  # fmt: skip
    assert rows[1][1] == "no faster than 54 °F an hour: 3 h 20 min and more"
    assert "not passed while it steams" in rows[2][1]


def test_a_metric_shop_reads_no_fahrenheit(design):
    metric = replace(design, length_unit="mm")
    drying = drying_schedule(DAUB, Shop())
    words = " ".join(" ".join(row) for row in drying_rows(drying, metric))
    words += " ".join(drying_lines(drying, metric))
    assert "°F" not in words
    assert " in (" not in words
    assert "Hold point: 540 °C" in words


def test_whose_schedule_it_is_comes_first(design):
    practice = drying_lines(drying_schedule(DAUB, Shop()), design)
    assert practice[0].startswith("The supplier's schedule comes first.")
    assert "not one for cupolas" in practice[0]
    theirs = Shop(drying=Drying(supplier="the daub's maker", rate=20.0))
    told = drying_lines(drying_schedule(DAUB, theirs), design)
    assert told[0] == "Schedule of the daub's maker."
    ours = Shop(drying=Drying(rate=20.0))
    assert drying_lines(drying_schedule(DAUB, ours), design)[0].endswith(
        "figures of the shop."
    )


def test_thickness_layers_and_water_are_told(design):
    told = " ".join(drying_lines(drying_schedule(DAUB, Shop()), design))
    assert "Daub is 2 in (51 mm) thick at most, in 2 layers" in told
    assert (
        "holds 4.76 to 7.13 US gal (18.0 to 27.0 L) of water" in told
    )  # nine tenths: a tenth falls off
    assert "At least 45 h 20 min in all" in told
    assert "No iron is melted before drying is signed for." in told


def test_where_nothing_is_daubed_nothing_is_heated(design):
    assert drying_rows(None, design) == []
    assert "Nothing is daubed" in drying_lines(None, design)[0]


def day(design, **changes):
    return day_plan(REPAIR | changes, design, again=1)


def told(design, **changes):
    return {row.what: row for row in day_rows(day(design, **changes), design)}


def test_amounts_are_in_the_measures_of_the_shop(design):
    rows = {row.number: row for row in day_rows(day(design), design)}
    # 40 L, 8 openings, 4 m2, 50 bricks, 120 L; 1 cu ft is 28.3168 L, 1 lb 0.4536 kg
    amounts = [row.amount for row in rows.values() if row.amount]
    assert amounts == [
        "1.41 ft³ (40.0 L)",
        "8 openings",
        "1 zone",
        "43.1 ft² (4.00 m²)",
        "50 bricks",
        "4.24 ft³ (120 L)",
        "43.1 ft² (4.00 m²)",
        "8 openings",
        "661 lb (300 kg)",
    ]
    metric = replace(design, length_unit="mm")
    words = " ".join(row.amount + row.what for row in day_rows(day(metric), metric))
    assert "ft" not in words.replace("after", "").replace("left", "")
    assert "°F" not in words
    assert "below 40 °C" in words


def test_the_caution_of_a_step_stands_with_it(design):
    rows = {
        step.name: row
        for step, row in zip(
            day(design).steps, day_rows(day(design), design), strict=True
        )
    }
    told = {
        "cool": ("dry", "No water on hot doors"),
        "lock out": ("19.5 to 23.5 %", "under 10 %", "a way to get a man out"),
        "chip": ("undercut", "respirator"),
        "bar down": ("Head and eyes",),
        "measure": ("Low-voltage",),
        "brick": ("never open", "stack above"),
        "dry": ("explodes", "carbon monoxide"),
        "doors": ("props", "dry"),
        "boards": ("counted",),
        "kindling": ("No iron is melted before drying is signed",),
    }
    for name, words in told.items():
        for each in words:
            assert each.lower() in f"{rows[name].what} {rows[name].caution}".lower()
    assert all(row.caution for row in rows.values())


def test_a_stop_stands_before_all_else(design):
    support = REPAIR["support"] | {"stops": [{"reason": "opened"}]}
    stopped = day(design, support=support)
    assert any(words.startswith("STOP.") for words in day_lines(stopped, design))
    (brick,) = (r for r in day_rows(stopped, design) if "Set brick" in r.what)
    assert brick.caution.startswith("STOP. The stack above needs support")
    assert not any("STOP" in words for words in day_lines(day(design), design))


def test_whose_times_they_are_is_told(design):
    assert "guess of ours" in " ".join(day_lines(day(design), design))
    own = replace(design, shop=replace(design.shop, crew=Crew(men=3)))
    lines = " ".join(day_lines(day(own), own))
    assert "guess of ours" not in lines
    assert lines.startswith("3 men; ")
    # nobody at the furnace is told of a key of a file
    assert "[crew]" not in " ".join(day_lines(day(design), design))


def test_batches_are_told_with_when_to_mix_them(design):
    plan = day(design)
    first = batch_rows(plan, design)[0]
    assert first[:2] == ("1", "1")
    start = next(step for step in plan.steps if step.name == "daub")
    row = next(r for r in day_rows(plan, design) if "Daub from the bottom" in r.what)
    assert first[3] == row.begins
    assert int(first[3].split(":")[0]) == int(start.start)
