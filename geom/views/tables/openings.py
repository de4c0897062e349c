"""Openings in lines: what each is rebuilt with, and what leads slag into a tuyere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

from geom.design import Design
from geom.design.text_file import join_words
from geom.frame import clock_face
from geom.repair.audit.taper import TuyereAudit, lip_to_shed
from geom.repair.plan.openings import Former, Mixture, OpeningWork, Spout
from geom.units import CUBIC_FOOT, LITRE, M3, POUND, say_length
from geom.views.say import figures, plain, say_mark, upfirst

_TIMES = "\N{MULTIPLICATION SIGN}"
#: An eighth of an inch, mm.
_EIGHTH = 3.175


@dataclass(frozen=True)
class OpeningRow:
    """One job at the openings; text throughout, in the shop's unit alone."""

    what: str
    where: str
    how_much: str


def opening_rows(works: Sequence[OpeningWork], design: Design) -> list[OpeningRow]:
    """What to make at every opening; those that are alike, and spouts, in a row each.

    Parameters
    ----------
    works : sequence of OpeningWork
        ``RepairPlan.openings``.
    """
    rows = []
    for alike in _alike(works):
        rows.append(_opening_row(alike, design))
        if (spout := alike[0].spout) is not None:
            rows.append(_spout_row(alike, spout, design))
    return rows


def _alike(works: Sequence[OpeningWork]) -> list[list[OpeningWork]]:
    """Openings that differ in their place alone, together."""
    groups: dict[OpeningWork, list[OpeningWork]] = {}
    for work in works:
        same = replace(work, number=0, azimuth=0.0)
        groups.setdefault(same, []).append(work)
    return list(groups.values())


def _opening_row(alike: Sequence[OpeningWork], design: Design) -> OpeningRow:
    work, count, unit = alike[0], len(alike), design.length_unit
    name = plain(work.kind, most=30)
    each = " each" if count > 1 else ""
    words = [f"clear opening {_size(work.width, work.tall, unit)}{each}"]
    if work.breast_width is not None and work.breast_height is not None:
        breast = _size(work.breast_width, work.breast_height, unit)
        deep = say_length(work.depth, unit)
        words = [f"breast {breast}, {deep} deep"]
    if work.bricks:
        words.append(f"{work.bricks} {_TIMES} {plain(work.brick, most=40)}{each}")
    if work.former is not None:
        words.append(f"former {say_former(work.former, unit)}")
    if work.lip:
        words.append(f"lip {say_length(work.lip, unit)} out")
    words += [
        f"{mix} {say_wet(part, design)}{each}"
        for mix, part in (("crushed-brick mix", work.crushed_mix), ("daub", _own(work)))
        if part is not None
    ]
    return OpeningRow(
        what=upfirst(name) if count == 1 else f"{count} {name}s",
        where=f"{_hours(alike, design)}, middle {say_length(work.height, unit)} up",
        how_much=upfirst("; ".join([*words, "wash"])),
    )


def _own(work: OpeningWork) -> Mixture | None:
    """The daub of the hole's row: at a tap hole daub is of its spout alone."""
    return None if work.crushed_mix is not None else work.daub


def _spout_row(
    alike: Sequence[OpeningWork], spout: Spout, design: Design
) -> OpeningRow:
    work, count = alike[0], len(alike)
    each = " each" if count > 1 else ""
    words = [_say_spout(spout, design.length_unit)]
    if work.sand_mix is not None and work.daub is not None:
        words.append(f"bottom sand mix {say_wet(work.sand_mix, design)}{each}, rammed")
        words.append(f"sides daub {say_wet(work.daub, design)}{each}, smoothed")
    else:
        words.append("bottom and sides daub, smoothed, counted with the hole")
    name = f"{plain(work.kind, most=30).removesuffix(' hole')} spout"
    return OpeningRow(
        what=upfirst(name) if count == 1 else f"{count} {name}s",
        where=_hours(alike, design),
        how_much=upfirst("; ".join([*words, "wash"])),
    )


def _hours(alike: Sequence[OpeningWork], design: Design) -> str:
    """On the clock: ``1, 3 and 5 o'clock``."""
    clocks = [clock_face(work.azimuth, design.azimuth_sense) for work in alike]
    ending = " o'clock"
    if all(clock.endswith(ending) for clock in clocks):
        hours = [clock.removesuffix(ending) for clock in clocks]
        return join_words(hours, last="and") + ending
    return join_words(clocks, last="and")


def _say_spout(spout: Spout, unit: str) -> str:
    return (
        f"{say_length(spout.length, unit)} long, {say_length(spout.width, unit)} wide, "
        f"lined {say_length(spout.lining, unit)}"
    )


def say_former(former: Former, unit: str) -> str:
    """A former by its size: ``3 in round`` or ``5 × 3 1/2 in``."""
    if former.shape == "round":
        return f"{say_length(former.width, unit)} round"
    return _size(former.width, former.tall, unit)


def _size(width: float, tall: float, unit: str) -> str:
    return f"{say_mark(width, unit)} {_TIMES} {say_length(tall, unit)}"


def say_wet(part: Mixture, design: Design) -> str:
    """What is mixed, wet: volume and mass, in the shop's unit."""
    kilograms = part.mixed.value * design.shop.mix.daub_density * M3
    if design.length_unit == "in":
        feet = figures(part.mixed.value / CUBIC_FOOT)
        return f"{feet} ft³ ({figures(kilograms / POUND)} lb)"
    return f"{figures(part.mixed.value / LITRE)} L ({figures(kilograms)} kg)"


@dataclass(frozen=True)
class TuyereRow:
    """One tuyere: how the wall above leads slag, what gathers it, and what to do."""

    number: str
    where: str
    slope: str
    gathers: str
    remedy: str


def tuyere_rows(audits: Sequence[TuyereAudit], design: Design) -> list[TuyereRow]:
    """Tuyere by tuyere, in the shop's unit."""
    return [
        TuyereRow(
            number=str(audit.number),
            where=clock_face(audit.azimuth, design.azimuth_sense),
            slope=_say_slopes(audit, design.length_unit),
            gathers=_say_gathers(audit, design.length_unit),
            remedy=say_remedies(audit, design.length_unit),
        )
        for audit in audits
    ]


def _say_slopes(audit: TuyereAudit, unit: str) -> str:
    """The wall above as drawn, found and once repaired."""
    if audit.call == "not surveyed":
        return "not surveyed"
    if audit.slope is None or audit.slope.found is None:
        return "too little wall above to tell"
    drawn, found = (
        _say_slope(slope, audit.reach, unit)
        for slope in (audit.slope.drawn, audit.slope.found.value)
    )
    return f"drawn, and once repaired, {drawn}; found {found}"


def _say_slope(slope: float, reach: float, unit: str) -> str:
    """How far a wall leans over its reach: wider upwards is what leads slag over."""
    lean = say_length(abs(slope) * reach, unit)
    if lean.startswith("0 "):
        return "plumb"
    over = f"{lean} in {say_length(reach, unit)}"
    return f"wider upwards, {over}" if slope > 0.0 else f"hangs over, {over}"


def _say_gathers(audit: TuyereAudit, unit: str) -> str:
    words = {
        "chip sill": "slag on the sill",
        "daub lip": "lip back",
        "fill hollow": "hollow above the lip",
    }
    found = [
        f"{words[each.work]} {say_length(each.by, unit)}" for each in audit.remedies
    ]
    return "; ".join(found) or ("" if audit.call == "not surveyed" else "nothing")


def say_remedies(audit: TuyereAudit, unit: str, *, lip: bool = True) -> str:
    """What to do at a tuyere: ``chip sill 1/2 in; daub lip out 3/8 in``."""
    words = {
        "chip sill": "chip sill {}",
        "daub lip": "daub lip out {}",
        "fill hollow": "fill the hollow above the lip, {} deep",
    }
    return "; ".join(
        words[each.work].format(say_length(each.by, unit))
        for each in audit.remedies
        if lip or each.work != "daub lip"
    )


def taper_advice(audits: Sequence[TuyereAudit], design: Design) -> str:
    """One line where the drawing leaves it to chance; empty where it does not."""
    flush = [str(audit.number) for audit in audits if audit.flush]
    if not flush:
        return ""
    lip = _rounded_up(lip_to_shed(design.repair.tolerance), design.length_unit)
    which = (
        "all tuyeres" if len(flush) == len(audits) else f"tuyeres {', '.join(flush)}"
    )
    if len(flush) == 1 and len(audits) > 1:
        which = f"tuyere {flush[0]}"
    return (
        f"as drawn the wall is flush at {which}: slag falls on either side by chance; "
        f"a lip drawn {lip} out would lead it over"
    )


def _rounded_up(mm: float, unit: str) -> str:
    """A length, to the next eighth of an inch or 5 mm."""
    step = _EIGHTH if unit == "in" else 5.0
    return say_length(step * ceil(mm / step - 1e-9), unit)


def taper_lines(
    audits: Sequence[TuyereAudit], design: Design, *, lips: bool = True
) -> list[str]:
    """What to do at the tuyeres: the advice on the drawing, then each remedy once.

    Without ``lips`` nothing of those: a recheck judges them by themselves.
    """
    advice = taper_advice(audits, design)
    alike: dict[str, list[str]] = {}
    for audit in audits:
        if words := say_remedies(audit, design.length_unit, lip=lips):
            alike.setdefault(words, []).append(str(audit.number))
    unread = [str(audit.number) for audit in audits if audit.call == "not surveyed"]
    lines = [upfirst(f"{advice}.")] if advice else []
    lines += [f"{_tuyeres(which)}: {words}." for words, which in alike.items()]
    return lines + ([f"{_tuyeres(unread)}: not surveyed."] if unread else [])


def _tuyeres(numbers: Sequence[str]) -> str:
    return f"Tuyere{'s' if len(numbers) > 1 else ''} {join_words(numbers, last='and')}"
