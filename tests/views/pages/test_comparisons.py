"""change.html: whole in itself, escaped, and true to the numbers."""

import io
import re
from dataclasses import replace
from datetime import date
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from geom.quantity import Quantity
from geom.record.change.compare import compare_walls
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion
from geom.views.cautions import CAUTIONS
from geom.views.pages.comparisons import change_page, difference_png
from geom.views.say import say_change
from geom.views.tables.change import facts, piece_rows, say_answer, say_sum, sentences
from tests.record.two_walls import as_drawn, burnt, patched, recorded_wall
from tests.views.page_read import Page
from tests.walls import plain_design, tapered_design

PICTURES = dict.fromkeys(
    ("change", "first", "last", "scale", "levels"), b"\x89PNG not really"
)


@cache
def usual():
    return changed(patched, plain_design(length_unit="in"))


def changed(to=patched, design=None, **options):
    if design is None and to is patched and not options:
        return usual()
    design = plain_design(length_unit="in") if design is None else design
    start = recorded_wall(design=design, title="heat 41")
    last = recorded_wall(
        to,
        design=design,
        title="heat 42",
        created="2026-02-05T06:30:00+00:00",
        **options,
    )
    return compare_walls(start, last), design


def page_of(change, design):
    return Page(change_page(change, design, PICTURES))


def plainly(words):
    return re.sub(r"\s+", " ", words)


def test_tags_are_balanced_and_nothing_is_fetched():
    change, design = changed()
    page = page_of(change, design)
    assert page.open == []
    assert page.tags.count("script") == 1
    assert page.tags.count("img") == 5
    assert all(link.startswith(("data:image/png", "#")) for link in page.links)
    raw = change_page(change, design, PICTURES)
    assert all(word not in raw for word in (b"http://", b"https://", b"url("))


def test_markup_in_any_text_stays_text():
    evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{ 7*7 }}"
    design = plain_design(name=evil, azimuth_zero=evil, height_zero=evil)
    change, _ = changed(design=design)
    start = replace(change.start, title=evil, occasion=None, created=evil)
    page = page_of(replace(change, title=evil, start=start, version=evil), design)
    assert page.tags.count("script") == 1
    assert page.tags.count("img") == 5
    assert page.text.count("<script>alert(1)</script>") >= 6
    assert "{{ 7*7 }}" in page.text


def test_it_says_which_surveys_and_which_way_it_is_seen():
    change, design = changed()
    text = page_of(change, design).text
    assert "From: heat 41, worked out 2026-01-05 06:30 UTC." in text
    assert "To: heat 42, worked out 2026-02-05 06:30 UTC." in text
    assert "Azimuth 0 = tap hole; azimuth grows clockwise seen from above" in text
    assert "seen from inside" in text
    assert all(caution in text for caution in CAUTIONS)


def with_net(change, net):
    """The change with another net volume, litres: value, low and high end."""
    value, low, high = (1e6 * part for part in net)
    sd = (high - low) / 3.92
    volume = replace(change.volume, net=Quantity(value, sd, low, high))
    return replace(change, volume=volume)


def test_the_page_leads_with_the_balance_and_where_most_of_it_is():
    change, design = changed()
    text = page_of(with_net(change, (19.9, 17.0, 22.8)), design).text
    answer = (
        "Wall was lost, on balance: 0.703 ft³ (19.9 L), 95 %: 0.600 to 0.805 ft³. "
        "The greatest change shown is wall lost, at 2 o'clock, 27 3/8 in (695 mm)"
    )
    text = plainly(text)
    assert text.count(answer) == 1
    lead = text.index(answer)
    for later in ("From: heat 41", "Before anybody goes in", "What changed", "Zones"):
        assert text.find(later) == -1 or text.index(later) > lead
    # no other number before it than those of the title
    before = text[: text.index("0.703")].replace(plainly(say_change(change)), "")
    assert not re.search(r"\d", before.replace("heat 41", "").replace("heat 42", ""))


def test_the_balance_says_which_way_only_where_that_is_told():
    change, design = changed(design=plain_design())
    balance = [
        plainly(say_answer(with_net(change, net), design)[0])
        for net in ((5.0, 1.0, 9.0), (-2.0, -4.0, -1.0), (-2.0, -4.0, 1.0))
    ]
    assert balance == [
        "Wall was lost, on balance: 5.00 L, 95 %: 1.00 to 9.00 L.",
        "Wall was put back, on balance: 2.00 L, 95 %: 1.00 to 4.00 L.",
        "On balance these surveys cannot tell whether wall was lost or put back: put "
        "back, as far as they do, 2.00 L, 95 %: -1.00 to 4.00 L.",
    ]


def test_the_greatest_change_is_that_of_either_side():
    change, design = changed()
    loss, gain = change.greatest_loss, change.greatest_gain
    assert loss.change.value > -gain.change.value
    assert "is wall lost, at 2 o'clock" in say_answer(change, design)[1]
    less = replace(loss, change=Quantity(1.0, 0.2, 0.6, 1.4))
    words = say_answer(replace(change, greatest_loss=less), design)[1]
    assert "is wall put back, at " in words
    assert "-" not in words
    none = replace(change, greatest_loss=None, greatest_gain=None)
    assert say_answer(none, design)[1] == "At no one place is a change shown."


def test_the_first_fact_is_the_balance_and_counted_as_it_is_named():
    change, design = changed(design=plain_design())
    for net, name in (((5.0, 1.0, 9.0), "Lost"), ((-5.0, -9.0, -1.0), "Put back")):
        first = facts(with_net(change, net), design)[0]
        assert first == (f"{name} on balance", "5.00 L", "95 %: 1.00 to 9.00 L")


def test_the_sum_is_said_in_the_shops_unit_with_its_intervals():
    change, _ = changed()
    volume = replace(
        change.volume,
        lost=Quantity(23.1e6, 1.35e6, 20.5e6, 25.8e6),
        restored=Quantity(3.2e6, 0.6e6, 2.1e6, 4.5e6),
    )
    change = replace(change, volume=volume)
    assert plainly(say_sum(change, plain_design())) == (
        "Lost in all: 23.1 L, 95 %: 20.5 to 25.8 L. "
        "Put back in all: 3.20 L, 95 %: 2.10 to 4.50 L."
    )
    words = say_sum(change, plain_design(length_unit="in"))
    assert words.startswith("Lost in all: 0.816 ft³ (23.1 L)")


def test_an_interval_shows_why_a_piece_is_told_or_not():
    # In sixteenths both begin at 0; to 0.1 mm one of them holds it.
    design = plain_design(length_unit="in")
    change, _ = changed(design=design)
    side = change.of_kind("side")[0]
    rows = piece_rows(
        tuple(replace(side, mean=Quantity(3.0, 1.4, low, 5.8)) for low in (-0.3, 0.3)),
        design,
    )
    assert [row.call for row in rows] == ["cannot tell", "lost"]
    assert [row.mean_interval for row in rows] == [
        "0 to 1/4 in (-0.3 to 5.8 mm)",
        "0 to 1/4 in (0.3 to 5.8 mm)",
    ]


def test_what_is_shown_is_said_with_place_and_shop_fractions():
    change, design = changed()
    text = plainly(" ".join(sentences(change, design)))
    assert "Shown place by place: lost over" in text
    assert "most at 2 o'clock, 27 3/8 in (695 mm)" in text
    assert "11/16 in (18 mm), 95 %: " in text
    assert "put back over" in text
    assert "tell a change from about 1/16 in (1 mm) on" in text


def test_what_is_not_shown_is_not_claimed():
    change, design = changed(as_drawn, sd=0.6)
    text = plainly(" ".join(sentences(change, design)))
    assert "No loss is shown at any one place" in text
    assert "No wall is shown to have been put back" in text
    assert "Shown place by place" not in text
    names = [name for name, _, _ in facts(change, design)]
    assert "Greatest loss shown" not in names
    assert "Greatest loss shown" in [n for n, _, _ in facts(*changed())]


def test_a_region_is_called_lost_only_where_its_interval_says_so():
    change, design = changed(burnt, design=tapered_design())
    for kind in ("zone", "level", "side"):
        regions = change.of_kind(kind)
        rows = piece_rows(regions, design)
        ordered = regions if kind == "side" else regions[::-1]
        for row, region in zip(rows, ordered, strict=True):
            assert (row.call == "lost") == (region.mean.low95 > 0.0)
    calls = {row.call for row in piece_rows(change.of_kind("side"), design)}
    assert calls == {"lost", "cannot tell"}


def test_every_row_is_on_the_page():
    change, design = changed(design=tapered_design(length_unit="in"))
    text = page_of(change, design).text
    assert "Zones" in text
    for kind in ("zone", "level", "side"):
        for row in piece_rows(change.of_kind(kind), design):
            for words in (row.name, row.small, row.mean, row.lost, row.restored):
                assert words in text
    assert "Zones" not in page_of(*changed()).text  # no tuyeres, no zones


def test_levels_are_told_from_the_top_and_sides_as_the_clock_goes():
    change, design = changed()
    heights = [row.name for row in piece_rows(change.of_kind("level"), design)]
    assert heights[0].startswith("53")
    assert heights[-1].startswith("0 to")
    sides = [row.name for row in piece_rows(change.of_kind("side"), design)]
    assert sides[:3] == ["12 o'clock", "1 o'clock", "2 o'clock"]
    other = plain_design(azimuth_sense="counterclockwise")
    sides = piece_rows(changed(design=other)[0].of_kind("side"), other)
    assert [row.name for row in sides][:3] == ["12 o'clock", "11 o'clock", "10 o'clock"]
    assert sides[1].small == "From half past 10 to half past 11"


@pytest.mark.parametrize("unit", ["in", "mm", "cm", "m"])
def test_every_unit_is_said(unit):
    change, design = changed(design=plain_design(length_unit=unit))
    text = page_of(change, design).text
    assert "nan" not in text.lower()
    assert f" {unit}" in text
    assert np.isfinite(change.detection)


def test_wall_that_wears_a_little_more_is_told_from_the_rest_in_grey():
    """Pale orange and the grey of what is not shown are one grey: a line parts them."""
    design = plain_design()
    grid = record_grid(design)
    occasion = Occasion(1, "before repair", date(2026, 1, 9))
    campaign = SimpleNamespace(occasions=(occasion,))
    more = np.zeros(grid.shape, dtype=np.int8)
    more[grid.shape[0] // 3 : grid.shape[0] // 2, 40:80] = 1

    def dark(shown):
        maps = SimpleNamespace(shown=shown, difference=np.full(grid.shape, 2.0))
        told = SimpleNamespace(
            maps=maps,
            grid=grid,
            design=design,
            by="heat",
            first=campaign,
            second=campaign,
        )
        picture = Image.open(io.BytesIO(difference_png(told, ("one", "two"))))
        return int((np.asarray(picture.convert("L")) < 90).sum())

    assert dark(more) > dark(0 * more) + 150
