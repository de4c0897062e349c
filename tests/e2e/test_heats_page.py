"""heats.html in a real browser: one scale, a slider, change with the untold greyed."""

from __future__ import annotations

import io
import json
import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import geom
from geom.compare.panels import PARTS, PanelState, panels_of
from geom.record.store.occasion import Occasion
from geom.record.store.survey_file import RecordedWall
from geom.surface.grid import make_grid
from geom.views.pages.heats import PageWalls, heats_bytes
from tests.e2e.opened_page import Opened

SCANS = Path(__file__).parents[2] / "scans"
SD = 1.0
GREY = (214, 214, 216)


def wall(heat, depth):
    """A wall cut back by ``depth`` mm on the half about azimuth 90, known to 1 mm."""
    design = geom.load_design(SCANS / "cupola-2.toml")
    profile = design.profile
    grid = make_grid(design, surveyed=(profile.bottom, profile.top))
    side = np.cos(np.deg2rad(grid.azimuth - 90.0)) > 0.0
    panels, nothing = panels_of(design), np.zeros(panels_of(design).count)
    none = np.full((panels.count, PARTS), np.nan)
    return RecordedWall(
        title=f"Heat {heat} <b>", created="2026-03-01",
        occasion=Occasion(heat, "before repair", date(2026, 3, heat)),
        design=design, height=grid.height, azimuth=grid.azimuth,
        design_radius=grid.design_radius,
        cutback=np.where(side, depth, 0.0) * np.ones(grid.shape),
        cutback_sd=np.full(grid.shape, SD), wall=grid.wall, row_height=grid.row_height,
        panels=PanelState(panels, nothing, np.zeros((panels.count, panels.count)),
                          nothing, nothing, none, none, nothing, nothing),
        findings={},
    )  # fmt: skip


@pytest.fixture(scope="module")
def page(browser, tmp_path_factory):
    path = tmp_path_factory.mktemp("heats") / "heats.html"
    walls = [wall(1, 5.0), wall(2, 5.5), wall(3, 40.0)]
    path.write_bytes(heats_bytes(PageWalls.of(walls), title="<i>Heats</i>"))
    opened = Opened(browser, path)
    yield opened
    assert opened.trouble == []
    assert [one for one in opened.requested if not one.startswith("data:")] == [
        path.as_uri()
    ]
    opened.context.close()


def test_the_slider_goes_through_the_heats(page):
    assert page.words("heat-name") == "heat 3, before repair"
    page.point("ring", 0.8, 0.5)  # 3 o'clock
    assert "1 5/8 in (40 mm)" in page.words("told")
    page.page.focus("#heat")
    page.page.keyboard.press("ArrowLeft")
    assert page.words("heat-name") == "heat 2, before repair"
    page.point("ring", 0.81, 0.5)
    assert re.search(r"\(6 mm\)|\(5 mm\)", page.words("told"))
    page.page.click("#later")
    assert page.words("heat-name") == "heat 3, before repair"
    assert not page.page.locator("#later").is_enabled()


def greys(page):
    """Share of the unrolled wall that is grey: no change to be told."""
    points = np.asarray(Image.open(io.BytesIO(page.look("unrolled"))).convert("RGB"))
    return float((np.abs(points.astype(int) - GREY).max(axis=-1) <= 2).mean())


def test_change_that_the_surveys_cannot_tell_is_grey(page):
    """Half of the wall has not changed; 0.5 mm is not told where 1.96 sqrt(2) is."""
    page.page.locator("#fields input[value=change]").check(force=True)
    page.page.wait_for_timeout(100)
    half = greys(page)
    page.page.click("#earlier")
    page.page.wait_for_timeout(100)
    whole = greys(page)
    page.page.click("#later")
    assert 0.3 < half < 0.6
    assert whole > 1.7 * half
    page.point("ring", 0.8, 0.5)
    assert "Since heat 1, before repair" in page.words("told")
    assert "lost" in page.words("told")
    page.point("ring", 0.2, 0.5)
    assert "no change to be told" in page.words("told")


def test_the_marked_place_has_its_curve_through_all_surveys(page):
    """5, 5.5 and 40 mm at 3 o'clock, nothing at 9; a touch chooses the survey."""
    for x, depths in ((0.8, [5.0, 5.5, 40.0]), (0.2, [0.0, 0.0, 0.0])):
        page.point("ring", x, 0.5)
        drawn = json.loads(page.page.get_attribute("#curve", "data-depths"))
        assert drawn == pytest.approx(depths, abs=0.06)
        assert page.words("curve-words") == page.words("where")
    page.page.locator("#curve").click(position={"x": 90, "y": 60})
    assert page.words("heat-name") == "heat 1, before repair"
    page.page.focus("#curve")
    for _ in range(2):
        page.page.keyboard.press("ArrowRight")
    assert page.words("heat-name") == "heat 3, before repair"


def test_the_curve_has_whole_steps_of_the_rule(page):
    """Halves of an inch, or 1, 2 or 5 of a power of ten in mm."""
    said = page.page.evaluate(
        "[[31.75, 'in'], [25.4, 'in'], [32, 'mm'], [40, 'mm'], [32, 'cm']]"
        ".map(([mm, unit]) => ruleStep(mm, unit))"
    )
    assert said == pytest.approx([12.7, 12.7, 10.0, 20.0, 10.0])


def test_wall_past_the_brick_line_has_strokes_in_the_round_too(page):
    """In grey as well: bright and dark stand side by side there, and only there."""

    def strokes():
        page.page.wait_for_timeout(150)
        grey = Image.open(io.BytesIO(page.look("turning"))).convert("L")
        jumps = np.abs(np.diff(np.asarray(grey).astype(int), axis=1)) > 40
        return int(jumps.sum())

    with_brick = strokes()
    page.page.click("#earlier")
    without = strokes()
    page.page.click("#later")
    assert with_brick > without + 1500


def test_no_heading_leaves_out_a_level(page):
    assert page.skipped_headings() == []


def test_titles_are_text(page):
    assert page.page.inner_text("h1") == "<i>Heats</i>"
    assert page.page.locator("h1 i").count() == 0


def test_an_interval_is_counted_as_its_word_counts(page):
    """Of what was put back too: 1.96 times the sd of either, or of both together."""
    page.page.locator("#curve").click(position={"x": 90, "y": 60})
    page.point("ring", 0.8, 0.5)
    page.page.select_option("#base", label="heat 3, before repair")
    told = page.words("told")
    found = re.search(
        r"Since heat 3, before repair (\S.*?) \((\d+) mm\) put back or built up "
        r"95 %: (\S.*?) to (\S.*?) in",
        " ".join(told.split()),
    )
    assert found, told
    assert not found[3].startswith("-")
