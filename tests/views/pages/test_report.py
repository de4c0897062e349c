"""report.html: whole in itself, escaped, with every number asked for."""

import base64
import hashlib
import html
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from geom.repair.masonry.relining import relined_bands
from geom.repair.masonry.support import Stop
from geom.repair.plan.result import NotPlanned
from geom.surface.radial import Contradicted, PoseAsStated
from geom.views.cautions import CAUTIONS
from geom.views.pages.page import page_script
from geom.views.pages.report import ReportPictures, report_bytes
from geom.views.tables.openings import opening_rows, taper_advice, tuyere_rows
from geom.views.tables.repair import jobs, order_rows, say_not_planned
from geom.views.tables.support import STOP
from tests.views.page_read import Page

DOT = b"\x89PNG not really"
PICTURES = ReportPictures(DOT, DOT, DOT, DOT)
#: The library, the page's own, and its numbers.
OWN_SCRIPTS = 3


def page_of(furnace, **changes):
    findings = replace(furnace.findings, **changes)
    return Page(report_bytes(furnace.surface, findings, furnace.works, PICTURES))


def test_tags_are_balanced_and_nothing_is_fetched(furnace):
    page = page_of(furnace)
    assert page.open == []
    assert page.tags.count("script") == OWN_SCRIPTS
    assert all(link.startswith(("data:image/png", "#")) for link in page.links)
    raw = report_bytes(furnace.surface, furnace.findings, furnace.works, PICTURES)
    before, library, after = raw.partition(page_script("main.js").library.encode())
    assert library
    for address in (b"http://", b"https://", b"url("):
        assert address not in before + after


def test_only_its_own_script_may_run_and_nothing_may_be_fetched(furnace):
    raw = report_bytes(furnace.surface, furnace.findings, furnace.works, PICTURES)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', raw.decode())
    assert policy is not None
    policy_text = html.unescape(policy[1])
    assert policy_text.startswith("default-src 'none'; script-src 'sha256-")
    allowed = re.findall(r"'sha256-([^']+)'", policy_text)
    scripts = re.findall(r"<script>(.*?)</script>", raw.decode(), re.DOTALL)
    hashes = [hashlib.sha256(script.encode()).digest() for script in scripts]
    assert [base64.b64encode(digest).decode() for digest in hashes] == allowed
    assert "unsafe-eval" not in policy_text


@pytest.mark.parametrize(
    "field", ["title", "lining", "diagnostics", "created", "version"]
)
def test_markup_in_any_text_stays_text(furnace, field):
    evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{ 7*7 }}"
    named = (PoseAsStated(evil, 5.0),)
    page = page_of(furnace, **{field: named if field == "diagnostics" else evil})
    assert page.tags.count("script") == OWN_SCRIPTS
    assert page.tags.count("img") == 4
    assert "<script>alert(1)</script>" in page.text
    assert field == "created" or "{{ 7*7 }}" in page.text  # a time is cut short


def test_markup_from_the_design_and_the_notes_stays_text(build):
    evil = "<i>tap</i> & hole"
    furnace = build(azimuth_zero=evil, height_zero=evil, name=evil, spacing=25.0)
    spoiled = replace(
        furnace.surface.rejected[0], reason=Contradicted(((evil, 470.0),)), place=evil
    )
    surface = replace(furnace.surface, rejected=(spoiled,))
    page = Page(report_bytes(surface, furnace.findings, furnace.works, PICTURES))
    assert "i" not in page.tags
    assert page.text.count(evil) >= 6


def test_it_says_which_way_it_is_seen(furnace):
    text = page_of(furnace).text
    assert "Azimuth 0 = tap hole; azimuth grows clockwise seen from above" in text
    assert "seen from inside" in text
    assert "tap hole at 12 o'clock" in text


def test_numbers_come_with_their_intervals(furnace):
    text = page_of(furnace).text
    for words in ("Rebuild volume", "ft³", "in m³: ", "95 %", "Least lining left"):
        assert words in text
    assert "14 readings stand exactly at a step of the profile" in text
    assert "from the others 18 1/2 in (470 mm) is expected" in text
    assert "71 %" in text


def test_all_cautions_are_there(furnace):
    text = page_of(furnace).text
    assert all(caution in text for caution in CAUTIONS)
    assert "Local codes" in CAUTIONS[0]


def test_a_wall_with_nothing_to_do_is_told_so(furnace):
    page = page_of(furnace, zones=(), levels=(), budget=(), diagnostics=())
    assert "No zone needs work" in page.text
    assert "Mind this" not in page.text
    assert "Diameters" not in page.text


def test_the_repair_is_told_zone_by_zone_with_what_to_order(furnace):
    text = page_of(furnace).text
    for job in jobs(furnace.works.plan, furnace.design):
        assert all(line in text for line in (job.clock, job.depth, *job.amount))
    for row in order_rows(furnace.works.plan, furnace.design):
        assert f"{row.material}{row.needed}{row.order}{row.stock}{row.buy}" in text
    for row in tuyere_rows(furnace.works.taper, furnace.design):
        assert f"{row.slope}{row.gathers}{row.remedy}" in text
    assert text.count(taper_advice(furnace.works.taper, furnace.design)) == 1
    assert "runs in" not in text
    for row in opening_rows(furnace.works.plan.openings, furnace.design):
        assert f"{row.what}{row.where}{row.how_much}" in text
    assert "What the worn diameter does" in text


def test_a_stop_comes_before_the_cautions_and_its_ring_is_counted(furnace):
    stop = Stop("opened", 635.0, 889.0, 0.62)
    support = replace(furnace.works.support, stops=(stop,))
    bands = relined_bands(furnace.design, support.stops)
    works = replace(furnace.works, support=support, relining=bands)
    content = report_bytes(furnace.surface, furnace.findings, works, PICTURES)
    text = Page(content).text
    assert text.index(STOP) < text.index("Before anybody goes in")
    assert "round 62 % of the wall" in text
    assert bands[0].ways
    for brick in bands[0].ways[0].bricks:
        assert f"{brick.needed} × {brick.name}" in text
    free = replace(works, support=replace(support, stops=()), relining=())
    other = report_bytes(furnace.surface, furnace.findings, free, PICTURES)
    assert STOP not in Page(other).text


def test_every_brick_of_the_plan_is_in_the_pages_numbers(furnace):
    content = report_bytes(
        furnace.surface, furnace.findings, furnace.works, PICTURES
    ).decode("utf-8")
    found = re.search(r'id="wall-data">(.*?)</script>', content, re.S)
    bricks = json.loads(found[1])["bricks"]
    corners = np.frombuffer(base64.b64decode(bricks["corners"]), "<f4")
    planned = [
        brick
        for zone in furnace.works.plan.zones
        if zone.brickwork is not None
        for brick in zone.brickwork.bricks
    ]
    told = np.stack([brick.corners() for brick in planned])
    assert corners.reshape(-1, 8, 3) == pytest.approx(told, abs=1e-3)
    cut = np.frombuffer(base64.b64decode(bricks["cut"]), np.uint8)
    assert cut.tolist() == [not brick.piece.whole for brick in planned]


def test_markup_in_the_repair_stays_text(furnace):
    evil = "<i>brick</i> & co"
    works = furnace.works
    line = replace(works.plan.order[0], material=evil)
    note = NotPlanned(3, "measure again", 1.94e6)
    plan = replace(works.plan, order=(line,), notes=(note,))
    content = report_bytes(
        furnace.surface, furnace.findings, replace(works, plan=plan), PICTURES
    )
    page = Page(content)
    assert "i" not in page.tags
    assert page.text.count(evil) == 2  # in what decides and on the order list
    assert say_not_planned(note, "in") in page.text
