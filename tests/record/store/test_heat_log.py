"""A heat log is read whole or refused with row and column; masses by their units."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from geom.errors import InputError
from geom.record.store.heat_log import LoggedSurvey, read_heat_log
from geom.record.store.occasion import Occasion, check_consistency
from geom.units import KG_PER, parse_mass
from tests.record.furnace import occasion

HEAD = "heat,date,stage,hours_on_blast,melted_short_ton,campaign,readings"
ROWS = (
    "41,2026-03-02,before-repair,6.5,48 1/2,7,41.csv | more/41.csv",
    "41,2026-03-03,after repair,,,7,41-after.csv",
    "42,2026-03-04,Not-Repaired,7,51,7,42.csv",
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where the readings of the log lie."""
    (tmp_path / "more").mkdir()
    for name in ("41.csv", "more/41.csv", "41-after.csv", "42.csv"):
        (tmp_path / name).write_text("not read here\n", "utf-8")
    return tmp_path


def read(folder: Path, *rows: str, head: str = HEAD) -> tuple[LoggedSurvey, ...]:
    path = folder / "log.csv"
    path.write_text("\n".join((head, *rows)) + "\n", "utf-8")
    return read_heat_log(path)


def test_every_row_is_a_survey_in_the_order_of_heats(folder: Path) -> None:
    logged = read(folder, *reversed(ROWS))
    assert [replace(one.occasion, melted=None) for one in logged] == [
        Occasion(41, "before repair", date(2026, 3, 2), 6.5, None, "7", "short ton"),
        Occasion(41, "after repair", date(2026, 3, 3), None, None, "7"),
        Occasion(42, "not repaired", date(2026, 3, 4), 7.0, None, "7", "short ton"),
    ]
    # 48.5 and 51 short tons of 2000 lb of 0.45359237 kg
    assert logged[0].occasion.melted == pytest.approx(43_998.45989, abs=1e-5)
    assert logged[1].occasion.melted is None
    assert logged[2].occasion.melted == pytest.approx(46_266.42174, abs=1e-5)
    assert logged[0].readings == (folder / "41.csv", folder / "more" / "41.csv")
    assert [one.place for one in logged] == ["row 4", "row 3", "row 2"]


def test_only_four_columns_are_needed_and_the_rest_may_stand_anywhere(
    folder: Path,
) -> None:
    (only,) = read(
        folder,
        "42.csv,before-repair,42,2026-03-04",
        head=" Readings ,STAGE,heat,date",
    )
    assert only.occasion == Occasion(42, "before repair", date(2026, 3, 4))


def test_a_spreadsheet_with_decimal_commas_is_read(folder: Path) -> None:
    (only,) = read(
        folder,
        "42;2026-03-04;before-repair;6,5;48,25;42.csv",
        head="heat;date;stage;hours_on_blast;melted_t;readings",
    )
    assert (only.occasion.hours, only.occasion.melted) == (6.5, 48_250.0)


WRONG: dict[str, tuple[str, str, str]] = {
    "heat": ("42,", "forty,", "row 4, column heat: 'forty' is no heat"),
    "a part of a heat": ("42,", "42.5,", "row 4, column heat"),
    "heat blank": ("42,", ",", "row 4, column heat: the heat is blank"),
    "date": ("2026-03-04", "4.3.2026", "row 4, column date: '4.3.2026' is no date"),
    "day": ("2026-03-04", "2026-02-30", "row 4, column date: .* no day of the"),
    "stage": ("Not-Repaired", "patched", "row 4, column stage: 'patched' is no stage"),
    "hours": ("7,51", "seven,51", "row 4, column hours_on_blast"),
    "less than no hours": ("7,51", "-7,51", "row 4, column hours_on_blast"),
    "melted": ("7,51", "7,51 t", "row 4, column melted_short_ton"),
    "no file": ("42.csv", "43.csv", "row 4, column readings: there is no file .*43"),
    "no readings": ("42.csv", "", "row 4, column readings: the readings is blank"),
    "the file twice": ("42.csv", "41.csv", "row 4, .*: 41.csv stands in row 2 too"),
    "the survey twice": (
        "42,2026-03-04,Not-Repaired",
        "41,2026-03-03,after-repair",
        "row 4, column heat: heat 41, after repair stands in row 3 too",
    ),
    "dates": ("2026-03-04", "2026-03-01", "dates run backwards"),
    "both": ("42,2026-03-04", "41,2026-03-04", "a wall that was not repaired has no"),
    "a cell too many": ("42.csv", "42.csv,yes", "column 8, which has no name"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_cell_is_refused_with_its_place(folder: Path, case: str) -> None:
    old, new, words = WRONG[case]
    assert old in ROWS[2]
    with pytest.raises(InputError, match=words) as found:
        read(folder, *ROWS[:2], ROWS[2].replace(old, new, 1))
    assert found.value.file == str(folder / "log.csv")
    assert found.value.cure


HEADS: dict[str, tuple[str, str, str]] = {
    "no unit": ("melted_short_ton", "melted", "melted_t, melted_short_ton"),
    "a bare ton": ("melted_short_ton", "melted_ton", "names no unit of mass"),
    "unknown": ("campaign", "campain", 'nearest known is "campaign"'),
    "missing": ("stage", "", "the column stage is missing"),
    "twice": ("campaign", "heat", "two columns heat"),
    "iron twice": ("campaign", "melted_t", "two columns of iron melted"),
}


@pytest.mark.parametrize("case", HEADS)
def test_a_wrong_header_is_refused(folder: Path, case: str) -> None:
    old, new, words = HEADS[case]
    with pytest.raises(InputError, match=words):
        read(folder, *ROWS, head=HEAD.replace(old, new))


def test_masses_are_those_of_the_agreement_of_1959() -> None:
    """NIST SP 811 (2008), appendix B.8: pound, short ton and long ton in kilograms.

    As printed: pound 4.535 924 E-01, short ton 9.071 847 E+02, long ton 1.016 047
    E+03; the pound is exactly 0.453 592 37 kg.
    """
    printed = {
        "lb": 4.535924e-01,
        "short ton": 9.071847e02,
        "long ton": 1.016047e03,
        "t": 1e3,
        "kg": 1.0,
    }
    assert printed.keys() == KG_PER.keys()
    for unit, kilogram in printed.items():
        assert parse_mass(f"1 {unit}")[0] == pytest.approx(kilogram, rel=6e-7)
    assert parse_mass("1 lb")[0] == 0.45359237


@pytest.mark.parametrize(
    ("text", "kilogram"),
    [
        ("12 short tons", 24_000 * 0.45359237),
        ("12 1/2 Long Tons", 28_000 * 0.45359237),
        ("48.5t", 48_500.0),
        ("500 lbs", 500 * 0.45359237),
        (" 7 kg ", 7.0),
    ],
)
def test_a_mass_is_read_with_its_unit(text: str, kilogram: float) -> None:
    assert parse_mass(text)[0] == pytest.approx(kilogram, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["12", "12 tons", "t", "12 stone", "a lot t", "", "ts"]
)
def test_a_mass_that_leaves_its_unit_open_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"unit of mass|is not a number"):
        parse_mass(text)[0]


def test_occasions_of_a_well_kept_furnace_do_not_contradict_each_other() -> None:
    kept = [
        occasion(0, "not repaired"),
        occasion(1),
        occasion(1, "after repair"),
        occasion(2),
        occasion(5, "not repaired", date=occasion(2).date),
    ]
    assert check_consistency(reversed(kept)) == ()
    assert len(check_consistency([*kept, occasion(0)])) == 1
    assert len(check_consistency([*kept, occasion(6, date=date(2025, 1, 1))])) == 1
