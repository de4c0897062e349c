"""The stop and the segments in words."""

import json
from dataclasses import replace

import pytest

from geom.repair.masonry.support import Stop
from geom.views.documents import findings_document
from geom.views.tables.support import (
    MAYBE,
    STOP,
    relining_rows,
    relining_words,
    segment_words,
    stop_head,
    stop_lines,
    stop_warnings,
    support_rows,
    support_warnings,
)
from geom.views.tables.survey import terminal_rows

OPENED = Stop("opened", 635.0, 889.0, 0.62)
BURNT = Stop("burnt", 609.6, 914.4, 0.97)


@pytest.fixture(scope="module")
def stopped(furnace):
    """The usual furnace, its support with two stops."""
    support = replace(furnace.works.support, stops=(OPENED, BURNT))
    return replace(furnace.works, support=support)


@pytest.fixture(scope="module")
def free(furnace):
    support = replace(furnace.works.support, stops=())
    return replace(furnace.works, support=support)


def test_a_stop_says_where_and_how_much(stopped, furnace):
    opened, burnt, until = stop_lines(stopped, furnace.design)
    assert "round 62 % of the wall at 25 to 35 in (635 to 889 mm)" in opened
    assert opened.startswith("Brick is to be set")
    assert "past the brick line round 97 %" in burnt
    assert "24 to 36 in" in burnt
    assert until == "No lining is opened before that is settled."


def test_the_stop_comes_first_in_warnings_and_in_the_terminal(
    stopped, furnace, tmp_path
):
    document = json.loads(findings_document(furnace.findings, stopped, furnace.design))
    assert document["warnings"][0].startswith(f"Stop. {STOP}. Brick is to be set")
    assert document["warnings"][1:] == list(furnace.findings.warnings)
    name, words = terminal_rows(
        furnace.design, furnace.surface, furnace.findings, stopped, tmp_path
    )[0]
    assert name == "STOP"
    assert STOP in words


def test_what_is_only_possible_is_said_so(furnace):
    stop = Stop("possible", 609.6, 914.4, 0.8)
    works = replace(
        furnace.works, support=replace(furnace.works.support, stops=(stop,))
    )
    words, _ = stop_lines(works, furnace.design)
    assert words.startswith("The wall may be past the brick line round 80 % of it")
    assert words.endswith("measure it again first.")
    assert stop_head(works) == MAYBE
    both = replace(works, support=replace(works.support, stops=(BURNT, stop)))
    assert stop_head(both) == STOP


def test_too_little_lining_behind_a_seat_is_a_warning(furnace, tmp_path):
    works, design = furnace.works, furnace.design
    assert support_warnings(works, design) == []
    behind = replace(works.support.behind, lining=76.2, wanted=101.6, kept=False)
    less = replace(works, support=replace(works.support, behind=behind))
    (words,) = support_warnings(less, design)
    assert words.startswith("Behind the brick: least lining 3 in (76 mm)")
    rows = terminal_rows(design, furnace.surface, furnace.findings, less, tmp_path)
    assert ("Warning", words) in rows
    document = json.loads(findings_document(furnace.findings, less, design))
    assert words in document["warnings"]


def test_without_a_stop_nothing_is_said_of_one(free, furnace, tmp_path):
    assert stop_lines(free, furnace.design) == []
    assert stop_warnings(free, furnace.design) == []
    document = json.loads(findings_document(furnace.findings, free, furnace.design))
    assert document["warnings"] == list(furnace.findings.warnings)
    rows = terminal_rows(
        furnace.design, furnace.surface, furnace.findings, free, tmp_path
    )
    assert "STOP" not in dict(rows)


def test_segments_wait_for_each_other_and_all_bricks_are_in_them(furnace):
    works = furnace.works
    zone = next(z for z in works.plan.zones if z.brickwork is not None)
    held = [each.bricks for each in works.support.segments if each.zone == zone.id]
    assert sum(held) == len(zone.brickwork.bricks)
    words = segment_words(works, furnace.design)
    assert "no more than 60 degrees of arc and 24 in (610 mm) of height" in words
    assert "let it set, then the next" in words


def test_the_lining_behind_is_held_against_what_the_shop_wants(furnace):
    works, design = furnace.works, furnace.design
    rows = dict(support_rows(works, design))
    assert "the shop wants" not in rows["Behind the seats"]
    behind = replace(works.support.behind, lining=76.2, wanted=101.6, kept=False)
    less = replace(works, support=replace(works.support, behind=behind))
    words = dict(support_rows(less, design))["Behind the seats"]
    assert words.startswith("least lining 3 in (76 mm)")
    assert words.endswith("LESS than the shop wants: 4 in")


def test_a_ring_lined_anew_is_worded_brick_by_brick(furnace):
    from geom.repair.masonry.relining import relined_bands

    (band,) = relined_bands(furnace.design, [BURNT])
    assert "24 to 36 in" in relining_words(band, furnace.design)
    rows = relining_rows(band, furnace.design)
    assert len(rows) == len(band.ways) > 0
    for way, (each, courses, total) in zip(band.ways, rows, strict=True):
        assert courses.startswith(f"{way.courses} of ")
        for brick in way.bricks:
            assert f"{brick.needed} \N{MULTIPLICATION SIGN} {brick.name}" in total
            assert brick.name in each
