"""The desk after a repair: the verdict of `geom.recheck` on what was typed so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

import geom
from geom.design import DatumBand
from geom.desk.actions import planned_stations
from geom.desk.page import state
from geom.desk.session import DeskSession
from geom.quantity import Quantity
from geom.repair.acceptance.conformity import judge
from geom.views.tables.recheck import VERDICTS
from tests.desk.events import event
from tests.desk.test_session import until
from tests.repair.repairs import DESIGN, as_before, burnt, mended, read, survey

#: For messages only.
FILE = Path("x.toml")
#: Of the repaired wall: the third patch was left short.
SHORT = (0.0, 0.0, 14.0)


@pytest.fixture(scope="module")
def design() -> geom.Design:
    return replace(DESIGN, datum_bands=(DatumBand(1200.0, 1450.0),))


@pytest.fixture(scope="module")
def before(design: geom.Design) -> geom.SurveyBefore:
    return as_before(*survey(read(burnt, seed=11), design))


def typed(sheet: Path) -> Path:
    """Some readings of the repaired wall: too few to settle all of it."""
    found = read(partial(mended, short=SHORT), azimuths=8, heights=6, seed=12)
    rows = zip(found.azimuth, found.height, found.value, strict=True)
    lines = [f"{azimuth:g},{height:g},{radius:.1f}" for azimuth, height, radius in rows]
    head = "azimuth_deg,height_mm,radius_mm"
    sheet.write_text("\n".join([head, *lines]) + "\n", "utf-8")
    return sheet


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("desk") / "after.csv"


@pytest.fixture(scope="module")
def desk(design, before, sheet: Path) -> Iterator[DeskSession]:
    """With some readings of the repaired wall typed, and worked out."""
    typed(sheet)
    desk = DeskSession(design, FILE, sheet, before=before, pause=0.05)
    desk.open()
    until(lambda: desk.now.rechecked is not None)
    yield desk
    desk.close()


def test_the_verdict_and_where_to_read_next_are_those_of_a_recheck(
    desk, design, before, sheet: Path
) -> None:
    readings = geom.load_readings(sheet, design)
    surface = geom.reconstruct(readings, design, repaired=before)
    told = geom.recheck(before, surface, geom.assess(surface, design), design)
    assert told.verdict in repr(told).splitlines()[0]
    assert f"places to measure again: {len(list(told.open_points()))}" in repr(told)
    shown = state(desk)
    assert shown["recheck"]["verdict"] == VERDICTS[told.verdict]
    assert not shown["recheck"]["late"]
    assert any(line.startswith("NOT RELEASED") for line in shown["recheck"]["lines"])
    judged = [one for row in shown["stations"] for one in row if one and "call" in one]
    assert {"accept", "cannot tell"} <= {one["decision"] for one in judged}
    for one in judged:
        assert one["judged"].lower().startswith(one["decision"])
    settable = set(planned_stations(design, FILE).height.round(3))
    assert shown["telling"]
    for place in shown["telling"]:
        assert round(place["row"]["mm"], 3) in settable


def test_a_station_that_nobody_can_reach_is_not_asked_for_again(desk) -> None:
    first = state(desk)["telling"][0]
    where = first["column"]["text"], first["row"]["text"]
    desk.take([event(2, *where, "no access")])
    shown = state(desk)
    places = {(one["column"]["text"], one["row"]["text"]) for one in shown["telling"]}
    assert where not in places
    assert "no access" in desk._file.path.read_text("utf-8")


def test_a_station_left_short_is_rejected_at_once(
    design, before, tmp_path: Path
) -> None:
    sheet = typed(tmp_path / "after.csv")
    desk = DeskSession(design, FILE, sheet, before=before)
    shown = state(desk)
    row, column = next(
        (i, j)
        for i, line in enumerate(shown["stations"])
        for j, one in enumerate(line)
        if one and one["read"] and one.get("decision") == "accept"
    )
    where = shown["columns"][column]["text"], shown["rows"][row]["text"]
    drawn = shown["rows"][row]["drawnMm"]
    (verdict,) = desk.take([event(1, *where, f"{drawn + 76.0:.1f}")])
    assert verdict.kept
    shown = state(desk)
    at = [line["text"] for line in shown["rows"]].index(where[1])
    on = [line["text"] for line in shown["columns"]].index(where[0])
    station = shown["stations"][at][on]
    assert station["decision"] == "reject"
    tolerance = desk.design.repair.tolerance
    found = judge(Quantity.normal(station["mm"], station["sd"]), tolerance)
    assert station["decision"] == found.decision


def test_without_a_survey_before_nothing_is_judged(design, tmp_path: Path) -> None:
    shown = state(DeskSession(design, FILE, tmp_path / "a.csv"))
    assert shown["recheck"] is None


def test_a_reading_far_off_is_not_accepted_because_others_outvote_it(desk) -> None:
    """In a band known to be sound the wall hardly follows one reading, 76 mm off."""
    height = desk.design.datum_bands[0].high - 127.0
    shown = state(desk)
    row = min(shown["rows"], key=lambda line: abs(line["mm"] - height))
    at = shown["rows"].index(row)
    line = shown["stations"][at]
    on = next(j for j, one in enumerate(line) if one and one.get("decision"))
    where = shown["columns"][on]["text"], row["text"]
    desk.take([event(7, *where, f"{row['drawnMm'] + 76.0:.1f}")])
    shown = state(desk)
    at = [one["text"] for one in shown["rows"]].index(where[1])
    on = [one["text"] for one in shown["columns"]].index(where[0])
    assert shown["stations"][at][on]["decision"] != "accept"
