"""``daubline campaigns``: from records on the disk to a page a reviewer reads."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from geom.cli import main
from tests.e2e.opened_page import Opened
from tests.record.campaign_records import add_campaign, hump, new_record
from tests.views.page_read import Page

EVIL = "<script>alert(1)</script>\"'><img src=x>{{ 7*7 }}"


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    """Two records of one drawing, three campaigns."""
    folder = tmp_path_factory.mktemp("shop")
    one = new_record(folder / "one", unit="in")
    told = {"heats": 3, "scatter": 0.03}
    add_campaign(one, "2025", hump(12.0), first=0, seed=1, **told)
    add_campaign(
        one, "2026", hump(8.0), first=3, seed=2, begin=date(2026, 2, 1), **told
    )
    two = new_record(folder / "two", unit="in", name="Cupola <b>S</b> & Co")
    add_campaign(two, EVIL, hump(12.0), first=0, seed=3, **told)
    return folder


def campaigns(shop: Path, *told: str) -> int:
    return main(["campaigns", *told])


@pytest.fixture(scope="module")
def out(shop: Path) -> Path:
    made = shop / "out"
    told = [str(shop / "one"), "--first", "2025", "--second", "2026", "--quiet"]
    assert campaigns(shop, *told, "--out", str(made)) == 0
    return made


def page(out: Path) -> Page:
    return Page((out / "campaigns.html").read_bytes())


def test_both_files_are_written_and_agree(out):
    assert sorted(p.name for p in out.iterdir()) == ["campaigns.html", "campaigns.json"]
    told = json.loads((out / "campaigns.json").read_text(encoding="utf-8"))
    (zone,) = [p for p in told["pieces"] if p["name"] == "melting zone"]
    low, high = (
        round(100.0 * (1.0 - zone["ratio"][end])) for end in ("high95", "low95")
    )
    assert f"(95 %: {low} to {high} % less)" in page(out).text
    # Mean wear there is 1 + 0.42 * 8 mm against 1 + 0.42 * 12 mm, erf of the hump.
    assert low < 28 < high


def test_the_page_stands_by_itself_and_is_read_by_machines_too(out):
    made = page(out)
    assert made.open == []
    assert made.tags.count("script") == 1
    assert made.mute == []
    assert made.tags.count("caption") == made.tags.count("table")
    assert all(link.startswith("data:image/png;base64,") for link in made.links)
    assert made.tags.count("img") == 6
    raw = (out / "campaigns.html").read_bytes()
    assert b"http://" not in raw
    assert b"https://" not in raw
    assert b"url(" not in raw


def test_the_page_opens_by_itself_in_a_browser(out, browser):
    opened = Opened(browser, out / "campaigns.html", still=True)
    try:
        assert opened.trouble == []
        assert {one.split(":")[0] for one in opened.requested[1:]} <= {"data"}
        assert opened.skipped_headings() == []
    finally:
        opened.context.close()


def test_the_page_says_what_a_reviewer_asks_for(out):
    text = page(out).text
    for words in (
        "2026 against 2025",
        "Per 100 tonnes: 2026 wears the melting zone",
        "the same, on the same scale",
        "seen from inside",
        "grows counterclockwise seen from above",
        "What this does not say",
        "put back per 100 tonnes",
        "of the wall; on the rest (grey) neither is shown.",
    ):
        assert words in text, words
    assert "what iron, coke, flux and blast it was melted with" in text


def test_names_with_markup_stay_text(shop, tmp_path, capsys):
    records = [str(shop / "one"), str(shop / "two")]
    told = [*records, "--first", "2025", "--second", EVIL, "--by", "heat"]
    assert campaigns(shop, *told, "--title", EVIL, "--out", str(tmp_path / "o")) == 0
    made = page(tmp_path / "o")
    assert made.tags.count("script") == 1
    assert "b" in made.tags  # the page's own
    assert made.tags.count("img") == 6
    assert EVIL in made.text
    assert "Cupola <b>S</b> & Co" in made.text
    assert "49" not in re.findall(r"against (\S+)", made.text)
    # The same wear in both: nobody is told that it differs.
    assert "is not settled" in made.text
    assert "is not settled" in capsys.readouterr().out


def test_json_is_printed_when_asked_for(shop, tmp_path, capsys):
    told = [str(shop / "one"), "--first", "2025", "--second", "2026", "--by", "hour"]
    assert campaigns(shop, *told, "--json", "--out", str(tmp_path / "o")) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["by"] == "hour"
    written = (tmp_path / "o" / "campaigns.json").read_text(encoding="utf-8")
    assert printed == json.loads(written)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (["one", "--first", "2025", "--second", "2027"], "Did you mean '2026'"),
        (["one", "--first", "2025", "--second", "2025"], "both are campaign '2025'"),
        (
            ["one", "one", "two", "--first", "a", "--second", "b"],
            "3 records were named",
        ),
        (["one", "--first", "odd", "--second", "odd"], "there is no campaign 'odd'"),
        (["none", "--first", "2025", "--second", "2026"], "there is no such folder"),
    ],
)
def test_bad_usage_is_told_in_a_sentence_and_writes_nothing(
    shop, tmp_path, capsys, told, said
):
    places = [str(shop / one) if one in ("one", "two", "none") else one for one in told]
    target = tmp_path / "o"
    assert campaigns(shop, *places, "--out", str(target), "--quiet") == 2
    assert said in capsys.readouterr().err
    assert not target.exists()


def test_what_is_there_is_not_overwritten_unasked(shop, out, capsys):
    told = [str(shop / "one"), "--first", "2026", "--second", "2025", "--quiet"]
    before = (out / "campaigns.json").read_bytes()
    assert campaigns(shop, *told, "--out", str(out)) == 2
    assert "--overwrite" in capsys.readouterr().err
    assert (out / "campaigns.json").read_bytes() == before
