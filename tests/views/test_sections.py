"""Sections through the wall."""

import io

import numpy as np
import pytest
from PIL import Image

from geom.views.sections import level_png, upright_png


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("draw", [level_png, upright_png])
def test_they_are_drawn(build, sense, draw):
    furnace = build("mm", sense, spacing=25.0)
    content = draw(furnace.surface, furnace.findings, dpi=60)
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
        content = level_png(furnace.surface, furnace.findings, dpi=60)
        pixels = np.asarray(Image.open(io.BytesIO(content)).convert("RGB")).astype(int)
        half = pixels[pixels.shape[0] // 8 :, : pixels.shape[1] // 2]
        orange = np.abs(half - [0xF0, 0xA0, 0x44]).max(axis=2) < 8
        middle = half.shape[1] / 2
        assert (np.nonzero(orange)[1].mean() > middle) == right
