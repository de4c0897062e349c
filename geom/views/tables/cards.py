"""What stands on the cards of the repair sheet: jobs, rod settings, the mix in pails.

Text throughout, in the shop's unit alone: a card is read in bad light.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from geom.compare.boxes import box_edges
from geom.compare.findings import Action, Findings, Zone
from geom.design import Design
from geom.frame import clock_time
from geom.repair import RepairPackage
from geom.repair.plan.daub import sand_share
from geom.repair.plan.day import DayPlan
from geom.repair.plan.order import OrderLine
from geom.repair.plan.result import ZonePlan
from geom.surface.radial import RadialSurface
from geom.units import LITRE, US_GALLON, Float, as_fraction, say_length
from geom.views.say import AzimuthRange, plain, say_span, span
from geom.views.tables.repair import say_bag, say_short, say_short_mass

#: The letter of a call on the cards.
LETTERS: Mapping[Action, str] = {
    "brick": "B",
    "daub": "D",
    "chip": "C",
    "measure again": "M",
}
#: Rows of rod settings at most; more steps than that are taken together.
_MOST_SETTINGS = 18
#: A quarter of an hour on the clock face, degrees.
_QUARTER = 7.5
#: Batches of which the largest is no more than so many times the least are alike.
_ALIKE = 1.15
#: A wet face that stands out less than this is set as if dry: 1/32 in.
_LEAST_WET = 0.8


@dataclass(frozen=True)
class CardJob:
    """One zone on the work card; text throughout."""

    name: str
    where: str
    heights: str
    what: str


@dataclass(frozen=True)
class RodSetting:
    """Where the rod stands on the finished face at one height; text throughout."""

    height: str
    dry: str
    wet: str


def zone_names(findings: Findings, works: RepairPackage) -> dict[int, str]:
    """Letter and number of each zone that asks for something: what is done, not called.

    Examples
    --------
    ``{1: "B1", 2: "D2"}``
    """
    done: dict[int, Action] = {zone.id: zone.action for zone in findings.zones}
    done |= {zone.id: zone.work for zone in works.plan.zones}
    return {
        number: f"{LETTERS[action]}{number}"
        for number, action in done.items()
        if action in LETTERS
    }


def again_jobs(findings: Findings, design: Design) -> list[CardJob]:
    """Zones to measure again before anything is decided there."""
    return [_again(zone, design) for zone in findings.of_action("measure again")]


def _again(zone: Zone, design: Design) -> CardJob:
    unit = design.length_unit
    low, high = zone.cutback_max.low95, zone.cutback_max.high95
    return CardJob(
        name=f"M{zone.id}",
        where=clock_span(zone, design),
        heights=say_span(zone.height_from, zone.height_to, design),
        what=f"perhaps {say_short(max(low, 0.0), unit)} to {say_length(high, unit)}",
    )


def card_jobs(works: RepairPackage, work: Action, design: Design) -> list[CardJob]:
    """The zones in which one thing is done, in order of work."""
    return [
        CardJob(
            name=f"{LETTERS[work]}{zone.id}",
            where=clock_span(zone, design),
            heights=say_span(zone.height_from, zone.height_to, design),
            what=_what(zone, design),
        )
        for zone in works.plan.zones
        if zone.work == work
    ]


def clock_span(zone: AzimuthRange, design: Design) -> str:
    """From when to when on the clock, as the hands turn; to a quarter of an hour.

    ``2:30 to 3:30``; over half the way round ``2:00 the long way to 1:00``
    """
    reach = span(zone)
    if reach >= 359.0:
        return "all round"
    ends = [zone.azimuth_from, zone.azimuth_to]
    if design.azimuth_sense == "counterclockwise":
        ends.reverse()
    first, last = (
        clock_time(_QUARTER * round(end / _QUARTER), design.azimuth_sense)
        for end in ends
    )
    return f"{first} {'the long way ' if reach > 180.0 else ''}to {last}"


def _what(zone: ZonePlan, design: Design) -> str:
    unit = design.length_unit
    if zone.work == "chip" and zone.chip is not None:
        profile = design.profile
        low = say_short(float(profile.radius_at(zone.height_from)), unit)
        high = say_short(float(profile.radius_at(zone.height_to, side="below")), unit)
        stop = low if low == high else f"{low} at the foot, {high} at the head"
        return f"{say_length(zone.chip.thickness.value, unit)} off; stop: rod {stop}"
    if zone.brickwork is not None:
        return "; ".join(
            f"{plain(each.name, most=40)}: "
            + ", ".join(
                f"{count} {name}"
                for count, name in ((each.whole, "whole"), (each.pieces, "half"))
                if count
            )
            for each in zone.brickwork.tally
        )
    if zone.daub is None:
        return "not settled"
    layers = "1 layer" if zone.daub.layers == 1 else f"{zone.daub.layers} layers"
    thick = say_length(zone.daub.thickness, unit)
    past = "past the brick line, no brick fits: " if zone.action == "brick" else ""
    return f"{past}{layers}, {thick} at the thickest"


def rod_settings(
    works: RepairPackage, surface: RadialSurface, design: Design
) -> list[RodSetting]:
    """The rod on the finished face, every step of the wall card where work is done.

    Wet daub shrinks by the mix's own share of its thickness: before it dries, its face
    stands before the drawing by so much of the thickest daub at that height.
    """
    if not works.plan.zones:
        return []
    unit, profile = design.length_unit, design.profile
    edge = box_edges(design)
    low = min(zone.height_from for zone in works.plan.zones)
    high = max(zone.height_to for zone in works.plan.zones)
    step = float(edge[1] - edge[0])
    heights = edge[(edge > low - step) & (edge < high + step)]
    heights = heights[(heights >= profile.bottom) & (heights <= profile.top)]
    stride = int(np.ceil(heights.size / _MOST_SETTINGS))
    steps = [float(h) for h in profile.steps if low < h < high]
    heights = heights[::stride]
    near_step = [bool(np.isclose(steps, h, atol=0.5).any()) for h in heights]
    heights = heights[~np.array(near_step, dtype=bool)]
    daubed = daub_thickness(works, surface)
    rows = []
    for height in sorted([*heights.tolist(), *steps]):
        sides: tuple[Literal["below", "above"], ...] = (
            ("below", "above") if height in steps else ("above",)
        )
        near = np.abs(surface.grid.height - height) <= 0.5 * step
        thick = float(daubed[near].max(initial=0.0))
        wet = thick * design.shop.mix.shrinkage / (1.0 - design.shop.mix.shrinkage)
        for side in sides:
            radius = float(profile.radius_at(height, side=side))
            name = say_short(height, unit)
            rows.append(
                RodSetting(
                    height=f"{name} {side}" if len(sides) > 1 else name,
                    dry=_sixteenths(radius, unit),
                    wet=_sixteenths(radius - wet, unit)
                    if wet >= _LEAST_WET
                    else "same",
                )
            )
    return rows


def daub_thickness(works: RepairPackage, surface: RadialSurface) -> Float:
    """The thickest daub in each row of the grid, mm; (m,).

    Where brick is set the daub before it, as thick as the shop lets it be.
    """
    cutback = np.nan_to_num(surface.cutback)
    thick = np.zeros(surface.grid.height.size)
    most = surface.design.shop.brickwork.cover_most
    for zone in works.plan.zones:
        if zone.daub is None:
            continue
        own = np.where(zone.share >= 0.5, cutback, 0.0)
        own = np.minimum(own, most) if zone.brickwork is not None else own
        thick = np.maximum(thick, own.max(axis=1))
    return thick


def _sixteenths(mm: float, unit: str) -> str:
    return unbroken(say_length(mm, unit, finest=16).removesuffix(f" {unit}"))


def unbroken(words: str) -> str:
    """Words that are never torn at the end of a line."""
    return words.replace(" ", "\N{NO-BREAK SPACE}")


def mix_lines(works: RepairPackage, day: DayPlan, design: Design) -> list[str]:
    """The mix in the shop's pails, a batch and in all; empty where no daub goes in."""
    daub, mix = works.plan.daub, design.shop.mix
    if daub.mixed.value <= 0.0:
        return []
    sand = sand_share(mix)
    dry = mix.daub_density / (1.0 + 0.5 * (mix.water_least + mix.water_most))
    sizes = [batch.volume for batch in day.batches] or [daub.mixed.value]
    alike = max(sizes) <= _ALIKE * min(sizes)
    size = daub.mixed.value / LITRE / (len(sizes) if alike else 1)
    pails = [
        size * 1e-3 * dry * share / density * 1e3 / mix.pail
        for share, density in ((sand, mix.sand_density), (1.0 - sand, mix.clay_density))
    ]
    water = [
        size * 1e-3 * dry * w / mix.pail for w in (mix.water_least, mix.water_most)
    ]
    often = "1 batch"
    if len(sizes) > 1:
        often = f"{len(sizes)} batches, " + ("each" if alike else "in all")
    return [
        f"{often}: {_pails(pails[0])} sand, {_pails(pails[1])} fire clay, water "
        f"{_water(water[0], water[1])} pail{'s' * (water[1] > 1.0)}. "
        "Stiff, never sloppy.",
        f"A pail holds {_say_pail(mix.pail, design)}, struck level. Layers of "
        f"{say_length(mix.layer_most, design.length_unit)} at most, each stiff before "
        "the next.",
    ]


def _say_pail(litres: float, design: Design) -> str:
    """What a pail holds: in an inch shop by the gallon."""
    if design.length_unit == "in":
        return f"{litres * LITRE / US_GALLON:.3g} US gal"
    return f"{litres:.3g} L"


def _water(least: float, most: float) -> str:
    """From so many pails to so many, to an eighth where these are few or else the same.

    Examples
    --------
    >>> _water(0.42, 0.6), _water(1.1, 1.7), _water(0.1, 0.2), _water(0.05, 0.1)
    ('3/8 to 5/8', '1 to 1 3/4', '1/8 to 1/4', 'up to 1/8')
    """
    ends = _halves(least), _halves(most)
    if ends[0] == ends[1] or least < 0.25:
        ends = as_fraction(max(least, 0.125)), as_fraction(max(most, 0.125))
    return f"up to {ends[1]}" if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def _halves(pails: float) -> str:
    return as_fraction(max(pails, 0.125), finest=4 if pails < 3.0 else 2)


def _pails(pails: float) -> str:
    words = _halves(pails)
    return (
        f"{words} pail of"
        if words in {"1", "1/4", "1/2", "3/4"}
        else f"{words} pails of"
    )


def card_order(line: OrderLine, design: Design) -> str:
    """One material as it is called off.

    ``9 in split: 9``; ``sand 165 lb: buy 3 of 55 lb``
    """
    name = plain(line.material, most=40)
    if line.unit == "bricks":
        stock = line.packs != line.enough
        return f"{name}: {line.enough:.0f}" + (f", buy {line.packs}" if stock else "")
    mass = say_short_mass(line.enough, design)
    return f"{name} {mass}: buy {line.packs} of {say_bag(line.pack, design)}"


def opening_names(design: Design) -> list[str]:
    """What each opening is called on the cards, in the order of the design.

    Examples
    --------
    ``["T1", "T2", "tap", "slag"]``
    """
    names, tuyeres = [], 0
    for hole in design.openings:
        if hole.kind == "tuyere":
            tuyeres += 1
            names.append(f"T{tuyeres}")
        else:
            names.append(plain(hole.kind, most=20).removesuffix(" hole"))
    return names
