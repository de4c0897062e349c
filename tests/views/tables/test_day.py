"""How drying is worded: source, steps, hold points, each in the shop's unit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from geom.design import Drying, Shop
from geom.repair.plan.daub import drying_schedule
from geom.views.tables.day import drying_lines, drying_rows

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
        "24 h", "27 h 20 min", "28 h 20 min", "33 h", "34 h", "37 h 40 min",
        "38 h 40 min", "44 h 20 min", "45 h 20 min",
    ]  # fmt: skip
    assert rows[1][1] == "no faster than 54.0 °F an hour: 3 h 20 min and more"
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
    assert "holds 18.0 to 27.0 L of water" in told  # nine tenths: a tenth falls off
    assert "At least 45 h 20 min in all" in told
    assert "No iron is melted before drying is signed for." in told


def test_where_nothing_is_daubed_nothing_is_heated(design):
    assert drying_rows(None, design) == []
    assert "Nothing is daubed" in drying_lines(None, design)[0]
