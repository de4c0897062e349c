"""How long the report takes to write and to open, in one run, beside a bare page.

    .venv/bin/python scripts/bench/report.py

Aims: written in 2 s for the pinned grid; opened and answering in 1.5 s in headless
Chromium.  Opening is timed by the page's own marks, from asking for it to its flat
pictures answering, and until the wall can be turned in space as well, which headless
Chromium draws without a graphics card; five times, each in a fresh context.  A page
with nothing on it is opened beside it.  Then the wall is dragged round by 60 moves of
the pointer, as fast as the page takes them.
"""

from __future__ import annotations

import shutil
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geom
from geom.repair import prepare_repair
from geom.views.names import FILES
from geom.views.outputs import survey_makers, write_all

SCANS = Path(__file__).resolve().parents[2] / "scans"
TIMES = 5
MOVES = 60
BARE = """<html data-ready=yes><title>bare</title><p>bare
<script>performance.mark("answers"), performance.mark("turns")</script>"""


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        written = write(folder)
        bare = folder / "bare.html"
        bare.write_text(BARE)
        report = folder / "report.html"
        print(f"{report.stat().st_size / 1e6:.2f} MB")
        print(f"written in {written:.2f} s, its four pictures included (aim 2)")
        for name, path in (("bare page", bare), ("report", report)):
            measured = open_page(path)
            for what, times in zip(("answering", "turning too"), measured, strict=True):
                print(
                    f"{name}: opened and {what} in {statistics.median(times):.2f} s, "
                    f"worst {max(times):.2f} s"
                )
        dragged = [round(1e3 * one) for one in drag(report)]
        print(f"report: {MOVES} moves of the pointer turn it in {dragged} ms each")


def write(folder: Path) -> float:
    """Seconds to write the report, with libraries and surface at hand."""
    design = geom.load_design(SCANS / "cupola-2.toml")
    readings = geom.load_readings(SCANS / "cupola-2-heat-41.csv", design)
    surface = geom.reconstruct(readings, design)
    findings = geom.assess(surface, design)
    works = prepare_repair(surface, findings, design)
    seconds = []
    for _ in range(3):
        started = time.perf_counter()
        makers = survey_makers(readings, surface, findings, works)
        write_all(folder, ["report.html"], [makers[FILES.index("report.html")]])
        seconds.append(time.perf_counter() - started)
    return min(seconds)


def open_page(path: Path) -> tuple[list[float], list[float]]:
    """Seconds from asking for a page to its flat pictures answering, and to all."""
    with chromium() as browser:
        measured = [once(browser, path) for _ in range(TIMES)]
    return [flat for flat, _ in measured], [whole for _, whole in measured]


@contextmanager
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    flags = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    with sync_playwright() as playwright:
        there = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=there, args=flags)
        yield browser
        browser.close()


def drag(path: Path) -> list[float]:
    """Seconds that each move of the pointer takes while the wall is turned."""
    seconds = []
    with chromium() as browser:
        for _ in range(3):
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.goto(path.as_uri())
            page.wait_for_selector("html[data-ready=yes]", state="attached")
            wall = page.locator("#turning")
            wall.scroll_into_view_if_needed()
            page.wait_for_timeout(1500)
            box = wall.bounding_box()
            x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"]
            page.mouse.move(x, y)
            page.mouse.down()
            started = time.perf_counter()
            for move in range(MOVES):
                page.mouse.move(x + 4 * move, y)
            seconds.append((time.perf_counter() - started) / MOVES)
            page.close()
    return seconds


def once(browser: Any, path: Path) -> tuple[float, float]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    marks = (
        "['answers', 'turns'].map((n) => performance.getEntriesByName(n)[0].startTime)"
    )
    flat, whole = page.evaluate(marks)
    context.close()
    return 1e-3 * flat, 1e-3 * whole


if __name__ == "__main__":
    main()
