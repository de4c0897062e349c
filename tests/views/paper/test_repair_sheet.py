"""repair-sheet.pdf, read back with pypdf."""

import io
import re
from dataclasses import replace

import numpy as np
import pypdf
import pytest

from geom.compare.boxes import wall_boxes
from geom.compare.findings import ACTIONS, NO_CALL
from geom.design import Brick, Mix, Shop
from geom.repair.masonry.support import Stop
from geom.repair.plan.day import day_plan
from geom.repair.plan.result import OpeningMet
from geom.units import as_fraction, parse_number
from geom.views.paper.repair_sheet import repair_sheet_bytes
from geom.views.paper.style import register_fonts
from geom.views.paper.wall_card import FROM_LEFT, WallChart, hatch
from geom.views.tables.cards import LETTERS, mix_lines, rod_settings, zone_names
from geom.views.tables.day import day_rows
from geom.views.tables.openings import opening_rows

#: What stands at the foot of every page.
FOOT = re.compile(r" ?Clock: [^.]* page \d+ of \d+$")


@pytest.fixture(scope="module")
def pages(furnace):
    """The text of each page, white space made one."""
    return pages_of(furnace)


@pytest.fixture(scope="module")
def boxes(furnace):
    return wall_boxes(furnace.findings, furnace.surface.grid, furnace.design)


def read(content):
    return pypdf.PdfReader(io.BytesIO(content))


def sheet_of(furnace, *, findings=None, works=None):
    return repair_sheet_bytes(
        furnace.surface, findings or furnace.findings, works or furnace.works
    )


def pages_of(furnace, **changes):
    found = read(sheet_of(furnace, **changes)).pages
    return [FOOT.sub("", flat(page)) for page in found]


def flat(page):
    return re.sub(r"\s+", " ", page.extract_text()).strip()


def strings(group):
    """Words of a drawing, group in group, in the order in which they are drawn."""
    for part in group.contents:
        if type(part).__name__ == "String":
            yield part.text
        elif hasattr(part, "contents"):
            yield from strings(part)


# --- the wall in boxes ---------------------------------------------------------------


def test_each_box_has_the_deepest_of_its_own_cells(furnace, boxes):
    grid, maps = furnace.surface.grid, furnace.findings.maps
    assert boxes.depth.shape == (16, 12)
    for row, hour in ((5, 3), (6, 12), (7, 1), (9, 6)):
        low, high = boxes.edge[row], boxes.edge[row + 1]
        rows = (grid.height > low) & (grid.height < high)
        off = (grid.azimuth - 30.0 * hour + 180.0) % 360.0 - 180.0
        columns = (off >= -15.0) & (off < 15.0)
        inside = np.ix_(rows, columns)
        known = maps.surveyed[inside] & ~grid.opening[inside]
        cutback = maps.cutback[inside][known]
        chipped = boxes.action[row, hour - 1] == ACTIONS.index("chip")
        wanted = cutback.min() if chipped else cutback.max()
        assert boxes.depth[row, hour - 1] == pytest.approx(wanted)


def test_a_counterclockwise_furnace_has_its_hours_the_way_the_hands_turn(build):
    """12 looks at azimuth zero; hours grow clockwise seen from above, in any sense."""
    one, other = build(spacing=25.0), build(sense="counterclockwise", spacing=25.0)
    first, second = (
        wall_boxes(f.findings, f.surface.grid, f.design).depth for f in (one, other)
    )
    mirrored = [(11 - hour) % 12 - 1 for hour in range(12)]
    np.testing.assert_allclose(first, second[:, mirrored], atol=2.0)


def test_every_zone_is_named_in_a_box_and_by_its_own_letter(furnace, boxes):
    named = {zone for row in boxes.zones for box in row for zone in box}
    work = {z.id: z.action for z in furnace.findings.zones if z.action != "leave"}
    assert named == set(work)
    names = zone_names(furnace.findings, furnace.works)
    planned = {zone.id: zone.work for zone in furnace.works.plan.zones}
    assert names == {
        number: f"{LETTERS[planned.get(number, action)]}{number}"
        for number, action in work.items()
    }


def test_the_worst_call_of_a_box_decides_over_it(furnace, boxes):
    calls = {zone.id: zone.action for zone in furnace.findings.zones}
    order = ["brick", "measure again", "daub", "chip"]
    for row, zones in enumerate(boxes.zones):
        for hour, held in enumerate(zones):
            if not held or boxes.action[row, hour] == NO_CALL:
                continue
            ranks = [order.index(calls[zone]) for zone in held]
            assert ranks == sorted(ranks)
            assert ACTIONS[boxes.action[row, hour]] == calls[held[0]]


def test_wall_that_was_not_read_has_no_depth(build):
    furnace = build(surveyed=(500.0, 1200.0), spacing=25.0)
    boxes = wall_boxes(furnace.findings, furnace.surface.grid, furnace.design)
    assert np.isnan(boxes.depth[0]).all()
    assert (boxes.action[0] == NO_CALL).all()
    assert np.isfinite(boxes.depth[5]).all()


# --- the wall card -------------------------------------------------------------------


def test_the_card_draws_every_depth_in_eighths_under_its_hour(furnace, boxes):
    register_fonts()
    names = zone_names(furnace.findings, furnace.works)
    chart = WallChart(boxes, names, furnace.design, width=511.0, height=520.0)
    told = list(strings(chart.drawing()))
    heads = told.index("7")
    assert told[heads : heads + 12] == [str(hour) for hour in FROM_LEFT]
    for name in names.values():
        assert any(name in words.split() for words in told)
    deepest = as_fraction(float(np.nanmax(boxes.depth)) / 25.4)
    whole, part = deepest.split(" ")
    assert whole in told
    assert part in told


def test_openings_stand_where_they_are_and_hide_no_depth(furnace, boxes):
    register_fonts()
    chart = WallChart(boxes, {}, furnace.design, width=650.0, height=520.0)
    rooms = {name: room for room, name in chart._openings}
    assert set(rooms) == {"T1", "T2", "T3", "T4", "T5", "T6", "tap", "slag"}
    wide = (650.0 - 50.0) / 12
    # 1 o'clock stands seventh from the left, 7 o'clock first
    assert rooms["T1"].middle[0] == pytest.approx(50.0 + 6.5 * wide, abs=0.1)
    assert rooms["T4"].middle[0] == pytest.approx(50.0 + 0.5 * wide, abs=0.1)
    for row in range(boxes.depth.shape[0]):
        for place in range(12):
            room = chart._room(row, place)
            for hole in rooms.values():
                free = room.clear_of(hole)
                across = min(free.left + free.wide, hole.left + hole.wide) - max(
                    free.left, hole.left
                )
                up = min(free.foot + free.tall, hole.foot + hole.tall) - max(
                    free.foot, hole.foot
                )
                assert across <= 1e-6 or up <= 1e-6


def test_hatches_differ_in_grey(boxes):
    from geom.views.paper.wall_card import _Room

    room = _Room(0.0, 0.0, 40.0, 30.0)
    drawn = {call: hatch(call, room).contents for call in LETTERS}
    slopes = {}
    for call in ("brick", "chip", "measure again"):
        line = drawn[call][3]
        slopes[call] = (line.x1 == line.x2, line.y1 == line.y2)
    assert len(set(slopes.values())) == 3
    # dashes of no length with round ends are dots, one more than there are gaps
    for row in drawn["daub"]:
        (on, gap), reach = row.strokeDashArray, row.x2 - row.x1
        assert (on, row.strokeLineCap, row.strokeWidth) == (0.0, 1, 1.5)
        assert row.y1 == row.y2
        assert 7.0 * gap < reach < 8.0 * gap
        assert row.x1 + 7.0 * gap < 40.0 <= row.x1 + 8.0 * gap
    assert [row.y1 for row in drawn["daub"]] == [2.5, 7.5, 12.5, 17.5, 22.5, 27.5]


def test_the_wall_card_says_where_it_is_seen_from(pages, furnace):
    front = pages[0]
    assert front.startswith("Wall card")
    assert furnace.design.name in front
    assert "12 = tap hole" in front
    assert "SEEN FROM INSIDE" in front
    assert "azimuth grows clockwise seen from above" in front
    assert "Nobody goes in before" in front
    assert "Measure again first" in front


def test_a_stop_stands_on_the_first_page_above_the_wall(furnace):
    stop = Stop("opened", 635.0, 889.0, 0.62)
    support = replace(furnace.works.support, stops=(stop,))
    pages = pages_of(furnace, works=replace(furnace.works, support=support))
    assert "STOP. The stack above needs support: a competent person decides" in pages[0]
    assert pages[0].index("STOP.") < pages[0].index("SEEN FROM INSIDE")
    free = replace(furnace.works, support=replace(support, stops=()))
    assert "needs support" not in " ".join(pages_of(furnace, works=free))


# --- the work card -------------------------------------------------------------------


def test_work_is_listed_in_the_order_of_the_plan(pages, furnace):
    plan = furnace.works.plan
    assert [zone.action for zone in plan.zones] == ["chip", "brick", "daub"]
    places = [pages[1].index(f"{LETTERS[z.work]}{z.id} ") for z in plan.zones]
    assert places == sorted(places)
    assert pages[1].index("M4 ") < places[0]
    for zone in plan.zones:
        low, high = (as_fraction(h / 25.4) for h in (zone.height_from, zone.height_to))
        assert f"{low} to {high} in" in pages[1]


def test_a_chip_says_where_the_rod_stops_at_foot_and_head(pages, furnace):
    zone = furnace.works.plan.of_action("chip")[0]
    ends = [
        float(furnace.design.profile.radius_at(zone.height_from)),
        float(furnace.design.profile.radius_at(zone.height_to, side="below")),
    ]
    low, high = (as_fraction(radius / 25.4) for radius in ends)
    thick = as_fraction(zone.chip.thickness.value / 25.4)
    stop = low if low == high else f"{low} at the foot, {high} at the head"
    assert f"{thick} in off; stop: rod {stop}" in pages[1]


def test_the_rod_of_the_finished_face_is_the_drawing_less_what_wet_daub_needs(furnace):
    design = furnace.design
    rows = rod_settings(furnace.works, furnace.surface, design)
    assert len(rows) > 6
    for row in rows:
        name, _, side = row.height.replace(" below", "|below").partition("|")
        height = 25.4 * _inches(name.removesuffix(" above"))
        radius = float(design.profile.radius_at(height, side=side or "above"))
        assert row.dry.replace("\N{NO-BREAK SPACE}", " ") == as_fraction(
            radius / 25.4, finest=16
        )
    shrinks = Shop(mix=Mix(shrinkage=0.2))
    thick = furnace.works.plan.of_action("daub")[0].daub.thickness
    worst = rod_settings(furnace.works, furnace.surface, replace(design, shop=shrinks))
    gaps = [_inches(row.dry) - _inches(row.wet) for row in worst if row.wet != "same"]
    # daub t thick when dry is t / (1 - s) thick when wet
    assert max(gaps) * 25.4 == pytest.approx(thick * 0.25, abs=1.6)


def _inches(words):
    return parse_number(words.replace("\N{NO-BREAK SPACE}", " ").strip())


def test_the_mix_in_pails_is_that_of_the_plan(furnace):
    """By volume 3 to 1 of sand and clay, whatever their densities; as the day mixes."""
    day = day_plan(furnace.works.to_dict(), furnace.design, again=0)
    first, second = mix_lines(furnace.works, day, furnace.design)
    each = len(day.batches) if "each" in first else 1
    assert first.startswith(f"{len(day.batches)} batch")
    sand, clay = (
        _inches(found)
        for found in re.search(
            r"([\d /]+) pails? of sand, ([\d /]+) pail", first
        ).groups()
    )
    daub, mix = furnace.works.plan.daub, furnace.design.shop.mix
    pails = daub.sand.value / mix.sand_density * 1e3 / 12.0 / each
    assert sand == pytest.approx(pails, abs=0.26)
    assert sand / clay == pytest.approx(3.0, rel=0.15)
    # 12 L are 12 / 3.785411784 US gallons
    assert second.startswith("A pail holds 3.17 US gal, struck level")


def test_what_to_have_ready_is_the_order_each_figure_by_its_name(pages, furnace):
    back = pages[2]
    assert "Have ready (95 % sure" in back
    for line in furnace.works.plan.order:
        if line.unit == "bricks":
            assert f"{line.material}: {line.enough:.0f}" in back
        else:
            told = re.search(rf"{line.material} ([\d.]+) lb: buy (\d+) of", back)
            # pounds are told to three figures
            kg = 0.45359237 * float(told[1])
            assert kg == pytest.approx(line.enough, rel=5e-3)
            assert int(told[2]) == line.packs


def test_the_order_of_work_is_the_days_each_step_with_what_to_mind(pages, furnace):
    again = len(furnace.findings.of_action("measure again"))
    day = day_plan(furnace.works.to_dict(), furnace.design, again=again)
    rows = day_rows(day, furnace.design)
    places = [pages[2].index(f"{row.number}. {row.short}") for row in rows]
    assert places == sorted(places)
    for row in rows:
        assert row.mind in pages[2]
        assert row.lasts in pages[2]
    assert "Dried, by" in pages[2]
    assert "Lit up by" in pages[2]


def test_every_opening_has_its_line(pages, furnace):
    for row in opening_rows(furnace.works.plan.openings, furnace.design):
        assert f"{row.what}, {row.where}: {row.how_much}" in pages[1]


def test_nothing_to_do_is_told_so_on_the_cards_alone(furnace):
    plan = replace(furnace.works.plan, zones=(), order=(), notes=())
    works = replace(furnace.works, plan=plan)
    findings = replace(furnace.findings, zones=())
    pages = pages_of(furnace, findings=findings, works=works)
    assert "No zone needs work" in pages[1]
    assert "Released by" in pages[2]
    assert len(pages) == 3


def test_a_brick_zone_that_no_brick_fits_is_told_so(furnace):
    plan = furnace.works.plan
    zone = replace(plan.of_action("brick")[0], brickwork=None, cut=None, notes=())
    works = replace(furnace.works, plan=replace(plan, zones=(zone,)))
    pages = pages_of(furnace, works=works)
    assert f"D{zone.id} " in pages[1]
    assert "past the brick line, no brick fits" in pages[1]
    assert len(pages) == 3


# --- brick pages ---------------------------------------------------------------------


def test_brick_zones_alone_have_a_page_of_their_own(pages, furnace):
    plan = furnace.works.plan
    bricked = [zone for zone in plan.zones if zone.brickwork is not None]
    assert len(pages) == 3 + len(bricked)
    for zone in bricked:
        (page,) = [p for p in pages if p.startswith(f"B{zone.id}: brick")]
        assert "square feather edges by 1/2 in at most" in page
        for one in zone.brickwork.tally:
            counted = (one.whole, "whole"), (one.pieces, "hal(f|ves)")
            for count, name in counted:
                assert not count or re.search(rf"\b{count} {name}\b", page)
    assert "Done by" in pages[-1]


# --- the sheet as a whole ------------------------------------------------------------


def test_type_is_large_enough_for_arms_length(furnace):
    sizes = {}

    def note(text, _cm, tm, _font, size):
        if text.strip():
            scale = abs(tm[3]) or 1.0
            sizes.setdefault(round(size * scale, 1), []).append(text)

    for page in read(sheet_of(furnace)).pages:
        page.extract_text(visitor_text=note)
    # what a man works by is 11 and more; remarks and the foot 10
    assert min(size for size, texts in sizes.items() if len(texts) > 4) >= 9
    assert max(sizes) >= 20


def test_it_fits_a4_and_letter(furnace):
    for page in read(sheet_of(furnace)).pages:
        # A4 is 595 x 842 points, Letter 612 x 792.
        assert page.mediabox.width <= 595
        assert page.mediabox.height <= 792


def test_no_name_of_a_key_reaches_the_foreman(pages):
    assert not re.search(r"\[\w+\]|[a-z]+_[a-z]+", " ".join(pages))


def test_markup_in_names_stays_text(furnace):
    evil = "<b>A</b> & <para> </font> Łódź"
    findings = replace(furnace.findings, lining=evil, title=evil)
    plan = furnace.works.plan
    line = replace(plan.order[0], material="<b>brick</b> & co")
    notes = (OpeningMet(evil, 90.0),)
    zones = tuple(replace(zone, notes=notes) for zone in plan.zones)
    plan = replace(plan, order=(line,), zones=zones)
    works = replace(furnace.works, plan=plan)
    text = " ".join(pages_of(furnace, findings=findings, works=works))
    bricked = sum(zone.brickwork is not None for zone in zones)
    assert text.count(evil) >= 1 + bricked
    assert "<b>brick</b> & co" in text


def test_markup_in_the_shops_bricks_stays_text(build):
    evil = "9 in <i>straight & co"
    shop = Shop(bricks=(Brick(evil, 228.6, 114.3, 31.75, stock=7),))
    furnace = build(spacing=25.0, shop=shop)
    assert " ".join(pages_of(furnace)).count(evil) >= 3


def test_many_zones_go_on_over_the_page(furnace):
    plan = furnace.works.plan
    zone = plan.of_action("daub")[0]
    zones = tuple(replace(zone, id=i) for i in range(1, 41))
    works = replace(furnace.works, plan=replace(plan, zones=zones))
    text = " ".join(pages_of(furnace, works=works))
    for one in zones:
        assert f"D{one.id} " in text


def test_millimetre_shops_see_no_inches(build):
    furnace = build("mm", "counterclockwise", spacing=25.0)
    text = " ".join(pages_of(furnace))
    assert " in (" not in text
    assert not re.search(r"\d in\b(?! split)", text)
    assert "ft³" not in text
    assert " lb" not in text
    assert "azimuth grows counterclockwise seen from above" in text


def test_long_names_leave_the_wall_on_the_first_page(furnace):
    long = "the big cupola at the north end of the yard " * 4
    findings = replace(furnace.findings, lining=long, title=long[::-1])
    pages = pages_of(furnace, findings=findings)
    assert "SEEN FROM INSIDE" in pages[0]
    assert pages[1].startswith("Work card")
