"""``daubline day``: the folder of a survey becomes the day of its repair."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pypdf
import pytest

import geom
from geom.cli import main
from geom.views.cautions import CAUTIONS
from geom.views.tables.day import day_rows
from tests.e2e.test_recheck import DESIGN, sheet, worn


@pytest.fixture(scope="module")
def shop(few_walls: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("day")
    (folder / "lining.toml").write_text(DESIGN, encoding="utf-8")
    first = sheet(folder / "worn.csv", worn)
    told = ["survey", str(folder / "lining.toml"), str(first), "--quiet"]
    assert main([*told, "--out", str(folder / "found"), "--title", "Heat 7"]) == 0
    return folder


def day(shop: Path, *more: str, design: str = "lining.toml", found: str = "found"):
    return main(["day", str(shop / design), str(shop / found), *more])


def test_the_terminal_tells_every_step_with_what_to_mind(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert day(shop) == 0
    said = capsys.readouterr().out
    design = geom.load_design(shop / "lining.toml")
    plan = geom.plan_day(shop / "found", design)
    rows = day_rows(plan, design)
    assert len(rows) >= 15
    place = 0
    for row in rows:
        place = said.index(row.what, place)
        place = said.index(f"Mind: {row.caution}", place)
    assert CAUTIONS[0] in said
    assert re.search(r"^1 +1 +[\d.]+ L +\d+:\d\d +\d+:\d\d", said, re.MULTILINE)


def test_json_has_the_numbers_of_the_plan(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert day(shop, "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "daubline.day/1"
    assert document["title"] == "Heat 7"
    repair = json.loads((shop / "found" / "findings.json").read_text("utf-8"))["repair"]
    mixed = sum(zone["daub"]["mixed"]["value"] for zone in repair["zones"])
    assert sum(batch["volume"] for batch in document["batches"]) == pytest.approx(mixed)
    assert document["drying"] == repair["drying"]
    steps = {step["name"]: step for step in document["steps"]}
    assert steps["daub"]["amount"] == pytest.approx(1000.0 * mixed)
    assert all(step["caution"] for step in document["steps"])


def test_the_report_and_the_paper_tell_the_same_day(shop: Path) -> None:
    out = shop / "paper"
    assert day(shop, "--out", str(out)) == 0
    assert [path.name for path in out.iterdir()] == ["day.pdf"]
    pages = pypdf.PdfReader(out / "day.pdf").pages
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))
    report = (shop / "found" / "report.html").read_text("utf-8")
    design = geom.load_design(shop / "lining.toml")
    for row in day_rows(geom.plan_day(shop / "found", design), design):
        assert f"{row.number}. {row.what}" in text
        assert row.caution in text
        assert row.caution in report
    assert "every hold point passed, no steam showing" in text
    for page in pages:
        assert page.mediabox.width <= 595
        assert page.mediabox.height <= 792
        assert page.extract_text().count("\n") > 5


def test_the_crew_of_the_design_file_decides(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    crew = f"{DESIGN}\n[crew]\nmen = 1\ncool_hours = 2\n"
    (shop / "alone.toml").write_text(crew, encoding="utf-8")
    times = {}
    for design in ("lining.toml", "alone.toml"):
        assert day(shop, "--json", design=design) == 0
        document = json.loads(capsys.readouterr().out)
        times[design] = {
            step["name"]: step["end"] - step["start"] for step in document["steps"]
        }
    two, one = times["lining.toml"], times["alone.toml"]
    assert (two["cool"], one["cool"]) == (12.0, 2.0)
    assert one["openings"] == pytest.approx(2.0 * two["openings"], abs=2 / 12)
    assert day(shop, design="alone.toml") == 0
    assert "guess of ours" not in capsys.readouterr().out


def test_a_folder_of_another_drawing_is_refused(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = DESIGN.replace("radius = 450", "radius = 460")
    (shop / "wider.toml").write_text(other, encoding="utf-8")
    out = tmp_path / "out"
    assert day(shop, "--out", str(out), design="wider.toml") == 2
    said = capsys.readouterr()
    assert "another drawing" in said.err
    assert not said.out
    assert not out.exists()
    assert day(shop, found="nowhere") == 2
    assert "surface.nc" in capsys.readouterr().err


def test_a_folder_without_a_plan_is_refused(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("findings.json", "surface.nc"):
        (tmp_path / name).write_bytes((shop / "found" / name).read_bytes())
    document = json.loads((tmp_path / "findings.json").read_text("utf-8"))
    del document["repair"]
    (tmp_path / "findings.json").write_text(json.dumps(document), "utf-8")
    assert day(shop, found=str(tmp_path)) == 2
    assert "no repair plan" in capsys.readouterr().err
