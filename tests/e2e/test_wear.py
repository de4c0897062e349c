"""``daubline wear`` from its command line to its files."""

from __future__ import annotations

import io
import json
import re
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from geom.cli import main
from tests.e2e.opened_page import Opened
from tests.record.small_record import start, worn_record
from tests.schema_faults import schema_faults

HEATS = 5


@pytest.fixture(scope="module")
def record(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("wear") / "record"
    start(folder)
    worn_record(folder, HEATS)
    return folder


@pytest.fixture(scope="module")
def other(tmp_path_factory) -> Path:
    """Of another furnace."""
    folder = tmp_path_factory.mktemp("wear") / "other"
    start(folder, name="Cupola No. 2 (north)")
    worn_record(folder, 3, exposures=False)
    return folder


@dataclass(frozen=True)
class Said:
    """What a command ended with and said."""

    returncode: int
    stdout: str
    stderr: str


def daubline(*words: object) -> Said:
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    return Said(code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def done(record, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "wear"
    return daubline("wear", record, "--out", out), out


def test_it_says_in_sentences_what_it_found(done):
    said, out = done
    assert (said.returncode, said.stderr) == (0, "")
    lines = said.stdout.splitlines()
    assert lines[0] == (
        f"Wear of Invented: {HEATS} spells of wear, {HEATS} heats, between heats 1 "
        f"and {HEATS}"
    )
    assert any(line.startswith("Whole wall: ") for line in lines)
    assert any(line.startswith("Melting zone: ") for line in lines)
    assert any("brick line" in line for line in lines)
    assert lines[-1].startswith(f"Files: {out}: start with")


def test_its_files_hold_the_same(done):
    import xarray as xr

    _, out = done
    told = json.loads((out / "wear.json").read_text("utf-8"))
    assert told["schema"] == "daubline.wear/1"
    assert told["cautions"]
    assert schema_faults("wear", told) == []
    assert schema_faults("wear", told | {"colour": "grey"})
    with xr.open_dataset(out / "wear.nc", engine="netcdf4") as maps:
        rate = maps["wear_per_heat"].to_numpy()
        assert maps["wear_per_heat"].dims == ("height", "azimuth")
    wall = told["wall"]["per_heat"]["long"]
    assert wall["low95"] < np.nanmean(rate) < wall["high95"]


def test_the_page_opens_by_itself_sorts_and_says_what_the_json_says(done, browser):
    _, out = done
    document = json.loads((out / "wear.json").read_text("utf-8"))
    opened = Opened(browser, out / "wear.html", still=True)
    try:
        assert opened.trouble == []
        assert opened.requested[0].startswith("file:")
        assert {one.split(":")[0] for one in opened.requested[1:]} <= {"data"}
        assert opened.skipped_headings() == []
        assert opened.page.evaluate(
            "document.documentElement.scrollWidth <= window.innerWidth"
        )
        answers = opened.page.locator(".answer").all_inner_texts()
        (hot,) = [zone for zone in document["zones"] if zone["name"] == "melting zone"]
        mm = hot["per_heat"]["long"]["value"]
        assert float(re.search(r"([\d.]+) mm", answers[0])[1]) == pytest.approx(
            mm, 0.05
        )
        (brick, *_) = document["longest_heat"]
        hours = float(re.search(r"About ([\d.]+) h", answers[2])[1])
        assert hours == pytest.approx(brick["hours"]["value"], rel=0.06)
        rates = opened.page.locator("table").first
        heads = rates.locator("th button")
        first = rates.locator("tbody tr td:nth-child(2)")

        def shown():
            texts = first.evaluate_all("all => all.map(one => one.firstChild.data)")
            found = [re.match(r"-?[\d.]+", text) for text in texts]
            return [float(one[0]) for one in found if one]

        heads.nth(1).click()
        assert shown() == sorted(shown())
        heads.nth(1).click()
        assert shown() == sorted(shown(), reverse=True)
        assert len(set(shown())) > 2
    finally:
        opened.context.close()


def test_json_is_printed_for_machines(record, done, tmp_path):
    said = daubline("wear", record, "--out", tmp_path / "out", "--json")
    assert said.returncode == 0, said.stderr
    told = json.loads(said.stdout)
    kept = json.loads((done[1] / "wear.json").read_text("utf-8"))
    assert {**told, "created": ""} == {**kept, "created": ""}


def test_quiet_says_nothing_and_files_are_not_overwritten(record, tmp_path):
    words = ("wear", record, "--out", tmp_path / "out", "--quiet")
    said = daubline(*words)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", "")
    again = daubline(*words)
    assert again.returncode == 2
    assert "--overwrite" in again.stderr
    assert daubline(*words, "--overwrite").returncode == 0


def test_each_of_several_furnaces_has_a_folder_of_its_own(record, other, tmp_path):
    out = tmp_path / "out"
    said = daubline("wear", record, other, "--out", out)
    assert said.returncode == 0, said.stderr
    assert sorted(one.name for one in out.iterdir()) == [
        "cupola-no-2-north",
        "invented",
    ]
    told = json.loads((out / "cupola-no-2-north" / "wear.json").read_text("utf-8"))
    assert told["lining"] == "Cupola No. 2 (north)"
    assert "per_hour" not in told["wall"]
    assert "Wear of Invented" in said.stdout
    assert "Wear of Cupola No. 2 (north)" in said.stdout


def test_two_records_of_one_lining_are_refused(record, tmp_path):
    said = daubline("wear", record, record, "--out", tmp_path / "out")
    assert said.returncode == 2
    assert "by themselves" in said.stderr
    assert not (tmp_path / "out").exists()


def test_a_fault_in_one_record_writes_nothing_of_any(record, tmp_path):
    start(tmp_path / "empty", name="Empty")
    said = daubline("wear", record, tmp_path / "empty", "--out", tmp_path / "out")
    assert said.returncode == 2
    assert "holds no survey" in said.stderr
    assert not (tmp_path / "out").exists()


def test_what_is_no_record_is_told(tmp_path):
    said = daubline("wear", tmp_path, "--out", tmp_path / "out")
    assert said.returncode == 2
    assert "there is no lining.toml in it" in said.stderr


def test_a_campaign_that_is_not_there_is_told(record, tmp_path):
    out = tmp_path / "out"
    said = daubline("wear", record, "--out", out, "--campaign", "third")
    assert said.returncode == 2
    assert "there is no campaign 'third'" in said.stderr
