"""``--past``: earlier folders teach, wrong ones are refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from geom.cli import main

SCANS = Path(__file__).parents[2] / "scans"
QUICK = SCANS / "cupola-2-heat-52.csv"


def survey(sheet: Path, out: Path, *more: str) -> int:
    design = SCANS / "cupola-2.toml"
    return main(
        ["survey", str(design), str(sheet), "--out", str(out), "--quiet", *more]
    )


def told(out: Path) -> dict:
    return json.loads((out / "findings.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def earlier(
    demo_survey: Path, few_walls: None, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    out = tmp_path_factory.mktemp("past") / "heat-41"
    shutil.copytree(demo_survey, out)
    return out


def test_an_earlier_survey_is_used_and_said_to_be(
    earlier: Path, tmp_path: Path
) -> None:
    assert survey(QUICK, tmp_path / "with", "--past", str(earlier)) == 0
    assert "One past survey was used" in " ".join(told(tmp_path / "with")["warnings"])


def test_an_earlier_survey_helps_to_choose_the_next_station(
    earlier: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def now(*more: str) -> float:
        design = SCANS / "cupola-2.toml"
        words = ["next", str(design), str(QUICK), "--count", "1", "--json", *more]
        assert main(words) == 0
        return json.loads(capsys.readouterr().out)["now"]

    assert 0.0 < now("--past", str(earlier)) < now()


@pytest.mark.parametrize(
    ("folders", "words"),
    [
        (["nowhere"], "no surface.nc"),
        (["heat-41", "heat-41"], "given twice"),
        (["out"], "both --out and --past"),
    ],
)
def test_a_wrong_folder_is_refused_and_nothing_written(
    earlier: Path,
    folders: list[str],
    words: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = earlier.parent / "out"
    more = [word for name in folders for word in ("--past", str(earlier.parent / name))]
    assert survey(QUICK, out, *more) == 2
    assert words in capsys.readouterr().err
    assert not out.exists()
