"""report.html in a real browser: it answers, it is true, and it runs no text."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import netCDF4
import numpy as np
import pytest
from PIL import Image

import geom
from geom.compare.findings import ACTIONS
from geom.frame import clock_face
from geom.quantity import K95
from geom.surface.radial import PoseAsStated
from geom.units import say_both, say_length
from geom.views.pages.report import ReportPictures, report_bytes
from tests.e2e.opened_page import Opened
from tests.views.conftest import make_furnace

SCANS = Path(__file__).parents[2] / "scans"
DOT = b"\x89PNG not really"
#: How far a length that a page tells may be off, mm: it is packed in steps of 0.02.
PACKED = 0.011


@pytest.fixture(scope="module")
def design():
    return geom.load_design(SCANS / "cupola-2.toml")


@pytest.fixture(scope="module")
def folder(demo_survey):
    return demo_survey


@pytest.fixture
def fresh(browser, folder):
    """The report as it opens."""
    opened = Opened(browser, folder / "report.html")
    yield opened
    opened.context.close()


@pytest.fixture(scope="module")
def report(browser, folder):
    """The report, opened once, as whoever looked last has left it."""
    opened = Opened(browser, folder / "report.html")
    yield opened
    opened.context.close()


def colour_by(report, field):
    report.page.locator(f"#fields input[value={field}]").check(force=True)
    report.page.wait_for_timeout(80)


def test_it_loads_without_complaint_and_asks_nothing_of_anybody(fresh, folder):
    assert fresh.trouble == []
    page = (folder / "report.html").as_uri()
    assert [url for url in fresh.requested if not url.startswith("data:")] == [page]
    assert (folder / "report.html").stat().st_size < 8e6


def test_the_deepest_place_of_the_findings_is_where_the_mark_starts(fresh, folder):
    deepest = json.loads((folder / "findings.json").read_text())["deepest"]
    azimuth, height = told_place(fresh.words("where"))
    assert azimuth == pytest.approx(deepest["azimuth"], abs=1)
    assert height == pytest.approx(deepest["height"], abs=6)


PICTURES = ("unrolled", "ring", "upright", "turning")


@pytest.mark.parametrize(
    ("pointed", "place", "moved"),
    [
        ("unrolled", (0.35, 0.42), PICTURES),
        ("ring", (0.75, 0.5), PICTURES),
        ("upright", (0.5, 0.3), PICTURES),
        ("turning", (0.5, 0.45), PICTURES),
    ],
)
def test_pointing_in_one_picture_marks_all_the_others(report, pointed, place, moved):
    before = {name: report.look(name) for name in moved}
    told = report.words("where")
    report.point(pointed, *place)
    assert report.words("where") != told
    assert all(report.look(name) != before[name] for name in moved)
    assert report.trouble == []


def told_place(words):
    """Azimuth in degrees and height in mm that a read-out names."""
    degrees, height = re.search(r"\((\d+)°\).*\((\d+) mm\)", words).groups()
    return int(degrees), int(height)


def test_the_pictures_agree_on_where_a_place_is(report):
    """Places known from the geometry alone: 3 o'clock on the ring is azimuth 90."""
    report.point("ring", 0.8, 0.5)
    assert told_place(report.words("where"))[0] == pytest.approx(90, abs=1)
    report.point("ring", 0.5, 0.85)
    assert told_place(report.words("where"))[0] == pytest.approx(180, abs=1)
    azimuth, _ = told_place(report.words("where"))
    report.point("upright", 0.5, 0.25)
    turned, height = told_place(report.words("where"))
    assert turned == azimuth
    assert height > 1300
    report.point("unrolled", 0.5, 0.5)  # beside its middle: a scale stands at the left
    assert told_place(report.words("where"))[0] in {*range(340, 360), *range(5)}


def test_what_is_read_out_is_what_the_files_say(report, folder, design):
    with netCDF4.Dataset(folder / "surface.nc") as data:
        fields = {
            name: np.ma.filled(data[name][:], np.nan)
            for name in ("cutback", "cutback_sd", "p_brick", "height", "azimuth")
        }
    report.page.focus("#unrolled")
    rng = np.random.default_rng(41)
    for _ in range(6):
        for key in rng.choice(["ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight"], 3):
            report.page.keyboard.press(f"Shift+{key}")
        where, told = report.words("where"), report.words("told")
        azimuth, height = told_place(where)
        row = int(np.abs(fields["height"] - height).argmin())
        depth, sd, chance = (
            float(fields[name][row, azimuth])
            for name in ("cutback", "cutback_sd", "p_brick")
        )
        if np.isnan(depth):
            assert "nobody measured" in told
            continue
        assert clock_face(azimuth, design.azimuth_sense) in where
        wanted = {say_both(abs(depth + off), "in") for off in (-PACKED, 0, PACKED)}
        assert any(words in told for words in wanted), (told, wanted)
        ends = {
            f"{say_length(depth - K95 * sd + a, 'mm').removesuffix(' mm')} to "
            f"{say_length(depth + K95 * sd + b, 'mm')}"
            for a in (-0.04, 0, 0.04)
            for b in (-0.04, 0, 0.04)
        }
        assert any(words in told for words in ends), (told, ends)
        assert f"{round(100 * chance)} in 100" in told


def test_a_zones_button_goes_to_its_deepest_place(report, folder):
    told = json.loads((folder / "findings.json").read_text())
    for zone in told["zones"][:3]:
        report.page.click(f"[data-go='{zone['id']}']")
        assert report.words("call").endswith(f"zone {zone['id']}")
        azimuth, height = told_place(report.words("where"))
        assert zone["height_from"] - 10 <= height <= zone["height_to"] + 10
        onward = (azimuth - zone["azimuth_from"]) % 360
        assert onward <= (zone["azimuth_to"] - zone["azimuth_from"]) % 360 + 1


def test_colouring_by_another_field_changes_map_key_and_round(report):
    colour_by(report, "cutback")
    for field in ("left", "sd", "chance", "action"):
        before = {name: report.look(name) for name in ("unrolled", "turning", "key")}
        colour_by(report, field)
        assert all(report.look(name) != before[name] for name in before)
    assert report.trouble == []


def test_planned_bricks_stand_in_the_round_and_can_be_taken_out(fresh):
    assert fresh.page.locator("#bricks").is_visible()
    canvas = fresh.page.locator("#turning")
    canvas.focus()
    changed = 0
    for _ in range(6):  # from some side they are seen
        with_them = fresh.look("turning")
        fresh.page.locator("#bricks").uncheck()
        fresh.page.wait_for_timeout(120)
        changed += fresh.look("turning") != with_them
        fresh.page.locator("#bricks").check()
        for _ in range(8):
            canvas.press("ArrowRight")
        fresh.page.wait_for_timeout(120)
    assert changed >= 2
    assert fresh.trouble == []


def test_build_up_has_upright_strokes_in_the_unrolled_wall(report, folder, design):
    """In a grey copy the build-up left of the tap hole is not taken for lost wall."""
    colour_by(report, "cutback")
    picture = Image.open(io.BytesIO(report.look("unrolled"))).convert("L")
    left, right, top, bottom = 46, 10, 8, 40  # round the wall, as in unrolled.js
    wide, tall = picture.width - left - right, picture.height - top - bottom

    with netCDF4.Dataset(folder / "surface.nc") as data:
        action, height, azimuth = (
            np.asarray(data[name][:]) for name in ("action", "height", "azimuth")
        )
    turned = (azimuth + 180.0) % 360.0 - 180.0

    def grey(azimuths, heights):
        """Part of the wall clear of readings and openings, and what is called there."""
        rows = (heights[0] < height) & (height < heights[1])
        columns = (azimuths[0] < turned) & (turned < azimuths[1])
        calls = {ACTIONS[call] for call in action[np.ix_(rows, columns)].flat}
        low, high = design.profile.bottom, design.profile.top
        x = [left + wide * (0.5 + a / 360.0) for a in azimuths]
        y = [top + tall * (high - z) / (high - low) for z in heights]
        part = picture.crop((round(x[0]), round(y[1]), round(x[1]), round(y[0])))
        return np.asarray(part, dtype=float), calls

    struck, calls = grey((-36.0, -20.0), (505.0, 540.0))
    assert calls == {"chip"}
    # from pixel to pixel: a stroke is crossed sideways and followed upwards
    assert np.abs(np.diff(struck, axis=1)).max(axis=1).min() > 40.0
    assert np.abs(np.diff(struck, axis=0)).max() < 20.0
    plain, calls = grey((30.0, 50.0), (2080.0, 2200.0))
    assert calls == {"leave"}
    assert np.ptp(plain) < 20.0


def test_it_works_by_touch_on_a_phone(browser, folder):
    phone = Opened(
        browser, folder / "report.html", viewport={"width": 390, "height": 800},
        has_touch=True, is_mobile=True,
    )  # fmt: skip
    told = phone.words("where")
    box = phone.page.locator("#unrolled")
    box.scroll_into_view_if_needed()
    box.tap(position={"x": 250, "y": 120})
    assert phone.words("where") != told
    wide = phone.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390
    assert phone.trouble == []
    phone.context.close()


def test_on_paper_stills_take_the_place_of_the_pictures(fresh):
    fresh.page.emulate_media(media="print")
    assert not fresh.page.locator("#wall").is_visible()
    assert fresh.page.locator("figure.paper img").is_visible()
    for paper in ("A4", "Letter"):
        content = fresh.page.pdf(format=paper)
        assert content.startswith(b"%PDF")


HOSTILE = (
    "<script>ran()</script>", "</script><script>ran()</script>",
    "<img src=x onerror=ran()>", "<svg onload=ran()>", "\"><script>ran()</script>",
    "'><img src=x onerror=ran()>", "javascript:ran()", "{{ran()}}", "${ran()}",
    "<!--<script>ran()", "]]><script>ran()</script>", "\u2028ran()//", "\\u003cscript>",
    "<iframe srcdoc='<script>parent.ran()</script>'>", "&lt;script&gt;ran()",
    "<a href=javascript:ran()>x</a>", "<body onpageshow=ran()>", "`;ran();`",
    "');ran();('", "<details open ontoggle=ran()>",
)  # fmt: skip


def test_twenty_hostile_strings_do_not_run(browser, tmp_path):
    """As every text that an input can bring: names, words of the frame, warnings."""
    assert len(set(HOSTILE)) == 20
    furnace = make_furnace(spacing=40.0, columns=120)
    design, surface, findings = furnace.design, furnace.surface, furnace.findings
    stains = [replace(hole, kind=one) for hole, one in zip(
        design.openings, HOSTILE, strict=False)]  # fmt: skip
    all_of_them = " ".join(HOSTILE)[:150]
    spoiled = replace(
        design, name=all_of_them, azimuth_zero=HOSTILE[1], height_zero=HOSTILE[9],
        openings=tuple(stains),
    )  # fmt: skip
    named = tuple(PoseAsStated(one, 5.0) for one in HOSTILE)
    page = report_bytes(
        replace(surface, design=spoiled),
        replace(findings, title=HOSTILE[0], lining=HOSTILE[4], diagnostics=named),
        furnace.works,
        ReportPictures(DOT, DOT, DOT, DOT),
    )
    path = tmp_path / "hostile.html"
    path.write_bytes(page)
    opened = Opened(browser, path)
    assert opened.page.evaluate("typeof ran") == "undefined"
    assert "ran" not in " ".join(opened.trouble)
    text = opened.page.inner_text("main")
    assert all(one.strip() in text for one in HOSTILE if one.isprintable())
    assert opened.words("where").endswith(HOSTILE[9])
    opened.context.close()
