"""The day of a repair in words: its steps with their cautions, batches, and drying.

Text throughout, the shop's unit first.  Every caution stands with the step it is for.

References
----------
As in `geom.views.cautions`: 29 CFR 1910.146 (oxygen, flammables), 25 ppm of carbon
monoxide from memory, a wall below about 40 degC to enter by common practice, no source.
Where other rules are law they come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from geom.design import Crew, Design
from geom.repair.plan.daub import DryingSchedule
from geom.repair.plan.day import DayPlan, DayStep, StepName
from geom.units import LITRE, SQUARE_METRE, say_both
from geom.views.say import (
    count_of,
    plain,
    say_after,
    say_area,
    say_hours,
    say_temperature,
    say_volume,
)
from geom.views.tables.repair import say_mass, say_water
from geom.views.tables.support import STOP

#: A wall that men may work at; in an inch shop.
_COOLED = "40 °C", "105 °F (40 °C)"
#: What is done, and what to mind while it is.
_STEPS: dict[StepName, tuple[str, str]] = {
    "cool": (
        "Blast off. Pull the drop and let the wall cool below {cooled}",
        "Warn before the drop is pulled, nobody near, the ground below dry. No water "
        "on hot doors or on the drop.",
    ),
    "lock out": (
        "Lock out blower, charging gear and doors; test the air; cover overhead",
        "Permit, a watch outside, and a way to get a man out of the bore. Oxygen 19.5 "
        "to 23.5 %, flammables under 10 % of their lower limit, carbon monoxide under "
        "25 ppm, tested all the while.",
    ),
    "bar down": (
        "Bar down from above what hangs loose",
        "Nobody stands below. Head and eyes covered.",
    ),
    "chip": (
        "Chip slag and iron from the top down, as far as the drawn face",
        "Gouge no sound lining and undercut nothing: what hangs over falls. Eyes "
        "covered, dust wetted, a fitted respirator.",
    ),
    "clean openings": (
        "Clean tuyeres, slag hole, tap hole and spouts; knock out the breast",
        "The blower stays locked out while a man is at a tuyere.",
    ),
    "measure": (
        "Measure the wall",
        "Low-voltage lamps. Nobody looks into a laser.",
    ),
    "measure again": (
        "Measure again what is not settled",
        "Nothing is ordered or opened before it is settled.",
    ),
    "order": (
        "Call off what is short",
        "Count what is on hand first; not on what is still to be measured again.",
    ),
    "wet": (
        "Clear off dust; wet or wash the face that is filled",
        "Low-voltage lamps only: the wall is wet.",
    ),
    "brick": (
        "Set brick in daub, one segment at a time",
        "Never open the wall all round, nor high: the stack above stands on it. One "
        "segment sets before the next is opened.",
    ),
    "daub": (
        "Daub from the bottom up, in layers",
        "Each layer stiff before the next. A batch that has stiffened is thrown out, "
        "not wetted again. Dry sand and clay dust: a fitted respirator.",
    ),
    "wash": (
        "Smooth, and wash with clay over everything",
        "A wash is water too: it has to dry like the daub.",
    ),
    "prove": (
        "Measure again: is the wall back on its drawing",
        "What is not back is put right before it is dried.",
    ),
    "openings": (
        "Make good slag hole, tap hole with its breast, tuyeres and spouts round "
        "formers",
        "Every former is drawn and counted. What is rammed thick dries longest.",
    ),
    "dry": (
        "Let it set, then dry slowly as far as the first hold point",
        "Moisture under hot metal explodes. Nobody inside; the fumes hold carbon "
        "monoxide: lead them off.",
    ),
    "cool again": (
        "Let it cool below {cooled}, and test the air again",
        "Nobody goes in on the test made before the fire.",
    ),
    "doors": (
        "Put up the doors and prop them with several props",
        "Ground below dry. Nobody under doors that are not propped, nor under men at "
        "work above.",
    ),
    "bottom": (
        "Ram the sand bottom, falling to the tap hole",
        "Damp, not wet: a wet bottom boils under iron. Rammed, yet open to gas.",
    ),
    "boards": (
        "Lay boards over the new lining, then kindling and bed",
        "Everybody out and counted before anything is lit.",
    ),
    "kindling": (
        "Light up; pass every hold point; blast only once drying is signed",
        "Tuyeres open until the bed burns. Carbon monoxide at the charging door. No "
        "iron is melted before drying is signed for.",
    ),
}


#: The same in the few words of a card.
_CARD: dict[StepName, tuple[str, str]] = {
    "cool": (
        "Blast off, drop pulled, cooled",
        "Below {cooled}. No water on hot doors or on the drop.",
    ),
    "lock out": (
        "Locked out, air tested, covered overhead",
        "Permit, watch, hoist. Oxygen 19.5 to 23.5 %, carbon monoxide under 25 ppm.",
    ),
    "bar down": (
        "Bar down from above",
        "Nobody below. Head and eyes covered.",
    ),
    "chip": (
        "Chip, top down, to the rod",
        "Gouge nothing sound, undercut nothing. Respirator.",
    ),
    "clean openings": (
        "Clean the openings, breast out",
        "Blower stays locked out.",
    ),
    "measure": (
        "Measure",
        "Low-voltage lamps. No eye in a beam.",
    ),
    "measure again": (
        "Measure again what is not settled",
        "Nothing is opened before it is settled.",
    ),
    "order": (
        "Call off what is short",
        "Count what is on hand first.",
    ),
    "wet": (
        "Wet or wash the face",
        "Low-voltage lamps only.",
    ),
    "brick": (
        "Brick, a segment at a time",
        "Each sets before the next is opened: the stack stands on it.",
    ),
    "daub": (
        "Daub, bottom up, in layers",
        "Each layer stiff first. Stiffened daub is thrown out.",
    ),
    "wash": (
        "Smooth and wash",
        "A wash has to dry too.",
    ),
    "prove": (
        "Measure again: is it back",
        "Not back: put right before it is dried.",
    ),
    "openings": (
        "Openings round their formers",
        "Every former drawn and counted.",
    ),
    "dry": (
        "Set and dry, to the first hold",
        "Nobody inside. Lead the fumes off.",
    ),
    "cool again": (
        "Cool, test the air again",
        "Below {cooled}. Not on the test made before the fire.",
    ),
    "doors": (
        "Doors up, several props",
        "Ground dry. Nobody under doors not propped.",
    ),
    "bottom": (
        "Ram the sand bottom",
        "Damp, not wet: wet sand boils under iron.",
    ),
    "boards": (
        "Boards, kindling, bed",
        "Everybody out and counted first.",
    ),
    "kindling": (
        "Light up, every hold passed",
        "Tuyeres open. No iron before drying is signed.",
    ),
}


@dataclass(frozen=True)
class DayRow:
    """One step as it is printed.

    Attributes
    ----------
    short, mind, lasts : str
        What is done, what to mind and how long in the few words of a card.
    """

    number: str
    begins: str
    takes: str
    what: str
    amount: str
    caution: str
    short: str
    mind: str
    lasts: str


def day_lines(day: DayPlan, design: Design) -> list[str]:
    """How long, how many men, whose times these are."""
    men = "1 man" if day.men == 1 else f"{day.men} men"
    lines = [
        f"{men}; {say_hours(day.hours)} from blast off to blast on, of which "
        f"{say_hours(day.waits)} go by in cooling, setting and drying."
    ]
    if design.shop.crew == Crew():
        lines.append("Times are a guess of ours, not the shop's own.")
    if day.batches:
        life = say_hours(day.working_life)
        lines.append(f"Daub is on the wall within {life} of being mixed.")
    if day.stop:
        lines.append(f"STOP. {STOP}. No lining is opened before that is settled.")
    return lines


def day_rows(day: DayPlan, design: Design) -> list[DayRow]:
    """Step by step in order; each begins so many hours and minutes after blast off."""
    return [
        _day_row(number, step, day, design) for number, step in enumerate(day.steps, 1)
    ]


def _day_row(number: int, step: DayStep, day: DayPlan, design: Design) -> DayRow:
    what, caution = _STEPS[step.name]
    short, mind = _CARD[step.name]
    cooled = _COOLED[design.length_unit == "in"]
    stop = f"STOP. {STOP}. " if day.stop and step.name == "brick" else ""
    return DayRow(
        number=str(number),
        begins=say_after(step.start),
        takes=say_hours(step.hours) if step.hours else "",
        lasts=say_after(step.hours) if step.hours else "",
        what=what.format(cooled=cooled),
        amount="" if step.amount is None else _amount(step.amount, step.unit, design),
        caution=f"{stop}{caution}",
        short=short,
        mind=f"{stop}{mind.format(cooled=cooled)}",
    )


def _amount(amount: float, unit: str, design: Design) -> str:
    match unit:
        case "L":
            return say_volume(amount * LITRE, design)
        case "m2":
            return say_area(amount * SQUARE_METRE, design)
        case "kg":
            return say_mass(amount, design)
    return count_of(int(amount), unit.removesuffix("s"))


def batch_rows(day: DayPlan, design: Design) -> list[tuple[str, str, str, str, str]]:
    """Batch by batch: number, layer, how much, when mixed, when on the wall."""
    return [
        (
            str(batch.number),
            str(batch.layer),
            say_volume(batch.volume, design),
            say_after(batch.mixed),
            say_after(batch.used),
        )
        for batch in day.batches
    ]


#: Words for a wall on which no daub goes.
_NOTHING = "Nothing is daubed: only washes and the sand bottom have to dry."
#: Where the figures of the default are from.
_PRACTICE = (
    "The supplier's schedule comes first. Without one, this: a general practice for "
    "refractories, read in a public discussion among engineers, not one for cupolas"
)


def drying_lines(drying: DryingSchedule | None, design: Design) -> list[str]:
    """Whose schedule it is, what it goes by, and what it does not know."""
    if drying is None:
        return [_NOTHING]
    if drying.supplier:
        source = f"Schedule of {plain(drying.supplier, most=80)}"
    else:
        source = _PRACTICE if drying.general else f"{_PRACTICE}; figures of the shop"
    layers = "one layer" if drying.layers == 1 else f"{drying.layers} layers"
    return [
        f"{source}.",
        f"Daub is {say_both(drying.thickness, design.length_unit)} thick at most, in "
        f"{layers}, and holds "
        f"{say_water(drying.water_least, drying.water_most, design)} of water, all of "
        "it to be driven out. Hold longer where an opening is rammed thicker, and "
        f"while it steams. At least {say_hours(drying.hours)} in all.",
        "No iron is melted before drying is signed for. Steam shut in under hot metal "
        "explodes. Lead the fumes off.",
    ]


def drying_rows(
    drying: DryingSchedule | None, design: Design
) -> list[tuple[str, str, str]]:
    """Step by step: what, how, and when it is done, after daubing, at the earliest."""
    if drying is None:
        return []
    warm = drying.rate * 1.8 if design.length_unit == "in" else drying.rate
    rate = f"{warm:.0f} {'°F' if design.length_unit == 'in' else '°C'} an hour"
    rows = [("Set", "at room temperature, no fire", say_after(drying.set_hours))]
    for hold in drying.holds:
        hot = say_temperature(hold.temperature, design)
        slow = f"no faster than {rate}: {say_hours(hold.heating)} and more"
        held = f"{say_hours(hold.hours)} and more; not passed while it steams"
        rows.append((f"Heat to {hot}", slow, say_after(hold.reached)))
        rows.append((f"Hold point: {hot}", held, say_after(hold.passed)))
    return rows
