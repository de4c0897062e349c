"""Brickwork on the repair sheet: drawn to scale, then course by course.

First what goes in and in which order the wall is opened, then the courses seen from
inside and cut level, then a row for each course: what stands in it, and where.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.frame import wrap
from geom.repair import RepairPackage
from geom.repair.masonry.layup import Course, LayUp
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.plan.result import ZonePlan
from geom.surface.radial import RadialSurface
from geom.units import say_both, say_length
from geom.views.paper.brick_drawing import Kind, elevations, kinds_of
from geom.views.paper.brick_section import busiest_height, level_section
from geom.views.paper.style import BODY, paragraph, ruled_table
from geom.views.say import plain, say_from, say_volume
from geom.views.tables.repair import brick_words, daub_words, say_short
from geom.views.tables.support import (
    relining_rows,
    relining_words,
    segment_rows,
    segment_words,
    support_rows,
)

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

_HEADING = 16.0
#: The rows of the courses begin on a page that has so much left, points.
_COURSES_LEAST = 150.0
#: Bricks no farther apart than this stand in one run, mm.
_RUN_GAP = 25.4


def brick_rows(
    zone: ZonePlan, layup: LayUp, works: RepairPackage, design: Design
) -> list[tuple[str, str]]:
    """What goes into a zone, and what is cut for it: name and words."""
    unit, work = design.length_unit, design.shop.brickwork
    skins = "one skin of brick" if layup.skins == 1 else f"{layup.skins} skins of brick"
    behind = [row for row in support_rows(works, design) if row[0].startswith("Behind")]
    return [
        ("Bricks", "; ".join(brick_words(zone))),
        ("Of these", "; ".join(whole_words(layup))),
        (
            "Hollow",
            f"as it is; feather edges squared by {say_both(work.squaring, unit)} at "
            f"most; {say_volume(0.0 if zone.cut is None else zone.cut.value, design)} "
            "of sound lining comes out. A brick that finds no room so is left out: "
            "daub in its place",
        ),
        (
            "Lay-up",
            f"{say_both(work.cover_least, unit)} of daub before the brick at least; "
            f"{skins}; daub behind and between, {say_both(layup.thickest, unit)} where "
            "it is thickest",
        ),
        *behind,
        *([("Daub", daub_words(zone.daub, design))] if zone.daub else []),
    ]


def whole_words(layup: LayUp) -> list[str]:
    """Of each brick: how many go in whole, how many halves, what is for breakage."""
    words = []
    for one in layup.tally:
        halves = "1 half" if one.pieces == 1 else f"{one.pieces} halves"
        cut = f", {halves} out of {one.for_pieces}" if one.pieces else ""
        words.append(
            f"{plain(one.name, most=40)}: {one.whole} whole{cut}, "
            f"{one.breakage} for breakage"
        )
    return words


def brickwork(
    zone: ZonePlan, works: RepairPackage, surface: RadialSurface, *, width: float
) -> list[Flowable]:
    """Order of opening, drawings and courses of a zone; empty without brickwork."""
    layup, design = zone.brickwork, surface.design
    if layup is None:
        return []
    kinds = kinds_of(layup.bricks)
    return [
        *_segments(zone, works, design, width),
        *_drawings(zone, layup, surface, width),
        *_letters(kinds, design, width),
        *_courses(layup, kinds, design, width),
    ]


def _segments(
    zone: ZonePlan, works: RepairPackage, design: Design, width: float
) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    rows = [
        (row.step, f"{row.clock}; {row.degrees}", row.heights, row.bricks)
        for row in segment_rows(works, zone.id, design)
    ]
    table = ruled_table(
        ("Step", "Where", "Height", "Bricks"),
        rows,
        widths=[part * width for part in (0.10, 0.53, 0.24, 0.13)],
    )
    table.spaceAfter = 8.0
    return [
        KeepTogether(
            [
                paragraph("Open the wall in this order", _HEADING, bold=True, after=2),
                paragraph(segment_words(works, design), BODY, after=3),
                table,
            ]
        )
    ]


def _drawings(
    zone: ZonePlan, layup: LayUp, surface: RadialSurface, width: float
) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    story: list[Flowable] = []
    for skin in range(layup.skins, 0, -1):
        name = "The courses, seen from inside"
        if layup.skins > 1:
            name += ": skin next to the face" if skin == 1 else f": skin {skin} behind"
            name += ", laid first" if skin == layup.skins else ""
        first, *rest = elevations(zone, surface, skin=skin, width=width)
        head: list[Flowable] = [paragraph(name, _HEADING, bold=True, after=2)]
        if skin == layup.skins:
            head.append(
                paragraph(
                    "Number: course from the bottom. Letter: kind of brick, below. "
                    "Hatched: cut to half. Grey: daub. Clock below, heights at the "
                    "right.",
                    BODY,
                    after=3,
                )
            )
        story += [KeepTogether([*head, first]), *rest]
    height = busiest_height(layup.bricks)
    section = level_section(zone, surface, height=height, width=width)
    words = (
        f"Cut level at {say_from(height, surface.design)}, seen from above. Dashed: "
        "drawn face. Light grey: daub. Dark: lining that stays."
    )
    return [*story, KeepTogether([paragraph(words, BODY, after=2), section])]


def _letters(
    kinds: dict[BrickPiece, Kind], design: Design, width: float
) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    unit = design.length_unit
    rows = [
        (
            kind.letter,
            plain(kind.piece.name, most=40) + ("" if kind.piece.whole else ", HALF"),
            _along(kind.piece, unit),
            say_short(kind.piece.up, unit),
            say_short(kind.piece.into, unit),
            str(kind.count),
        )
        for kind in kinds.values()
    ]
    table = ruled_table(
        ("", "Brick", f"Along, {unit}", f"Up, {unit}", f"Into, {unit}", "Set"),
        rows,
        widths=[part * width for part in (0.08, 0.40, 0.18, 0.12, 0.12, 0.10)],
    )
    table.spaceAfter = 8.0
    return [
        KeepTogether([paragraph("The bricks", _HEADING, bold=True, after=2), table])
    ]


def _along(piece: BrickPiece, unit: str) -> str:
    face, back = (say_short(mm, unit) for mm in (piece.front, piece.back))
    return face if face == back else f"{face}, back {back}"


def _courses(
    layup: LayUp, kinds: dict[BrickPiece, Kind], design: Design, width: float
) -> list[Flowable]:
    from reportlab.platypus import CondPageBreak

    unit = design.length_unit
    table = ruled_table(
        ("No", f"Foot, {unit}", f"Face R, {unit}", f"Bricks, tape in {unit}"),
        course_rows(layup, kinds, design),
        widths=[part * width for part in (0.12, 0.16, 0.18, 0.54)],
    )
    table.spaceAfter = 4.0
    return [
        CondPageBreak(_COURSES_LEAST),
        paragraph("Course by course, from the bottom", _HEADING, bold=True, after=2),
        paragraph(
            "Foot: lower edge of the face. Face R: rod from the axis to it, at the "
            "middle of a brick. Tape: along the drawn face from 12 o'clock, the way "
            "azimuth grows (minus: before 12), from the first edge to the last.",
            BODY,
            after=3,
        ),
        table,
    ]


def course_rows(
    layup: LayUp, kinds: dict[BrickPiece, Kind], design: Design
) -> list[tuple[str, ...]]:
    """A row a course: number, foot, rod to the faces, runs of bricks and tape."""
    unit = design.length_unit
    rows: list[tuple[str, ...]] = []
    for course in layup.courses():
        number = str(course.number + 1)
        if layup.skins > 1:
            number += f", skin {course.skin}"
        faces = [brick.face for brick in course.bricks]
        near, far = say_short(min(faces), unit), say_short(max(faces), unit)
        radius = float(design.profile.radius_at(course.height_from))
        runs = [
            f"{len(run)} {kinds[run[0].piece].letter}: {_tape(run, radius, unit)}"
            for run in _runs(course)
        ]
        rows.append(
            (
                number,
                say_short(course.height_from, unit),
                near if near == far else f"{near} to {far}",
                "; ".join(runs),
            )
        )
    return rows


def _runs(course: Course) -> Iterator[list[PlacedBrick]]:
    """Bricks of one kind side by side, the way azimuth grows."""
    run: list[PlacedBrick] = []
    for brick in course.bricks:
        if run and (brick.piece != run[-1].piece or _gap(run[-1], brick) > _RUN_GAP):
            yield run
            run = []
        run.append(brick)
    if run:
        yield run


def _gap(first: PlacedBrick, second: PlacedBrick) -> float:
    """Along the arc, from the last edge of one to the first of the other, mm."""
    (_, start), (end, _) = _edges(first), _edges(second)
    return float(np.deg2rad(wrap(end - start + 180.0) - 180.0) * first.face)


def _edges(brick: PlacedBrick) -> tuple[float, float]:
    """Azimuths of the ends of its face, degrees."""
    half = float(np.rad2deg(np.arctan(0.5 * brick.piece.front / brick.face)))
    return float(wrap(brick.azimuth - half)), float(wrap(brick.azimuth + half))


def _tape(run: Sequence[PlacedBrick], radius: float, unit: str) -> str:
    first, last = _edges(run[0])[0], _edges(run[-1])[1]
    first -= 360.0 * (first > last)  # less than 0 before 12 o'clock
    start, end = (say_short(np.deg2rad(at) * radius, unit) for at in (first, last))
    return f"{start} to {end}"


def relining_page(
    works: RepairPackage, design: Design, *, width: float
) -> list[Flowable]:
    """What a band under a stop takes if it is lined anew; empty where no stop is."""
    from reportlab.platypus import PageBreak

    if not works.relining:
        return []
    story: list[Flowable] = [
        PageBreak(),
        paragraph("Lining a ring anew", 22, bold=True, after=2),
        paragraph(
            "Not part of this plan, and not before a competent person has decided how "
            "the stack above is held.",
            BODY,
            after=6,
        ),
    ]
    joint = say_length(design.shop.brickwork.joint, design.length_unit, finest=16)
    for band in works.relining:
        story.append(paragraph(relining_words(band, design), BODY, after=3))
        if band.ways:
            table = ruled_table(
                (f"Each course, joint {joint}", "Courses", "In all"),
                relining_rows(band, design),
                widths=[part * width for part in (0.42, 0.18, 0.40)],
            )
            table.spaceAfter = 10.0
            story.append(table)
    return story
