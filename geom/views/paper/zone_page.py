"""A page of the repair sheet for each zone: chip, brick or daub.

Brickwork is stated course by course, under a drawing of the courses seen from inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geom.compare.findings import Action
from geom.design import Design
from geom.repair.masonry.layup import Course, LayUp
from geom.repair.masonry.placed import PlacedBrick
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
    unit, work = design.length_unit, design.shop.brickwork
    return [
        ("Bricks", "; ".join(brick_words(zone))),
        ("Of these", "; ".join(whole_words(layup))),
        (
            "Hollow",
            f"as it is; feather edges squared by {say_both(work.squaring, unit)} at "
            f"most; {say_volume(0.0 if zone.cut is None else zone.cut.value, design)} "
            "of sound lining comes out",
        ),
        (
            "Lay-up",
            f"{say_both(work.cover_least, unit)} of daub before the brick at least; "
            f"{_skins(layup.skins)}; daub behind and between, "
            f"{say_both(layup.thickest, unit)} where it is thickest",
        ),
        *([("Daub", daub_words(zone.daub, design))] if zone.daub else []),
    ]


def _skins(count: int) -> str:
    return "one skin of brick" if count == 1 else f"{count} skins of brick"


def whole_words(layup: LayUp) -> list[str]:
    """Of each brick: how many go in whole, how many halves, what is for breakage."""
    words = []
    for one in layup.tally:
        cut = f", {_halves(one.pieces)} out of {one.for_pieces}" if one.pieces else ""
        words.append(
            f"{plain(one.name, most=40)}: {one.whole} whole{cut}, "
            f"{one.breakage} for breakage"
        )
    return words


def _halves(count: int) -> str:
    return "1 half" if count == 1 else f"{count} halves"


def _courses(layup: LayUp, design: Design, width: float) -> list[Flowable]:
    unit = design.length_unit
    heading = ("Skin", "No", f"Height, {unit}", "Azimuth", f"Face R, {unit}", "Pieces")
    shares = (0.07, 0.06, 0.21, 0.19, 0.17, 0.30)
    table = ruled_table(
        heading, course_rows(layup, design), widths=[part * width for part in shares]
    )
    table.spaceAfter = 4.0
    return [
        paragraph("Course by course, from the bottom", 16, bold=True, after=2),
        paragraph(
            "Seen from inside; grey: halves. Face R: rod from the axis to the foot of "
            "the bricks' faces, at mid-length.",
            BODY,
            after=3,
        ),
        courses_drawing(layup, design, width=width),
        table,
    ]


def course_rows(layup: LayUp, design: Design) -> list[tuple[str, ...]]:
    """A row a course: skin, number, heights, azimuths, rod, pieces."""
    unit = design.length_unit
    rows: list[tuple[str, ...]] = []
    for course in layup.courses():
        low, high = (
            say_short(mm, unit) for mm in (course.height_from, course.height_to)
        )
        first, last = _ends(course)
        whole = sum(brick.piece.whole for brick in course.bricks)
        halves = len(course.bricks) - whole
        rows.append(
            (
                str(course.skin),
                str(course.number + 1),
                f"{low} to {high}",
                f"{first % 360.0:.0f}° to {last % 360.0:.0f}°",
                say_short(course.bricks[0].face, unit),
                f"{whole} whole" + (f", {_halves(halves)}" if halves else ""),
            )
        )
    return rows


def _ends(course: Course) -> tuple[float, float]:
    """Where a course begins and ends, the way azimuth grows; degrees."""
    first, last = course.bricks[0], course.bricks[-1]
    return first.azimuth - first.half_angle, last.azimuth + last.half_angle


def courses_drawing(layup: LayUp, design: Design, *, width: float) -> Drawing:
    """The first skin seen from inside, to scale; halves are filled grey.

    Parameters
    ----------
    layup : LayUp
    design : Design
    width : float, points

    Returns
    -------
    Drawing
    """
    from reportlab.graphics.shapes import Drawing, String

    bricks = [brick for brick in layup.bricks if brick.skin == 1]
    left, reach = _reach(bricks)
    low, high = min(b.foot for b in bricks), max(b.top for b in bricks)
    per_degree = np.deg2rad(max(brick.face for brick in bricks))
    scale = min(width / (reach * per_degree), (_TALL - 18.0) / (high - low))
    wide = scale * reach * per_degree
    made = Drawing(width, scale * (high - low) + 18.0)
    flip = design.azimuth_sense == "counterclockwise"
    for brick in bricks:
        half = brick.half_angle
        at = scale * ((brick.azimuth - half - left) % 360.0) * per_degree
        long = scale * 2.0 * half * per_degree
        base, tall = 18.0 + scale * (brick.foot - low), scale * (brick.top - brick.foot)
        x = wide - at - long if flip else at
        made.add(_brick(x, base, long, tall, not brick.piece.whole))
    names = [f"{left % 360.0:.0f}°", f"{(left + reach) % 360.0:.0f}°"]
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


def _reach(bricks: Sequence[PlacedBrick]) -> tuple[float, float]:
    """Where the picture begins, past the widest gap, and how far round it reaches."""
    ends = sorted((b.azimuth - b.half_angle, 2.0 * b.half_angle) for b in bricks)
    reached, gaps = ends[0][0], []
    for start, wide in (*ends, (ends[0][0] + 360.0, ends[0][1])):
        gaps.append((start - reached, start))
        reached = max(reached, start + wide)
    gap, start = max(gaps)
    return start, 360.0 - max(gap, 0.0)


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
