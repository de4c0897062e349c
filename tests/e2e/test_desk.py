"""``daubline desk`` in a browser: typed, called, cut off, killed, and all is kept."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from geom import load_design, load_readings, reconstruct
from geom.cli import main
from geom.compare.findings import ACTIONS
from geom.compare.zones import call_actions
from geom.design import Design
from geom.desk.page import say_cutback
from geom.units import say_both, to_mm
from geom.views.cautions import CAUTIONS

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scans" / "cupola-2.toml"
SLOW = 90_000  # ms; a machine that does other things too

HOSTILE = "<img src=x onerror='window.hit=1'><script>window.hit=1</script>"


class Server:
    """The command in a process of its own, that can be killed and opened anew."""

    def __init__(self, design: Path, sheet: Path) -> None:
        self.design, self.sheet, self.port = design, sheet, 0
        self.process: subprocess.Popen[str] | None = None

    def open(self) -> str:
        called = [sys.executable, "-m", "geom.cli", "desk", str(self.design)]
        called += ["--sheet", str(self.sheet), "--port", str(self.port)]
        self.process = subprocess.Popen(
            called,
            cwd=ROOT,
            env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:(\d+)/", line):
                self.port = int(found[1])
                return found[0]
        raise AssertionError("the desk did not open")

    def kill(self, how: int = signal.SIGKILL) -> str:
        """End it; what it still said."""
        assert self.process is not None
        self.process.send_signal(how)
        told, _ = self.process.communicate(timeout=60)
        return told

    def state(self) -> dict:
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/state") as answer:
            return json.load(answer)["state"]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Callable[..., Server]]:
    made: list[Server] = []

    def make(design: Path = DEMO) -> Server:
        made.append(Server(design, tmp_path / "heat-60.csv"))
        return made[-1]

    yield make
    for server in made:
        if server.process is not None and server.process.poll() is None:
            server.kill()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    context.set_default_timeout(SLOW)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda fault: faults.append(str(fault)))
    yield opened
    context.close()
    assert faults == []


def worn(design: Design, azimuth: float, height: float) -> str:
    """What a rod would read on an invented wall, to 1/8 in."""
    burn = 1.9 * np.exp(-(((height - 36.0) / 9.0) ** 2))
    side = 1.0 + 0.35 * np.cos(np.deg2rad(azimuth - 180.0))
    drawn = float(design.profile.radius_at(to_mm(height, "in"))) / 25.4
    return f"{round((drawn + burn * side) * 8) / 8:.3f}"


def begun(path: Path, design: Design, rows: tuple[int, ...]) -> None:
    """A sheet with some rows read: every 60 degrees."""
    lines = ["azimuth_deg,height_in,radius_in,note"]
    for height in rows:
        lines += [
            f"{azimuth},{height},{worn(design, azimuth, height)},"
            for azimuth in range(0, 360, 60)
        ]
    path.write_text("\n".join(lines) + "\n")


def enter(page: Page, text: str) -> None:
    page.locator("#radius").fill(text)
    page.keyboard.press("Enter")


def station(page: Page, place: str) -> None:
    page.locator(f'#board button[aria-label^="{place}:"]').click()


def saved(page: Page) -> None:
    expect(page.locator("#status")).to_have_text("All saved", timeout=SLOW)


def rows_of(path: Path) -> list[str]:
    lines = path.read_text("utf-8").split("\n")
    return [line for line in lines if line and not line.startswith("#")][1:]


def test_typed_readings_change_the_call_and_the_read_out_is_the_surveys(
    desk, page, tmp_path
):
    server, design = desk(), load_design(DEMO)
    begun(server.sheet, design, (84, 69, 60, 51, 45, 39, 21, 15))
    page.goto(server.open())
    saved(page)
    for caution in CAUTIONS:
        expect(page.locator("#cautions")).to_contain_text(caution)
    # A sound place among worn ones, then a deep one: the call changes.
    station(page, "4 o'clock, 33")
    expect(page.locator("#station-height")).to_have_text("33 in")
    expect(page.locator("#drawn")).to_have_text("17 1/8")
    expect(page.locator("#brick")).to_have_text("18 3/8")
    before = page.locator("#call").inner_text()
    for digits in ("1", "9"):
        page.locator(f'[data-key="{digits}"]').click()
    page.locator('[data-part="1/4"]').click()
    page.locator('[data-part="1/2"]').click()
    expect(page.locator("#radius")).to_have_value("19 1/2")
    page.locator("#accept").click()
    expect(page.locator("#shown-where")).to_have_text("4 o'clock, 33 in")
    expect(page.locator("#call")).to_have_text("Brick", timeout=SLOW)
    assert before != "Brick"
    # It went on to the next station round the clock.
    expect(page.locator("#station-clock")).to_have_text("5 o'clock")
    enter(page, "19 5/8")
    saved(page)
    expect(page.locator("#fit")).to_have_text(
        "worked out in full from 50 readings", timeout=SLOW
    )
    check_read_out(page, server, design)
    # The command itself reads the sheet.
    out = tmp_path / "out"
    assert main(["next", str(DEMO), str(server.sheet), "--count", "1"]) == 0
    assert not out.exists()


def check_read_out(page: Page, server: Server, design: Design) -> None:
    """What the page says of a station is what the survey's surface says there."""
    readings = load_readings(server.sheet, design)
    assert rows_of(server.sheet)[-2:] == ["120,33,19 1/2,", "150,33,19 5/8,"]
    surface = reconstruct(readings, design)
    action = call_actions(
        surface.grid, surface.cutback, surface.radius_sd, design.repair
    )
    told = server.state()
    assert told["fit"] == "full"
    compared = 0
    for i, row in enumerate(told["rows"]):
        for j, column in enumerate(told["columns"]):
            one = told["stations"][i][j]
            if not one or "mm" not in one:
                continue
            place = int(np.argmin(np.abs(surface.height - row["mm"])))
            across = round(float(column["text"]))
            near = surface.cutback[place - 1 : place + 2, across]
            near_sd = surface.radius_sd[place - 1 : place + 2, across]
            # Rows of the surface are up to 10 mm apart; between them it is smooth.
            assert np.nanmin(near) - 0.3 <= one["mm"] <= np.nanmax(near) + 0.3
            assert np.nanmin(near_sd) - 0.2 <= one["sd"] <= np.nanmax(near_sd) + 0.2
            calls = {ACTIONS[code] for code in action[place - 1 : place + 2, across]}
            assert one["call"] in calls
            assert one["cutback"] == say_cutback(one["mm"], design)
            compared += 1
    assert compared > 100
    rows = [row["text"] for row in told["rows"]]
    columns = [column["text"] for column in told["columns"]]
    deep = told["stations"][rows.index("33")][columns.index("120")]
    station(page, "4 o'clock, 33")
    said = page.locator("#shown-depth b").inner_text().replace("\u00a0", " ")
    assert said == f"Cut back {say_both(deep['mm'], 'in')}"
    interval = page.locator("#shown-depth span").inner_text().replace("\u00a0", " ")
    assert interval == f"95 %: {deep['between']}"


def test_killed_in_the_middle_of_typing_nothing_is_lost(desk, page):
    server = desk()
    address = server.open()
    page.goto(address)
    saved(page)
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    typed = ["19", "19 1/8", "19 1/4"]
    for text in typed:
        enter(page, text)
    saved(page)
    server.kill()
    more = ["19 3/8", "18 7/8", "19 1/2", "19"]
    for text in more:
        enter(page, text)
    status = page.locator("#status")
    expect(status).to_have_text("4 not yet saved: no connection")
    assert len(rows_of(server.sheet)) == 3
    # The page itself opens again though the desk is away, half a reading in its box.
    page.locator("#radius").fill("18 1")
    page.reload()
    expect(status).to_have_text("4 not yet saved: no connection")
    expect(page.locator("#radius")).to_have_value("18 1")
    expect(page.locator("#station-clock")).to_have_text("7 o'clock")
    enter(page, "18 1/4")
    expect(status).to_have_text("5 not yet saved: no connection")
    assert server.open() == address
    saved(page)
    typed += [*more, "18 1/4"]
    assert rows_of(server.sheet) == [
        f"{30 * k},93,{text}," for k, text in enumerate(typed)
    ]
    readings = load_readings(server.sheet, load_design(DEMO))
    assert len(readings) == 8
    # Sent again after a restart they stay the same eight.
    expect(page.locator("#entries li")).to_have_count(8)
    expect(page.locator("#wall-lacks")).to_contain_text("1 more height")
    told = server.kill(signal.SIGINT)
    assert "Every reading that was kept" in told


def test_what_cannot_be_right_is_refused_beside_the_box_and_stays_in_it(desk, page):
    server = desk()
    page.goto(server.open())
    saved(page)
    wrong, box = page.locator("#wrong"), page.locator("#radius")
    for text, words in (
        ("191", "more than 27 in"),
        ("38", "Is this a diameter?"),
        ("1 9", "is not a number"),
        ("19 in", "without a unit"),
        ("", "Nothing is typed"),
    ):
        enter(page, text)
        expect(wrong).to_contain_text(words)
        expect(box).to_have_value(text)
    assert not server.sheet.exists()
    enter(page, "19")
    expect(wrong).to_be_empty()
    saved(page)
    assert rows_of(server.sheet) == ["0,93,19,"]


def test_readings_are_corrected_withdrawn_and_put_back(desk, page):
    server = desk()
    page.goto(server.open())
    saved(page)
    for text in ("19", "19 1/8", "19 1/4"):
        enter(page, text)
    saved(page)
    second = page.locator("#entries li").nth(1)
    second.get_by_role("button", name="Correct").click()
    expect(page.locator("#correcting")).to_contain_text("19 1/8 at 1 o'clock, 93 in")
    expect(page.locator("#radius")).to_have_value("19 1/8")
    page.locator("#note").fill("soft")
    enter(page, "19 5/8")
    # And back to the station that was next.
    expect(page.locator("#station-clock")).to_have_text("3 o'clock")
    first = page.locator("#entries li").nth(2)
    first.get_by_role("button", name="Withdraw").click()
    page.get_by_role("button", name="Yes, withdraw").click()
    saved(page)
    assert rows_of(server.sheet) == ["30,93,19 5/8,soft", "60,93,19 1/4,"]
    page.get_by_role("button", name="Put back").click()
    saved(page)
    assert rows_of(server.sheet)[0] == "0,93,19,"


def test_hostile_texts_do_not_run(desk, page, tmp_path):
    design = tmp_path / "hostile.toml"
    text = DEMO.read_text("utf-8").replace(
        'name = "Cupola 2, Eastgate Road (invented)"', f"name = {json.dumps(HOSTILE)}"
    )
    text = text.replace('"bottom plate"', json.dumps("</script>" + HOSTILE))
    design.write_text(text, encoding="utf-8")
    server = desk(design)
    note = HOSTILE.replace("'", '"')
    quoted = note.replace('"', '""')
    server.sheet.write_text(
        f'azimuth_deg,height_in,radius_in,note\n0,93,19,"{quoted}"\n', encoding="utf-8"
    )
    page.goto(server.open())
    saved(page)
    page.locator("#note").fill("=1+1" + HOSTILE)
    enter(page, "19 1/8")
    saved(page)
    expect(page.locator("#entries")).to_contain_text("<script>window.hit=1</script>")
    page.reload()
    saved(page)
    expect(page.locator("#entries li")).to_have_count(2)
    assert page.evaluate("window.hit") is None
    assert page.locator("main img, header img").count() == 0
    readings = load_readings(server.sheet, load_design(design))
    assert readings.note == (note, "'=1+1" + HOSTILE)


def test_a_page_of_another_sheet_keeps_its_readings_to_itself(desk, page, tmp_path):
    first = desk()
    page.goto(first.open())
    saved(page)
    enter(page, "19")
    saved(page)
    first.kill()
    enter(page, "19 1/8")
    other = Server(DEMO, tmp_path / "heat-61.csv")
    other.port = first.port
    other.open()
    try:
        status = page.locator("#status")
        expect(status).to_contain_text("heat-61.csv is open at this address now")
        expect(status).to_contain_text("1 not yet saved stay here")
        assert not other.sheet.exists()
        page.reload()
        expect(status).to_contain_text("1 of another sheet still wait")
    finally:
        other.kill()
    first.open()
    page.reload()
    saved(page)
    assert rows_of(first.sheet) == ["0,93,19,", "30,93,19 1/8,"]


def test_on_a_small_screen_enter_is_in_sight_with_every_caution(
    desk: Callable[..., Server], browser: Browser
) -> None:
    server = desk()
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    page.goto(server.open())
    expect(page.locator("#status")).to_contain_text("All saved", timeout=SLOW)
    for caution in CAUTIONS:
        box = page.get_by_text(caution, exact=True).bounding_box()
        assert box is not None
        assert 0.0 <= box["y"] <= box["y"] + box["height"] <= 768.0
        assert box["x"] + box["width"] <= 1024.0
    for name in ("accept", "skip", "no-access", "radius", "station-height"):
        box = page.locator(f"#{name}").bounding_box()
        assert box is not None
        assert 0.0 <= box["y"] <= box["y"] + box["height"] <= 768.0, name
    # A station that nobody can reach: one touch, and the next one is offered.
    first = page.locator("#station-clock").inner_text()
    page.click("#no-access")
    expect(page.locator("#station-clock")).not_to_have_text(first)
    expect(page.locator("#read-count")).to_contain_text("1 of", timeout=SLOW)
    expect(page.locator("#entries .read").first).to_have_text("no access")
    # A decimal comma is kept and shown as it was typed.
    page.fill("#radius", "19,5")
    page.click("#accept")
    expect(page.locator("#entries .read").first).to_have_text("19,5")
    expect(page.locator("#status")).to_contain_text("All saved", timeout=SLOW)
    assert [one["text"] for one in server.state()["entries"]] == ["no access", "19,5"]
    rows = load_readings(server.sheet, load_design(DEMO))
    assert rows.value.tolist() == [pytest.approx(19.5 * 25.4)]
    assert rows.no_access.azimuth.size == 1
    *_, row = (ln for ln in server.sheet.read_text().split("\n") if ln[:1].isdigit())
    assert ",19.5," in row  # the sheet has one decimal mark
    context.close()
