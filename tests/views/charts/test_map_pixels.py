"""map.png asked pixel by pixel: a wall of known depths in the right colour and place.

Where a place of the wall lies in the picture is worked out here by hand: azimuth 0 in
the middle, its opposite at both ends, to the right what is clockwise seen from above.
"""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from geom.views.charts import figure as chart
from geom.views.charts.colours import cutback_rgb
from geom.views.charts.survey_maps import map_png

DPI = 120
BRICK = 31.75
#: Azimuth, height, cut-back: brick, no brick, build-up.
DEEP, SHALLOW, PROUD = (
    (240.0, 900.0, 45.0),
    (60.0, 1100.0, 18.0),
    (120.0, 1700.0, -18.0),
)
#: Half of a spot that is level; outside it slopes down to nothing at twice that.
WIDE, TALL = 15.0, 150.0
#: Where the slope of the deep spot crosses the brick threshold, in those halves.
EDGE = 2.0 - BRICK / DEEP[2]


def spots(grid):
    """The three spots on a wall that is elsewhere on its drawing."""
    total = np.zeros(grid.shape)
    for azimuth, height, depth in (DEEP, SHALLOW, PROUD):
        gap = np.abs((grid.azimuth - azimuth + 180.0) % 360.0 - 180.0) / WIDE
        away = np.abs(grid.height[:, None] - height) / TALL
        total += depth * np.clip(2.0 - np.fmax(gap, away), 0.0, 1.0)
    return total, np.full(grid.shape, 2.0)


class SampledMap:
    """The picture, to be asked for pixels by azimuth and height."""

    def __init__(self, furnace):
        with chart.drawing_style():
            figure = map_png.draw(furnace.readings, furnace.surface, furnace.findings)
            content = chart.render(figure, dpi=DPI)
        self.picture = Image.open(io.BytesIO(content)).convert("RGB")
        figure.set_dpi(DPI)
        self.box = figure.axes[0].get_window_extent()
        self.design = furnace.design
        self.hand = 1.0 if furnace.design.azimuth_sense == "clockwise" else -1.0

    def at(self, azimuth, height):
        """The pixel at a place, as red, green, blue."""
        profile = self.design.profile
        turned = self.hand * ((azimuth + 180.0) % 360.0 - 180.0)
        up = (height - profile.bottom) / (profile.top - profile.bottom)
        x = self.box.x0 + self.box.width * (0.5 + turned / 360.0)
        y = self.box.y0 + self.box.height * up
        return np.array(
            self.picture.getpixel((round(x), self.picture.height - round(y)))
        )

    def around(self, spot, reach=0.8):
        """All pixels of the level part of a spot; (n, 3)."""
        azimuth, height, _ = spot
        return np.array(
            [
                self.at(azimuth + WIDE * a, height + TALL * z)
                for a in np.linspace(-reach, reach, 60)
                for z in np.linspace(-reach, reach, 60)
            ]
        )

    def along(self, spot, ahead, up):
        """Greys from the middle of a spot outwards, with how far out they are."""
        azimuth, height, _ = spot
        out = np.linspace(0.0, 1.9, 400)
        pixels = [
            self.at(azimuth + WIDE * ahead * d, height + TALL * up * d) for d in out
        ]
        return out, np.mean(pixels, axis=1)


def commonest(pixels):
    """The colour between the strokes of a hatch."""
    seen, count = np.unique(pixels, axis=0, return_counts=True)
    return seen[count.argmax()].astype(int)


@pytest.fixture(scope="module", params=["clockwise", "counterclockwise"])
def sampled(request, build):
    furnace = build("mm", request.param, field=spots, openings=())
    readings = furnace.readings
    # One reading, far from the spots: a dot would else be taken for a line.
    one = type(readings)(
        ("radius",),
        np.array([0.0]),
        np.array([2200.0]),
        *(getattr(readings, name)[:1] for name in ("value", "sd", "step")),
        place=readings.place[:1],
        note=readings.note[:1],
    )
    surface = replace(furnace.surface, rejected=())
    return SampledMap(replace(furnace, readings=one, surface=surface))


@pytest.mark.parametrize("spot", [DEEP, SHALLOW, PROUD])
def test_each_depth_has_its_colour_at_its_place(sampled, spot):
    colour = commonest(sampled.around(spot))
    assert np.abs(colour - cutback_rgb(spot[2], BRICK)).max() <= 1
    red, _, blue = colour
    assert (red - blue) * np.sign(spot[2]) > 40  # warm is lost, cool is build-up


@pytest.mark.parametrize("spot", [DEEP, SHALLOW, PROUD])
def test_the_mirrored_place_is_on_its_drawing(sampled, spot):
    mirrored = (360.0 - spot[0], spot[1] + (0.0 if spot is DEEP else 450.0), 0.0)
    pixels = sampled.around(mirrored)
    assert np.abs(pixels - cutback_rgb(0.0, BRICK)).max() <= 1


def test_the_drawing_is_neutral_and_the_palest_of_the_scale(sampled):
    middle = sampled.at(330.0, 1400.0).astype(int)
    assert np.ptp(middle) <= 12
    assert middle.min() >= 235
    depth = np.linspace(-BRICK, 2.0 * BRICK, 97)
    pale = cutback_rgb(depth, BRICK).astype(int).sum(axis=1)
    assert abs(depth[pale.argmax()]) < 1e-9
    assert abs(int(middle.sum()) - pale.max()) <= 3


@pytest.mark.parametrize(("ahead", "up"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_the_brick_line_runs_round_the_deep_spot(sampled, ahead, up):
    out, grey = sampled.along(DEEP, ahead, up)
    dark = out[grey < 60.0]
    assert dark.size > 0
    assert np.abs(dark - EDGE).max() < 0.15


def test_brick_is_hatched_in_white_as_far_as_its_line_and_no_farther(sampled):
    assert (sampled.around(DEEP) > 225).all(axis=1).mean() > 0.05
    azimuth, height, _ = DEEP
    outside = [
        sampled.at(azimuth + WIDE * a, height) for a in np.linspace(EDGE + 0.2, 1.8, 40)
    ]
    # Past the line the slope only pales: no stroke breaks it.
    assert (np.diff(np.mean(outside, axis=1)) >= -1.0).all()


@pytest.mark.parametrize(("ahead", "up"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_nothing_is_drawn_on_or_round_the_shallow_spot(sampled, ahead, up):
    _, grey = sampled.along(SHALLOW, ahead, up)
    assert (np.diff(grey) >= -1.0).all()  # paler and paler outwards, no line
    assert np.ptp(sampled.around(SHALLOW), axis=0).max() <= 1  # no hatch


def test_build_up_is_struck_upright_and_has_no_brick_line(sampled):
    azimuth, height, depth = PROUD

    def grey(ahead, up):
        return sampled.at(azimuth + WIDE * ahead, height + TALL * up).mean()

    across = [grey(a, 0.0) for a in np.linspace(-0.8, 0.8, 200)]
    plain = cutback_rgb(depth, BRICK).mean()
    assert max(across) == pytest.approx(plain, abs=1.0)
    assert min(across) < plain - 50.0  # strokes
    columns = [[grey(a, z) for z in (-0.6, 0, 0.6)] for a in np.linspace(-0.8, 0.8, 60)]
    assert np.ptp(columns, axis=1).max() < 25.0  # upright
    # Beyond the strokes the slope pales without a line across it.
    up = [grey(0.5, z) for z in np.linspace(1.85, 2.4, 60)]
    assert (np.diff(up) >= -1.0).all()
