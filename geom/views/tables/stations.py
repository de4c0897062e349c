"""What is stated of stations: marks to hold the rod against, and where to read next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.sampling.plan import RowsShort, SamplingPlan
from geom.sampling.stations import Advice, Aim
from geom.units import (
    UNIT_NAMES,
    as_fraction,
    from_mm,
    say_both,
)
from geom.views.say import plain, say_area, say_mark, say_volume, say_wear

_NOW: dict[Aim, str] = {
    "volume": "Standard uncertainty of the rebuild volume",
    "brick": "Area where it is not settled whether brick is needed",
}
_AFTER: dict[Aim, str] = {
    "volume": "uncertainty once read",
    "brick": "not settled once read",
}


def station_lines(design: Design, advice: Advice, readings: int) -> list[str]:
    """What stands over the rows: which lining, and how uncertain it is now."""
    lines = [
        f"Measure next: {plain(design.name)} ({readings} readings)",
        f"{_NOW[advice.aim]} now: {_amount(advice.aim, advice.now, design)}",
    ]
    if advice.unread:
        lines.append("Wall that nobody has read counts in it, as it is expected to be.")
    return lines


def station_heading(advice: Advice) -> tuple[str, ...]:
    """Headings of `station_rows`."""
    return "", "clock", "azimuth", "height", _AFTER[advice.aim]


def station_rows(design: Design, advice: Advice) -> list[tuple[str, ...]]:
    """Rank, clock, azimuth, height and what is left once it is read."""
    return [
        (
            str(rank),
            clock_face(station.azimuth, design.azimuth_sense),
            f"{station.azimuth:.5g} deg",
            say_both(station.height, design.length_unit)
            + (", again" if station.is_repeat else ""),
            _amount(advice.aim, station.after, design),
        )
        for rank, station in enumerate(advice.stations, 1)
    ]


def _amount(aim: Aim, value: float, design: Design) -> str:
    """A volume or an area, in the shop's measures."""
    in_words = say_volume if aim == "volume" else say_area
    return in_words(value, design)


def station_remark(design: Design, advice: Advice) -> str:
    """How the rows are read, and what reading they are foretold for."""
    return (
        f"Clock seen from above, {plain(design.azimuth_zero, most=60)} at 12 o'clock; "
        f"heights above the {plain(design.height_zero, most=60)}. Each row is foretold "
        "for its reading and those of the rows above it, of a radius, with a standard "
        f"uncertainty of {say_wear(advice.reading_sd, design.length_unit)} like the "
        "readings so far."
    )


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

    ``Marks('18', '18 1/4', '19 1/4')`` where 18 in is drawn.
    """
    drawn, rules = float(design.profile.radius_at(height)), design.repair
    unit = design.length_unit
    return Marks(
        say_mark(drawn, unit),
        say_mark(drawn + rules.tolerance, unit),
        say_mark(drawn + rules.brick_threshold, unit),
    )


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


def say_rows_short(short: RowsShort, unit: str) -> str:
    """That a burnt ring may lie between rows of a sheet, and what closes the gap."""
    between = f"{say_both(short.gap.low, unit)} and {say_both(short.gap.high, unit)}"
    cure = (
        "the rod's steps allow no row between them"
        if short.enough is None
        else f"--heights {short.enough} closes the gap"
    )
    return (
        f"Warning: no row between {between}, where the melting zone may lie: a burnt "
        f"ring there would not be seen, and survey will say so; {cure}"
    )


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
