"""How the daub is dried, in words: source, steps and hold points.

Text throughout, the shop's unit first.
"""

from __future__ import annotations

from geom.design import Design
from geom.repair.plan.daub import DryingSchedule
from geom.units import say_both
from geom.views.say import figures, plain, say_hours, say_temperature

#: What is said of a wall on which no daub goes.
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
        f"{layers}, and holds {figures(drying.water_least)} to "
        f"{figures(drying.water_most)} L of water, all of it to be driven out. Hold "
        "longer where an opening is rammed thicker than that, and while it steams. At "
        f"least {say_hours(drying.hours)} in all.",
        "No iron is melted before drying is signed for. Steam shut in under hot metal "
        "explodes. Lead the fumes off.",
    ]


def drying_rows(
    drying: DryingSchedule | None, design: Design
) -> list[tuple[str, str, str]]:
    """Step by step: what, how, and when it is done at the earliest."""
    if drying is None:
        return []
    warm = drying.rate * 1.8 if design.length_unit == "in" else drying.rate
    rate = f"{figures(warm)} {'°F' if design.length_unit == 'in' else '°C'} an hour"
    rows = [("Set", "at room temperature, no fire", say_hours(drying.set_hours))]
    for hold in drying.holds:
        hot = say_temperature(hold.temperature, design)
        slow = f"no faster than {rate}: {say_hours(hold.heating)} and more"
        held = f"{say_hours(hold.hours)} and more; not passed while it steams"
        rows.append((f"Heat to {hot}", slow, say_hours(hold.reached)))
        rows.append((f"Hold point: {hot}", held, say_hours(hold.passed)))
    return rows
