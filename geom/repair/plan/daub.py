"""Daub: how much fills a space once it is dry, what is mixed for it, how it is dried.

Daub shrinks on drying by a share s of its length, in all three directions alike, so a
space V is filled by V / (1 - s)**3 of wet daub; exactly that is taken, not the usual
V / (1 - 3 s).  Of what is put on, a share falls off: again divided by 1 less that
share.  The dry mass is the wet one over 1 + w, water w being a share of the dry mass.

It is dried by steps: set at room temperature, heated at a steady rate, and held at each
hold point for a time in proportion to the thickness where it is greatest, for the water
in the middle of that has the longest way out.  A hold point is not passed while it
steams.  The supplier's schedule comes before any of this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from geom.design import Mix, Shop
from geom.document import AREA, VOLUME
from geom.errors import InputError
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.units import M3

_LITRES = 1e-6
_INCH = 25.4


@dataclass(frozen=True)
class Daub:
    """Daub of one zone, or of all.

    Attributes
    ----------
    volume : Quantity, mm3
        In place and dry.
    mixed : Quantity, mm3
        Wet, with what falls off.
    mass : Quantity, kg
        Of what is mixed.
    sand, clay : Quantity, kg
        Dry.
    water_least, water_most : float, litres
    batches : int
        Of the mixer.
    thickness : float, mm
        Where it is thickest.
    wash_area : float, mm2
        Face that is washed with clay first.
    wash : float, mm3
        Of clay wash.
    """

    volume: Quantity = field(metadata=VOLUME)
    mixed: Quantity = field(metadata=VOLUME)
    mass: Quantity
    sand: Quantity
    clay: Quantity
    water_least: float
    water_most: float
    batches: int
    thickness: float
    layers: int
    wash_area: float = field(metadata=AREA)
    wash: float = field(metadata=VOLUME)


def daub_for(volume: Quantity, mix: Mix, *, thickness: float, face: float) -> Daub:
    """What is mixed for a space.

    Parameters
    ----------
    volume : Quantity, mm3
        Of the space, when the daub in it is dry.
    thickness : float, mm
        Where it is thickest.
    face : float, mm2
        Area of the zone.
    """
    mixed = volume.times(swelling(mix))
    mass = mixed.times(mix.daub_density * M3)
    dry = mass.times(1.0 / (1.0 + 0.5 * (mix.water_least + mix.water_most)))
    sand = sand_share(mix)
    return Daub(
        volume=volume,
        mixed=mixed,
        mass=mass,
        sand=dry.times(sand),
        clay=dry.times(1.0 - sand),
        water_least=mix.water_least * dry.value,
        water_most=mix.water_most * dry.value,
        batches=int(np.ceil(mixed.value * _LITRES / mix.batch - 1e-9)),
        thickness=thickness,
        layers=layers(thickness, mix),
        wash_area=face,
        wash=face * mix.wash,
    )


def swelling(mix: Mix) -> float:
    """Wet daub to mix for one volume of dry daub in place.

    Examples
    --------
    >>> swelling(Mix(shrinkage=0.0, rebound=0.2))
    1.25
    """
    return float(1.0 / ((1.0 - mix.shrinkage) ** 3 * (1.0 - mix.rebound)))


def sand_share(mix: Mix) -> float:
    """Share of sand in the dry mass.

    Examples
    --------
    Three parts to one, by mass:

    >>> sand_share(Mix(sand=3.0, clay=1.0, by="mass"))
    0.75
    """
    sand, clay = mix.sand, mix.clay
    if mix.by == "volume":
        sand, clay = sand * mix.sand_density, clay * mix.clay_density
    return sand / (sand + clay)


def crushed_mix(mix: Mix) -> Mix:
    """What is rammed round a tap hole; its ``sand`` is crushed fire brick."""
    return replace(
        mix, sand=mix.crushed, clay=1.0, by="volume", sand_density=mix.crushed_density
    )


def sand_mix(mix: Mix) -> Mix:
    """What the bottom of a tap spout is rammed with."""
    return replace(mix, sand=mix.spout_sand, clay=1.0, by="volume")


def layers(thickness: float, mix: Mix) -> int:
    """In how many layers daub goes on.

    Examples
    --------
    >>> layers(51.0, Mix(layer_most=50.0)), layers(50.0, Mix(layer_most=50.0))
    (2, 1)
    """
    return max(1, int(np.ceil(thickness / mix.layer_most - 1e-9)))


@dataclass(frozen=True)
class HoldPoint:
    """A temperature that is held, and not passed while the wall steams.

    Attributes
    ----------
    temperature : float, degC
    heating : float, h
        Up to it, from the one before.
    hours : float, h
        Held, at least.
    reached, passed : float, h
        From the end of daubing on, at the earliest.
    """

    temperature: float
    heating: float
    hours: float
    reached: float
    passed: float


@dataclass(frozen=True)
class DryingSchedule:
    """How the daub of a repair is dried before iron is melted on it.

    Attributes
    ----------
    supplier : str
        Whose schedule it is; empty: general practice, or the shop's own.
    general : bool
        That it is the general practice and nothing of the shop's or a supplier's.
    thickness : float, mm
        Of the daub where it is thickest; holds go by it.
    layers : int
        It went on in.
    water_least, water_most : float, litres
        In the daub on the wall, to be driven out.
    set_hours : float, h
        At room temperature, before any fire.
    rate : float, degC/h
        At most, from hold to hold.
    hours : float, h
        In all, at least.
    """

    supplier: str
    general: bool
    thickness: float
    layers: int
    water_least: float
    water_most: float
    set_hours: float
    rate: float
    holds: tuple[HoldPoint, ...]
    hours: float


def drying_schedule(daub: Mapping[str, Any], shop: Shop) -> DryingSchedule | None:
    """When what is daubed may be heated, and how far.

    Parameters
    ----------
    daub : mapping
        Of all zones together, as ``findings.json`` holds it: ``thickness`` in mm,
        ``layers``, ``water_least`` and ``water_most`` in litres.
    shop : Shop
        Its ``drying`` and its ``mix``.

    Returns
    -------
    DryingSchedule or None
        None where nothing is daubed.

    Raises
    ------
    InputError
        If the document is not as it was written.

    Examples
    --------
    Two inches of daub are held an hour at each point; it takes 100 / 30 hours to get
    from 20 to 120 degC:

    >>> daub = {"thickness": 50.8, "layers": 2, "water_least": 8, "water_most": 12}
    >>> schedule = drying_schedule(daub, Shop())
    >>> [hold.hours for hold in schedule.holds]
    [1.0, 1.0, 1.0, 1.0]
    >>> round(schedule.holds[0].reached, 2)
    27.33
    """
    try:
        thickness, layers = float(daub["thickness"]), int(daub["layers"])
        water = float(daub["water_least"]), float(daub["water_most"])
    except (KeyError, TypeError, ValueError, OverflowError) as fault:
        raise InputError("is not as it was written", place="repair, daub") from fault
    if thickness <= 0.0:
        return None
    rules, stays = shop.drying, 1.0 - shop.mix.rebound
    holds: list[HoldPoint] = []
    hour, warm = rules.set_hours, ASSUMED.room_temperature
    for hot in rules.hold_at:
        heating, held = (hot - warm) / rules.rate, rules.hold_hours * thickness / _INCH
        reached = hour + heating
        hour, warm = reached + held, hot
        holds.append(HoldPoint(hot, heating, held, reached, hour))
    return DryingSchedule(
        supplier=rules.supplier,
        general=rules == type(rules)(),
        thickness=thickness,
        layers=layers,
        water_least=stays * water[0],
        water_most=stays * water[1],
        set_hours=rules.set_hours,
        rate=rules.rate,
        holds=tuple(holds),
        hours=hour,
    )
