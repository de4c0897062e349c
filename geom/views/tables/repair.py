"""What there is to do, zone by zone, what to order for it, and what was audited.

The plan of the repair as rows; tuyeres, sand bottom and melting as rows and lines.
Text throughout, the shop's unit first.
"""

from __future__ import annotations

from dataclasses import dataclass

from geom.compare.findings import Action
from geom.design import Design
from geom.quantity import Quantity
from geom.repair import RepairPackage
from geom.repair.audit.melting import RunSettings, WornMelting
from geom.repair.audit.sand_bottom import SandBottom
from geom.repair.plan.daub import Daub
from geom.repair.plan.order import OrderLine
from geom.repair.plan.result import (
    BackFill,
    ChipFirst,
    LayerLimit,
    NoBrickFits,
    NotPlanned,
    OpeningMet,
    RepairPlan,
    StepMet,
    ZoneNote,
    ZonePlan,
)
from geom.units import (
    CUBIC_FOOT,
    LITRE,
    POUND,
    US_GALLON,
    as_fraction,
    say_both,
    say_length,
)
from geom.views.say import (
    figures,
    plain,
    say_area,
    say_change_percent,
    say_clock,
    say_degrees,
    say_ends,
    say_from,
    say_heights,
    say_length_interval,
    say_span,
    say_volume,
    say_volume_interval,
    upfirst,
)
from geom.views.tables.support import support_warnings


@dataclass(frozen=True)
class Job:
    """One zone of the plan.

    Attributes
    ----------
    heights, span : str
        With mm, and in the shop's unit alone.
    depth : str
        In the shop's unit alone.
    amount : tuple of str
        In as many lines as it takes.
    """

    zone: str
    action: Action
    clock: str
    degrees: str
    heights: str
    span: str
    area: str
    depth: str
    amount: tuple[str, ...]


@dataclass(frozen=True)
class OrderRow:
    """One material as it is ordered."""

    material: str
    needed: str
    order: str
    stock: str
    buy: str


def jobs(plan: RepairPlan, design: Design) -> list[Job]:
    """The zones in order of work."""
    return [job_of(zone, design) for zone in plan.zones]


def job_of(zone: ZonePlan, design: Design) -> Job:
    """One zone of a plan."""
    return Job(
        zone=str(zone.id),
        action=zone.work,
        clock=say_clock(zone, design),
        degrees=say_degrees(zone, design),
        heights=say_heights(zone.height_from, zone.height_to, design),
        span=say_span(zone.height_from, zone.height_to, design),
        area=say_area(zone.area, design),
        depth=_depth(zone, design),
        amount=tuple(_amount(zone, design)),
    )


def _depth(zone: ZonePlan, design: Design) -> str:
    unit = design.length_unit
    if zone.chip is not None:
        return f"proud up to {say_length(zone.chip.thickness.value, unit)}"
    if zone.brickwork is not None:
        return f"brick, best surface gone up to {say_length(zone.deepest, unit)}"
    if zone.work != zone.action and zone.daub is not None:
        often = "1 layer" if zone.daub.layers == 1 else f"{zone.daub.layers} layers"
        deep = say_length(zone.deepest, unit)
        return f"gone up to {deep}, but no listed brick fits: daub in {often}"
    if zone.daub is not None:
        return f"best surface gone up to {say_length(zone.daub.thickness, unit)}"
    return "not settled"


def _amount(zone: ZonePlan, design: Design) -> list[str]:
    if zone.chip is not None:
        return [f"take off {say_volume(zone.chip.volume.value, design)}"]
    if zone.daub is None:
        return ["not settled"]
    volume = say_volume(zone.daub.volume.value, design)
    mass = say_short_mass(zone.daub.mass.value, design)
    return [*brick_words(zone), f"daub {volume}, {mass}"]


def brick_words(zone: ZonePlan) -> list[str]:
    """How many of each brick a zone takes, cutting and breakage in it."""
    if zone.brickwork is None:
        return []
    return [
        f"{each.needed} \N{MULTIPLICATION SIGN} {plain(each.name, most=40)}"
        for each in zone.brickwork.tally
    ]


def daub_rows(daub: Daub, design: Design) -> list[tuple[str, str]]:
    """What is mixed, and how it goes on: name and words."""
    mix = design.shop.mix
    layers = "one layer" if daub.layers == 1 else f"{daub.layers} layers"
    thick = say_both(daub.thickness, design.length_unit)
    return [
        ("In place, dry", _volume(daub.volume, design)),
        (
            "To mix, wet",
            f"{_volume(daub.mixed, design)}; {say_mass(daub.mass.value, design)}",
        ),
        (
            "Sand, fire clay",
            f"{say_mass(daub.sand.value, design)} and "
            f"{say_mass(daub.clay.value, design)}, both dry "
            f"({mix.sand:g} to {mix.clay:g} by {mix.by})",
        ),
        (
            "Water",
            f"{say_water(daub.water_least, daub.water_most, design)} in all",
        ),
        (
            "Loads of the mixer",
            f"at least {daub.batches}, up to "
            f"{say_volume(mix.batch * LITRE, design)} each",
        ),
        ("Layers", f"{layers}; {thick} where it is thickest"),
        (
            "Wash first",
            f"{say_area(daub.wash_area, design)} with {say_volume(daub.wash, design)} "
            "of clay wash",
        ),
    ]


def say_water(least: float, most: float, design: Design) -> str:
    """So many to so many litres; US gallons first where the shop measures in inches."""
    litres = f"{figures(least)} to {figures(most)} L"
    if design.length_unit != "in":
        return litres
    gallons = [figures(water * LITRE / US_GALLON) for water in (least, most)]
    return f"{' to '.join(gallons)} US gal ({litres})"


def _volume(volume: Quantity, design: Design) -> str:
    text = say_volume(volume.value, design)
    if volume.sd == 0.0:
        return text
    return f"{text}; 95 % sure: {say_volume_interval(volume, design)}"


def order_rows(plan: RepairPlan, design: Design) -> list[OrderRow]:
    """The order list."""
    return [_order_row(line, design) for line in plan.order]


def _order_row(line: OrderLine, design: Design) -> OrderRow:
    if line.unit == "bricks":
        needed, order = f"{line.best:.0f}", f"{line.enough:.0f}"
        buy = f"{line.packs} bricks"
    else:
        needed, order = say_mass(line.best, design), say_mass(line.enough, design)
        buy = f"{line.packs} \N{MULTIPLICATION SIGN} {say_bag(line.pack, design)}"
    return OrderRow(
        material=plain(line.material, most=40),
        needed=needed,
        order=order,
        stock="not stated" if line.stock is None else f"{line.stock}",
        buy=buy,
    )


def order_words(plan: RepairPlan, design: Design) -> str:
    """The order list in one line; empty where nothing is needed."""
    named = [
        f"{row.order} \N{MULTIPLICATION SIGN} {row.material}"
        if line.unit == "bricks"
        else f"{row.order} {row.material}"
        for line, row in zip(plan.order, order_rows(plan, design), strict=True)
    ]
    return ", ".join(named)


def say_sure(plan: RepairPlan) -> str:
    """The chance that what is ordered is enough.

    Examples
    --------
    ``95 %``
    """
    return f"{100.0 * plan.confidence:g} %"


def say_mass(kg: float, design: Design) -> str:
    """A mass in kg; in pounds first where the shop measures in inches."""
    metric = f"{figures(kg)} kg"
    if design.length_unit != "in":
        return metric
    return f"{figures(kg / POUND)} lb ({metric})"


def say_short_mass(kg: float, design: Design) -> str:
    """A mass in the shop's own unit alone."""
    if design.length_unit != "in":
        return f"{figures(kg)} kg"
    return f"{figures(kg / POUND)} lb"


def say_bag(kg: float, design: Design) -> str:
    """What a bag holds, as is printed on it: whole pounds in an inch shop."""
    return f"{kg / POUND:.0f} lb" if design.length_unit == "in" else f"{kg:.3g} kg"


def say_short(mm: float, unit: str) -> str:
    """A length in the shop's unit, the unit left out: for columns that name it."""
    return say_length(mm, unit).removesuffix(f" {unit}")


def say_zone_note(note: ZoneNote, unit: str) -> str:
    """What the mason has to know of a zone next to the numbers."""
    match note:
        case NoBrickFits(layers):
            often = "one layer" if layers == 1 else f"{layers} layers"
            return (
                f"Past the brick line, but no listed brick fits: daub in {often}, "
                "each stiff before the next."
            )
        case LayerLimit(layer_most):
            return (
                f"Daub goes on in layers of {say_length(layer_most, unit)} "
                "at most, each stiff before the next."
            )
        case OpeningMet(kind, azimuth):
            return f"It meets the {kind} at {azimuth:.0f} degrees: work round a former."
        case StepMet(height):
            return (
                f"The profile steps at {say_both(height, unit)}: no brick stands "
                "across it."
            )
        case BackFill(thickness):
            return (
                f"Behind the brick the hollow is up to {say_length(thickness, unit)} "
                "deeper: fill it with daub in layers first, each stiff before the next."
            )
        case ChipFirst():
            return "Chip off first what stands proud of the drawing there."


def _own_volume(mm3: float, unit: str) -> str:
    """In cubic feet in a shop of inches, in litres elsewhere."""
    if unit == "in":
        return f"{figures(mm3 / CUBIC_FOOT)} cubic feet"
    return f"{mm3 / LITRE:.1f} litres"


def say_not_planned(note: NotPlanned, unit: str) -> str:
    """What a reader has to know of a zone that the plan leaves."""
    left = f"Its {_own_volume(note.volume, unit)} are not in this plan."
    if note.reason == "measure again":
        return (
            f"Zone {note.zone} has to be measured again before anything is ordered: "
            f"it is not settled whether it needs brick. {left}"
        )
    return f"Zone {note.zone} is taken up by the brickwork next to it."


def say_bottom_notes(bottom: SandBottom, unit: str) -> list[str]:
    """What to look at before the bottom is rammed."""
    notes = []
    if bottom.short > 0.0:
        notes.append(
            f"the sand bottom meets the tap hole's lower edge and is "
            f"{say_both(bottom.least, unit)} thick over the doors there, "
            f"{say_both(bottom.short, unit)} less than the "
            f"{say_length(bottom.wanted, unit)} asked for: the hole is drawn too low"
        )
    if bottom.slag_sill is not None and bottom.well is None:
        notes.append(
            "the slag hole's lower edge is no higher than the sand bottom opposite the "
            "tap hole"
        )
    if bottom.below_tuyeres is not None and bottom.below_tuyeres <= 0.0:
        above = say_both(-bottom.below_tuyeres, unit)
        notes.append(
            f"the slag hole's lower edge is {above} above the tuyeres' sill: slag runs "
            "into the tuyeres before it runs off"
        )
    return notes


def repair_warnings(works: RepairPackage, design: Design) -> list[str]:
    """What of a repair belongs among the warnings: brickwork, then the bottom."""
    notes: list[str] = []
    if works.bottom is not None:
        notes = say_bottom_notes(works.bottom, design.length_unit)
    return [*support_warnings(works, design), *(upfirst(note) for note in notes)]


def strike_rows(
    bottom: SandBottom, design: Design
) -> list[tuple[str, str, str, str, str]]:
    """Where round the wall: thickness and height to strike, there and half way in."""
    unit = design.length_unit
    return [
        (
            f"{point.clock}, {point.azimuth:.0f}°",
            say_length(point.thickness, unit),
            say_length(point.height, unit),
            say_length(point.mid_thickness, unit),
            say_length(point.mid_height, unit),
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
    notes = [plain(words, most=300) for words in say_bottom_notes(bottom, unit)]
    fillet = f", a fillet of {say_both(bottom.fillet, unit)} at the wall in it"
    return [
        f"Falls {rate} to the tap hole's lower edge, which it meets. Wall {wide}: "
        f"radius {say_both(bottom.radius.value, unit)}. Rammed sand: "
        f"{say_volume(bottom.sand.value, design)}, "
        f"{say_mass(bottom.mass.value, design)}{fillet if bottom.fillet else ''}.",
        f"Thickness: {say_both(bottom.least, unit)} at the tap hole, "
        f"{say_both(bottom.middle, unit)} on the axis, "
        f"{say_both(bottom.greatest, unit)} opposite.",
        *_well_lines(bottom, design),
        *(f"Mind: {words}." for words in notes),
    ]


def _well_lines(bottom: SandBottom, design: Design) -> list[str]:
    """What is held below the slag hole, and where that is to the tuyeres."""
    lines = []
    if (well := bottom.well) is not None:
        lines.append(
            f"Below the slag hole there is room for {say_volume(well.volume, design)}: "
            f"{say_mass(well.iron, design)} of iron if it were empty, about "
            f"{say_mass(well.iron_in_coke, design)} in the coke."
        )
    if bottom.below_tuyeres is not None and bottom.below_tuyeres > 0.0:
        below = say_both(bottom.below_tuyeres, design.length_unit)
        lines.append(f"The slag hole's lower edge is {below} below the tuyeres' sill.")
    return lines


def melting_lines(worn: WornMelting | None, design: Design) -> list[str]:
    """What the worn diameter does to melting rate and blast."""
    if worn is None:
        return ["No ring of the wall was read all round: nothing is stated of melting."]
    unit, zone = design.length_unit, worn.zone
    at_ring, in_band = (
        say_change_percent(part.change_percent) for part in (worn.at_ring, zone)
    )
    band = say_heights(worn.height_from, worn.height_to, design)
    lines = [
        f"All of this is of the wall as surveyed, before the repair. Worst ring: "
        f"{say_from(worn.ring, design)}. Area of that ring: {at_ring}.",
        f"Melting zone, the band from {band}: its area: {in_band}.",
    ]
    lines += [
        f"At {say_both(each.level.height, unit)}: drawn "
        f"{say_both(each.level.design_diameter, unit)}, found "
        f"{say_length_interval(each.level.area_diameter, design)}."
        for each in worn.levels
        if worn.height_from <= each.level.height <= worn.height_to
    ]
    if zone.rate is None and zone.blast is None:
        lines.append("To melt as hard on the same area, rate and blast change alike.")
    if zone.rate is not None:
        rate = _measured("rate", zone.rate, design)
        lines.append(f"Rate that keeps the specific rate: {rate}.")
    if zone.blast is not None:
        lines.append(f"Blast that keeps it: {_measured('blast', zone.blast, design)}.")
    lines.append(
        "The furnace does not melt more by itself: blown as before, it is blown softer."
    )
    return lines


def settings_lines(settings: RunSettings | None, design: Design) -> list[str]:
    """What the run settings keep, and what they leave out; empty without any."""
    if settings is None:
        return []
    lines = [
        "Settings for the wall within its tolerance of the drawing, to first order: "
        "coke, charge and the heat of the blast are left out. Begin with them, watch "
        "the iron, and go by that."
    ]
    if settings.specific_rate is not None:
        lines.append(
            f"They keep the specific rate: {_specific(settings.specific_rate, design)}."
        )
    return lines


def settings_rows(
    settings: RunSettings | None, design: Design
) -> list[tuple[str, str, str, str]]:
    """What is set, after the repair and in the last heat, and by which rule."""
    if settings is None:
        return []
    found = (_setting_row(name, settings, design) for name in _SETTINGS)
    rows = [row for row in found if row is not None]
    if settings.bed is not None:
        rule = "10.5 √(blast, oz/in²) + 6 in: a handbook rule, from memory"
        height = say_both(settings.bed, design.length_unit)
        by = rule if settings.bed_rule else "the shop's own"
        rows.append(("Bed over the tuyeres", height, "alike", by))
    return rows + _bed_coke_row(settings, design)


#: What is set; and by what rule from what it is as drawn.
_SETTINGS = {
    "diameter": ("Diameter of the melting zone", "circle of its area"),
    "rate": ("Rate", "as the area"),
    "blast": ("Blast", "as the area: the same on each part of it"),
    "coke": ("Charge coke", "rate / (iron to coke)"),
}


def _setting_row(
    name: str, settings: RunSettings, design: Design
) -> tuple[str, str, str, str] | None:
    setting, (words, by) = getattr(settings, name), _SETTINGS[name]
    if setting is None:
        return None
    after, last = (
        _measured(name, quantity, design) for quantity in (setting.after, setting.last)
    )
    if name == "diameter":
        return words, after, f"{last}, as surveyed", by
    source = (
        "as the shop tells it" if setting.stated else "that the worn wall asked for"
    )
    return words, after, last if name == "coke" else f"{last}, {source}", by


def _bed_coke_row(
    settings: RunSettings, design: Design
) -> list[tuple[str, str, str, str]]:
    setting = settings.bed_coke
    if setting is None or settings.bed_from is None:
        return []
    after, last = (
        say_mass(part.value, design) for part in (setting.after, setting.last)
    )
    by = f"bore × its bulk density, from {say_from(settings.bed_from, design)} up"
    return [("Bed coke", after, last, by)]


def _measured(name: str, quantity: Quantity, design: Design) -> str:
    """A setting in the measures of the shop, its interval where it has one."""
    if name == "diameter":
        return say_length_interval(quantity, design)
    size, unit, metric = _INCH_SHOP[name]
    if design.length_unit != "in":
        return _flow(quantity, metric)
    same = f"({figures(quantity.value)} {metric})"
    return f"{_flow(quantity.times(1.0 / size), unit)} {same}"


#: Kilograms in a short ton of 2,000 lb; m³/h in a cubic foot a minute.
_SHORT_TON, _CUBIC_FOOT_A_MINUTE = 2000.0 * POUND, 60.0 * CUBIC_FOOT * 1e-9
#: Measures of an inch shop, in kg/h and m³/h.
_INCH_SHOP = {
    "rate": (_SHORT_TON, "short tons/h", "kg/h"),
    "blast": (_CUBIC_FOOT_A_MINUTE, "cfm", "m³/h"),
    "coke": (POUND, "lb/h", "kg/h"),
}


def _specific(rate: float, design: Design) -> str:
    """From kg/h on a square metre."""
    if design.length_unit != "in":
        return f"{figures(rate * 1e-4)} kg an hour from each cm²"
    return f"{figures(rate / POUND * 25.4e-3**2)} lb an hour from each square inch"


def _flow(quantity: Quantity, unit: str) -> str:
    value = f"{figures(quantity.value)} {unit}"
    return value if quantity.sd == 0.0 else f"{value}; 95 %: {say_ends(quantity)}"
