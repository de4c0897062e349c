"""What is said of tuyeres, sand bottom and melting; text throughout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.repair.bottom import SandBottom
from geom.repair.melting import WornMelting
from geom.repair.taper import Measure, TuyereAudit
from geom.units import as_fraction, say_both, say_length
from geom.views.jobs import say_mass
from geom.views.words import (
    figures,
    plain,
    say_from,
    say_length_interval,
    say_volume,
)


@dataclass(frozen=True)
class TaperRow:
    """One tuyere."""

    number: str
    clock: str
    azimuth: str
    call: str
    chance: str
    overhang: str
    drawn: str
    after: str


def taper_rows(audits: Sequence[TuyereAudit], design: Design) -> list[TaperRow]:
    """Tuyere by tuyere: what slag does there, and how far the lip stands in front."""
    return [_taper_row(one, design) for one in audits]


def _taper_row(one: TuyereAudit, design: Design) -> TaperRow:
    unit = design.length_unit
    return TaperRow(
        number=str(one.number),
        clock=clock_face(one.azimuth, design.azimuth_sense),
        azimuth=f"{one.azimuth:.0f}°",
        call=one.call,
        chance="" if one.chance is None else say_chance(one.chance),
        overhang=_overhang(one.overhang, unit),
        drawn=say_length(one.overhang.drawn, unit),
        after=say_chance(one.chance_repaired),
    )


def _overhang(measure: Measure, unit: str) -> str:
    return "" if measure.found is None else say_length(measure.found.value, unit)


def say_chance(chance: float) -> str:
    """A probability in percent, never said to be certain.

    Examples
    --------
    >>> [say_chance(p) for p in (0.0002, 0.071, 0.5, 0.9999)]
    ['under 1 %', '7 %', '50 %', 'over 99 %']
    """
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{100.0 * chance:.0f} %"


def taper_words(audits: Sequence[TuyereAudit]) -> str:
    """Which tuyeres run in or are doubtful, in one line; empty if none."""
    said = []
    for call in ("runs in", "doubtful"):
        there = [str(one.number) for one in audits if one.call == call]
        if there:
            said.append(f"{call}: {', '.join(there)}")
    return f"{'; '.join(said)} (tuyeres, as numbered in the design)" if said else ""


def strike_rows(bottom: SandBottom, design: Design) -> list[tuple[str, str, str]]:
    """Where round the wall, how thick, and the height to strike to."""
    unit = design.length_unit
    return [
        (
            f"{point.clock}, {point.azimuth:.0f}°",
            say_length(point.thickness, unit),
            say_length(point.height, unit),
        )
        for point in bottom.strike
    ]


def bottom_lines(bottom: SandBottom, design: Design) -> list[str]:
    """How wide, how much, what to look at."""
    unit = design.length_unit
    rate = f"{as_fraction(12.0 * bottom.fall, finest=16)} in to the foot"
    if unit != "in":
        rate = f"{1000.0 * bottom.fall:.0f} mm to the metre"
    wide = "as found" if bottom.radius_from == "survey" else "as drawn"
    notes = [plain(words, most=300) for words in bottom.notes]
    return [
        f"Falls {rate} to the tap hole. Wall {wide}: radius "
        f"{say_both(bottom.radius.value, unit)}. Rammed sand: "
        f"{say_volume(bottom.volume.value, design)}, "
        f"{say_mass(bottom.mass.value, design)}.",
        f"Thickness: {say_both(bottom.least, unit)} at the tap hole, "
        f"{say_both(bottom.middle, unit)} on the axis, "
        f"{say_both(bottom.greatest, unit)} opposite.",
        *(f"Mind: {words}." for words in notes),
    ]


def melting_lines(worn: WornMelting, design: Design) -> list[str]:
    """What the worn diameter does to melting rate and blast."""
    unit, zone = design.length_unit, worn.zone
    change = say_percent(zone.change_percent)
    lines = [f"Worst ring: {say_from(worn.ring, design)}. Its area: {change}."]
    lines += [
        f"At {say_both(one.level.height, unit)}: drawn "
        f"{say_both(one.level.design_diameter, unit)}, found "
        f"{say_length_interval(one.level.area_diameter, design)}."
        for one in worn.levels
        if one.level.height in worn.heights
    ]
    if zone.rate is None and zone.blast is None:
        lines.append("To melt as hard on the same area, rate and blast change alike.")
    if zone.rate is not None:
        lines.append(f"Rate that keeps the specific rate: {_flow(zone.rate, 'kg/h')}.")
    if zone.blast is not None:
        lines.append(f"Blast that keeps it: {_flow(zone.blast, 'm³/h')}.")
    lines.append(
        "The furnace does not melt more by itself: blown as before, it is blown softer."
    )
    return lines


def _flow(quantity: Quantity, unit: str) -> str:
    value, low, high = (
        figures(part) for part in (quantity.value, quantity.low95, quantity.high95)
    )
    return f"{value} {unit}; 95 %: {low} to {high}"


def say_percent(quantity: Quantity) -> str:
    """A change in percent with its interval."""
    value, low, high = (
        f"{round(part, 1) + 0.0:+.1f}"
        for part in (quantity.value, quantity.low95, quantity.high95)
    )
    return f"{value} %; 95 %: {low} to {high} %"
