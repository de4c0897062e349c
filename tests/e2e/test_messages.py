"""What the commands say of what they cannot take, and of what they coped with."""

from __future__ import annotations

from pathlib import Path

import pytest

from geom.cli import main

ROOT = Path(__file__).resolve().parents[2]
DESIGN = str(ROOT / "scans" / "cupola-2.toml")
SCAN = str(ROOT / "scans" / "cupola-2-heat-41-scan.laz")
READINGS = str(ROOT / "scans" / "cupola-2-heat-41.csv")


def refused(capsys: pytest.CaptureFixture[str], *told: str) -> str:
    """The one line that a command ends with."""
    assert main(list(told)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    line = said.err.strip()
    assert line.startswith("daubline: ")
    assert "\n" not in line
    assert "?." not in line
    return line


def test_next_offers_no_option_of_clouds(capsys, tmp_path):
    told = refused(capsys, "next", DESIGN, SCAN)
    assert "for rod readings only" in told
    assert "--cloud-unit" not in told
    out = str(tmp_path / "out")
    told = refused(capsys, "sheet", DESIGN, "--readings", SCAN, "--out", out)
    assert "--cloud-unit" not in told
    bare = tmp_path / "bare.csv"
    bare.write_text("10,24,18.5\n20,24,18\n")
    told = refused(capsys, "next", DESIGN, str(bare))
    assert "name its columns in the first row" in told


def test_a_sheet_without_its_names_is_asked_about(capsys, tmp_path):
    bare = tmp_path / "bare.csv"
    bare.write_text("10,24,18.5\n20,24,18\n")
    out = str(tmp_path / "out")
    told = refused(capsys, "survey", DESIGN, str(bare), "--out", out, "--quiet")
    assert "if it is a rod sheet, write the names of its columns" in told
    assert "--cloud-unit" in told


def test_the_desk_asks_for_a_workbook_as_csv(capsys, tmp_path):
    book = tmp_path / "x.xlsx"
    told = refused(capsys, "desk", DESIGN, "--sheet", str(book))
    assert "Name it x.csv" in told
    book.write_bytes(b"PK")
    told = refused(capsys, "desk", DESIGN, "--sheet", str(book))
    assert "Save it as CSV" in told


def test_a_record_that_is_not_there_is_said_to_be_missing(capsys, tmp_path):
    told = refused(capsys, "record", "list", str(tmp_path / "none"))
    assert "none: there is no such folder. Check its name." in told


def test_a_file_is_suggested_only_when_its_name_is_close(capsys, tmp_path):
    design = tmp_path / "cupola-2.toml"
    design.write_text("[lining]\n")
    told = refused(capsys, "next", str(tmp_path / "cupola-3.toml"), READINGS)
    assert told.endswith("Is it cupola-2.toml?")
    told = refused(capsys, "next", str(tmp_path / "project.toml"), READINGS)
    assert told.endswith("Check the name and the folder.")


def test_what_was_coped_with_is_said_once_unless_quiet(capsys, tmp_path):
    design = tmp_path / "a.toml"
    text = Path(DESIGN).read_text("utf-8")
    design.write_text(text.replace('"clockwise"', '"Clockwise"'), "utf-8")
    told = ["strickle", str(design), "--from", "12", "--to", "20", "--out"]
    assert main([*told, str(tmp_path / "a.svg")]) == 0
    note = f'{design}, [lining], key azimuth_sense: "Clockwise" is read as "clockwise".'
    assert capsys.readouterr().err == f"daubline: note: {note}\n"
    sheet = tmp_path / "sheet"
    assert main(["sheet", str(design), "--out", str(sheet)]) == 0
    assert capsys.readouterr().err.count("note:") == 1
