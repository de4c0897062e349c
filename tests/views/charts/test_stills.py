"""Stills for papers: in every form, the same bytes, and what they show is the data."""

import io
import re

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from geom.views.charts import colours
from geom.views.charts.round import round_view
from geom.views.charts.stills import stills, write_stills

NAMES = ("map", "level-sections", "upright-sections", "round")


def test_every_still_opens_in_every_form(furnace, tmp_path):
    ticked = []
    write_stills(
        tmp_path, furnace.readings, furnace.surface, furnace.findings,
        forms=("svg", "pdf", "svg"), tick=ticked.append,
    )  # fmt: skip
    assert ticked == ["drawing stills, svg", "drawing stills, pdf"]
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        f"still-{name}.{form}" for name in NAMES for form in ("svg", "pdf")
    )
    for name in NAMES:
        (page,) = PdfReader(tmp_path / f"still-{name}.pdf").pages
        assert page.mediabox.width > 500
        text = (tmp_path / f"still-{name}.svg").read_text()
        assert text.count("<path") > 50
        assert not re.search(r'(href|src)="(?!#|data:)', text)


@pytest.mark.parametrize("form", ["png", "svg", "pdf"])
def test_the_same_survey_gives_the_same_bytes(furnace, form):
    first, second = (
        round_view(furnace.surface, furnace.findings, form=form, dpi=60)
        for _ in range(2)
    )
    assert first == second


def test_png_stills_are_named_apart_from_the_map_of_the_survey(furnace):
    name, content = next(
        stills(furnace.readings, furnace.surface, furnace.findings, "png")
    )
    assert name == "still-map.png"
    assert Image.open(io.BytesIO(content)).size[0] > 1000


def shares(content, wanted, *, near=14):
    """Share of the picture's points near a colour."""
    points = np.asarray(Image.open(io.BytesIO(content)).convert("RGB"), dtype=int)
    return float((np.abs(points - wanted).max(axis=-1) <= near).mean())


def test_the_round_shows_both_halves_in_the_colours_of_the_wall(furnace):
    """As much of the picture has a depth's colour as the wall has that depth."""
    surface, findings = furnace.surface, furnace.findings
    content = round_view(surface, findings, dpi=80)
    blank = [int(colours.NOT_SURVEYED[i : i + 2], 16) for i in (1, 3, 5)]
    rows = surface.grid.surveyed_rows
    missing = 1.0 - float(np.diff(surface.grid.edge)[rows].sum()) / (
        surface.grid.edge[-1] - surface.grid.edge[0]
    )
    drawn = 1.0 - shares(content, [255, 255, 255], near=2)
    assert drawn > 0.2
    assert shares(content, blank) > 0.25 * missing * drawn
