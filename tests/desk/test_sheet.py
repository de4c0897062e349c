"""Writers killed in the middle, disks that are full, and two desks on one sheet."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom import InputError, load_readings
from geom.desk.entries import read_event
from geom.desk.sheet import SheetFile, read_sheet
from tests.desk.events import event, message
from tests.walls import plain_design

ROOT = Path(__file__).resolve().parents[2]
DESIGN = plain_design()
SEEDED = settings(derandomize=True, deadline=None, max_examples=150)


def typing(path: Path, first: int, count: int) -> subprocess.Popen[str]:
    called = [sys.executable, "-m", "tests.desk.typing_hand", str(path)]
    return subprocess.Popen(
        [*called, str(first), str(count)],
        cwd=ROOT,
        env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        text=True,
    )


def test_a_writer_killed_in_the_middle_loses_nothing_that_it_said_was_kept(tmp_path):
    path = tmp_path / "a.csv"
    said: list[str] = []
    for first, kept in ((0, 3), (1000, 11)):
        with typing(path, first, 900) as hand:
            assert hand.stdout is not None
            assert hand.stdout.readline() == "ready\n"
            said += [hand.stdout.readline().strip() for _ in range(kept)]
            hand.send_signal(signal.SIGKILL)
            said += hand.stdout.read().split()
        sheet = read_sheet(path, DESIGN)
        entry_ids = [entry.id for entry in sheet.active]
        # The one that was being written when it was killed may be there as well.
        assert entry_ids[: len(said)] == said
        assert len(entry_ids) - len(said) in (0, 1)
        assert len(load_readings(path, DESIGN)) == len(entry_ids)
        said = entry_ids
    assert len(said) >= 14


def test_what_a_killed_writer_left_is_gone_when_the_sheet_is_opened_again(tmp_path):
    path = tmp_path / "a.csv"
    SheetFile(path, DESIGN).take([event(1)])
    (tmp_path / f".a.csv.{'0a' * 6}").write_bytes(b"half a she")
    others = [tmp_path / name for name in (".a.csv.swp", f".b.csv.{'0a' * 6}")]
    for other in others:
        other.touch()
    assert len(SheetFile(path, DESIGN).sheet.active) == 1
    assert sorted(tmp_path.iterdir()) == sorted([path, *others])


def test_a_full_disk_is_said_and_the_sheet_stays_whole(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, DESIGN)
    sheet.take([event(1)])
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(InputError, match="No space left"):
            sheet.take([event(2, "30")])
    assert path.read_bytes() == before
    assert sheet.sheet.applied == {"deed-000001"}
    assert [file.name for file in tmp_path.iterdir()] == ["a.csv"]
    assert sheet.take([event(2, "30")])[0].kept
    assert len(load_readings(path, DESIGN)) == 2


def test_two_desks_on_one_sheet_keep_each_others_readings(tmp_path):
    path = tmp_path / "a.csv"
    desks = [SheetFile(path, DESIGN), SheetFile(path, DESIGN)]
    hands = [
        threading.Thread(
            target=lambda desk=desk, first=first: [
                desk.take([event(k, str(k), text=f"{450 + k % 90}")])
                for k in range(first, first + 25)
            ]
        )
        for desk, first in zip(desks, (0, 100), strict=True)
    ]
    with typing(path, 500, 25) as other:
        for hand in hands:
            hand.start()
        for hand in hands:
            hand.join()
        told, _ = other.communicate(timeout=60)
    assert len(told.split()) == 26
    entry_ids = [entry.id for entry in read_sheet(path, DESIGN).active]
    assert len(entry_ids) == 75
    for first in (0, 100, 500):
        own = [f"reading-{k:04d}" for k in range(first, first + 25)]
        assert [mark for mark in entry_ids if mark in own] == own


ANY = st.text(st.characters(codec="utf-8"), max_size=12)


@SEEDED
@given(
    azimuth=st.sampled_from(["", "#"]).flatmap(lambda mark: ANY.map(lambda t: mark + t))
    | st.just("30"),
    height=ANY | st.just("500") | st.just("#500"),
    text=ANY | st.just("455") | st.just("#N/A") | st.just("no access"),
    note=ANY,
)
def test_whatever_is_typed_is_read_back_by_the_survey_or_refused(
    tmp_path_factory, azimuth, height, text, note
):
    """All of Unicode: what is said to be kept is on disk as it was typed."""
    path = tmp_path_factory.mktemp("any") / "a.csv"
    sheet = SheetFile(path, DESIGN)
    texts = {"azimuth": azimuth, "height": height, "text": text, "note": note}
    try:
        typed = read_event(message(event(2)) | texts)
    except InputError:  # longer than a number
        return
    first, verdict = sheet.take([event(1), typed])
    assert first.kept
    again = read_sheet(path, DESIGN)
    assert len(again.active) == 1 + verdict.kept
    kept = (typed.azimuth, typed.height, typed.text, typed.note)
    assert not verdict.kept or again.active[-1].texts == kept
    read = load_readings(path, DESIGN)
    assert len(read) == 1 + (verdict.kept and not again.active[-1].no_access)


@pytest.mark.filterwarnings("ignore::geom.errors.InputWarning")
def test_a_sheet_as_people_write_it_is_continued(tmp_path):
    path = tmp_path / "a.csv"
    rows = ["Azimuth (deg);Height, mm;radius_mm;read_by", "10°;600;455 mm;x"]
    path.write_text("\n".join([*rows, "20;600;n/r;x", "30;600;-;x"]) + "\n", "utf-8")
    sheet = SheetFile(path, DESIGN)
    assert all(verdict.kept for verdict in sheet.take([event(1, "40")]))
    entry_ids, readings = sheet.readings()
    again = load_readings(path, DESIGN)
    assert len(entry_ids) == len(readings) == len(again) == 2
    assert again.azimuth.tolist() == readings.azimuth.tolist() == [10.0, 40.0]
    assert again.no_access.azimuth.tolist() == [30.0]
    assert "10°;600;455 mm;x" in path.read_text("utf-8")


def test_a_sheet_of_hours_is_not_continued(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("clock,height_mm,radius_mm\n3,600,455\n", "utf-8")
    with pytest.raises(InputError, match="no column for the azimuth"):
        SheetFile(path, DESIGN)
