"""When daub may be heated, against a practice as published and sums by hand.

Read in a public discussion of dry-out among engineers (eng-tips, thread 481404): 24 h
at room temperature; 30 to 40 degC an hour; half an hour for every inch of thickness at
120 degC (250 degF), then at 500, 700 and 1000 degF.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from geom.design import Drying, Mix, Shop
from geom.errors import InputError
from geom.repair.plan.daub import DryingSchedule, drying_schedule

#: Three inches in three layers, mixed with 20 to 30 litres of water.
DAUB = {"thickness": 76.2, "layers": 3, "water_least": 20.0, "water_most": 30.0}


def scheduled(shop: Shop | None = None, **changes: object) -> DryingSchedule:
    found = drying_schedule(DAUB | changes, shop or Shop())
    assert found is not None
    return found


def test_the_hold_points_are_those_of_the_practice_as_published() -> None:
    holds = scheduled().holds
    fahrenheit = [1.8 * hold.temperature + 32.0 for hold in holds]
    assert fahrenheit == pytest.approx([250.0, 500.0, 700.0, 1000.0], abs=4.1)
    assert [hold.hours for hold in holds] == pytest.approx([1.5] * 4)
    assert 30.0 <= scheduled().rate <= 40.0


def test_three_inches_by_hand() -> None:
    """24 h set; 100, 140, 110, 170 degC at 30 an hour; 1.5 h held four times."""
    drying = scheduled()
    heating = [hold.heating for hold in drying.holds]
    assert heating == pytest.approx([100 / 30, 140 / 30, 110 / 30, 170 / 30])
    assert drying.holds[0].reached == pytest.approx(24.0 + 10.0 / 3.0)
    assert drying.holds[0].passed == pytest.approx(24.0 + 10.0 / 3.0 + 1.5)
    assert drying.hours == pytest.approx(24.0 + 520.0 / 30.0 + 6.0)
    assert drying.hours == drying.holds[-1].passed


def test_water_is_that_of_the_daub_that_stays_on_the_wall() -> None:
    shop = Shop(mix=Mix(rebound=0.2))
    drying = scheduled(shop)
    assert (drying.water_least, drying.water_most) == pytest.approx((16.0, 24.0))
    assert drying.layers == 3


def test_thicker_daub_is_held_longer_and_heated_alike() -> None:
    thin, thick = scheduled(thickness=25.4), scheduled(thickness=50.8)
    for one, two in zip(thin.holds, thick.holds, strict=True):
        assert two.hours == pytest.approx(2.0 * one.hours)
        assert two.heating == one.heating
    assert thick.hours - thin.hours == pytest.approx(4 * 0.5)


def test_the_suppliers_schedule_comes_first() -> None:
    own = Drying("sheet 12", set_hours=12.0, rate=25.0, hold_at=(150.0, 600.0))
    drying = scheduled(Shop(drying=own))
    assert drying.supplier == "sheet 12"
    assert not drying.general
    assert [hold.temperature for hold in drying.holds] == [150.0, 600.0]
    assert drying.hours == pytest.approx(12.0 + 580.0 / 25.0 + 2 * 1.5)
    assert scheduled().general
    assert not scheduled(Shop(drying=replace(Drying(), rate=35.0))).general


def test_nothing_daubed_has_nothing_to_dry() -> None:
    assert drying_schedule(DAUB | {"thickness": 0.0}, Shop()) is None


@pytest.mark.parametrize(
    "spoiled", [{"thickness": "thick"}, {"layers": None}, {"water_least": []}]
)
def test_a_document_that_was_changed_is_refused(spoiled: dict[str, object]) -> None:
    with pytest.raises(InputError, match="not as it was written"):
        drying_schedule(DAUB | spoiled, Shop())
    with pytest.raises(InputError, match="not as it was written"):
        drying_schedule({}, Shop())
