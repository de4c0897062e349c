"""The tables of the design file that tell what the shop has and how it works.

Lengths have the file's unit; all else has the unit named here, whatever that is.
Bounds keep slips of unit out; they are our own choice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from geom.design.keys import (
    Key,
    Table,
    amount,
    count,
    length,
    length_from_zero,
    one_of,
    positive_length,
    share,
    words,
)
from geom.design.shop import Bottom, Brick, Brickwork, Melting, Mix, Shop

Entries = list[dict[str, Any]]

_density = amount(
    200.0, 6000.0, "kg/m3", cure="Write kg/m3: 100 lb to the cubic foot are 1602 kg/m3"
)
_parts = amount(0.0, 1000.0, "parts", cure="Write parts: 3 of sand to 1 of clay")

BRICK = Table(
    "brick",
    (
        Key("name", words),
        Key("length", positive_length),
        Key("width", positive_length),
        Key("thickness", positive_length),
        Key("taper", one_of("width", "thickness"), required=False),
        Key("small", positive_length, required=False),
        Key("radial", one_of("length", "width"), required=False),
        Key(
            "mass",
            amount(0.05, 500.0, "kg", cure="Write kg: 7 lb are 3.18 kg"),
            required=False,
        ),
        Key("stock", count, required=False),
    ),
    many=True,
)
BRICKWORK = Table(
    "brickwork",
    (
        Key("joint", length_from_zero, required=False),
        Key("breakage", share, required=False),
    ),
)
MIX = Table(
    "mix",
    (
        Key("sand", _parts, required=False),
        Key("clay", _parts, required=False),
        Key("by", one_of("volume", "mass"), required=False),
        Key("water_least", share, required=False),
        Key("water_most", share, required=False),
        Key("sand_density", _density, required=False),
        Key("clay_density", _density, required=False),
        Key("daub_density", _density, required=False),
        Key(
            "batch",
            amount(1.0, 10_000.0, "litres", cure="Write litres: 1 cubic foot is 28.3"),
            required=False,
        ),
        Key("shrinkage", share, required=False),
        Key("rebound", share, required=False),
        Key("layer_most", positive_length, required=False),
        Key("wash", length_from_zero, required=False),
        Key(
            "bag",
            amount(1.0, 2000.0, "kg", cure="Write kg: 100 lb are 45.4 kg"),
            required=False,
        ),
    ),
)
BOTTOM = Table(
    "bottom",
    (
        Key("least", positive_length, required=False),
        Key("density", _density, required=False),
    ),
)
MELTING = Table(
    "melting",
    (
        Key(
            "rate",
            amount(50.0, 200_000.0, "kg/h", cure="Write kg/h: 5 t an hour are 5000"),
            required=False,
        ),
        Key(
            "blast",
            amount(
                20.0, 500_000.0, "m3/h", cure="Write m3/h: 1000 cubic ft/min are 1699"
            ),
            required=False,
        ),
    ),
)
#: ``order_confidence`` of ``[repair]``: it fills the shop, not the rules.
CONFIDENCE = Key(
    "order_confidence",
    amount(0.5, 0.999, "", cure="Write the chance that the order is enough, as 0.95"),
    required=False,
    becomes="confidence",
)
#: Limits of daub behind and before brick, of ``[repair]``: they fill the brickwork.
BED_AND_COVER = (
    Key("bed_least", length_from_zero, required=False),
    Key("bed_most", length_from_zero, required=False),
    Key("cover_least", length, required=False),
    Key("cover_most", length, required=False),
)
SHOP_TABLES = (BRICK, BRICKWORK, MIX, BOTTOM, MELTING)


def shop_of(
    bricks: Entries,
    brickwork: Entries,
    mix: Entries,
    bottom: Entries,
    melting: Entries,
    *,
    repair: dict[str, Any],
) -> Shop:
    """Put together what the tables told; what they did not has its default.

    Parameters
    ----------
    bricks, brickwork, mix, bottom, melting : list of dict
        As read by `SHOP_TABLES`, in that order.
    repair : dict
        As read of ``[repair]``; what `CONFIDENCE` and `BED_AND_COVER` read is taken out
        of it.
    """
    limits = {
        key.name: repair.pop(key.name) for key in BED_AND_COVER if key.name in repair
    }
    confidence = repair.pop(CONFIDENCE.becomes, None)
    shop = Shop(
        bricks=tuple(Brick(**entry) for entry in bricks),
        brickwork=Brickwork(**(brickwork[0] if brickwork else {}), **limits),
        mix=Mix(**mix[0]) if mix else Mix(),
        bottom=Bottom(**bottom[0]) if bottom else Bottom(),
        melting=Melting(**melting[0]) if melting else Melting(),
    )
    return shop if confidence is None else replace(shop, confidence=confidence)
