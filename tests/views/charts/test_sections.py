"""Sections through the wall."""

import io

import numpy as np
import pytest
from PIL import Image

from geom.views.charts.sections import level_sections, upright_sections


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("draw", [level_sections, upright_sections])
def test_they_are_drawn(build, sense, draw):
    furnace = build("mm", sense, spacing=25.0)
    content = draw.rendered(dpi=60)(furnace.surface, furnace.findings)
    pixels = np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))
    lost = (np.abs(pixels.astype(int) - [0xF0, 0xA0, 0x44]).max(axis=2) < 8).sum()
    assert lost > 50


def test_a_level_section_is_seen_from_above(build):
    """Lining lost at azimuth 90 is at 3 o'clock when azimuth grows clockwise."""

    def lost(grid):
        gap = np.abs((grid.azimuth - 90 + 180) % 360 - 180)
        cutback = np.tile(np.where(gap < 40, 60.0, 0.0), (grid.height.size, 1))
        return cutback, np.full(grid.shape, 1.0)

    for sense, right in (("clockwise", True), ("counterclockwise", False)):
        furnace = build("mm", sense, field=lost, spacing=25.0, openings=())
        content = level_sections.rendered(dpi=60)(furnace.surface, furnace.findings)
        pixels = np.asarray(Image.open(io.BytesIO(content)).convert("RGB")).astype(int)
        half = pixels[pixels.shape[0] // 8 :, : pixels.shape[1] // 2]
        orange = np.abs(half - [0xF0, 0xA0, 0x44]).max(axis=2) < 8
        middle = half.shape[1] / 2
        assert (np.nonzero(orange)[1].mean() > middle) == right


def test_lost_and_build_up_differ_in_a_grey_copy(build):
    """Dark strokes lie across both: slanted over what is lost, upright over build-up.

    Along an upright stroke grey hardly changes from row to row, along a slanted one it
    does as much as from column to column.
    """

    def unlike(depth):
        def field(grid):
            return np.full(grid.shape, depth), np.full(grid.shape, 0.5)

        furnace = build("mm", field=field, spacing=25.0, openings=())
        content = upright_sections.rendered(dpi=200)(furnace.surface, furnace.findings)
        picture = Image.open(io.BytesIO(content)).convert("RGB")
        pixels = np.asarray(picture).astype(int)
        colour = [0xF0, 0xA0, 0x44] if depth > 0 else [0x6A, 0xAA, 0xCB]
        filled = np.abs(pixels - colour).max(axis=2) < 8
        filled[: pixels.shape[0] // 3] = False  # the key and the heads
        rows, columns = np.nonzero(filled[:, : pixels.shape[1] // 4])
        within = np.s_[
            int(np.percentile(rows, 30)) : int(np.percentile(rows, 70)),
            int(np.percentile(columns, 20)) : int(np.percentile(columns, 80)),
        ]
        grey = np.asarray(picture.convert("L")).astype(float)[within]
        assert np.ptp(grey) > 50.0  # strokes can be seen
        return np.abs(np.diff(grey, axis=0)).mean() / (
            np.abs(np.diff(grey, axis=1)).mean()
        )

    assert unlike(60.0) > 0.6
    assert unlike(-60.0) < 0.2
