"""Daub: how much fills a space once it is dry, and what is mixed for it.

Daub shrinks on drying by a share s of its length, in all three directions alike, so a
space V is filled by V / (1 - s)**3 of wet daub; exactly that is taken, not the usual
V / (1 - 3 s).  Of what is put on, a share falls off: again divided by 1 less that
share.  The dry mass is the wet one over 1 + w, water w being a share of the dry mass.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geom.design import Mix
from geom.document import AREA, VOLUME
from geom.quantity import Quantity
from geom.units import M3

_LITRES = 1e-6


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
    layers : int
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
    mix : Mix
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


def layers(thickness: float, mix: Mix) -> int:
    """In how many layers daub goes on.

    Examples
    --------
    >>> layers(51.0, Mix(layer_most=50.0)), layers(50.0, Mix(layer_most=50.0))
    (2, 1)
    """
    return max(1, int(np.ceil(thickness / mix.layer_most - 1e-9)))
