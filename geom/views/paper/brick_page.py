"""Brickwork on the repair sheet: drawn to scale, then course by course.

First what goes in and in which order the wall is opened, then the courses seen from
inside and cut level, then a row for each course: what stands in it, and where.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from geom.design import Design
from geom.frame import wrap
from geom.repair import RepairPackage
from geom.repair.masonry.layup import Course, LayUp
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.masonry.support import Support
from geom.repair.plan.result import OpeningMet, ZonePlan
from geom.surface.radial import RadialSurface
from geom.units import say_length
from geom.views.paper.brick_drawing import (
    LEAST_SCALE,
    SMALL_SCALE,
    TALL,
    Kind,
    elevations,
    kinds_of,
)
from geom.views.paper.brick_section import busiest_height, level_section
from geom.views.paper.style import (
    BODY,
    PageFrame,
    paragraph,
    ruled_table,
    signature_lines,
    two_columns,
)
from geom.views.say import plain, say_span
from geom.views.tables.cards import clock_span, unbroken
from geom.views.tables.repair import say_short, say_zone_note
from geom.views.tables.support import (
    segment_words,
    support_rows,
)

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: The section is never drawn at a smaller share of its size than this.
_LEAST_SECTION = 0.8
#: Width of the segments, and of the letters, where courses stand next to them.
_SEGMENTS, _LETTERS = 0.42, 0.36
#: Ways to put the tables of a zone on its page, tried in this order.
Layout = Literal["side by side", "tight", "over the page"]
_LAYOUTS: tuple[Layout, ...] = get_args(Layout)
#: Pages that may be filled where one is too few, what is lost at the foot off.
_TWO = 1.9
_TIMES = " \N{MULTIPLICATION SIGN} "
#: Kept free between what stands side by side, points.
_BETWEEN = 12.0
_HEADING, _SMALL = 14.0, 10.5
#: Sizes that the drawings are tried at, the largest first; width of the section.
_SHARES, _SECTION = (1.0, 0.85, 0.7, 0.6, 0.5, 0.42, 0.38), 0.52
#: Bricks no farther apart than this stand in one run, mm.
_RUN_GAP = 25.4


def brick_page(
    zone: ZonePlan, works: RepairPackage, surface: RadialSurface, *, frame: PageFrame
) -> list[Flowable]:
    """A brick zone on its page: drawn, lettered, course by course.

    Parameters
    ----------
    zone : ZonePlan
        With brickwork.
    works : RepairPackage
        That it is of.
    surface : RadialSurface
        That was planned for.
    frame : PageFrame
        Drawings are made smaller until all of it stands on one page, as long as they
        stay legible.
    """
    made = partial(_page, zone, works, surface, frame.text_width)
    for layout in _LAYOUTS:
        pages = _TWO if layout == "over the page" else 1.0
        for share in (*_SHARES, 0.0) if layout == "tight" else _SHARES:
            story = made(share, layout)
            if frame.height_of(story) <= pages * frame.text_height:
                return story
    return made(0.0, "tight")


def _page(  # noqa: PLR0917
    zone: ZonePlan,
    works: RepairPackage,
    surface: RadialSurface,
    width: float,
    share: float,
    layout: Layout,
) -> list[Flowable]:
    layup, design = zone.brickwork, surface.design
    if layup is None:
        return []
    zero = plain(design.height_zero, most=30)
    heights = say_span(zone.height_from, zone.height_to, design)
    title = f"B{zone.id}: brick, {clock_span(zone, design)}"
    return [
        paragraph(title, 20, bold=True, after=1),
        paragraph(f"{heights} above {zero}", 13.0, bold=True, after=2),
        paragraph(_lay_up(layup, works, design), BODY, after=2),
        *_notes(zone, design),
        *_drawings(
            zone,
            layup,
            works.support,
            surface,
            width=width,
            share=share,
            least=SMALL_SCALE if layout == "tight" else LEAST_SCALE,
        ),
        *_tables(zone, layup, works, surface, width, share, layout),
    ]


def _tables(  # noqa: PLR0917
    zone: ZonePlan,
    layup: LayUp,
    works: RepairPackage,
    surface: RadialSurface,
    width: float,
    share: float,
    layout: Layout,
) -> list[Flowable]:
    """Section and letters, segments and courses, as the layout has them.

    A tight one leaves out the section, which shows nothing that the courses do not.
    """
    from reportlab.platypus import Spacer

    design, kinds = surface.design, kinds_of(layup.bricks)
    if layout == "tight":
        left = _LETTERS * width
        right = width - left - _BETWEEN
        signed = [Spacer(1, 10), paragraph(f"Done by {'_' * 16}", BODY, after=0)]
        return [
            two_columns(
                [*_letters(kinds, design, left), *signed],
                _courses(layup, kinds, design, right),
                (left + _BETWEEN, right),
            ),
            *_segments(zone, works, design, width, abreast=2),
        ]
    wide = max(share, _LEAST_SECTION) * _SECTION * width
    rest = width - wide - _BETWEEN
    section, letters = (
        _section(zone, layup, surface, wide),
        _letters(kinds, design, rest),
    )
    columns = (wide + _BETWEEN, rest)
    if layout == "side by side":
        left = _SEGMENTS * width
        return [
            two_columns(section, letters, columns),
            two_columns(
                _segments(zone, works, design, left),
                _courses(layup, kinds, design, width - left - _BETWEEN),
                (left + _BETWEEN, width - left - _BETWEEN),
            ),
            *signature_lines("Done by"),
        ]
    courses = _courses(layup, kinds, design, width, narrow=False)
    segments = _segments(zone, works, design, width)
    return [
        two_columns(section, letters, columns),
        *segments,
        *courses,
        *signature_lines("Done by"),
    ]


def _lay_up(layup: LayUp, works: RepairPackage, design: Design) -> str:
    """What a mason has to know before the first brick, in a few sentences."""
    unit, work = design.length_unit, design.shop.brickwork
    cover, squaring = (say_length(mm, unit) for mm in (work.cover_least, work.squaring))
    behind = [
        f"Behind it: {words}."
        for name, words in support_rows(works, design)
        if name.startswith("Behind")
    ]
    words = [
        "; ".join(whole_words(layup)) + ".",
        f"Leave the hollow as it is; square feather edges by {squaring} at most. Each "
        f"brick in daub, tapped home, {cover} of daub before it at least, behind it up "
        f"to {say_length(layup.thickest, unit)}. Where there is no room for one: daub.",
        *behind,
    ]
    return " ".join(words)


def whole_words(layup: LayUp) -> list[str]:
    """Of each brick: how many go in whole, how many halves, what is for breakage."""
    words = []
    for one in layup.tally:
        halves = "1 half" if one.pieces == 1 else f"{one.pieces} halves"
        cut = f", {halves} out of {one.for_pieces}" if one.pieces else ""
        whole = f"{one.whole} whole" if one.whole or not one.pieces else ""
        words.append(
            f"{plain(one.name, most=40)}: {whole}{cut if whole else cut[2:]}, "
            f"{one.breakage} for breakage"
        )
    return words


def _segments(
    zone: ZonePlan,
    works: RepairPackage,
    design: Design,
    width: float,
    *,
    abreast: int = 1,
) -> list[Flowable]:
    """How the wall is opened, so many segments in a row."""
    cells: list[tuple[str | list[Flowable], ...]] = [
        (
            [paragraph(str(each.step), BODY, bold=True, after=0)],
            f"{clock_span(each, design)}, "
            f"{say_span(each.height_from, each.height_to, design)}",
            str(each.bricks),
        )
        for each in works.support.segments
        if each.zone == zone.id
    ]
    blank = ("", "", "")
    cells += [blank] * (-len(cells) % abreast)
    parts = (0.10, 0.66, 0.24) if abreast == 1 else (0.06, 0.86, 0.08)
    table = ruled_table(
        ("", "Where", "Bricks")
        if abreast == 1
        else ("", "Where; bricks", "") * abreast,
        [sum(cells[k : k + abreast], ()) for k in range(0, len(cells), abreast)],
        widths=[part * width / abreast for part in parts] * abreast,
    )
    table.spaceAfter = 4.0
    return [
        paragraph("Open in this order", _HEADING, bold=True, after=1),
        paragraph(segment_words(works, design), BODY, after=2),
        table,
    ]


def _drawings(
    zone: ZonePlan,
    layup: LayUp,
    support: Support,
    surface: RadialSurface,
    *,
    width: float,
    share: float,
    least: float,
) -> list[Flowable]:
    tall = share * TALL / layup.skins
    if least < LEAST_SCALE:
        tall = max(tall, least * (zone.height_to - zone.height_from))
    story: list[Flowable] = []
    for skin in range(layup.skins, 0, -1):
        if layup.skins > 1:
            name = "Skin next to the face" if skin == 1 else f"Skin {skin} behind"
            name += ", laid first" if skin == layup.skins else ""
            story.append(paragraph(name, BODY, bold=True, after=1))
        story += elevations(
            zone,
            surface,
            skin=skin,
            width=width,
            tall=tall,
            least=least,
            support=support,
        )
    words = (
        "Seen from inside. Number: course. Letter: brick. Hatched: half. Grey: daub. "
        "Heavy lines: open at once, step in the disc."
    )
    if support.stops:
        words += " Black at the left: heights of the stop."
    return [*story, paragraph(words, _SMALL, after=4)]


def _section(
    zone: ZonePlan, layup: LayUp, surface: RadialSurface, width: float
) -> list[Any]:
    height = busiest_height(layup.bricks)
    section = level_section(zone, surface, height=height, width=width)
    level = say_length(height, surface.design.length_unit)
    words = f"Cut level at {level}, seen from above. Dashed: drawn face."
    return [section, paragraph(words, _SMALL, after=0)]


def _letters(
    kinds: dict[BrickPiece, Kind], design: Design, width: float
) -> list[Flowable]:
    unit = design.length_unit
    rows = [
        (
            [paragraph(kind.letter, 15.0, bold=True, after=0)],
            f"{kind.count}{_TIMES}{plain(kind.piece.name, most=40)}"
            + ("" if kind.piece.whole else ", HALF"),
            _TIMES.join(
                (
                    _along(kind.piece, unit),
                    say_short(kind.piece.up, unit),
                    say_short(kind.piece.into, unit),
                )
            ),
        )
        for kind in kinds.values()
    ]
    return [
        ruled_table(
            ("", "Brick", f"Along{_TIMES}up{_TIMES}into, {unit}"),
            rows,
            widths=[part * width for part in (0.10, 0.42, 0.48)],
        )
    ]


def _along(piece: BrickPiece, unit: str) -> str:
    face, back = (say_short(mm, unit) for mm in (piece.front, piece.back))
    return face if face == back else f"{face}, back {back}"


def _courses(
    layup: LayUp,
    kinds: dict[BrickPiece, Kind],
    design: Design,
    width: float,
    *,
    narrow: bool = True,
) -> list[Flowable]:
    unit = design.length_unit
    table = ruled_table(
        ("No", "Foot", "Rod", f"Bricks, tape in {unit}"),
        course_rows(layup, kinds, design),
        widths=[
            part * width
            for part in (
                (0.10, 0.17, 0.18, 0.55) if narrow else (0.06, 0.10, 0.10, 0.74)
            )
        ],
    )
    table.spaceAfter = 2.0
    return [
        paragraph("Courses, from the bottom", _HEADING, bold=True, after=1),
        table,
        paragraph(
            "Foot: lower edge. Rod: axis to face. Tape: along the drawn face from 12 "
            "o'clock, as azimuth grows, to the first edge; minus: before 12.",
            _SMALL,
            after=2,
        ),
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
            unbroken(
                f"{_many(len(run))}{kinds[run[0].piece].letter} "
                f"{_tape(run, radius, unit)}"
            )
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


def _many(count: int) -> str:
    return "" if count == 1 else f"{count} "


def _tape(run: Sequence[PlacedBrick], radius: float, unit: str) -> str:
    """Along the drawn face to the first edge of a run; less than 0 before 12."""
    first, last = _edges(run[0])[0], _edges(run[-1])[1]
    first -= 360.0 * (first > last)
    words = say_short(np.deg2rad(first) * radius, unit)
    return f"at {words}"


def _notes(zone: ZonePlan, design: Design) -> list[Flowable]:
    """What to mind, the openings that the zone meets in one sentence."""
    unit = design.length_unit
    met = [note for note in zone.notes if isinstance(note, OpeningMet)]
    notes = [
        say_zone_note(n, unit) for n in zone.notes if not isinstance(n, OpeningMet)
    ]
    if met:
        names = ", ".join(f"{n.kind} at {n.azimuth:.0f}°" for n in met)
        notes.append(f"Work round a former: {names}.")
    if not notes:
        return []
    return [paragraph(f"Mind: {plain(' '.join(notes), most=600)}", BODY, after=3)]
