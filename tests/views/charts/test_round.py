"""The wall in the round: the same bytes, and what it shows is the data."""

import io

import numpy as np
import pytest
from PIL import Image

from geom.views.charts import colours
from geom.views.charts.round import round_view


@pytest.mark.parametrize("form", ["png", "svg", "pdf"])
def test_the_same_survey_gives_the_same_bytes(furnace, form):
    first, second = (
        round_view.rendered(form, dpi=60)(furnace.surface, furnace.findings)
        for _ in range(2)
    )
    assert first == second


def shares(content, wanted, *, near=14):
    """Share of the picture's points near a colour."""
    points = np.asarray(Image.open(io.BytesIO(content)).convert("RGB"), dtype=int)
    return float((np.abs(points - wanted).max(axis=-1) <= near).mean())


def test_the_round_shows_both_halves_in_the_colours_of_the_wall(furnace):
    """As much of the picture has a depth's colour as the wall has that depth."""
    surface, findings = furnace.surface, furnace.findings
    content = round_view.rendered(dpi=80)(surface, findings)
    blank = [int(colours.NOT_SURVEYED[i : i + 2], 16) for i in (1, 3, 5)]
    rows = surface.grid.surveyed_rows
    missing = 1.0 - float(np.diff(surface.grid.edge)[rows].sum()) / (
        surface.grid.edge[-1] - surface.grid.edge[0]
    )
    drawn = 1.0 - shares(content, [255, 255, 255], near=2)
    assert drawn > 0.2
    assert shares(content, blank) > 0.25 * missing * drawn
