"""Pictures of a change: right way round, fixed colours, nothing but what is shown."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from geom.record.change.compare import compare_walls
from geom.views.charts import figure as chart
from geom.views.charts.change_map import (
    NOT_SHOWN,
    change_png,
    change_rgb,
    levels_png,
    scale_png,
    wall_png,
)
from geom.views.charts.colours import cutback_rgb
from geom.views.charts.unrolled import Unrolled
from tests.record.two_walls import patched, recorded_wall
from tests.walls import plain_design, tapered_design

DPI = 100


def between(design, to, **options):
    start = recorded_wall(design=design)
    last = recorded_wall(to, design=design, created="2026-02-05T06:30:00", **options)
    return compare_walls(start, last)


def stepped(at, size):
    """A change of one size within 40 degrees of an azimuth, nothing elsewhere."""

    def field(height, azimuth):
        gap = np.abs((azimuth - at + 180.0) % 360.0 - 180.0)
        return np.where(gap < 40.0, size, 0.0) + 0.0 * height

    return field


def pixel_sampler(figure, wall):
    """The picture as a way to ask it for the colour at (azimuth, height)."""
    picture = Image.open(io.BytesIO(chart.render(figure, dpi=DPI))).convert("RGB")
    axes = figure.axes[0]

    def at(azimuth, height):
        figure.set_dpi(DPI)
        x, y = axes.transData.transform((float(wall.right(azimuth)), height))
        return np.array(picture.getpixel((round(x), picture.height - 1 - round(y))))

    return at


def colours_of(change, design):
    with chart.drawing_style():
        figure = change_png.draw(change, design)
        return pixel_sampler(figure, Unrolled(design, change.grid))


def most_of(at, azimuth, height):
    """The commonest colour about a place: that between the strokes of a hatch."""
    near = [
        at(azimuth + a, height + b) for a in range(-6, 7) for b in range(-60, 61, 6)
    ]
    seen, count = np.unique(near, axis=0, return_counts=True)
    return seen[count.argmax()]


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("size", [14.0, -14.0])
def test_only_what_is_shown_has_a_colour_and_where_it_is(sense, size):
    design = plain_design(azimuth_sense=sense)
    at = colours_of(between(design, stepped(100.0, size)), design)
    limit = design.repair.brick_threshold
    expected = change_rgb(np.array(size), limit)
    assert np.abs(most_of(at, 100.0, 750.0) - expected).max() <= 2
    grey = [int(NOT_SHOWN[i : i + 2], 16) for i in (1, 3, 5)]
    assert at(260.0, 750.0).tolist() == grey


def test_a_change_too_small_to_tell_is_grey():
    design = plain_design()
    at = colours_of(between(design, stepped(100.0, 0.8)), design)
    assert (at(100.0, 750.0) == at(260.0, 750.0)).all()


def test_what_is_only_likely_is_dotted_and_paler():
    # a little beyond the level of detection of one cell (1.5 mm), in few cells
    design = plain_design()

    def few(height, azimuth):
        here = (np.abs(azimuth - 100.0) < 8.0) & (np.abs(height - 700.0) < 90.0)
        return np.where(here, 1.75, 0.0)

    change = between(design, few)
    assert (change.maps.significant == 1).any()
    assert not (change.maps.shown == 1).any()
    at = colours_of(change, design)
    near = np.array(
        [at(100 + a, 700 + b) for a in range(-6, 7) for b in range(-70, 71)]
    )
    assert near.max(axis=1).min() < 120  # dots
    assert np.unique(near, axis=0).shape[0] > 3
    assert (most_of(at, 260.0, 750.0) == at(260.0, 750.0)).all()


def test_lost_and_put_back_differ_in_a_grey_copy():
    design = plain_design()
    strokes = []
    for size in (12.0, -12.0):
        at = colours_of(between(design, stepped(100.0, size)), design)
        rows = np.array(
            [[at(a, z) for a in np.arange(80, 120, 0.4)] for z in (700, 740)]
        )
        grey = rows.mean(axis=2)
        # slanted strokes stand elsewhere on another height, upright ones do not
        strokes.append(np.abs(grey[0] - grey[1]).mean())
    assert strokes[0] > 10.0
    assert strokes[1] < 4.0


def test_deep_colours_have_pale_strokes():
    design = plain_design()
    at = colours_of(between(design, stepped(100.0, 40.0)), design)
    grey = [at(a, 750.0).mean() for a in np.arange(80, 120, 0.4)]
    assert min(grey) < 60
    assert max(grey) > 150


def test_the_scale_is_even_to_both_sides_and_ends_at_the_brick_line():
    limit = 31.75
    ends = change_rgb(np.array([-limit, 0.0, limit]), limit)
    assert (ends == cutback_rgb(np.array([-limit, 0.0, 2 * limit]), limit)).all()
    more = change_rgb(np.array([-99.0, 99.0]), limit)
    assert (more == ends[[0, 2]]).all()
    sizes = np.linspace(0.0, limit, 20)
    for sign in (1, -1):
        light = change_rgb(sign * sizes, limit).sum(axis=1).astype(int)
        assert (np.diff(light) < 0).all()  # each side only ever darkens


def test_both_walls_are_on_one_scale_and_the_right_way_round():
    design = plain_design()
    change = between(design, stepped(100.0, 20.0))
    wall = Unrolled(design, change.grid)
    limit = design.repair.brick_threshold
    with chart.drawing_style():
        first = pixel_sampler(wall_png.draw(change, design, last=False), wall)
        last = pixel_sampler(wall_png.draw(change, design, last=True), wall)
    drawn = cutback_rgb(0.0, limit)
    assert np.abs(first(100.0, 750.0) - drawn).max() <= 1
    assert np.abs(last(260.0, 750.0) - drawn).max() <= 1
    assert np.abs(last(100.0, 750.0) - cutback_rgb(20.0, limit)).max() <= 1


def test_wall_that_was_not_surveyed_and_openings_have_their_own_look():
    design = tapered_design()
    change = between(design, patched, between=(100.0, 1300.0))
    at = colours_of(change, design)
    above = [at(a, 1400.0).tolist() for a in range(0, 360, 3)]
    assert above.count([0xA7, 0xA3, 0xB3]) > 30
    assert at(121.0, 450.0).tolist() == [0x2A, 0x2A, 0x2E]


def test_a_bar_is_as_long_as_what_its_level_lost():
    design = plain_design()
    change = between(design, patched)
    with chart.drawing_style():
        axes = levels_png.draw(change, design).axes[0]
    levels = change.of_kind("level")
    bars = {
        (round(p.get_y() + 0.5 * p.get_height()), p.get_width() > 0): p.get_width()
        for p in axes.patches
        if p.get_height() < 150.0 and p.get_width() != 0.0
    }
    for level in levels:
        middle = round(0.5 * (level.region.height_from + level.region.height_to))
        lost, restored = level.volume.lost.value, level.volume.restored.value
        assert bars[middle, True] == pytest.approx(lost / 1e6)
        assert bars[middle, False] == pytest.approx(-restored / 1e6)
    assert axes.get_xlim()[0] == pytest.approx(-axes.get_xlim()[1])


@pytest.mark.parametrize("unit", ["in", "cm", "m"])
def test_every_unit_and_any_text_is_drawn(unit):
    evil = r"$\frac{1}{0}$ ☃ 鉄 <b>" + "x" * 300
    design = plain_design(length_unit=unit, name=evil, height_zero=evil)
    change = replace(between(design, patched), title=evil)
    for content in (
        change_png.rendered(dpi=50)(change, design),
        wall_png.rendered(dpi=50)(change, design, last=True),
        levels_png.rendered(dpi=50)(change, design),
        scale_png.rendered(dpi=50)(design),
    ):
        assert content[:4] == b"\x89PNG"


def test_the_same_change_gives_the_same_bytes():
    design = plain_design()
    change = between(design, patched)
    one, other = (change_png.rendered(dpi=60)(change, design) for _ in range(2))
    assert one == other
    assert Image.open(io.BytesIO(change_png(change, design))).width >= 1600
