"""wear.html: whole in itself, escaped, and what it says is what was found."""

from __future__ import annotations

import io
import itertools
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from geom.compare.panels import panels_of
from geom.quantity import Quantity
from geom.record.changepoints.steps import Step
from geom.record.regions import regions_of
from geom.record.store.grid import record_grid
from geom.record.study import Depth, PartlyStated, Wear
from geom.record.wear.maps import RateMap, WearMaps
from geom.record.wear.ovality import Harmonic, Harmonics
from geom.record.wear.rates import wear_rates
from geom.record.wear.series import SurveyGap
from geom.views.cautions import CAUTIONS
from geom.views.charts import figure as chart
from geom.views.charts.colours import cutback_rgb, uncertainty_rgb, wear_step
from geom.views.charts.figure import wear_axis
from geom.views.charts.wear_charts import (
    RateBars,
    level_bars_png,
    middle,
    side_bars_png,
)
from geom.views.charts.wear_map import WearFigure, WearMap, uncertainty_png, wear_png
from geom.views.pages.wear import step_marks, still_png, wear_page
from geom.views.say import (
    say_percent,
    say_region,
    say_wear,
    say_wear_interval,
)
from geom.views.tables.wear import (
    forecast_rows,
    pattern_lines,
    rate_columns,
    rate_quantities,
    say_heats,
    say_rule,
    spell_rows,
    spells_words,
    stop_lines,
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
        forecasts=make_forecasts(regions),
        repaired=(),
        maps=maps,
        warnings=(PartlyStated("tonne", 13, 14),),
    )
    return replace(wear, **changes)


@pytest.fixture
def undrawn(monkeypatch):
    """Dots in the place of pictures, where only the words are looked at."""
    names = ("wear", "doubt", "levels", "sides", "zones")
    dots = dict.fromkeys(names, b"PNG, not really")
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
    assert "script" not in page.tags
    assert page.tags.count("caption") == page.tags.count("table") == 3
    assert all(link.startswith(("data:image/png", "#")) for link in page.links)
    raw = wear_page(wear, design, depths())
    assert not any(part in raw for part in (b"http://", b"https://", b"url("))
    assert page.tags.count("img") == 6


@pytest.mark.parametrize("field", ["lining", "campaign", "title", "created", "version"])
@pytest.mark.usefixtures("undrawn")
def test_markup_in_any_text_stays_text(wear, design, field):
    page = Page(wear_page(replace(wear, **{field: EVIL}), design))
    assert "script" not in page.tags
    assert page.tags.count("img") == 5
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
    assert page.text.count(evil) >= 5


def test_it_says_what_to_know(page, wear, design):
    for words in (
        "Stop and inspect",
        *stop_lines(wear.stops, design),
        "from heat 10 on 11/32 in (9.00 mm) a heat, before 1/4 in (6.00 mm)",
        "seen in about 1 in 500 of such records",
        "Melting zone: wears more at 1 o'clock: 0.08 in (2.0 mm), 95 %: 0.06 to",
        "Rule in force: greater of long- and short-term rate (as in pressure-",
        "Iron melted told of 13 of 14 spells: rates per tonne are of those alone.",
        "heat 99: surveyed only after its repair",
        "2026-01-05 to 2026-01-19",
        "29 surveys, 14 spells of wear, 14 heats, 84.0 hours on blast, 309 "
        "short tons melted",  # 280 tonnes
        "What this does not say",
        "azimuth grows clockwise seen from above",
        "seen from inside",
    ):
        assert words in page.text, words
    assert all(caution in page.text for caution in CAUTIONS)


def test_rates_of_the_table_are_those_found(page, wear):
    i = place(wear.regions, "melting zone")
    for per in ("heat", "hour", "tonne"):
        long = wear.rates[per].long[i].times(0.90718474 if per == "tonne" else 1.0)
        said = say_wear(long.value, "in") + say_wear_interval(long, "in")
        assert said in page.text
    other = Quantity.normal(1.07 * wear.rates["heat"].long[i].value, 0.1)
    assert say_wear(other.value, "in") not in page.text


@pytest.mark.usefixtures("undrawn")
def test_a_quiet_record_says_so(wear, design):
    quiet = replace(wear, steps=(), pattern=(), forecasts=(), gaps=(), warnings=())
    page = Page(wear_page(quiet, design))
    for words in ("Stop and inspect", "Mind this", "Gaps", "How long until"):
        assert words not in page.text
    assert "No step was found" in page.text


@pytest.mark.usefixtures("undrawn")
def test_a_record_that_tells_heats_alone_has_no_other_rates(wear, design):
    alone = replace(wear, rates={"heat": wear.rates["heat"]})
    page = Page(wear_page(alone, design))
    assert "Long, a heat" in page.text
    for unit in ("tonne", "short ton"):
        assert f"a {unit}" not in page.text


def test_an_inch_shop_weighs_its_iron_in_short_tons(wear, design):
    inches, metric = (replace(design, length_unit=unit) for unit in ("in", "mm"))
    by_shop = [rate_quantities(wear, shop) for shop in (inches, metric)]
    names = [rate_columns(wear, shop) for shop in (inches, metric)]
    assert names[0].index("Long, a short ton") == names[1].index("Long, a tonne")
    column = names[0].index("Long, a short ton")
    for short, tonne in zip(*(found[column] for found in by_shop), strict=True):
        if short is not None:  # 2,000 pounds of 0.45359237 kg
            assert short.value == pytest.approx(0.90718474 * tonne.value)
    said = spells_words(wear, inches), spells_words(wear, metric)
    melted = [float(re.search(r"([\d.]+) (short )?ton", words)[1]) for words in said]
    assert melted[0] == pytest.approx(melted[1] / 0.90718474, rel=5e-3)
    (iron, *_), (tonnes, *_) = (
        [float(row[4]) for row in spell_rows(wear, shop)] for shop in (inches, metric)
    )
    assert iron == pytest.approx(tonnes / 0.90718474, rel=5e-3)


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


def test_the_still_picture_is_one(wear, design):
    picture = Image.open(io.BytesIO(still_png(wear, design)))
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
        for make in (level_bars_png, side_bars_png):
            content = make(design, regions, sets, per="tonne")
            assert Image.open(io.BytesIO(content)).width > 900


def test_sides_stand_as_a_person_inside_sees_them():
    from geom.views.charts.wear_charts import left_to_right

    design = tapered_design()
    regions = regions_of(panels_of(design), design)
    for sense, onward in (("clockwise", 30.0), ("counterclockwise", -30.0)):
        order = left_to_right(replace(design, azimuth_sense=sense), regions)
        at = [middle(regions.regions[i]) for i in order]
        assert at[0] == 180.0
        assert at[6] == 0.0
        assert all((b - a) % 360.0 == onward % 360.0 for a, b in itertools.pairwise(at))


def test_a_step_is_marked_in_the_zones_it_lies_in(wear):
    (step,), regions = wear.steps, wear.regions
    (mark,) = step_marks(step, regions)
    assert regions.regions[mark.region].name == "melting zone"
    assert mark.heat == 10
    whole = replace(step, region=regions.regions[0])
    assert len(step_marks(whole, regions)) == len(regions.of_kind("zone"))


def test_the_soonest_forecasts_are_told_first(wear, design):
    rows = forecast_rows(wear.forecasts, design)
    assert [row.heats for row in rows] == [
        "0.4 heats",
        "5.0 heats",
        "40 heats",
        "cannot be told",
    ]
    assert rows[2].interval == "25 or more"
    assert [row.stop for row in rows] == [True, False, False, False]
    # Half of the lower bound, in whole heats.
    assert [row.again for row in rows] == [
        "",
        "survey again within 1 heat",
        "survey again within 12 heats",
        "",
    ]


def test_zones_of_which_the_same_is_told_share_a_line(wear, design):
    zones = [wear.regions.regions[i] for i in wear.regions.of_kind("zone")]
    alike = [Harmonics(zone, (), spells=14) for zone in zones[:2]]
    odd = Harmonics(zones[2], (), spells=3)
    names = [zone.name for zone in zones]
    assert pattern_lines([*alike, odd], design) == [
        f"{names[0].capitalize()} and {names[1]}: no side wears more than another "
        "as far as surveys tell",
        f"{names[2].capitalize()}: too few spells of wear to tell how it lies round "
        "the wall (3)",
    ]


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


def test_wear_is_said_in_the_shops_unit_and_mm():
    assert say_wear(12.7, "in") == "1/2 in (12.7 mm)"
    assert say_wear(0.0254 * 1.3, "in") == "0.0013 in (0.033 mm)"
    assert say_wear(12.7, "cm") == "1.27 cm (12.7 mm)"
    # Both ends in one manner.
    wide = Quantity(3.0, 1.0, 1.0, 5.0)
    assert say_wear_interval(wide, "in") == "1/32 to 3/16 in (1.00 to 5.00 mm)"


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
