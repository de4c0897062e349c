"""map.png: right way round, fixed colours, nothing invented; the wall by what to do."""

import io

import numpy as np
import pytest
from PIL import Image

from geom.design.drawing import Profile
from geom.views.charts import figure as chart
from geom.views.charts.colours import cutback_rgb
from geom.views.charts.figure import nice_step
from geom.views.charts.survey_maps import (
    map_png,
    workmap_png,
)
from geom.views.charts.unrolled import Unrolled

DPI = 100


def drawn(furnace):
    """The picture and a way to ask it for the colour at (azimuth, height)."""
    with chart.drawing_style():
        figure = map_png.draw(furnace.readings, furnace.surface, furnace.findings)
        picture = Image.open(io.BytesIO(chart.render(figure, dpi=DPI))).convert("RGB")
        axes = figure.axes[0]
    wall = Unrolled(furnace.design, furnace.surface.grid)

    def at(azimuth, height):
        figure.set_dpi(DPI)
        x, y = axes.transData.transform((float(wall.right(azimuth)), height))
        return np.array(picture.getpixel((round(x), picture.height - 1 - round(y))))

    return picture, at


@pytest.fixture(scope="module")
def usual(furnace):
    """The usual furnace, drawn."""
    return drawn(furnace)


def worn_at(azimuth):
    """Cut-back 20 mm within 40 degrees of an azimuth, and nothing elsewhere."""

    def field(grid):
        gap = np.abs((grid.azimuth - azimuth + 180) % 360 - 180)
        cutback = np.where(gap < 40, 20.0, 0.0)
        return np.tile(cutback, (grid.height.size, 1)), np.full(grid.shape, 2.0)

    return field


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_colours_are_where_the_wall_is(build, sense):
    furnace = build(sense=sense, field=worn_at(100.0))
    _, at = drawn(furnace)
    lost, drawing = cutback_rgb(20.0, 31.75), cutback_rgb(0.0, 31.75)
    assert np.abs(at(100.0, 1500.0) - lost).max() <= 1
    assert np.abs(at(260.0, 1500.0) - drawing).max() <= 1


def test_right_is_clockwise_seen_from_above(build):
    # A person inside who turns right turns clockwise as seen from above.
    clockwise = build(sense="clockwise")
    other = build(sense="counterclockwise")
    assert Unrolled(clockwise.design, clockwise.surface.grid).right(90.0) > 0
    assert Unrolled(other.design, other.surface.grid).right(90.0) < 0


def test_azimuth_zero_is_in_the_middle_and_the_back_at_both_ends(furnace):
    wall = Unrolled(furnace.design, furnace.surface.grid)
    assert wall.right(0.0) == 0.0
    assert wall.right(180.0) == pytest.approx(-wall.reach)
    assert wall.right(179.999) == pytest.approx(wall.reach, rel=1e-4)
    assert (np.diff(wall.across) > 0).all()


def test_colour_does_not_depend_on_the_rest_of_the_wall(build):
    def deeper(grid):
        cutback, sd = worn_at(100.0)(grid)
        cutback[:20] = 150.0
        return cutback, sd

    _, one = drawn(build(field=worn_at(100.0)))
    _, two = drawn(build(field=deeper))
    assert (one(100.0, 1800.0) == two(100.0, 1800.0)).all()


def test_unmeasured_wall_and_openings_have_their_own_look(furnace, usual):
    _, at = usual
    near_top = [at(a, 2360.0).tolist() for a in range(0, 360, 3)]
    assert near_top.count([0xA7, 0xA3, 0xB3]) > 30  # the rest is its hatch
    hole = furnace.design.openings[0]
    assert at(hole.azimuth + 1.5, hole.height + 15).tolist() == [0x2A, 0x2A, 0x2E]


def test_the_brick_area_is_hatched_so_it_survives_a_grey_copy(usual):
    _, at = usual
    grey = [int(np.mean(at(a, 760.0))) for a in np.arange(-20, 40, 0.5)]
    # White strokes over a dark fill.
    assert max(grey) > 200
    assert min(grey) < 110


def test_readings_are_dots(furnace, usual):
    _, at = usual
    height = furnace.readings.height
    level = np.unique(height)[8]
    assert max(at(60.0, level)) < 60
    assert max(at(75.0, level)) > 100


def test_a_diameter_is_a_dot_on_both_sides(furnace):
    readings = furnace.readings
    swapped = type(readings)(
        ("diameter",) * len(readings),
        *(getattr(readings, n) for n in ("azimuth", "height", "value", "sd", "step")),
        place=readings.place,
        note=readings.note,
    )
    azimuth, height = swapped.stations
    assert azimuth.size == height.size == 2 * len(readings)
    assert azimuth[len(readings)] == (readings.azimuth[0] + 180.0) % 360.0


def test_text_is_taken_as_it_stands(build):
    title = r"$\frac{1}{0}$ ☃ 鉄 <b>" + "x" * 300
    furnace = build(title=title, spacing=25.0)
    assert (
        map_png(furnace.readings, furnace.surface, furnace.findings)[:4] == b"\x89PNG"
    )


def test_it_is_large_enough_to_read(furnace):
    content = map_png(furnace.readings, furnace.surface, furnace.findings)
    picture = Image.open(io.BytesIO(content))
    assert picture.width >= 1600
    assert len(picture.convert("RGB").getcolors(1 << 20)) > 500


def test_up_and_round_are_at_one_scale(furnace):
    with chart.drawing_style():
        figure = map_png.draw(furnace.readings, furnace.surface, furnace.findings)
    axes = figure.axes[0]
    box = axes.get_window_extent()
    across = box.width / np.ptp(axes.get_xlim())
    assert box.height / np.ptp(axes.get_ylim()) == pytest.approx(across, rel=1e-6)


@pytest.mark.parametrize(
    ("least", "unit", "step"), [(5, "in", 6), (130, "mm", 200), (0.3, "m", 0.5)]
)
def test_ticks_are_usual_divisions(least, unit, step):
    assert nice_step(least, unit) == step


@pytest.mark.parametrize("unit", ["cm", "m"])
def test_other_units_are_drawn_too(build, unit):
    furnace = build(unit, spacing=25.0)
    assert map_png.rendered(dpi=40)(furnace.readings, furnace.surface, furnace.findings)


def test_no_text_leaves_the_picture_or_covers_other_text(build):
    long = "the night shift's survey of the cupola at the north end " * 3
    furnace = build(title=long, name=long, azimuth_zero=long, height_zero=long)
    with chart.drawing_style():
        figure = map_png.draw(furnace.readings, furnace.surface, furnace.findings)
        chart.render(figure, dpi=DPI)
        boxes = [text.get_window_extent() for text in figure.texts]
        scale_bar = figure.axes[0].texts[-1].get_window_extent()
    assert all(box.x1 <= figure.bbox.x1 for box in boxes)
    above = boxes[:3]
    assert not any(box.overlaps(scale_bar) for box in above)
    assert above[0].y0 > above[1].y1 > above[1].y0 > above[2].y1


def test_a_flat_or_tall_lining_says_that_scales_differ(build):
    tall = build("mm", profile=_straight(7000.0), openings=(), spacing=40.0)
    usual = build("mm", spacing=40.0)
    with chart.drawing_style():
        texts = [
            " ".join(
                t.get_text()
                for t in map_png.draw(f.readings, f.surface, f.findings).texts
            )
            for f in (tall, usual)
        ]
    assert "not at one scale" in texts[0]
    assert "not at one scale" not in texts[1]


def _straight(top):
    return Profile(np.array([0.0, top]), np.array([300.0, 300.0]))


def texts(figure):
    return [text.get_text() for text in figure.axes[0].texts]


def test_every_zone_of_work_has_its_number_inside_it(furnace):
    with chart.drawing_style():
        figure = workmap_png.draw(furnace.surface, furnace.findings)
    shown = texts(figure)
    for zone in furnace.findings.zones:
        if zone.action != "leave":
            assert str(zone.id) in shown


def test_actions_differ_in_a_grey_copy(furnace):
    content = workmap_png.rendered(dpi=80)(furnace.surface, furnace.findings)
    grey = np.asarray(Image.open(io.BytesIO(content)).convert("L"))
    rows = grey.shape[0]
    brick, above = grey[int(rows * 0.58)], grey[int(rows * 0.30)]
    assert brick.min() < 110
    assert np.median(above) > 240


def test_a_wall_with_nothing_to_do_is_drawn(build):
    def sound(grid):
        return np.zeros(grid.shape), np.ones(grid.shape)

    furnace = build(field=sound, spacing=25.0)
    assert furnace.findings.zones == ()
    assert (
        workmap_png.rendered(dpi=40)(furnace.surface, furnace.findings)[:4]
        == b"\x89PNG"
    )
