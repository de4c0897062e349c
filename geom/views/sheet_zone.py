"""A page of the repair sheet for each zone: chip, brick or daub."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geom.compare.findings import Action
from geom.design import Design
from geom.repair.brickwork import LayUp
from geom.repair.chipping import Chipping
from geom.repair.daub import Daub
from geom.repair.planned import ZonePlan
from geom.units import say_both
from geom.views.colours import LOOKS
from geom.views.jobs import brick_words, daub_rows, daub_words, job_of, say_short
from geom.views.paper import says
from geom.views.ruled import BODY, ruled, signed
from geom.views.sheet_courses import course_rows, courses_drawing, whole_words
from geom.views.tables import TASKS
from geom.views.words import plain, say_volume, say_volume_interval

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

_NAME = 118.0


def zone_page(zone: ZonePlan, design: Design, *, width: float) -> list[Flowable]:
    """Everything about one zone.

    Parameters
    ----------
    zone : ZonePlan
    design : Design
    width : float, points
        Of the text on a page.
    """
    from reportlab.platypus import KeepTogether

    job = job_of(zone, design)
    zero = plain(design.height_zero, most=40)
    where = [
        ("Where", f"{job.clock}; azimuth {job.degrees}"),
        ("Height", f"{job.heights} above {zero}; area {job.area}"),
    ]
    story = [
        says(f"Zone {zone.id}: {_word(zone.action)}", 22, bold=True, after=2),
        says(TASKS[zone.action], BODY, after=6),
    ]
    if zone.chip is not None:
        story += [_facts([*where, *_chip_rows(zone.chip, design)], width)]
    elif zone.brickwork is not None:
        rows = [*where, *_brick_rows(zone, zone.brickwork, design)]
        story += [_facts(rows, width), *_courses(zone.brickwork, design, width)]
    else:
        story += [_facts(where, width)]
    if zone.daub is not None and zone.brickwork is None:
        story += _daub(zone.daub, design, width)
    if zone.brickwork is None:
        story += _stops(zone, design, width)
    return [*story, *_notes(zone), KeepTogether(signed("Done by"))]


def _word(action: Action) -> str:
    return LOOKS[action].word.upper()


def _facts(rows: list[tuple[str, str]], width: float) -> Flowable:
    told: list[list[str | list[Flowable] | Flowable]] = [
        [[says(name, BODY, bold=True, after=0)], words] for name, words in rows
    ]
    table = ruled((), told, widths=[_NAME, width - _NAME])
    table.spaceAfter = 8.0
    return table


def _chip_rows(chip: Chipping, design: Design) -> list[tuple[str, str]]:
    unit, thick = design.length_unit, chip.thickness
    rows = [
        (
            "Take off",
            f"{say_volume(chip.volume.value, design)}; 95 % sure: "
            f"{say_volume_interval(chip.volume, design)}",
        ),
        (
            "Proudest",
            f"{say_both(thick.value, unit)}; 95 % sure: "
            f"{say_short(thick.low95, unit)} to {say_both(thick.high95, unit)}",
        ),
        (
            "STOP",
            f"when the rod reads {say_both(chip.stop_radius, unit)} at "
            f"{say_both(chip.stop_height, unit)}; go no deeper",
        ),
    ]
    if chip.fouled:
        holes = ", ".join(
            f"{plain(hole.kind, most=30)} at {hole.azimuth:.0f}°"
            for hole in chip.fouled
        )
        rows.append(("Clear too", holes))
    return rows


def _brick_rows(zone: ZonePlan, laid: LayUp, design: Design) -> list[tuple[str, str]]:
    unit, joint = design.length_unit, design.shop.brickwork.joint
    return [
        ("Bricks", "; ".join(brick_words(zone))),
        ("Of these", "; ".join(whole_words(laid))),
        (
            "Seat",
            f"cut {say_both(laid.seat, unit)} deep from the drawn face, square; "
            f"{say_volume(0.0 if zone.cut is None else zone.cut.value, design)} "
            "of sound lining comes out",
        ),
        (
            "Lay-up",
            f"bed {_between(laid.bed, laid.bed_most, design)}, brick "
            f"{say_both(laid.bond.build, unit)}, cover "
            f"{say_both(laid.cover, unit)}",
        ),
        (
            "Courses",
            f"{len(laid.courses)}, each {say_both(laid.bond.course + joint, unit)} "
            f"with its joint of {say_both(joint, unit)}",
        ),
        *([("Daub", daub_words(zone.daub, design))] if zone.daub else []),
    ]


def _between(low: float, high: float, design: Design) -> str:
    unit = design.length_unit
    if say_short(low, unit) == say_short(high, unit):
        return say_both(low, unit)
    return f"{say_short(low, unit)} to {say_both(high, unit)}"


def _courses(laid: LayUp, design: Design, width: float) -> list[Flowable]:
    unit = design.length_unit
    heading = (
        "No",
        f"Height, {unit}",
        "Azimuth",
        f"Tape, {unit}",
        f"Cut to R, {unit}",
        "Whole",
        f"Pieces, {unit}",
    )
    shares = (0.055, 0.212, 0.175, 0.217, 0.10, 0.098, 0.143)
    table = ruled(
        heading, course_rows(laid, design), widths=[part * width for part in shares]
    )
    table.spaceAfter = 4.0
    return [
        says("Course by course, from the bottom", 16, bold=True, after=2),
        says(
            "Seen from inside; grey: cut pieces. Tape: along the drawn face from 12 "
            "o'clock the way azimuth grows. R: rod from the axis to the back of the "
            "seat. Pieces: how long along the course.",
            BODY,
            after=3,
        ),
        courses_drawing(laid, design, width=width),
        table,
    ]


def _daub(daub: Daub, design: Design, width: float) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    return [
        KeepTogether(
            [
                says("Daub", 16, bold=True, after=2),
                _facts(daub_rows(daub, design), width),
            ]
        )
    ]


def _stops(zone: ZonePlan, design: Design, width: float) -> list[Flowable]:
    """What the rod reads on the finished face, at both ends and at every corner."""
    from reportlab.platypus import KeepTogether

    unit, profile = design.length_unit, design.profile
    low, high = zone.height_from, zone.height_to
    inside = profile.corners[(profile.corners > low) & (profile.corners < high)]
    rows = []
    for height in sorted({low, 0.5 * (low + high), high, *inside.tolist()}):
        below = float(profile.radius_at(height, side="below"))
        above = float(profile.radius_at(height))
        ends = (
            [above]
            if height == low
            else [below]
            if height == high or below == above
            else [below, above]
        )
        said = " below, ".join(say_both(radius, unit) for radius in ends)
        rows.append(
            (say_both(height, unit), said + (" above" if len(ends) > 1 else ""))
        )
    verb = "Stop when the rod reads" if zone.chip is not None else "Done at"
    zero = plain(design.height_zero, most=40)
    table = ruled(
        (f"Height above {zero}", f"{verb} (R, from the axis)"),
        rows,
        widths=[0.45 * width, 0.55 * width],
    )
    return [KeepTogether([says("The drawn face", 16, bold=True, after=2), table])]


def _notes(zone: ZonePlan) -> list[Flowable]:
    from reportlab.platypus import Spacer

    if not zone.notes:
        return []
    return [
        Spacer(1, 8),
        says("Mind", 16, bold=True, after=2),
        *(says(f"• {plain(words, most=400)}", BODY, after=3) for words in zone.notes),
    ]
