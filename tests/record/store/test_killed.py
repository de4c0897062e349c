"""Writers killed at any moment lose nothing they reported, and leave nothing half."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from geom.record.store.store import (
    add_survey,
    check_record,
    open_record,
    start_record,
)
from tests.record.furnace import drawing, occasion, output_folder

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the drawing and the output folder of one survey of it."""
    folder = tmp_path_factory.mktemp("shop")
    output_folder(folder / "survey", drawing(folder))
    return folder


@pytest.fixture
def record(shop: Path, tmp_path: Path) -> Path:
    start_record(tmp_path / "record", shop / "cupola-s.toml")
    return tmp_path / "record"


def writers(shop: Path, record: Path, *what: str) -> Any:
    """What the writers' process tells."""
    called = [sys.executable, "-m", "tests.record.writers", record, shop / "survey"]
    done = subprocess.run(
        [*called, *what],
        cwd=ROOT,
        env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def test_a_writer_killed_at_any_step_leaves_a_sound_record(
    shop: Path, record: Path
) -> None:
    steps = writers(shop, record, "steps")
    assert len(steps) > 15
    assert {step["there"] for step in steps} == {False, True}
    for step in steps:
        assert step["faults"] == step["after"] == step["told"] == [], step
        assert step["before"], step
        found = "is already in the record" if step["there"] else "saved"
        assert step["next"].endswith(found), step


def test_of_two_who_add_the_same_occasion_at_once_exactly_one_saves(
    shop: Path, record: Path
) -> None:
    for heat, found in enumerate(writers(shop, record, "race", "12"), 1):
        assert found == [
            f"heat {heat}, before repair is already in the record",
            "saved",
        ]
    assert check_record(record) == ()
    assert [one.heat for one in open_record(record).occasions] == list(range(13))


def test_two_writers_killed_fifty_times_lose_nothing_they_reported(
    shop: Path, record: Path
) -> None:
    """Both at once; one alone is killed at every single step above.

    A fault that one kill in 17 brings out is met 95 times in 100: 1 - (16/17)**50.
    """
    found = writers(shop, record, "kill", "25")
    assert found["killed"] == 50
    saved = found["saved"]
    assert len(saved) == len(set(saved)) > 5
    held = {one.heat for one in open_record(record).occasions}
    assert held >= {0, 98, 99, *saved}
    assert check_record(record) == ()
    path = add_survey(record, shop / "survey", occasion(9999))
    assert path.is_file()
    assert check_record(record) == ()
    result = json.loads((record / "manifest.json").read_text("utf-8"))["surveys"]
    there = {file.name for file in (record / "surveys").glob("*.nc")}
    assert result.keys() == there


def test_two_who_add_different_surveys_at_once_both_save(
    shop: Path, record: Path
) -> None:
    """Each in a process of its own, from the output folder on."""
    code = (
        "import sys; from geom.record.store.store import add_survey; "
        "from tests.record.furnace import occasion; "
        "add_survey(sys.argv[1], sys.argv[2], occasion(int(sys.argv[3])))"
    )
    call = [sys.executable, "-c", code, record, shop / "survey"]
    pair = [subprocess.Popen([*call, str(heat)], cwd=ROOT) for heat in (3, 4)]
    assert [one.wait() for one in pair] == [0, 0]
    assert [one.heat for one in open_record(record).occasions] == [3, 4]
    assert check_record(record) == ()
    found = json.loads((record / "manifest.json").read_text("utf-8"))["surveys"]
    assert len(found) == 2
