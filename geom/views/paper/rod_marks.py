"""What a blank rod sheet says: the marks to hold the rod against, how to fill it in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.sampling.plan import SamplingPlan
from geom.units import UNIT_NAMES, as_fraction, from_mm, say_length
from geom.views.say import plain


@dataclass(frozen=True)
class Marks:
    """What a radius is held against at one height; in the shop's unit, without it.

    Attributes
    ----------
    drawn : str
        The design radius.
    go : str
        Up to here, the tolerance more, the wall may stay as it is.
    brick : str
        From here on, the brick threshold more, it is rebuilt in brick.
    """

    drawn: str
    go: str
    brick: str


def marks_at(design: Design, height: float) -> Marks:
    """Marks at a height (mm) that is on no step of the profile.

    Examples
    --------
    ``Marks('18', '18 1/4', '19 1/4')`` where 18 in is drawn.
    """
    drawn, rules = float(design.profile.radius_at(height)), design.repair
    unit = design.length_unit
    return Marks(
        say_mark(drawn, unit),
        say_mark(drawn + rules.tolerance, unit),
        say_mark(drawn + rules.brick_threshold, unit),
    )


def say_mark(mm: float, unit: str) -> str:
    """A length to the shop's 1/8 in or whole mm, without its unit.

    Examples
    --------
    >>> say_mark(31.75, "in"), say_mark(31.75, "cm")
    ('1 1/4', '3.2')
    """
    return say_length(mm, unit).removesuffix(f" {unit}")


def say_setting(mm: float, unit: str) -> str:
    """A height that the rod is set at, as it is: never rounded to a mark.

    Examples
    --------
    >>> say_setting(622.3, "in"), say_setting(600.0, "in"), say_setting(75.0, "cm")
    ('24 1/2', '23.622', '7.5')
    """
    value = from_mm(mm, unit)
    if unit == "in" and np.isclose(value * 64.0, np.round(value * 64.0), atol=1e-6):
        return as_fraction(value, finest=64)
    return f"{value:.6g}"


def instructions(design: Design, plan: SamplingPlan) -> list[str]:
    """How the sheet is read and filled in; one sentence or two each."""
    unit = design.length_unit
    at, zero = (plain(w, most=60) for w in (design.azimuth_zero, design.height_zero))
    written = "18 3/8 or 18.375" if unit == "in" else "the number alone"
    run = "Columns run the way the wall is seen from inside, turning to the right."
    if plan.second:
        run = "Each row is one station."
    elif plan.staggered:
        run = (
            "Rows run the way the wall is seen from inside, turning to the right, each "
            "set off against the next: no streak down the wall can hide between them."
        )
    return [
        f"Radius from the axis to the wall and height above {zero}, both in "
        f"{UNIT_NAMES[unit]}; the highest on top.",
        f"Clock, seen from above: {at} at 12 o'clock, which is azimuth 0; azimuth "
        f"grows {design.azimuth_sense}. {run}",
        f"Write {written}. Where nobody can reach, write n/a: it is not asked for "
        "again. Grey: nothing to read there.",
    ]
