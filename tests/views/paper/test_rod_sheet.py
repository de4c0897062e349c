"""The blank rod sheet's pieces: marks, workbook, paper, plan."""

from __future__ import annotations

import csv
import io
import re
import time
import zipfile
from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pypdf
import pytest

from geom import InputError, load_readings
from geom.design import Design, Opening, RodErrors
from geom.frame import clock_time
from geom.sampling.plan import plan_next_stations, plan_stations
from geom.sampling.stations import Advice, Station
from geom.units import parse_number
from geom.views.cautions import TO_ENTER
from geom.views.names import PAPER, WORKBOOK
from geom.views.outputs import refuse_filled_in, write_rod_sheet
from geom.views.paper.rod_sheet import rod_sheet_bytes
from geom.views.paper.rod_workbook import is_filled_in, workbook_bytes
from geom.views.tables.stations import (
    Marks,
    marks_at,
    say_mark,
    say_setting,
)
from tests.walls import plain_design, tapered_design

IN = 25.4
LONG = "the big old cupola at the north end of the yard by the pattern shop " * 3
ADVICE = Advice(
    aim="volume",
    now=2.0,
    reading_sd=3.0,
    stations=tuple(
        Station(float(15 * k % 360), 300.0 + 75.0 * (k % 9), 1.0, is_repeat=k == 3)
        for k in range(30)
    ),
)


@pytest.fixture(scope="module")
def design() -> Design:
    return tapered_design()


@cache
def pages(content: bytes) -> list[str]:
    read = pypdf.PdfReader(io.BytesIO(content)).pages
    return [re.sub(r"\s+", " ", page.extract_text()) for page in read]


def opened(book):
    import openpyxl

    return openpyxl.load_workbook(book)


def sheet_of(content: bytes, name: str = "rod"):
    return opened(io.BytesIO(content))[name]


# --- marks ---------------------------------------------------------------------------


def test_marks_are_the_drawing_and_the_shops_rules_in_its_fractions() -> None:
    design = plain_design(length_unit="in", profile=plain_design().profile)
    design = replace(
        design, repair=replace(design.repair, tolerance=IN / 4, brick_threshold=IN)
    )
    # 450 mm are 17.7165 in: 17 3/4 to the nearest eighth; a quarter more is 17.9665,
    # 18 to the nearest eighth; an inch more 18.7165, 18 3/4.
    assert marks_at(design, 300.0) == Marks("17 3/4", "18", "18 3/4")


@pytest.mark.parametrize("unit", ["in", "mm", "cm", "m"])
def test_marks_are_as_good_as_the_rod_reads(unit: str) -> None:
    from geom.units import to_mm

    # Half of 1/8 in, and of 1 mm.
    half = IN / 16 if unit == "in" else 0.5
    for mm in np.linspace(400.0, 700.0, 97):
        assert to_mm(parse_number(say_mark(mm, unit)), unit) == pytest.approx(
            mm, abs=half + 1e-9
        )
        assert to_mm(parse_number(say_setting(mm, unit)), unit) == pytest.approx(
            mm, rel=1e-5
        )


# --- workbook ------------------------------------------------------------------------


def test_the_workbook_is_the_same_bytes_whenever_it_is_made(design: Design) -> None:
    plan = plan_stations(design)
    once = workbook_bytes(design, plan)
    # A ZIP holds times to two seconds.
    time.sleep(2.1)
    assert workbook_bytes(design, plan) == once
    assert workbook_bytes(design, plan, title="b") != once
    with zipfile.ZipFile(io.BytesIO(once)) as archive:
        assert archive.testzip() is None


def test_every_station_has_a_blank_cell_and_openings_are_grey(design: Design) -> None:
    plan = plan_stations(design, heights=18, columns=True)
    sheet = sheet_of(workbook_bytes(design, plan))
    (head,) = [r for r in range(1, 12) if "\\" in str(sheet.cell(r, 1).value)]
    hints = {
        cell.coordinate: told.prompt
        for told in sheet.data_validations.dataValidation
        for part in told.sqref.ranges
        for row in sheet[part.coord : part.coord]
        for cell in row
    }
    for row in range(plan.height.size):
        assert sheet.cell(head + 1 + row, 1).value == pytest.approx(plan.height[row])
        for column in range(plan.azimuth.size):
            cell = sheet.cell(head + 1 + row, column + 2)
            assert cell.value is None
            requested = plan.requested[row, column]
            assert (cell.fill.fill_type == "solid") == (not requested)
            word = "Brick from" if requested else "tuyere"
            assert word in hints[cell.coordinate]
    assert not plan.requested.all()


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("ending", ["xlsx", "csv"])
def test_turned_rows_are_read_back_station_by_station(
    tmp_path, sense: str, ending: str
) -> None:
    design = tapered_design(azimuth_sense=sense, rod=RodErrors(azimuth_step=5.0))
    plan = plan_stations(design)
    assert len(set(plan.turned.tolist())) > 2
    path = tmp_path / "rod.xlsx"
    path.write_bytes(workbook_bytes(design, plan))
    assert not is_filled_in(path)
    book = opened(path)
    sheet, wanted = book["rod"], []
    (head,) = [r for r in range(1, 12) if "\\" in str(sheet.cell(r, 1).value)]
    for row, column in zip(*np.nonzero(plan.requested), strict=True):
        at, azimuth = head + 2 + 2 * row, plan.station_azimuth[row, column]
        clock = clock_time(azimuth, sense)
        assert sheet.cell(at - 1, 3 + column).value == f"{clock}, {azimuth:g}°"
        radius = float(design.profile.radius_at(plan.height[row])) + 0.5 * len(wanted)
        wanted.append((azimuth, plan.height[row], round(radius % 60.0 + 440.0, 1)))
        sheet.cell(at, 3 + column, wanted[-1][2])
    book.save(path)
    assert is_filled_in(path)
    if ending == "csv":
        rows = [["" if c is None else c for c in r] for r in sheet.values]
        path = tmp_path / "rod.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    readings = load_readings(path, design)
    read = np.stack([readings.azimuth, readings.height, readings.value], axis=1)
    np.testing.assert_allclose(read, np.array(wanted), atol=1e-6)


def test_each_box_of_a_turned_row_has_its_own_clock_and_azimuth() -> None:
    design = tapered_design()
    plan = plan_stations(design)
    told = " ".join(pages(rod_sheet_bytes(design, plan))[1:])
    for azimuth in plan.station_azimuth[plan.requested].tolist():
        clock = clock_time(azimuth, design.azimuth_sense)
        assert re.search(rf" {clock}\s+{azimuth:g}° ", told)
    assert "Each box has its own place" in told


def test_inch_cells_are_text_so_that_no_fraction_becomes_a_date() -> None:
    for unit, form in (("in", "@"), ("mm", "General")):
        design = plain_design(length_unit=unit)
        sheet = sheet_of(workbook_bytes(design, plan_stations(design, columns=True)))
        assert sheet["B9"].number_format == form


def test_the_marks_stand_on_a_sheet_of_their_own(design: Design) -> None:
    plan = plan_stations(design)
    sheet = sheet_of(workbook_bytes(design, plan), "marks")
    for row, height in enumerate(plan.height.tolist(), 2):
        said = [float(sheet.cell(row, column).value) for column in range(1, 5)]
        drawn = float(design.profile.radius_at(height))
        # To whole millimetres.
        assert said == pytest.approx(
            [height, drawn, drawn + 6.35, drawn + 31.75], abs=0.5 + 1e-9
        )


def test_all_cautions_are_in_the_workbook(design: Design) -> None:
    sheet = sheet_of(workbook_bytes(design, plan_stations(design)), "cautions")
    assert [row[0].value for row in sheet.iter_rows()] == list(TO_ENTER)


def test_names_that_look_like_formulas_stay_text() -> None:
    evil = "=cmd|'x'!A1"
    hole = Opening(evil, 0.0, 445.0, 127.0, 90.0)
    design = plain_design(name=evil, height_zero=evil, openings=(hole,))
    content = workbook_bytes(design, plan_stations(design), title=evil)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = [n for n in archive.namelist() if "worksheets/" in n]
        assert len(parts) == 3
        assert all(b"<f>" not in archive.read(part) for part in parts)


def test_a_second_climb_is_read_back_station_by_station(
    design: Design, tmp_path
) -> None:
    plan = plan_next_stations(design, ADVICE)
    path = tmp_path / "second.xlsx"
    path.write_bytes(workbook_bytes(design, plan))
    book = opened(path)
    for row in range(plan.height.size):
        column = int(np.argmax(plan.requested[row]))
        book["rod"].cell(8 + row, 2 + column, 460 + row)
        assert book["marks"].cell(2 + row, 7).value == str(plan.rank[row])
    book.save(path)
    readings = load_readings(path, design)
    assert readings.value.tolist() == [460.0 + row for row in range(30)]
    for row, rank in enumerate(plan.rank):
        station = ADVICE.stations[rank - 1]
        assert readings.azimuth[row] == station.azimuth
        assert readings.height[row] == pytest.approx(station.height)


# --- a sheet that has been written on ------------------------------------------------


@pytest.mark.parametrize(("cell", "value"), [("C8", 455), ("O8", "soft"), ("D10", "x")])
def test_a_sheet_that_has_been_written_on_is_told(
    design: Design, tmp_path, cell: str, value: object
) -> None:
    write_rod_sheet(tmp_path, design, plan_stations(design), title="")
    path = tmp_path / WORKBOOK
    assert (tmp_path / PAPER).exists()
    assert not is_filled_in(path)
    refuse_filled_in(tmp_path)
    book = opened(path)
    book["rod"][cell] = value
    book.save(path)
    assert is_filled_in(path)
    with pytest.raises(InputError, match="has been written on"):
        refuse_filled_in(tmp_path)


def test_a_file_that_cannot_be_told_to_be_blank_is_not_overwritten(tmp_path) -> None:
    (tmp_path / WORKBOOK).write_bytes(b"something of somebody's")
    with pytest.raises(InputError, match="no workbook"):
        refuse_filled_in(tmp_path)


# --- paper ---------------------------------------------------------------------------


@cache
def pieces(content: bytes) -> list[tuple[float, float, float, str]]:
    """Size, place and text of all that is written."""
    found: list[tuple[float, float, float, str]] = []

    def note(text, cm, tm, _font, size):
        if text.strip():
            x = cm[0] * tm[4] + cm[2] * tm[5] + cm[4]
            y = cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
            found.append((size * (abs(tm[3]) or 1.0), x, y, text))

    for page in pypdf.PdfReader(io.BytesIO(content)).pages:
        page.extract_text(visitor_text=note)
    return found


@cache
def made(name: str) -> bytes:
    """Give one of the sheets below, made once."""
    return CASES[name]()


def usual(unit: str, sense: str, **more: int) -> bytes:
    design = tapered_design(length_unit=unit, azimuth_sense=sense)
    return rod_sheet_bytes(design, plan_stations(design, **more), title="Heat 7 <b>")


def second() -> bytes:
    return rod_sheet_bytes(
        tapered_design(), plan_next_stations(tapered_design(), ADVICE)
    )


def long_names() -> bytes:
    design = plain_design(
        name=LONG, azimuth_zero=LONG, height_zero=LONG, length_unit="m"
    )
    return rod_sheet_bytes(design, plan_stations(design, azimuths=7), title=LONG)


CASES = {
    "usual": lambda: usual("in", "clockwise"),
    "many": lambda: usual("mm", "counterclockwise", azimuths=24, heights=18),
    "few": lambda: usual("cm", "clockwise", azimuths=4, heights=2),
    "second": second,
    "long names": long_names,
}


@pytest.fixture(params=CASES, ids=str)
def paper(request: pytest.FixtureRequest) -> bytes:
    return made(request.param)


def test_it_prints_whole_on_a4_and_on_letter(paper: bytes) -> None:
    for page in pypdf.PdfReader(io.BytesIO(paper)).pages:
        # Lying, A4 is 842 x 595 points and Letter 792 x 612.
        assert page.mediabox.width <= 792
        assert page.mediabox.height <= 595


def test_nothing_is_written_outside_the_page(paper: bytes) -> None:
    for _, x, y, text in pieces(paper):
        assert 20.0 < x < 772.0, text
        assert 20.0 < y < 575.0, text


def test_type_is_large_enough_for_arms_length(paper: bytes) -> None:
    sizes = [(size, text) for size, _, _, text in pieces(paper)]
    assert min(sizes)[0] >= 10.0
    assert max(sizes)[0] >= 20.0
    small = [text for size, text in sizes if size < 12.0]
    foot = r"Seen from above: |page \d|the big old|invented"
    assert all(
        re.match(rf"\s*({foot}|[\d /.]+°?\s*$|azimuth|0° =)", text) for text in small
    ), small


def test_it_is_black_and_white(paper: bytes) -> None:
    coloured = re.compile(r"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b")
    found = set()
    for page in pypdf.PdfReader(io.BytesIO(paper)).pages:
        found |= set(coloured.findall(page.get_contents().get_data().decode("latin-1")))
    assert found
    assert all(red == green == blue for red, green, blue in found)


def test_the_first_page_has_every_caution(paper: bytes) -> None:
    first = pages(paper)[0]
    for caution in TO_ENTER:
        assert caution in first
    assert "Seen from above" in first


def test_the_pages_are_counted(paper: bytes) -> None:
    told = pages(paper)
    for number, text in enumerate(told, 1):
        assert f"page {number} of {len(told)}" in text


def test_lines_to_sign_stand_on_the_first_page() -> None:
    for name in ("usual", "many", "few", "second"):
        first = pages(made(name))[0]
        for word in ("Heat ___", "Date ___", "Read by ___", "Signature ___"):
            assert word in first


@pytest.mark.parametrize("more", [{}, {"azimuths": 24, "heights": 18}])
@pytest.mark.parametrize(
    ("unit", "sense"), [("in", "clockwise"), ("mm", "counterclockwise")]
)
def test_every_station_has_its_box(unit: str, sense: str, more: dict[str, int]) -> None:
    design = tapered_design(length_unit=unit, azimuth_sense=sense)
    plan = plan_stations(design, **more)
    content = rod_sheet_bytes(design, plan, title="Heat 7")
    told = pages(content)
    tables = " ".join(told[1:])
    across = -(-plan.azimuth.size // 6)
    for height in plan.height.tolist():
        assert tables.count(f" {say_setting(height, unit)} {unit} ") == across
    for azimuth in plan.azimuth.tolist():
        assert f" {azimuth:g}° " in tables
    # Each box has both its marks; those of several heights may be alike.
    wanted: Counter[str] = Counter()
    for row, height in enumerate(plan.height.tolist()):
        marks, boxes = marks_at(design, height), int(plan.requested[row].sum())
        wanted += Counter({marks.drawn: boxes}) + Counter({marks.brick: boxes})
    small = [text.strip() for size, _, _, text in pieces(content) if size == 10.5]
    assert Counter(small) == wanted
    assert tables.count("tuyere") == (~plan.requested).sum()
    assert f"azimuth grows {sense}" in told[0]
    assert "tap hole at 12 o'clock, which is azimuth 0" in told[0]
    assert "seen from inside" in told[1]


def test_a_second_climb_lists_its_stations_with_their_rank() -> None:
    told = pages(made("second"))
    listed = " ".join(told[1:])
    for rank, station in enumerate(ADVICE.stations, 1):
        again = " again" if station.is_repeat else ""
        assert re.search(
            rf"\b{rank} (half past \d+|\d+ o'clock) {station.azimuth:g}° "
            rf"{station.height:g} mm{again} ",
            listed,
        )


def test_markup_in_names_stays_text() -> None:
    evil = "<b>A</b> & <para> </font> Łódź"
    design = plain_design(name=evil, openings=(Opening(evil, 0.0, 445.0, 127.0, 90.0),))
    text = " ".join(pages(rod_sheet_bytes(design, plan_stations(design), title=evil)))
    assert f"{evil}: {evil}" in text


def test_the_paper_is_the_same_bytes_whenever_it_is_made(design: Design) -> None:
    plan = plan_stations(design)
    assert rod_sheet_bytes(design, plan) == rod_sheet_bytes(design, plan)


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_the_plan_has_azimuths_where_the_clock_has_them(sense: str) -> None:
    design = plain_design(azimuth_sense=sense, rod=RodErrors(azimuth_step=90.0))
    content = rod_sheet_bytes(design, plan_stations(design), title="")
    first = pypdf.PdfReader(io.BytesIO(content)).pages[0]
    places: dict[str, float] = {}

    def note(text, cm, tm, _font, _size):
        if text.strip() in ("90°", "270°", "3", "9"):
            places[text.strip()] = cm[4] + tm[4]

    first.extract_text(visitor_text=note)
    right = "90°" if sense == "clockwise" else "270°"
    left = "270°" if sense == "clockwise" else "90°"
    assert places[left] < places["9"] < places["3"] < places[right]
