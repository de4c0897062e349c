"""The drawing of brickwork: to scale, the right way round, every brick told."""

import io
import itertools
import re
from dataclasses import replace

import numpy as np
import pypdf
import pytest

from geom.repair.masonry.support import Stop, support_of
from geom.repair.package import seat_of
from geom.units import parse_number
from geom.views.paper.brick_drawing import (
    elevations,
    kinds_of,
    segment_outlines,
)
from geom.views.paper.brick_page import course_rows
from geom.views.paper.brick_section import busiest_height, level_section
from geom.views.paper.repair_sheet import repair_sheet_bytes
from geom.views.paper.style import hatch_lines, register_fonts

WIDTH = 500.0


@pytest.fixture(scope="module", params=["clockwise", "counterclockwise"])
def drawn(request, build):
    register_fonts()
    furnace = build(sense=request.param)
    zone = next(z for z in furnace.works.plan.zones if z.brickwork is not None)
    strips = elevations(zone, furnace.surface, skin=1, width=WIDTH)
    return furnace, zone, strips


def parts(drawing, kind):
    """Shapes of one kind: "Polygon", "Rect" ..."""
    return [part for part in drawing.contents if type(part).__name__ == kind]


def labels(drawing):
    """Text and place of each brick's label."""
    return [
        (
            next(p.text for p in group.contents if type(p).__name__ == "String"),
            group.transform,
        )
        for group in parts(drawing, "Group")
    ]


def test_every_brick_is_drawn_once_under_its_number_and_letter(drawn):
    _, zone, strips = drawn
    kinds = kinds_of(zone.brickwork.bricks)
    front = [b for b in zone.brickwork.bricks if b.skin == 1]
    told = sorted(words for strip in strips for words, _ in labels(strip))
    assert told == sorted(f"{b.course + 1}{kinds[b.piece].letter}" for b in front)


def scale_of(drawing, bar_mm):
    bars = [r for r in parts(drawing, "Rect") if r.height == 4.0]
    assert len(bars) == 2
    return sum(bar.width for bar in bars) / bar_mm


def test_it_is_to_scale_as_its_bar_says(drawn):
    _, zone, strips = drawn
    words = [
        s.text
        for s in parts(strips[0], "String")
        if s.text in {"24 in", "12 in", "6 in"}
    ]
    bar = words[-1] if words[-1] in {"24 in", "12 in", "6 in"} else words[0]
    scale = scale_of(strips[0], float(bar.split()[0]) * 25.4)
    front = [b for b in zone.brickwork.bricks if b.skin == 1]
    sizes = []
    for strip in strips:
        for shape in parts(strip, "Polygon"):
            flat = np.reshape(shape.points, (-1, 2))
            sizes.append(np.ptp(flat, axis=0) / scale)
    assert len(sizes) == len(front)
    found = sorted(tall for _, tall in sizes)
    assert found == pytest.approx(sorted(b.piece.up for b in front), rel=0.01)
    wide = sorted(wide for wide, _ in sizes)
    # along the drawn face, which is nearer to the axis than the brick
    assert wide == pytest.approx(sorted(b.piece.front for b in front), rel=0.15)


def test_clockwise_runs_to_the_right_seen_from_inside(drawn):
    furnace, zone, strips = drawn
    kinds = kinds_of(zone.brickwork.bricks)
    front = [b for b in zone.brickwork.bricks if b.skin == 1]
    way = 1.0 if furnace.design.azimuth_sense == "clockwise" else -1.0
    for strip in strips:
        places = labels(strip)
        for (a, at), (b, beside) in itertools.pairwise(places):
            if a != b:
                continue
            ones = [x for x in front if f"{x.course + 1}{kinds[x.piece].letter}" == a]
            assert len(ones) >= 2
            assert way * (beside[4] - at[4]) > 0.0


def test_a_half_is_hatched_and_a_whole_is_not(drawn):
    _, zone, strips = drawn
    halves = sum(not b.piece.whole for b in zone.brickwork.bricks if b.skin == 1)
    hatched = [
        line for s in strips for line in parts(s, "Line") if line.strokeWidth == 0.5
    ]
    assert bool(hatched) == bool(halves)


@pytest.mark.parametrize("turned", [0.0, 0.4, 1.3])
def test_hatching_stays_within_its_brick(turned):
    box = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 25.0], [0.0, 25.0]])
    spin = np.array(
        [[np.cos(turned), np.sin(turned)], [-np.sin(turned), np.cos(turned)]]
    )
    lines = hatch_lines(box @ spin, 4.5)
    assert len(lines) >= 8
    ends = np.array(lines).reshape(-1, 2) @ spin.T
    assert ends.min() >= -1e-6
    assert (ends <= np.array([40.0, 25.0]) + 1e-6).all()


def test_the_section_shows_the_bricks_that_it_cuts(drawn):
    furnace, zone, _ = drawn
    height = busiest_height(zone.brickwork.bricks)
    met = [b for b in zone.brickwork.bricks if b.foot < height < b.top]
    assert met
    drawing = level_section(zone, furnace.surface, height=height, width=WIDTH)
    bricks = [p for p in parts(drawing, "Polygon") if len(p.points) == 8]
    assert 1 <= len(bricks) <= len(met)
    for shape in bricks:
        # a box cut level is a quadrilateral with its face and its back alike
        flat = np.reshape(shape.points, (-1, 2))
        side = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
        assert side[1] == pytest.approx(side[3], rel=0.05)
    assert drawing.width == WIDTH


@pytest.fixture(scope="module")
def marked(drawn):
    """The same strips with segments of 30 degrees at most, and a stop low down."""
    furnace, zone, _ = drawn
    work = replace(furnace.design.shop.brickwork, open_arc=30.0)
    seats = [seat_of(b, zone.id, furnace.surface) for b in zone.brickwork.bricks]
    support = support_of(seats, work)
    low = zone.height_from
    stop = Stop("burnt", low, low + 0.5 * (zone.height_to - low), 0.8)
    support = replace(support, stops=(stop,))
    strips = elevations(zone, furnace.surface, skin=1, width=WIDTH, support=support)
    return zone, support, strips


def is_black(colour):
    return colour is not None and colour.rgb() == (0, 0, 0)


def is_white(colour):
    return colour is not None and colour.rgb() == (1, 1, 1)


def outlines(strip):
    return [p for p in parts(strip, "Polygon") if p.fillColor is None]


def test_every_brick_lies_in_the_outline_of_its_own_segment_and_in_no_other(marked):
    from shapely import Polygon

    zone, support, strips = marked
    assert len(support.segments) >= 2
    told = [brick for one in support.segments for brick in one.members]
    assert sorted(told) == list(range(len(zone.brickwork.bricks)))
    for strip in strips:
        shapes = [Polygon(np.reshape(p.points, (-1, 2))) for p in outlines(strip)]
        assert shapes
        for brick in parts(strip, "Polygon"):
            if brick.fillColor is None:
                continue
            own = Polygon(np.reshape(brick.points, (-1, 2)))
            shares = [shape.intersection(own).area / own.area for shape in shapes]
            # an outline is upright, a brick in a taper is not quite
            assert max(shares) > 0.99
            assert sorted(shares)[-2:][0] < 0.02 or len(shares) == 1


def test_the_step_of_every_segment_stands_in_a_disc_of_its_own(marked):
    zone, support, strips = marked
    front = {k for k, b in enumerate(zone.brickwork.bricks) if b.skin == 1}
    wanted = {str(one.step) for one in support.segments if front & {*one.members}}
    seen = []
    for strip in strips:
        discs = parts(strip, "Circle")
        assert 1 <= len(discs) <= len(outlines(strip))
        words = [w for w in parts(strip, "String") if is_white(w.fillColor)]
        for disc in discs:
            (step,) = [
                w.text
                for w in words
                if abs(w.x - disc.cx) < 1e-6 and abs(w.y - disc.cy) < disc.r
            ]
            seen.append(step)
    assert {*seen} == wanted
    assert len(wanted) >= 2


def test_the_heights_of_a_stop_are_black_at_the_left_of_the_courses(marked):
    zone, support, strips = marked
    (stop,) = support.stops
    share = (stop.height_to - stop.height_from) / (zone.height_to - zone.height_from)
    for strip in strips:
        boxes = parts(strip, "Rect")
        # the bar of the scale is black too, and 4 points tall
        (bar,) = [r for r in boxes if is_black(r.fillColor) and r.height != 4.0]
        wall = [r for r in boxes if not is_black(r.fillColor)]
        wall = [r for r in wall if not is_white(r.fillColor)]
        low = min(r.y for r in wall)
        high = max(r.y + r.height for r in wall)
        assert bar.x + bar.width < min(r.x for r in wall)
        assert bar.y == pytest.approx(low, abs=1.0)
        assert bar.height == pytest.approx(share * (high - low), rel=0.05)


def test_an_outline_is_toothed_as_its_courses_are_and_bricks_apart_have_their_own():
    from shapely import Polygon

    wall = [(0.0, 0.0, 9.0, 3.0), (9.0, 0.0, 18.0, 3.0), (4.0, 3.2, 22.0, 6.0)]
    toothed, alone = segment_outlines([*wall, (30.0, 0.0, 31.0, 1.0)], 0.3)
    # the joint between two courses belongs to them
    assert Polygon(toothed).area == pytest.approx(
        18.0 * 3.0 + 14.0 * 0.2 + 18.0 * 2.8, abs=1e-4
    )
    assert Polygon(alone).area == pytest.approx(1.0)


def pages_of(furnace, works):
    content = repair_sheet_bytes(furnace.surface, furnace.findings, works)
    reader = pypdf.PdfReader(io.BytesIO(content))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]


def runs_of(row):
    """Count, letter and tape of each run of a course."""
    plain = row[3].replace("\N{NO-BREAK SPACE}", " ")
    found = re.findall(r"(\d*) ?([A-Z]+) at (-?[\d /]+)", plain)
    return [(int(many or 1), letter, parse_number(at)) for many, letter, at in found]


def test_the_page_tells_every_course_with_its_tape(furnace):
    zone = next(z for z in furnace.works.plan.zones if z.brickwork is not None)
    text = " ".join(pages_of(furnace, furnace.works))
    rows = course_rows(zone.brickwork, kinds_of(zone.brickwork.bricks), furnace.design)
    assert len(rows) == len(zone.brickwork.courses())
    told = sum(many for row in rows for many, _, _ in runs_of(row))
    assert told == len(zone.brickwork.bricks)
    for row in rows:
        first = row[3].split(";")[0].replace("\N{NO-BREAK SPACE}", " ")
        assert first in text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Open in this order" in text


def test_the_tape_of_a_course_is_at_the_first_edge_of_each_run(furnace):
    zone = next(z for z in furnace.works.plan.zones if z.brickwork is not None)
    laid, kinds = zone.brickwork, kinds_of(zone.brickwork.bricks)
    rows = course_rows(laid, kinds, furnace.design)
    for course, row in zip(laid.courses(), rows, strict=True):
        at = [tape for _, _, tape in runs_of(row)]
        brick = course.bricks[0]
        half = np.rad2deg(np.arctan(0.5 * brick.piece.front / brick.face))
        first = (brick.azimuth - half) % 360.0
        radius = float(furnace.design.profile.radius_at(course.height_from))
        turned = (np.deg2rad(first) * radius / 25.4 - at[0]) / (
            2 * np.pi * radius / 25.4
        )
        assert turned == pytest.approx(round(turned), abs=0.002)
