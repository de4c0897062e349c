"""A workbook says what the same table in CSV says."""

from __future__ import annotations

import datetime
import io
import zipfile

import pytest

from geom.errors import InputError
from geom.readings import load_readings

HEAD = ["azimuth_deg", "height_in", "radius_in", "note"]
ROWS = [[0, 24, "18 3/8", None], [90, 24.5, 18.375, "seam"], [180, 60, "18⅜", None]]


def same_but_places(a, b):
    """Whether two surveys agree in all but where they were written."""
    arrays = ("azimuth", "height", "value", "sd", "step")
    return (a.kind, a.note) == (b.kind, b.note) and all(
        str(getattr(a, name).tolist()) == str(getattr(b, name).tolist())
        for name in arrays
    )


def test_the_long_form_is_that_of_the_csv(write, workbook, design):
    lines = [
        ",".join("" if c is None else str(c) for c in row) for row in [HEAD, *ROWS]
    ]
    csv = load_readings(write("\n".join(lines)), design)
    xlsx = load_readings(workbook({"Tabelle1": [HEAD, *ROWS]}), design)
    assert same_but_places(xlsx, csv)
    assert xlsx.place == ("rod.xlsx, row 2", "rod.xlsx, row 3", "rod.xlsx, row 4")
    other = load_readings(workbook({"rod": [HEAD, *ROWS[:2]]}, "b.xlsx"), design)
    assert not same_but_places(other, csv)


def test_the_wide_form_is_read(workbook, design):
    rows = [
        ["height_in \\ radius_in", "0deg", "30deg"],
        [24, 18.5, None],
        [60, None, "18 3/4"],
    ]
    readings = load_readings(workbook({"rod": rows}), design)
    assert readings.value == pytest.approx([469.9, 476.25], abs=1e-9)
    assert readings.place == (
        "rod.xlsx, row 2, column 0deg",
        "rod.xlsx, row 3, column 30deg",
    )


@pytest.mark.parametrize("title", ["rod", "Rod", " ROD "])
def test_the_sheet_named_rod_goes_before_the_first(workbook, design, title):
    path = workbook({"notes": [["keep", "out"], [1, 2]], title: [HEAD, *ROWS]})
    assert len(load_readings(path, design)) == 3


def test_else_the_first_sheet_is_read(workbook, design):
    path = workbook({"a": [HEAD, *ROWS], "b": [HEAD, ROWS[0]]})
    assert len(load_readings(path, design)) == 3


def test_comments_and_blank_rows_keep_the_rows_numbers(workbook, design):
    rows = [["# rod 2", "read after heat 14"], [], HEAD, [None, None], *ROWS]
    readings = load_readings(workbook({"rod": rows}), design)
    assert readings.place[0] == "rod.xlsx, row 5"


@pytest.mark.parametrize(
    ("cell", "place", "words"),
    [
        (datetime.date(2024, 3, 8), "row 3, column C", "it may have been 3/8"),
        (datetime.datetime(2024, 8, 3), "row 3, column C", "it may have been 3/8"),
        (datetime.date(2024, 8, 30), "row 3, column C", "a date (2024-08-30)"),
        (datetime.time(3, 8), "row 3, column radius_in", "a time of the day"),
        (True, "row 3, column C", "True is not a number"),
        ("=18+3/8", "row 3, column C", "without its result"),
        ("#DIV/0!", "row 3, column radius_in", "not a number"),
        ("deep", "row 3, column radius_in", "not a number"),
        (None, "row 3, column radius_in", "is blank"),
        (45.5, "row 3, column radius_in", "past the shell"),
    ],
)
def test_a_cell_that_is_no_reading_is_named(workbook, design, cell, place, words):
    path = workbook({"rod": [HEAD, ROWS[0], [90, 24, cell], ROWS[2]]})
    with pytest.raises(InputError) as caught:
        load_readings(path, design)
    assert caught.value.file == str(path)
    assert caught.value.place == place
    assert words in caught.value.what
    assert caught.value.cure


def with_result(path, result: bytes):
    """Put a stored result to the one formula of a workbook, as a spreadsheet does."""
    old = zipfile.ZipFile(io.BytesIO(path.read_bytes()))
    with zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                assert content.count(b"<v />") + content.count(b"<v></v>") == 1
                content = content.replace(b"<v />", b"<v>" + result + b"</v>")
                content = content.replace(b"<v></v>", b"<v>" + result + b"</v>")
            new.writestr(name, content)
    return path


def test_the_stored_result_of_a_formula_is_read(workbook, design):
    path = workbook({"rod": [HEAD, [90, 24, "=18+3/8"]]})
    readings = load_readings(with_result(path, b"18.375"), design)
    assert readings.value == pytest.approx([466.725], abs=1e-9)


def test_a_blank_cell_of_the_wide_form_is_no_formula_without_result(workbook, design):
    rows = [["height_in / radius_in", "45deg", "90deg"], [24, "=18+3/8", 18]]
    with pytest.raises(InputError, match="without its result"):
        load_readings(workbook({"rod": rows}), design)


def test_binary_noise_of_computed_numbers_is_not_a_division(workbook, design):
    path = workbook({"rod": [[*HEAD[:2], "radius_mm"], [0, 24, 455.1 + 0.2]]})
    assert load_readings(path, design).step == pytest.approx([0.1])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"azimuth_deg,height_in,radius_in\n", "no workbook"),
        (b"PK\x03\x04 and then junk", "no workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512), "old or a locked workbook"),
    ],
)
def test_what_is_no_workbook_is_refused(write, design, content, words):
    path = write(content, "rod.xlsx")
    with pytest.raises(InputError, match=words) as caught:
        load_readings(path, design)
    assert caught.value.file == str(path)
    assert caught.value.cure


def test_another_zip_archive_is_refused(tmp_path, design):
    path = tmp_path / "rod.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.txt", "x")
    with pytest.raises(InputError, match="the workbook cannot be read"):
        load_readings(path, design)


def test_an_archive_that_swells_is_refused_unopened(tmp_path, design, monkeypatch):
    from geom.readings.sheets import table as module

    monkeypatch.setattr(module, "_LARGEST_UNPACKED", 2**20)
    path = tmp_path / "rod.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(2**21))
    with pytest.raises(InputError, match="unpacked it is longer than 1 MiB"):
        load_readings(path, design)


def test_a_truncated_workbook_is_refused(workbook, design):
    path = workbook({"rod": [HEAD, *ROWS]})
    path.write_bytes(path.read_bytes()[:-400])
    with pytest.raises(InputError, match="workbook"):
        load_readings(path, design)


def test_a_workbook_without_rows_is_refused(workbook, design):
    with pytest.raises(InputError, match="no readings"):
        load_readings(workbook({"rod": []}), design)
    with pytest.raises(InputError, match="no readings"):
        load_readings(workbook({"rod": [HEAD]}, "b.xlsx"), design)


def rewritten(path, change) -> None:
    """Change the text of a workbook's first sheet."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = "xl/worksheets/sheet1.xml"
    parts[name] = change(parts[name].decode()).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, content in parts.items():
            archive.writestr(part, content)


@pytest.mark.parametrize(
    ("cell", "row"), [("A2000000000", 2_000_000_000), ("ZZZ9", 9), ("A20003", 20_003)]
)
def test_a_cell_far_out_is_refused_at_once(workbook, design, cell, row):
    """A row of two thousand million in 3 KB was waited for, and took gigabytes."""
    path = workbook({"rod": [HEAD, *ROWS]})
    far = f'<row r="{row}"><c r="{cell}"><v>1</v></c></row></sheetData>'
    rewritten(path, lambda text: text.replace("</sheetData>", far))
    with pytest.raises(InputError, match="more than 20000 rows or 400 columns"):
        load_readings(path, design)


def test_a_workbook_that_unpacks_without_end_is_refused(workbook, design):
    path = workbook({"rod": [HEAD, *ROWS]})
    rewritten(path, lambda text: text + " " * (33 * 2**20))
    with pytest.raises(InputError, match="unpacked it is longer than 32 MiB"):
        load_readings(path, design)
