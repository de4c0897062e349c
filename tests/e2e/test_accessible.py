"""Every page by axe-core, whose rules nobody here made: none of them is broken.

Reference: axe-core 4 (Deque Systems), its rules for WCAG 2 A and AA and best practice;
what it leaves to a person to judge is not counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from geom.cli import main
from tests.conftest import AXE
from tests.e2e.opened_page import Opened
from tests.e2e.test_desk import DEMO, SLOW, Server
from tests.record.campaign_records import add_campaign, hump, new_record

ASK = """async () => (await axe.run({resultTypes: ["violations"]})).violations.map(
  one => [one.id, one.help, ...one.nodes.slice(0, 3).map(node => node.html)].join("; "))
"""


def violations(page: Any) -> list[str]:
    """What axe-core finds, with the first places of each."""
    page.evaluate(AXE.read_text("utf-8"))
    return [str(one) for one in page.evaluate(ASK)]


@pytest.fixture(scope="module")
def wear_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """wear.html and heats.html of one campaign, campaigns.html of two."""
    folder = tmp_path_factory.mktemp("accessible")
    record = new_record(folder / "record", unit="in")
    add_campaign(record, "2025", hump(12.0), first=0, seed=1, heats=3, scatter=0.03)
    add_campaign(
        *(record, "2026", hump(8.0)),
        **{"first": 3, "seed": 2, "heats": 3, "scatter": 0.03},
        begin=date(2026, 2, 1),
    )
    told = [str(folder / "record"), "--quiet", "--out"]
    assert main(["wear", *told, str(folder / "wear")]) == 0
    ends = ["--first", "2025", "--second", "2026"]
    assert main(["campaigns", *told, str(folder / "campaigns"), *ends]) == 0
    return folder


@pytest.mark.parametrize(
    ("name", "still"),
    [
        ("wear/wear.html", True),
        ("wear/heats.html", False),
        ("campaigns/campaigns.html", True),
    ],
)
def test_the_pages_of_a_record_break_no_rule(
    browser: Any, wear_pages: Path, name: str, *, still: bool
) -> None:
    opened = Opened(browser, wear_pages / name, still=still)
    assert violations(opened.page) == []
    opened.context.close()


@pytest.fixture(scope="module")
def report(browser: Any, demo_survey: Path) -> Iterator[Any]:
    opened = Opened(browser, demo_survey / "report.html")
    yield opened.page
    opened.context.close()


def test_the_report_breaks_no_rule(report: Any) -> None:
    assert violations(report) == []


def test_a_skipped_heading_level_is_told(report: Any) -> None:
    """The spoiled twin: one heading of the report two levels further down."""
    report.evaluate("document.querySelector('h2').setAttribute('aria-level', '4')")
    assert [one for one in violations(report) if one.startswith("heading-order;")]


def test_the_desk_breaks_no_rule(browser: Any, tmp_path: Path) -> None:
    server = Server(DEMO, tmp_path / "heat-60.csv")
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    context.set_default_timeout(SLOW)
    try:
        page = context.new_page()
        page.goto(server.open())
        page.wait_for_selector("#board button")
        assert violations(page) == []
    finally:
        context.close()
        server.kill()
