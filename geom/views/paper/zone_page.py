"""A page of the repair sheet for each zone: chip, brick or daub.

Brickwork is stated course by course, under a drawing of the courses seen from inside.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.compare.findings import Action
from geom.design import Design
from geom.repair.masonry.courses import Arc, runs
from geom.repair.masonry.layup import LayUp
from geom.repair.plan.chipping import Chipping
from geom.repair.plan.daub import Daub
from geom.repair.plan.result import ZonePlan
from geom.units import say_both
from geom.views.charts.colours import ACTION_STYLES
from geom.views.paper.style import BODY, FONT, paragraph, ruled_table, signature_lines
from geom.views.say import plain, say_volume, say_volume_interval
from geom.views.tables.repair import (
    brick_words,
    daub_rows,
    daub_words,
    job_of,
    say_short,
    say_zone_note,
)
from geom.views.tables.survey import TASKS

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing
    from reportlab.platypus import Flowable

#: The drawing of courses is never taller than this, points.
_TALL = 140.0
_LABEL = 12.0
#: Both ends are named at least so far apart, points.
_APART = 90.0
#: Width of the column of names, points.
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
        paragraph(f"Zone {zone.id}: {_word(zone.action)}", 22, bold=True, after=2),
        paragraph(TASKS[zone.action], BODY, after=6),
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
    return [*story, *_notes(zone, design), KeepTogether(signature_lines("Done by"))]


def _word(action: Action) -> str:
    return ACTION_STYLES[action].word.upper()


def _facts(rows: list[tuple[str, str]], width: float) -> Flowable:
    cells: list[list[str | list[Flowable] | Flowable]] = [
        [[paragraph(name, BODY, bold=True, after=0)], words] for name, words in rows
    ]
    table = ruled_table((), cells, widths=[_NAME, width - _NAME])
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


def _brick_rows(zone: ZonePlan, layup: LayUp, design: Design) -> list[tuple[str, str]]:
    unit, joint = design.length_unit, design.shop.brickwork.joint
    return [
        ("Bricks", "; ".join(brick_words(zone))),
        ("Of these", "; ".join(whole_words(layup))),
        (
            "Seat",
            f"cut {say_both(layup.seat, unit)} deep from the drawn face, square; "
            f"{say_volume(0.0 if zone.cut is None else zone.cut.value, design)} "
            "of sound lining comes out",
        ),
        (
            "Lay-up",
            f"bed {_between(layup.bed, layup.bed_most, design)}, brick "
            f"{say_both(layup.bond.build, unit)}, cover "
            f"{say_both(layup.cover, unit)}",
        ),
        (
            "Courses",
            f"{len(layup.courses)}, each {say_both(layup.bond.course + joint, unit)} "
            f"with its joint of {say_both(joint, unit)}",
        ),
        *([("Daub", daub_words(zone.daub, design))] if zone.daub else []),
    ]


def _between(low: float, high: float, design: Design) -> str:
    unit = design.length_unit
    if say_short(low, unit) == say_short(high, unit):
        return say_both(low, unit)
    return f"{say_short(low, unit)} to {say_both(high, unit)}"


def whole_words(layup: LayUp) -> list[str]:
    """Of each brick: how many go in whole, how many are cut, what is for breakage."""
    words = []
    for one in layup.tally.bricks:
        cut = f", {_pieces(one.pieces)} out of {one.for_pieces}" if one.pieces else ""
        words.append(
            f"{plain(one.name, most=40)}: {one.whole} whole{cut}, "
            f"{one.breakage} for breakage"
        )
    return words


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"


def _courses(layup: LayUp, design: Design, width: float) -> list[Flowable]:
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
    table = ruled_table(
        heading, course_rows(layup, design), widths=[part * width for part in shares]
    )
    table.spaceAfter = 4.0
    return [
        paragraph("Course by course, from the bottom", 16, bold=True, after=2),
        paragraph(
            "Seen from inside; grey: cut pieces. Tape: along the drawn face from 12 "
            "o'clock the way azimuth grows. R: rod from the axis to the back of the "
            "seat. Pieces: how long along the course.",
            BODY,
            after=3,
        ),
        courses_drawing(layup, design, width=width),
        table,
    ]


def course_rows(layup: LayUp, design: Design) -> list[tuple[str, ...]]:
    """A row an arc: course, heights, azimuths, tape, rod, whole bricks, pieces."""
    unit = design.length_unit
    rows: list[tuple[str, ...]] = []
    firsts = layup.tally.of_first
    for arc, first in zip(layup.tally.arcs, firsts, strict=True):
        course = layup.courses[arc.course]
        whole = str(arc.whole)
        if layup.bond.paired:
            whole = f"{first} + {arc.whole - first}"
        low, high = say_short(course.low, unit), say_short(course.high, unit)
        pieces = ", ".join(
            say_short(piece, unit).replace(" ", "\N{NO-BREAK SPACE}")
            for piece in arc.pieces
        )
        rows.append(
            (
                str(arc.course + 1),
                f"{low} to {high}",
                "all round"
                if course.ring
                else f"{arc.azimuth_from:.0f}° to {arc.azimuth_to:.0f}°",
                _tape(arc, course.design_radius, course.ring, unit),
                say_short(course.design_radius + layup.seat, unit),
                whole,
                pieces or "none",
            )
        )
    return rows


def _tape(arc: Arc, radius: float, ring: bool, unit: str) -> str:
    """From where to where along the drawn face, from 12 o'clock on."""
    first, last = (0.0, 360.0) if ring else _ends(arc)
    per_degree = np.deg2rad(radius)
    start, end = (say_short(at * per_degree, unit) for at in (first, last))
    return f"{start} to {end}"


def _ends(arc: Arc) -> tuple[float, float]:
    """Degrees from 12 o'clock, rising; less than 0 before it."""
    first, last = arc.azimuth_from, arc.azimuth_to
    return (first - 360.0 if first > last else first), last


def courses_drawing(layup: LayUp, design: Design, *, width: float) -> Drawing:
    """The courses seen from inside, to scale; cut pieces are filled grey.

    Parameters
    ----------
    laid : LayUp
    design : Design
    width : float, points

    Returns
    -------
    Drawing
    """
    from reportlab.graphics.shapes import Drawing, String

    left, reach = _reach(layup)
    low, high = layup.courses[0].low, layup.courses[-1].high
    per_degree = np.deg2rad(max(course.design_radius for course in layup.courses))
    scale = min(width / (reach * per_degree), (_TALL - 18.0) / (high - low))
    wide = scale * reach * per_degree
    made = Drawing(width, scale * (high - low) + 18.0)
    flip = design.azimuth_sense == "counterclockwise"
    for one in layup.tally.arcs:
        course = layup.courses[one.course]
        start = left if course.ring else one.azimuth_from
        base = 18.0 + scale * (course.low - low)
        tall = scale * (course.high - course.low)
        at = scale * ((start - left) % 360.0) * per_degree
        for length, cut in _bricks(one):
            long = scale * length
            made.add(_brick(wide - at - long if flip else at, base, long, tall, cut))
            at += long
    names = [f"{left:.0f}°", f"{(left + reach) % 360.0:.0f}°"]
    for x, name, anchor in zip(
        (0.0, max(wide, _APART)),
        names[:: -1 if flip else 1],
        ("start", "end"),
        strict=True,
    ):
        made.add(
            String(x, 4.0, name, fontName=FONT, fontSize=_LABEL, textAnchor=anchor)
        )
    return made


def _reach(layup: LayUp) -> tuple[float, float]:
    """Where the picture begins, and how far round it reaches; degrees.

    All round, it is centred on azimuth 0.
    """
    covered = np.any([course.columns for course in layup.courses], axis=0)
    gaps = runs(~covered)
    if not gaps:
        return 180.0, 360.0
    first, count = max(gaps, key=lambda gap: gap[1])
    after = (first + count) % covered.size
    begins = [
        one.azimuth_from
        for one in layup.tally.arcs
        if any(arc[0] == after for arc in layup.courses[one.course].arcs)
    ]
    per_column = 360.0 / covered.size
    near = min(begins, key=lambda at: abs((at - after * per_column + 180) % 360 - 180))
    return near, (covered.size - count) * per_column


def _bricks(arc: Arc) -> list[tuple[float, bool]]:
    """How far each reaches, a joint counted to it, mm, and whether it is cut."""
    count = arc.whole + sum(arc.pieces) / arc.face
    pitch = arc.length / count if count else 0.0
    whole = [(pitch, False)] * arc.whole
    cut = [(pitch * piece / arc.face, True) for piece in arc.pieces]
    ahead = cut[:1] if arc.course % 2 == 1 and arc.whole else []
    return [*ahead, *whole, *cut[len(ahead) :]]


def _brick(x: float, y: float, wide: float, tall: float, cut: bool) -> object:
    from reportlab.graphics.shapes import Rect
    from reportlab.lib import colors

    return Rect(
        x,
        y,
        wide,
        tall,
        fillColor=colors.Color(0.72, 0.72, 0.72) if cut else None,
        strokeColor=colors.black,
        strokeWidth=0.7,
    )


def _daub(daub: Daub, design: Design, width: float) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    return [
        KeepTogether(
            [
                paragraph("Daub", 16, bold=True, after=2),
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
        radii = " below, ".join(say_both(radius, unit) for radius in ends)
        rows.append(
            (say_both(height, unit), radii + (" above" if len(ends) > 1 else ""))
        )
    verb = "Stop when the rod reads" if zone.chip is not None else "Done at"
    zero = plain(design.height_zero, most=40)
    table = ruled_table(
        (f"Height above {zero}", f"{verb} (R, from the axis)"),
        rows,
        widths=[0.45 * width, 0.55 * width],
    )
    return [KeepTogether([paragraph("The drawn face", 16, bold=True, after=2), table])]


def _notes(zone: ZonePlan, design: Design) -> list[Flowable]:
    from reportlab.platypus import Spacer

    if not zone.notes:
        return []
    notes = [say_zone_note(note, design.length_unit) for note in zone.notes]
    return [
        Spacer(1, 8),
        paragraph("Mind", 16, bold=True, after=2),
        *(paragraph(f"• {plain(words, most=400)}", BODY, after=3) for words in notes),
    ]
