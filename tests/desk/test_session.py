"""The desk itself: quick at once, full when the hand rests, slips flagged."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from geom.desk.page import state
from geom.desk.session import DeskSession
from geom.parallel import second_process
from tests.desk.events import event
from tests.walls import plain_design, worn

DESIGN = plain_design()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[DeskSession]:
    made = DeskSession(DESIGN, Path("x.toml"), tmp_path / "a.csv", pause=0.05)
    yield made
    made.close()


def survey(count: int = 40):
    """Readings of a worn wall on the board's stations, spread over it."""
    rng = np.random.default_rng(3)
    board = [(a, h) for h in range(150, 1400, 150) for a in range(0, 360, 30)]
    for k in rng.permutation(len(board))[:count].tolist():
        azimuth, height = board[k]
        radius = 450.0 + float(worn(np.array(azimuth), np.array(height)))
        yield event(k, str(azimuth), str(height), f"{radius + rng.normal(0, 1):.0f}")


def until(ready, seconds: float = 120.0) -> None:
    end = time.monotonic() + seconds
    while not ready():
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.02)


def test_below_the_least_there_is_no_call_but_what_is_wanting(desk):
    desk.take(list(survey(3)))
    shown = state(desk)
    assert (shown["fit"], shown["count"]) == ("none", 3)
    assert shown["lacks"].startswith("5 more readings")
    assert all("call" not in one for line in shown["stations"] for one in line if one)


def test_quick_at_once_and_full_when_the_hand_rests(desk):
    desk.open()
    before = desk.now.version
    desk.take(list(survey(40)))
    assert desk.now.actions.fit == "quick"
    assert desk.now.version > before
    until(lambda: desk.now.actions.fit == "full")
    shown = state(desk)
    assert (shown["fit"], shown["fitting"], shown["trouble"]) == ("full", False, "")
    assert 1 <= len(shown["telling"]) <= 3
    desk.take([event(900, "45", "600", "470")])
    assert desk.now.actions.fit == "quick"
    until(lambda: desk.now.actions.fit == "full" and desk.now.actions.count == 41)
    json.dumps(shown, allow_nan=False)


def test_full_fits_are_done_by_another_process(desk, tmp_path, monkeypatch):
    """Where this one cannot fit; and what it is told is what it would have found."""
    desk.open()
    desk.take(list(survey(40)))
    until(lambda: desk.now.actions.fit == "full")
    monkeypatch.setattr("geom.desk.session.reconstruct", None)
    monkeypatch.setattr("geom.parallel.processors", lambda: 2)
    again = DeskSession(DESIGN, Path("x.toml"), tmp_path / "a.csv", pause=0.05)
    with second_process() as second:
        again.open(second)
        until(lambda: again.now.actions.fit == "full" or again.now.fit_error)
        again.close()
    assert again.now.fit_error == ""
    assert again.now.suggested == desk.now.suggested
    one, other = again.now.actions, desk.now.actions
    assert one.station_cutback == pytest.approx(
        other.station_cutback, abs=1e-9, nan_ok=True
    )
    assert (one.action == other.action).all()


def test_a_slip_is_flagged_to_be_measured_again_until_it_is_mended(desk):
    desk.open()
    slip = event(901, "90", "900", "650")  # for 450 or so
    others = [one for one in survey(60) if (one.azimuth, one.height) != ("90", "900")]
    desk.take([*others, slip])
    until(lambda: desk.now.actions.fit == "full")
    assert list(desk.now.outliers) == [slip.entry]
    shown = state(desk)
    (flagged,) = [one for one in shown["entries"] if one["slip"]]
    assert flagged["id"] == slip.entry
    assert "650 mm" in flagged["slip"]
    row = [one["text"] for one in shown["rows"]].index("900")
    column = [one["text"] for one in shown["columns"]].index("90")
    assert shown["stations"][row][column]["call"] == "measure again"
    # While the full fit has not looked again the reading stays out of the quick wall.
    desk.take([event(902, "300", "1050", "452")])
    assert list(desk.now.outliers) == [slip.entry]
    assert abs(desk.now.actions.station_cutback[row, column]) < 60.0
    desk.take([event(903, "90", "900", "470", kind="correct", entry=slip.entry)])
    assert desk.now.outliers == {}


def test_a_fit_that_comes_to_nothing_is_said_and_the_desk_goes_on(desk, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise ArithmeticError("no such wall")

    monkeypatch.setattr("geom.desk.session.reconstruct", broken)
    desk.open()
    desk.take(list(survey(20)))
    until(lambda: desk.now.fit_error)
    assert "no such wall" in state(desk)["trouble"]
    assert desk.now.actions.fit == "quick"
    assert desk.take([event(905, "45", "600", "470")])[0].kept


def test_a_sheet_that_is_there_is_shown_when_the_desk_opens(tmp_path):
    path = tmp_path / "a.csv"
    DeskSession(DESIGN, Path("x.toml"), path).take(list(survey(20)))
    again = DeskSession(DESIGN, Path("x.toml"), path)
    assert (again.now.actions.fit, len(again.now.entry_ids)) == ("quick", 20)
    assert again.now.entry_ids == tuple(one.entry for one in survey(20))


def test_what_the_page_is_told_of_a_station_is_the_shops_words(tmp_path):
    design = plain_design(length_unit="in")
    desk = DeskSession(design, Path("x.toml"), tmp_path / "a.csv")
    inches = [
        event(k, str(30 * (k % 12)), str(12 + 12 * (k // 12)), "19 1/4")
        for k in range(36)
    ]
    desk.take(inches)
    shown = state(desk)
    row = [one["text"] for one in shown["rows"]].index("24")
    station = shown["stations"][row][0]
    assert station["read"] == ["19 1/4"]
    assert shown["rows"][row]["drawn"] == "17 3/4"  # 450 mm are 17.717 in
    assert station["call"] == "brick"
    assert station["cutback"].startswith("cut back 1 1/2 in (")
    assert station["between"].endswith(" in")
    assert abs(station["mm"] - (19.25 * 25.4 - 450.0)) < 4.0


def test_where_nobody_can_reach_is_shown_on_the_board(tmp_path):
    desk = DeskSession(DESIGN, Path("x.toml"), tmp_path / "a.csv")
    (verdict,) = desk.take([event(7, "60", "525", "no access")])
    assert verdict.kept
    shown = state(desk)
    row = [one["text"] for one in shown["rows"]].index("525")
    column = [one["text"] for one in shown["columns"]].index("60")
    assert shown["stations"][row][column]["read"] == ["no access"]
