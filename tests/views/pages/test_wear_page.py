"""wear.html: whole in itself, escaped, and what it says is what was found."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from geom.compare.panels import panels_of
from geom.quantity import Quantity
from geom.record.campaigns.campaign import Material, Repair
from geom.record.campaigns.effort import Effort
from geom.record.changepoints.steps import Step
from geom.record.forecast.forecast import LongestHeat
from geom.record.regions import regions_of
from geom.record.store.grid import record_grid
from geom.record.study import Depth, NoLeastLining, PartlyStated, Wear
from geom.record.wear.ledger import PanelLedger
from geom.record.wear.maps import RateMap, WearMaps
from geom.record.wear.ovality import Harmonic, Harmonics
from geom.record.wear.rates import wear_rates
from geom.record.wear.series import SurveyGap
from geom.views.cautions import CAUTIONS
from geom.views.charts import figure as chart
from geom.views.charts.colours import cutback_rgb, uncertainty_rgb, wear_step
from geom.views.charts.figure import wear_axis
from geom.views.charts.heat_charts import (
    LongestBar,
    longest_png,
)
from geom.views.charts.wear_charts import (
    RateBars,
    clock_png,
    level_bars_png,
    material_bars_png,
    middle,
)
from geom.views.charts.wear_map import (
    WearFigure,
    WearMap,
    small_walls,
    uncertainty_png,
    wear_png,
)
from geom.views.pages.wear import wear_page
from geom.views.pages.wear_pictures import draw_still, step_marks
from geom.views.say import say_region
from geom.views.say_rates import say_percent, say_rate
from geom.views.tables.wear import (
    REPAIRED_AS_NOW,
    forecast_rows,
    longest_words,
    pattern_line,
    say_heats,
    say_rule,
    say_warning,
    stop_lines,
    uncounted,
)
from geom.views.tables.wear_cards import (
    effort_words,
    ledger_rows,
    ledger_words,
    wear_cards,
)
from tests.views.invented_wear import HEATS, make_forecasts, make_series, place
from tests.views.page_read import Page
from tests.walls import tapered_design

EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{ 7*7 }}"
#: More towards 1 o'clock.
LEANING = Harmonic(1, Quantity(2.0, 0.25, 1.5, 2.5), 30.0)


def make_wear(design, **changes):
    series, occasions, gaps = make_series(design)
    regions, grid = series.regions, record_grid(design)
    hot = regions.regions[place(regions, "melting zone")]
    rate = np.tile(
        0.5 + 9.0 * np.exp(-(((grid.height - 760.0) / 250.0) ** 2))[:, None],
        (1, grid.azimuth.size),
    )
    rate[grid.height > 1300.0] = np.nan
    sd = np.where(np.isnan(rate), np.nan, 0.6)
    rates = RateMap(rate, sd, np.full(grid.shape, HEATS))
    maps = WearMaps(
        grid.height, grid.azimuth, grid.opening, rates, rate, sd, rates, rates
    )
    step = Step(
        region=hot,
        first=series.spells[9],
        before=Quantity.normal(6.0, 0.2),
        after=Quantity.normal(9.0, 0.3),
        change=Quantity.normal(3.0, 0.36),
        chance=0.002,
    )
    repair = Repair(14, Quantity.normal(2.6e7, 1e6), 280.0)
    forecasts = make_forecasts(regions)
    wear = Wear(
        lining=design.name,
        campaign="2026",
        title=f"{design.name}, 2026",
        created="2026-02-01T06:30:00+00:00",
        version="0.1.0",
        campaigns=("2025", "2026"),
        occasions=occasions,
        gaps=(*gaps, SurveyGap(99, "before repair")),
        series=series,
        rates={per: wear_rates(series, per) for per in ("heat", "hour", "tonne")},
        steps=(step,),
        pattern=(Harmonics(hot, (LEANING,), spells=14),),
        forecasts=forecasts,
        repaired=(),
        longest=tuple(
            LongestHeat(
                limit,
                Quantity(heats, 0.2, low, high),
                None,
                Quantity(heats, 1, low, high).times(20.0),
            )
            for limit, low, heats, high in (
                ("brick threshold", 0.5, 1.25, 1.6),
                ("least lining", 5.8, 6.7, math.inf),
            )
        ),
        material=Material((repair,), (), repair.volume.times(1.0 / 280.0)),
        material_by="tonne",
        effort=Effort(
            *(14, Quantity.normal(9e4, 3e3)),
            *(Quantity.normal(0.0, 0.0), Quantity.normal(0.02, 0.001)),
            is_crew_stated=False,
        ),
        ledger=tuple(
            PanelLedger(
                panel=panel,
                height=float(panels_of(design).height[panel]),
                azimuth=float(panels_of(design).azimuth[panel]),
                patched=6,
                bricked=panel % 2,
                deepest=Quantity.normal(deepest, 1.0),
                patch=Quantity.normal(9.0, 1.0),
                original=Quantity.normal(180.0 - deepest, 1.0),
                lost=Quantity.normal(0.2, 0.1),
                heats_left=heats,
            )
            for panel, deepest, heats in (
                (60, 12.7, None),
                (61, 25.4, 17.6),
                (62, 19.05, None),
                (63, 6.0, 0.4),
            )
        ),
        maps=maps,
        warnings=(PartlyStated("tonne", 13, 14),),
    )
    return replace(wear, **changes)


@pytest.fixture
def undrawn(monkeypatch):
    """Dots in the place of pictures, where only the words are looked at."""
    names = "wear doubt levels clock time zones cost longest ledger"
    dots = dict.fromkeys(names.split(), b"PNG, not really")
    monkeypatch.setattr("geom.views.pages.wear.wear_pictures", lambda *_: dots)


def depths(heats=HEATS):
    return [
        Depth(heat, Quantity.normal(20.0 + 1.2 * heat, 2.0))
        for heat in range(1, heats + 1)
    ]


@pytest.fixture(scope="module")
def design():
    return tapered_design(name="Cupola T (invented)", length_unit="in")


@pytest.fixture(scope="module")
def wear(design):
    return make_wear(design)


@pytest.fixture(scope="module")
def page(wear, design):
    return Page(wear_page(wear, design, depths()))


def test_tags_are_balanced_nothing_is_fetched_and_tables_are_named(page, wear, design):
    assert page.open == []
    assert page.mute == []
    assert page.tags.count("script") == 1
    assert page.tags.count("caption") == page.tags.count("table") == 4
    assert all(link.startswith(("data:image/png", "#")) for link in page.links)
    raw = wear_page(wear, design, depths())
    assert not any(part in raw for part in (b"http://", b"https://", b"url("))
    assert page.tags.count("img") == 10


@pytest.mark.parametrize("field", ["lining", "campaign", "title", "created", "version"])
@pytest.mark.usefixtures("undrawn")
def test_markup_in_any_text_stays_text(wear, design, field):
    page = Page(wear_page(replace(wear, **{field: EVIL}), design))
    assert page.tags.count("script") == 1
    assert page.tags.count("img") == 9
    assert field in ("created", "version") or EVIL[:25] in page.text
    assert "49" not in re.findall(r"x onerror\S+\W(\d+)", page.text)


@pytest.mark.usefixtures("undrawn")
def test_markup_in_words_and_drawing_stays_text(wear, design):
    evil = "<i>tap</i> & hole"
    spoiled = replace(design, azimuth_zero=evil, height_zero=evil)
    found = wear.pattern[0]
    named = replace(found, zone=replace(found.zone, name=evil))
    spoiled_wear = replace(wear, pattern=(named,), forecasts=wear.forecasts[:1])
    page = Page(wear_page(spoiled_wear, spoiled))
    assert "i" not in page.tags
    assert page.text.count(evil) >= 4


def test_it_says_what_to_know(page, wear, design):
    for words in (
        "Stop and inspect",
        *stop_lines(wear.stops, design),
        "from heat 10 on 3/8 in (9.0 mm) a heat, before 1/4 in (6.0 mm)",
        "seen in about 1 in 500 of such records",
        "Melting zone: wears more at 1 o'clock: 3/32 in (2.0 mm), 95 %: 1/16 to",
        "Rule in force: greater of long- and short-term rate (as in pressure-",
        "Iron melted told of 13 of 14 spells: rates per tonne are of those alone.",
        "heat 99: surveyed only after its repair",
        "heat 14, before repair, 2026-01-19",
        "29 surveys, 14 spells of wear, 14 heats, 84.0 hours on blast, 309 short tons",
        "What this does not say",
        "azimuth grows clockwise seen from above",
        "seen from inside",
    ):
        assert words in page.text, words
    assert all(caution in page.text for caution in CAUTIONS)


def test_rates_of_the_table_are_those_found(page, wear, design):
    i = place(wear.regions, "melting zone")
    for per, times in (("heat", 1.0), ("hour", 10.0), ("tonne", 90.718474)):
        long = wear.rates[per].long[i].times(times)
        assert "".join(say_rate(long, design)) in page.text
    assert "Long, per 100 short tons" in page.text
    assert "tonne" not in page.text.replace("rates per tonne", "")
    other = wear.rates["heat"].long[i].times(1.2)
    assert "".join(say_rate(other, design)) not in page.text


@pytest.mark.usefixtures("undrawn")
def test_a_quiet_record_says_so(wear, design):
    quiet = replace(wear, steps=(), pattern=(), forecasts=(), gaps=(), warnings=())
    page = Page(wear_page(quiet, design))
    for words in ("stop and inspect", "Mind this", "Gaps", "How long until"):
        assert words not in page.text
    assert "No step was found" in page.text


@pytest.mark.usefixtures("undrawn")
def test_a_record_that_tells_heats_alone_has_no_other_rates(wear, design):
    alone = replace(wear, rates={"heat": wear.rates["heat"]})
    page = Page(wear_page(alone, design))
    assert "Long, a heat" in page.text
    assert "Long, per" not in page.text


def test_the_same_wear_gives_the_same_page(wear, design):
    assert wear_page(wear, design) == wear_page(wear, design)


def drawn(wear_map, make, **options):
    """Colour that a picture of the wall has at (azimuth, height)."""
    picture = Image.open(
        io.BytesIO(make.rendered(dpi=100)(wear_map, **options))
    ).convert("RGB")
    with chart.drawing_style():
        frame = WearFigure(wear_map.design, wear_map.grid)
        (axes,), wall = frame.panels, frame.wall
        frame.figure.set_dpi(100)

        def at(azimuth, height):
            spot = (float(wall.right(azimuth)), height)
            x, y = axes.transData.transform(spot)
            return np.array(picture.getpixel((round(x), picture.height - 1 - round(y))))

    return at


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_wear_is_coloured_where_it_is(sense):
    design = tapered_design(azimuth_sense=sense)
    grid = record_grid(design)
    wear = np.full(grid.shape, 2.0)
    wear[:, (grid.azimuth > 60) & (grid.azimuth < 120)] = 6.0
    wear_map = WearMap(design, grid, wear, np.full(grid.shape, 0.1), "heat")
    step = wear_step(wear, design.repair.brick_threshold)
    at = drawn(wear_map, wear_png)
    for azimuth, value in ((90.0, 6.0), (270.0, 2.0)):
        colour = cutback_rgb(value, step)
        assert np.abs(at(azimuth, 1000.0) - colour).max() <= 1
    assert (cutback_rgb(6.0, step) != cutback_rgb(2.0, step)).any()
    other = drawn(wear_map, uncertainty_png)
    assert np.abs(np.diff(other(90.0, 1000.0))).max() <= 1  # a grey


def test_several_maps_share_one_scale_when_asked(design):
    grid = record_grid(design)
    sd = np.full(grid.shape, 0.01)
    wear_map = WearMap(design, grid, np.full(grid.shape, 1.0), sd, "tonne")
    alone, shared = drawn(wear_map, wear_png), drawn(wear_map, wear_png, step=16.0)
    assert (alone(90.0, 1000.0) != shared(90.0, 1000.0)).any()
    assert np.abs(shared(90.0, 1000.0) - cutback_rgb(1.0, 16.0)).max() <= 1


def test_the_scale_goes_by_halves_of_the_brick_threshold():
    assert wear_step(np.array([3.0, 7.0]), 32.0) == 4.0
    assert wear_step(np.array([-9.0]), 32.0) == 8.0
    assert wear_step(np.array([np.nan]), 32.0) == 32.0
    # One wild cell in a thousand does not decide.
    wild = np.append(np.full(999, 1.0), 500.0)
    assert wear_step(wild, 32.0) == wear_step(wild[:-1], 32.0) == 0.5


def test_darker_is_less_well_known():
    grey = uncertainty_rgb(np.array([0.0, 1.0, 2.0, 5.0]), 2.0).mean(axis=-1)
    assert (np.diff(grey) <= 0).all()
    assert grey[0] > 240
    assert grey[2] < 60


def test_small_walls_come_in_their_order_and_nothing_of_one_stays_in_the_next(design):
    """Whole, hatched all over, not surveyed in part, and sound."""
    grid = record_grid(design)
    rising = np.broadcast_to(np.linspace(0.0, 90.0, grid.shape[1]), grid.shape)
    lacking = np.where(rising < 50.0, rising, np.nan)
    walls = [rising, np.full(grid.shape, 60.0), lacking, np.full(grid.shape, 5.0)]
    together = small_walls(design, grid, walls)
    assert together == [small_walls(design, grid, [wall])[0] for wall in walls]
    assert len(set(together)) == 4
    assert small_walls(design, grid, []) == []


def test_the_still_picture_is_one(wear, design):
    picture = Image.open(io.BytesIO(draw_still((wear.measured, design))))
    assert picture.format == "PNG"
    assert picture.width > picture.height > 500


@pytest.mark.parametrize("unit", ["in", "mm", "cm", "m"])
def test_bars_are_drawn_in_every_unit_with_rates_missing(unit):
    design = tapered_design(length_unit=unit)
    regions = regions_of(panels_of(design), design)
    some = [
        None if i % 7 == 0 else Quantity.normal(i % 5, 0.4)
        for i in range(len(regions.regions))
    ]
    none = [None] * len(some)
    for sets in ([RateBars("", some)], [RateBars("A", some), RateBars("B", none)]):
        for make in (level_bars_png, clock_png):
            content = make(design, regions, sets, per="tonne")
            assert Image.open(io.BytesIO(content)).width > 800


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_the_clock_has_each_side_at_its_hour(sense):
    """More wear in 60 to 120 degrees: at 3 o'clock, or 9 where azimuth runs back."""
    design = tapered_design(azimuth_sense=sense)
    regions = regions_of(panels_of(design), design)
    rates = [
        Quantity.normal(8.0 if 60 < middle(region) < 120 else 2.0, 0.1)
        if region.kind == "side"
        else None
        for region in regions.regions
    ]
    picture = clock_png(design, regions, [RateBars("", rates)], per="heat")
    orange = np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")) == (
        240,
        160,
        68,
    )
    across = orange.all(axis=-1).sum(axis=0)
    left, right = np.array_split(across, 2)
    late, early = (left, right) if sense == "clockwise" else (right, left)
    assert early.sum() > 1.5 * late.sum()


def test_a_step_is_marked_in_the_zones_it_lies_in(wear):
    (step,), regions = wear.steps, wear.regions
    (mark,) = step_marks(step, regions)
    assert regions.regions[mark.region].name == "melting zone"
    assert mark.heat == 10
    whole = replace(step, region=regions.regions[0])
    assert len(step_marks(whole, regions)) == len(regions.of_kind("zone"))


def test_the_soonest_forecasts_are_told_first(wear, design):
    rows = forecast_rows(wear.forecasts, design)
    assert [(row.brick[0], row.lining[0]) for row in rows] == [
        ("0.4 heats", "0.8 heats"),
        ("5.0 heats", ""),
        ("40 heats", ""),
        ("", "cannot be told"),
    ]
    assert rows[2].brick[1] == "25 or more"
    assert [row.stop for row in rows] == [True, False, False, False]
    # Half of the lower bound, in whole heats.
    assert [row.again for row in rows] == [
        "survey again within 1 heat",
        "survey again within 1 heat",
        "survey again within 12 heats",
        "",
    ]


def test_stop_is_called_for_the_lining_and_never_for_brick(wear, design):
    (line,) = stop_lines(wear.stops, design)
    assert line.startswith("Melting zone: ")
    assert "to the least lining" in line
    assert "brick" not in line


def test_how_the_wall_wears_round_is_one_sentence_of_the_hottest_zone(wear, design):
    zones = [wear.regions.regions[i] for i in wear.regions.of_kind("zone")]
    alike = [Harmonics(zone, (), spells=14) for zone in zones]
    assert pattern_line(replace(wear, pattern=tuple(alike)), design) == (
        "Melting zone: no side wears more than another as far as surveys tell."
    )
    few = replace(wear, pattern=(Harmonics(zones[0], (), spells=3),))
    assert pattern_line(few, design) == (
        f"{zones[0].name.capitalize()}: too few spells of wear to tell how it lies "
        "round the wall (3)."
    )
    assert pattern_line(replace(wear, pattern=()), design) == ""


def test_the_four_questions_are_answered_with_the_figures_found(wear, design):
    where, worse, longest, cost = wear_cards(wear, design)
    hot = wear.rates["heat"].long[place(wear.regions, "melting zone")]
    assert where.answer == f"Melting zone: {say_rate(hot, design)[0]} a heat"
    assert where.remarks[1].startswith("per 100 short tons: ")
    assert worse.answer == "Yes: more since heat 10"
    # 25 t, 10 to 32 t; 134 t and 116 t at least, in short tons
    assert longest.answer == "About 28 short tons"
    assert longest.remarks == (
        "until some of it is past the brick line; 95 %: 11 to 35 short tons",
        "148 short tons until only the least lining is left; 95 %: 128 short tons or "
        "more",
        "from the wall as repaired after heat 14",
    )
    # 26 litres over 280 t: 8.42 litres per 100 short tons
    assert cost.answer == "0.297 ft³ (8.42 L) put back per 100 short tons"


def test_a_wall_that_was_not_repaired_yet_is_called_so(wear, design):
    worn = replace(wear, occasions=wear.occasions[:-1])
    assert wear_cards(worn, design)[2].remarks[-1] == (
        "from the wall before its repair after heat 14"
    )


def test_less_wear_since_a_step_is_not_getting_worse(wear, design):
    (step,) = wear.steps
    less = replace(step, change=Quantity.normal(-3.0, 0.3))
    cards = wear_cards(replace(wear, steps=(less,)), design)
    assert cards[1].answer == "No: less since heat 10"


@pytest.mark.usefixtures("undrawn")
def test_with_too_few_spells_nobody_is_told_that_no_step_is_there(wear, design):
    few = replace(wear, steps=(), series=make_series(design, heats=4)[0])
    card = wear_cards(few, design)[1]
    assert card.answer == "Too early to tell"
    assert card.remarks == ("a step needs 5 spells of wear to be seen; there are 4",)
    enough = replace(few, series=make_series(design, heats=5)[0])
    assert wear_cards(enough, design)[1].answer == "No step was found"


def test_hours_and_iron_are_both_said_and_an_endless_heat_is(wear):
    heat = wear.longest[0]
    hours = replace(heat, hours=Quantity(11.4, 1.0, 4.55, 15.0))
    assert longest_words(hours, "short ton") == (
        "11 h or 28 short tons",
        "95 %: 4.5 to 15 h, or 11 to 35 short tons",
    )
    endless = Quantity(math.inf, 0.0, 300.0, math.inf)
    assert longest_words(LongestHeat("least lining", endless, None, None), "t") == (
        "very long",
        "95 %: 300 heats or more",
    )


def test_the_ledger_says_what_lasts_least_first(wear, design):
    rows = ledger_rows(wear, design)
    reline = ["now", "17 heats or more", "not in sight", "not in sight"]
    assert [row.reline for row in rows] == reline
    assert [row.gone[0] for row in rows][1:] == [
        "1 in (25 mm)",
        "3/4 in (19 mm)",
        "1/2 in (13 mm)",
    ]
    assert rows[1].patched == "6 times, 1 in brick"
    assert rows[2].patched == "6 times"
    assert "Most original lining is gone at" in ledger_words(wear, design)
    assert "1 in (25 mm)" in ledger_words(wear, design)
    bare = replace(wear, ledger=tuple(replace(x, original=None) for x in wear.ledger))
    assert "Left of it" in ledger_words(wear, design)
    assert "Left of it" not in ledger_words(bare, design)
    assert {row.left for row in ledger_rows(bare, design)} == {("", "")}


@pytest.mark.usefixtures("undrawn")
def test_what_repaired_as_now_means_stands_by_its_figures(wear, design):
    words = f"R{REPAIRED_AS_NOW[1:]}."
    assert words not in Page(wear_page(wear, design)).text
    again = replace(wear, repaired=wear.forecasts[:1])
    text = Page(wear_page(again, design)).text
    assert words in text
    assert "repaired as now0.4 heats" in text


def test_a_least_lining_that_nobody_stated_is_asked_for(design):
    assumed = say_warning(NoLeastLining(114.3), design)
    assert "4 1/2 in (114 mm), half of the thinnest drawn, is taken" in assumed
    assert "only the brick line" in say_warning(NoLeastLining(None), design)


@pytest.mark.usefixtures("undrawn")
def test_heats_before_the_first_survey_are_named_as_not_told(wear, design):
    begun = Page(wear_page(wear, design))
    assert "as it began was not surveyed" not in begun.text
    late = replace(wear, occasions=wear.occasions[1:])
    why = "2026: up to heat 1: the wall as it began was not surveyed"
    assert why in Page(wear_page(late, design)).text
    assert uncounted(late.occasions, ()) == [why]
    assert uncounted(wear.occasions, ()) == []


def test_heats_of_a_length_and_endless_bars_are_drawn():
    brick = LongestBar("until brick", Quantity(10.0, 1.0, 4.0, 13.0))
    lining = LongestBar("until lining", Quantity(math.inf, 0.0, 40.0, math.inf))
    for bars in ([brick], [brick, lining], [lining]):
        picture = longest_png([8.0, 9.0], bars, "hours")
        assert Image.open(io.BytesIO(picture)).width > 800


def test_costs_of_two_campaigns_are_drawn(design):
    put = [("spring", Quantity.normal(2e7, 1e6)), ("autumn", Quantity.normal(1e7, 1e6))]
    picture = material_bars_png(design, put, per="100 short tons")
    assert Image.open(io.BytesIO(picture)).width > 800


def test_the_rule_is_told_once_and_what_it_comes_to_with_each(wear, design):
    some = tuple(
        replace(forecast, governing="short-term") for forecast in wear.forecasts
    )
    assert {row.rule for row in forecast_rows(some, design)} == {
        "the short-term rate governs"
    }
    assert say_rule(some[0]).startswith("greater of long- and short-term rate")


def test_heats_and_percent_are_said_as_people_do():
    assert say_heats(Quantity(3.42, 0.8, 2.1, 5.2)) == ("3.4 heats", "2.1 to 5.2")
    assert say_heats(Quantity(math.inf, 0.0, 300.0, math.inf))[1] == "300 or more"
    assert say_percent(Quantity(1.3, 0.1, 1.1, 1.5)) == ("30 % more", "10 to 50 % more")
    assert say_percent(Quantity(0.82, 0.06, 0.7, 0.95))[1] == "5 to 30 % less"


@pytest.mark.parametrize(
    ("parts", "value", "interval"),
    [
        # eighths where these are near and tell the ends apart
        ((12.7, 9.0, 16.4), "1/2 in (13 mm)", "3/8 to 5/8 in (9 to 16 mm)"),
        # thirty-seconds where they decide; mm where these do not
        ((11, 10.5, 11.6), "7/16 in (11.0 mm)", "13/32 to 15/32 in (10.5 to 11.6 mm)"),
        ((6.29, 5.98, 6.6), "1/4 in (6.3 mm)", "6.0 to 6.6 mm"),
        ((0.1, 0.05, 0.2), "0.004 in (0.10 mm)", "0.002 to 0.008 in (0.05 to 0.20 mm)"),
    ],
)  # fmt: skip
def test_wear_is_said_as_on_the_shops_rule(design, parts, value, interval):
    middle, low, high = parts
    wear = Quantity(middle, 1.0, low, high)
    assert say_rate(wear, design) == (value, interval)
    assert say_rate(wear, replace(design, length_unit="mm"))[1] in interval


def test_places_are_said_on_the_clock(design):
    regions = regions_of(panels_of(design), design)
    side = next(p for p in regions.regions if p.kind == "side" and middle(p) == 90.0)
    assert say_region(side, design) == "3 o'clock side"
    wide = replace(side, azimuth_to=165.0)
    assert say_region(wide, design) == "sides from half past 2 to half past 5"


def numbers(low, high, unit):
    """Numbers along an axis of wear that are seen, and where they stand, mm."""
    with chart.drawing_style():
        axes = chart.new_figure(4.0, 3.0).add_axes((0.1, 0.1, 0.8, 0.8))
        axes.set_ylim(low, high)
        wear_axis(axes, "y", unit, words="", size=10.0)
        axes.figure.canvas.draw()
        shown = [
            (tick.get_loc(), tick.label1.get_text())
            for tick in axes.yaxis.get_major_ticks()
            if low - 1e-9 <= tick.get_loc() <= high + 1e-9
        ]
    places, labels = zip(*shown, strict=True)
    return places, list(labels)


def test_ticks_are_the_trades_own():
    assert numbers(0.0, 12.7, "in")[1] == ["0", "1/8", "1/4", "3/8", "1/2"]
    places, labels = numbers(0.0, 0.2, "in")
    assert labels[1] == "0.002"
    assert places[1] == pytest.approx(0.0508)
    assert numbers(-1.0, 3.0, "mm")[1] == ["-1", "0", "1", "2", "3"]


def test_the_far_side_of_an_axis_of_wear_is_in_mm():
    with chart.drawing_style():
        axes = chart.new_figure(4.0, 3.0).add_axes((0.1, 0.1, 0.8, 0.8))
        axes.set_xlim(0.0, 12.7)
        wear_axis(axes, "x", "in", words="wear", size=10.0)
        axes.figure.canvas.draw()
        (far,) = axes.child_axes
        labels = {
            tick.get_loc(): tick.label2.get_text()
            for tick in far.xaxis.get_major_ticks()
        }
    assert axes.get_xlabel() == "wear, in"
    assert labels[2.0] == "2"
    assert labels[12.0] == "12 mm"


def test_what_repairs_took_is_told_per_hundred_of_the_shops_tons(design):
    """0.09 L and 0.02 h a tonne; 100 short tons are 90.718474 t: 8.16 L, 1.81 h."""
    words = effort_words(make_wear(design), design)
    assert "by the plans of 14 of them, per 100 short tons: " in words
    assert "8.16 L" in words
    assert "; no bricks; 1.81 hours of one man on the wall, 95 %: 1.64 to " in words
    assert "no [crew]" in words
    one = Effort(1, None, None, None, is_crew_stated=True)
    words = effort_words(make_wear(design, effort=one), design)
    assert words.startswith("Daub, bricks and hours per 100 short tons are not told")
