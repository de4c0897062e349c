"""How numbers and places are worded for people: the one owner of such words.

Lengths, volumes and rates come in the shop's unit first, then in mm and litres; places
by the clock and by height.  Rooms below views hand over numbers and places only.
"""

from __future__ import annotations

import unicodedata
from datetime import datetime
from typing import Protocol

import numpy as np

from geom.compare.findings import Action, Findings
from geom.compare.panels import HOURS
from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.record.change.result import Change
from geom.record.regions import Region, middle
from geom.record.wear.series import Spell, SurveyGap
from geom.units import (
    CUBIC_FOOT,
    LITRE,
    SQUARE_FOOT,
    SQUARE_METRE,
    as_fraction,
    from_mm,
    say_both,
    say_length,
)

#: In the order the work is listed in.
WORK: tuple[Action, ...] = ("brick", "daub", "chip", "measure again")

#: Beside every forecast.
DEFERS = (
    "this forecast does not say that the lining is safe to run; local codes and "
    "licensed practice decide"
)


class AzimuthRange(Protocol):
    """Anything that reaches round the wall from one azimuth to another, degrees."""

    @property
    def azimuth_from(self) -> float:
        """Where it begins."""

    @property
    def azimuth_to(self) -> float:
        """Where it ends; less than where it begins if it crosses azimuth 0."""


def plain(text: str, *, most: int = 200) -> str:
    r"""Anybody's text on one line, without control characters, cut to a length.

    Examples
    --------
    >>> plain("Cupola\n  A")
    'Cupola A'
    """
    spaced = "".join(" " if c.isspace() else c for c in text)
    kept = "".join(c for c in spaced if unicodedata.category(c)[0] != "C")
    line = " ".join(kept.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def upfirst(words: str) -> str:
    """Words with their first letter large, the others as they are."""
    return words[:1].upper() + words[1:]


def count_of(count: int, what: str) -> str:
    """So many of something.

    Examples
    --------
    >>> count_of(1, "survey"), count_of(1200, "heat")
    ('1 survey', '1,200 heats')
    """
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def headings(findings: Findings) -> tuple[str, str]:
    """Title and lining as two lines; the second empty where both say the same."""
    title, lining = plain(findings.title), plain(findings.lining)
    return (title, lining) if title and title != lining else (lining, "")


def say_heights(low: float, high: float, design: Design) -> str:
    """Two heights, as ``18 to 24 1/2 in (457 to 622 mm)``."""
    both = f"{low:.0f} to {high:.0f} mm"
    if design.length_unit == "mm":
        return both
    return f"{say_span(low, high, design)} ({both})"


def say_span(low: float, high: float, design: Design) -> str:
    """Two heights in the shop's own unit alone, as ``18 to 24 1/2 in``."""
    unit = design.length_unit
    return f"{say_mark(low, unit)} to {say_length(high, unit)}"


def say_mark(mm: float, unit: str, *, finest: int = 8) -> str:
    """A length as on the shop's rule, without its unit.

    Examples
    --------
    >>> say_mark(31.75, "in"), say_mark(31.75, "cm")
    ('1 1/4', '3.2')
    """
    return say_length(mm, unit, finest=finest).removesuffix(f" {unit}")


def say_length_interval(quantity: Quantity, design: Design) -> str:
    """A length and its 95 % interval: shop's unit first, the interval too."""
    value, ends = say_interval(quantity, design.length_unit)
    return f"{value}; 95 %: {ends}"


def say_interval(length: Quantity, unit: str) -> tuple[str, str]:
    """A length and the ends of its 95 % interval, no coarser than lets these differ.

    Examples
    --------
    >>> say_interval(Quantity(31.75, 5.0, 22.0, 41.5), "in")
    ('1 1/4 in (32 mm)', '7/8 to 1 5/8 in (22 to 42 mm)')
    >>> say_interval(Quantity(6.35, 0.4, 5.6, 7.1), "in")
    ('1/4 in (6 mm)', '7/32 to 9/32 in (6 to 7 mm)')
    >>> say_interval(Quantity(6.3, 0.1, 6.2, 6.4), "mm")
    ('6.3 mm', '6.2 to 6.4 mm')
    """
    parts = (length.value, length.low95, length.high95)
    value, low, high = _apart(
        [metric_words(parts, digits, "mm") for digits in (0, 1, 2)]
    )
    if unit == "mm":
        return f"{value} mm", f"{low} to {high} mm"
    if unit == "in":
        finer = [
            [as_fraction(part / 25.4, finest=finest) for part in parts]
            for finest in (8, 16, 32, 64)
        ]
    else:
        first = {"cm": 1, "m": 3}[unit]
        finer = [metric_words(parts, first + more, unit) for more in (0, 1, 2)]
    own = _apart(finer)
    return (
        f"{own[0]} {unit} ({value} mm)",
        f"{own[1]} to {own[2]} {unit} ({low} to {high} mm)",
    )


def metric_words(
    parts: tuple[float, float, float], digits: int, unit: str
) -> list[str]:
    """Lengths in a unit, with so many digits after the point."""
    return [f"{round(from_mm(p, unit), digits) + 0.0:.{digits}f}" for p in parts]


def _apart(finer: list[list[str]]) -> list[str]:
    """The coarsest wording in which value, low and high are not all the same.

    One step finer than where both ends come to one; the finest where they never part.
    """
    return next((words for words in finer if words[1] != words[2]), finer[-1])


def say_volume(mm3: float, design: Design) -> str:
    """A volume, as ``0.64 ft³ (18.2 L)`` in inches and ``18.2 L`` elsewhere."""
    litres = f"{figures(mm3 / LITRE)} L"
    feet = f"{figures(mm3 / CUBIC_FOOT)} ft³ ({litres})"
    return feet if design.length_unit == "in" else litres


def say_volume_interval(quantity: Quantity, design: Design) -> str:
    """The 95 % interval of a volume, in the first unit of `say_volume`."""
    size, unit = (CUBIC_FOOT, "ft³") if design.length_unit == "in" else (LITRE, "L")
    return f"{say_ends(quantity.times(1.0 / size))} {unit}"


def say_ends(quantity: Quantity) -> str:
    """The 95 % interval of a number, one step finer where both ends come to one.

    Examples
    --------
    >>> say_ends(Quantity(1.7, 0.1, 1.5, 1.9))
    '1.50 to 1.90'
    >>> say_ends(Quantity(48.62, 0.01, 48.6, 48.64))
    '48.60 to 48.64'
    """
    parts = (quantity.value, quantity.low95, quantity.high95)
    _, low, high = _apart([[figures(p, more) for p in parts] for more in (0, 1, 2)])
    return f"{low} to {high}"


def say_volume_within(volume: Quantity, design: Design) -> str:
    """A volume and its interval, for a line of the terminal.

    ``1.72 ft³ (48.6 L), 95 %: 1.62 to 1.82 ft³`` in inches.
    """
    interval = say_volume_interval(volume, design)
    return f"{say_volume(volume.value, design)}, 95 %: {interval}"


def say_cubic_metres(quantity: Quantity) -> str:
    """A volume with its interval in m³."""
    value, low, high = (
        f"{part * 1e-9:.4f}"
        for part in (quantity.value, quantity.low95, quantity.high95)
    )
    return f"in m³: {value} ({low} to {high})"


def say_time(created: str) -> str:
    """When a survey was worked out, to the minute.

    Examples
    --------
    >>> say_time("2026-01-05T06:30:00+00:00")
    '2026-01-05 06:30 UTC'
    """
    try:
        moment = datetime.fromisoformat(created)
    except ValueError:
        return plain(created, most=40)
    zone = moment.strftime("%Z") or "local time"
    return f"{moment:%Y-%m-%d %H:%M} {zone}"


def say_hours(hours: float) -> str:
    """A time as on a clock, rounded up to five minutes.

    Examples
    --------
    >>> [say_hours(h) for h in (0.0, 0.5, 3.34, 24.0)]
    ['0 min', '30 min', '3 h 25 min', '24 h']
    """
    whole, minutes = (int(part) for part in say_after(hours).split(":"))
    parts = [f"{whole} h"] * (whole > 0) + [f"{minutes} min"] * (minutes > 0)
    return " ".join(parts) or "0 min"


def say_after(hours: float) -> str:
    """How long after something, hours and minutes, rounded up to five minutes.

    Examples
    --------
    >>> [say_after(h) for h in (0.0, 0.5, 27.34)]
    ['0:00', '0:30', '27:25']
    """
    whole, minutes = divmod(5 * int(np.ceil(12.0 * hours - 1e-9)), 60)
    return f"{whole}:{minutes:02d}"


def say_temperature(celsius: float, design: Design) -> str:
    """A temperature, in an inch shop in Fahrenheit too, rounded to 10 degrees there."""
    metric = f"{celsius:.0f} °C"
    if design.length_unit != "in":
        return metric
    return f"{10.0 * round((1.8 * celsius + 32.0) / 10.0):.0f} °F ({metric})"


def say_area(mm2: float, design: Design) -> str:
    """An area in the shop's measure and in m²."""
    metres = f"{mm2 / SQUARE_METRE:.2f} m²"
    feet = f"{figures(mm2 / SQUARE_FOOT)} ft² ({metres})"
    return feet if design.length_unit == "in" else metres


def figures(value: float, more: int = 0) -> str:
    """About three figures, or so many more, never an exponent.

    Examples
    --------
    >>> [figures(v) for v in (0.1234, 1.234, 12.34, 1234.0)]
    ['0.123', '1.23', '12.3', '1234']
    """
    size = abs(float(f"{value:.3g}"))
    places = more + (3 if size < 1 else 2 if size < 10 else 1 if size < 100 else 0)
    return f"{round(value, places) + 0.0:.{places}f}"


def span(zone: AzimuthRange) -> float:
    """How far round a zone reaches, degrees in (0, 360]."""
    return (zone.azimuth_to - zone.azimuth_from) % 360.0 or 360.0


def say_degrees(zone: AzimuthRange, design: Design) -> str:
    """The zone's azimuths, in the design's own sense."""
    if span(zone) >= 359.0:
        return "all round"
    words = f"{zone.azimuth_from:.0f}° to {zone.azimuth_to:.0f}° {design.azimuth_sense}"
    return f"{words}, across 0°" if zone.azimuth_from > zone.azimuth_to else words


def say_clock(zone: AzimuthRange, design: Design) -> str:
    """Where the zone is on the clock, read the way the hands turn."""
    if span(zone) >= 359.0:
        return "all the way round"
    ends = [zone.azimuth_from, zone.azimuth_to]
    if design.azimuth_sense == "counterclockwise":
        ends.reverse()
    first, last = (clock_face(end, design.azimuth_sense) for end in ends)
    # "from 2 to 1" is else soon taken for the hour between them
    long = span(zone) > 180.0
    if first == last:
        return f"all round but at {first}" if long else f"at {first}"
    return f"from {first} {'the long way round ' if long else ''}to {last}"


def say_zero(design: Design) -> str:
    """Where 12 o'clock is."""
    return f"{plain(design.azimuth_zero, most=60)} at 12 o'clock, seen from above"


def say_sense(design: Design) -> str:
    """What azimuth means in this lining."""
    zero = plain(design.azimuth_zero, most=60)
    return f"azimuth 0 = {zero}; azimuth grows {design.azimuth_sense} seen from above"


def say_from(mm: float, design: Design) -> str:
    """A height above the shop's own zero."""
    zero = plain(design.height_zero, most=60)
    return f"{say_both(mm, design.length_unit)} above {zero}"


def say_wear(mm: float, unit: str) -> str:
    """A small length in the shop's unit and in mm, to about three figures.

    Examples
    --------
    >>> say_wear(12.7, "in")
    '1/2 in (12.7 mm)'
    >>> say_wear(0.254, "in")
    '0.010 in (0.254 mm)'
    >>> say_wear(12.7, "mm")
    '12.7 mm'
    """
    metric = f"{figures(mm)} mm"
    if unit == "mm":
        return metric
    inches = mm / 25.4
    if unit != "in":
        own = figures(from_mm(mm, unit))
    elif abs(inches) >= 1.0 / 8.0:
        own = as_fraction(inches, finest=32)
    else:  # two figures, never an exponent, to no more than four places
        places = min(1 - int(np.floor(np.log10(max(abs(inches), 1e-4)))), 4)
        own = f"{round(inches, places) + 0.0:.{places}f}"
    return f"{own} {unit} ({metric})"


def say_region(region: Region, design: Design) -> str:
    """Which region of wall: its name, or where it is.

    ``melting zone``; ``18 to 24 in``; ``9 o'clock side``; ``9 o'clock, 18 to 24 in``;
    of several sides together ``sides from half past 8 to half past 11``.
    """
    if region.name:
        return region.name
    heights = say_span(region.height_from, region.height_to, design)
    side = _side(region, design)
    return {
        "level": heights,
        "side": f"{side} side" if side.endswith("clock") else f"sides {side}",
        "panel": f"{side}, {heights}",
    }.get(region.kind, "wall")


def _side(region: Region, design: Design) -> str:
    """The hour of one side; from where to where of several."""
    if span(region) <= 360.0 / HOURS + 1e-6:
        return clock_face(middle(region), design.azimuth_sense)
    return say_clock(region, design)


def say_spell(spell: Spell) -> str:
    """Name a spell by its heats: ``heat 41``, or ``heats 41 to 43``."""
    first, last = spell.first_heat, spell.last_heat
    return f"heat {last}" if first == last else f"heats {first} to {last}"


def say_change(change: Change) -> str:
    """The change's title, or what it is from and to."""
    if change.title is not None:
        return change.title
    start, end = change.start.name, change.end.name
    return f"{start}: two surveys" if start == end else f"From {start} to {end}"


def say_survey_gap(gap: SurveyGap) -> str:
    """Why two surveys are no spell of wear."""
    if gap.missing == "after repair":
        return f"after heat {gap.heat}: its repair was not surveyed"
    return f"heat {gap.heat}: surveyed only after its repair"


def say_change_percent(change: Quantity) -> str:
    """A change in percent, with its sign and its interval.

    Examples
    --------
    >>> say_change_percent(Quantity(4.04, 1.0, 2.08, 6.0))
    '+4.0 %; 95 %: +2.1 to +6.0 %'
    """
    value, low, high = (
        f"{round(part, 1) + 0.0:+.1f}"
        for part in (change.value, change.low95, change.high95)
    )
    return f"{value} %; 95 %: {low} to {high} %"
