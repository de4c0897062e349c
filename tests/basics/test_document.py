"""How a result becomes JSON: names, order, units, what is left out."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from geom.document import AREA, MERGED, OMITTED, VOLUME, as_document, only
from geom.quantity import Quantity


@dataclass(frozen=True)
class Account:
    gone: float
    left: int


@dataclass(frozen=True)
class Spot:
    height: float
    depth: Quantity | None


@dataclass(frozen=True)
class Bed:
    name: str
    area: float = field(metadata=AREA)
    spot: Spot = field(metadata=MERGED)
    account: Account = field(metadata=VOLUME)
    holes: tuple[Account, ...] = field(metadata=only("left"))
    raster: object = field(default=None, metadata=OMITTED)


BED = Bed(
    name="sand",
    area=2.5e6,
    spot=Spot(300.0, None),
    account=Account(2e9, 0),
    holes=(Account(1.0, 2), Account(3.0, 4)),
)


def test_fields_stand_in_their_order_in_the_units_of_the_document():
    document = as_document(BED)
    assert list(document) == ["name", "area", "height", "depth", "account", "holes"]
    assert document["area"] == pytest.approx(2.5)
    assert document["account"] == pytest.approx({"gone": 2.0, "left": 0.0})
    assert document["holes"] == [{"left": 2}, {"left": 4}]


def test_a_quantity_is_its_four_numbers_and_takes_the_unit_of_its_field():
    @dataclass(frozen=True)
    class Lining:
        volume: Quantity = field(metadata=VOLUME)
        depth: Quantity

    document = as_document(Lining(Quantity(1e9, 0, 1e9, 2e9), Quantity(1, 0, 1, 2)))
    assert document["volume"]["high95"] == pytest.approx(2.0)
    assert document["depth"] == {"value": 1.0, "sd": 0.0, "low95": 1.0, "high95": 2.0}


def test_a_class_that_writes_its_own_document_is_asked_for_it():
    class Counted:
        def to_dict(self):
            return {"count": 3}

    assert as_document((Counted(), None)) == [{"count": 3}, None]
