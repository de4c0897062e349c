"""Bad input at the command: exit code 2, one message, nothing left behind."""

from __future__ import annotations

import errno
import os
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from geom.cli import main

DESIGN = """
[lining]
name = "Cupola A"
length_unit = "in"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[shell]
radius = 27

[[profile]]
height = 0
radius = 18
[[profile]]
height = 60
radius = 18

[[tuyere]]
azimuth = 30
height = 17.5
width = 5
tall = 3.5
"""

HEAD = "azimuth_deg,height_in,radius_in\n"


def rows(
    azimuths: int = 4,
    heights: tuple[float, ...] = (10, 20, 30, 40),
    text: str = "18 1/2",
) -> str:
    return "".join(
        f"{360 * a // azimuths + 1},{h},{text}\n"
        for h in heights
        for a in range(azimuths)
    )


SHEET = HEAD + rows()


@dataclass(frozen=True)
class Case:
    """One bad input: what is in the two files, and words the message must hold."""

    design: str | bytes | None
    sheet: str | bytes | None
    words: tuple[str, ...]


def design_with(old: str, new: str) -> str:
    assert old in DESIGN
    return DESIGN.replace(old, new)


CASES: dict[str, Case] = {
    "design missing": Case(None, SHEET, ("lining.toml",)),
    "design empty": Case("", SHEET, ("lining.toml",)),
    "design is binary junk": Case(b"\x00\xff\x80" * 40, SHEET, ("lining.toml",)),
    "design is not TOML": Case("[lining\nname=", SHEET, ("lining.toml", "line")),
    "no unit": Case(
        design_with('length_unit = "in"', ""), SHEET, ("lining.toml", "length_unit")
    ),
    "unknown unit": Case(
        design_with('"in"', '"furlong"'), SHEET, ("length_unit", "furlong", "mm")
    ),
    "unknown key": Case(
        design_with("azimuth_sense", "azimut_sense"),
        SHEET,
        ("azimut_sense", "azimuth_sense"),
    ),
    "unknown table": Case(
        design_with("[[tuyere]]", "[[tuyeres]]"), SHEET, ("tuyeres", "tuyere")
    ),
    "profile going down": Case(
        design_with("height = 60", "height = -5"), SHEET, ("profile", "entry 2")
    ),
    "one profile entry": Case(
        DESIGN.replace("[[profile]]\nheight = 60\nradius = 18\n", ""),
        SHEET,
        ("profile",),
    ),
    "profile through the shell": Case(
        design_with("height = 60\nradius = 18", "height = 60\nradius = 28"),
        SHEET,
        ("profile", "shell"),
    ),
    "negative design radius": Case(
        design_with("height = 60\nradius = 18", "height = 60\nradius = -18"),
        SHEET,
        ("profile", "radius"),
    ),
    "tuyere above the profile": Case(
        design_with("height = 17.5", "height = 75"), SHEET, ("tuyere",)
    ),
    "sheet missing": Case(DESIGN, None, ("rod.csv",)),
    "sheet empty": Case(DESIGN, "", ("rod.csv", "empty")),
    "sheet is binary junk": Case(DESIGN, b"\x00\x01\xfe\xff" * 99, ("rod.csv",)),
    "header only": Case(DESIGN, HEAD, ("rod.csv",)),
    "no header": Case(DESIGN, rows(), ("rod.csv", "row 1")),
    "missing column": Case(
        DESIGN, "azimuth_deg,radius_in\n1,18\n", ("rod.csv", "height")
    ),
    "unit not in the column name": Case(
        DESIGN, SHEET.replace("radius_in", "radius"), ("rod.csv", "radius", "_mm")
    ),
    "unknown unit in the column name": Case(
        DESIGN, SHEET.replace("radius_in", "radius_ft"), ("radius_ft",)
    ),
    "unknown column": Case(
        DESIGN, SHEET.replace("radius_in\n", "radius_in,notee\n"), ("notee",)
    ),
    "duplicate header": Case(
        DESIGN,
        "azimuth_deg,height_in,radius_in,radius_in\n1,10,18,18\n",
        ("row 1", "two columns for radius"),
    ),
    "two quantities": Case(
        DESIGN, "azimuth_deg,height_in,radius_in,cutback_in\n1,10,18,0\n", ("cutback",)
    ),
    "letters in a number": Case(
        DESIGN, SHEET + "90,20,18x\n", ("row 18", "radius_in", "18x")
    ),
    "NaN": Case(DESIGN, SHEET + "90,20,nan\n", ("row 18", "radius_in")),
    "infinite": Case(DESIGN, SHEET + "90,20,inf\n", ("row 18", "radius_in")),
    "too large to be a number": Case(DESIGN, SHEET + "90,20,1e999\n", ("row 18",)),
    "blank cell": Case(DESIGN, SHEET + "90,20,\n", ("row 18", "radius_in")),
    "short row": Case(DESIGN, SHEET + "90,20\n", ("row 18",)),
    "long row": Case(DESIGN, SHEET + "90,20,18,4\n", ("row 18",)),
    "fraction over zero": Case(DESIGN, SHEET + "90,20,18 1/0\n", ("row 18",)),
    "negative radius": Case(DESIGN, SHEET + "90,20,-18\n", ("row 18", "-18")),
    "azimuth of 400": Case(DESIGN, SHEET + "400,20,18\n", ("row 18", "400")),
    "height outside the profile": Case(DESIGN, SHEET + "9,66,18\n", ("row 18", "66")),
    "radius beyond the shell": Case(DESIGN, SHEET + "9,20,29\n", ("row 18", "shell")),
    "a diameter in one row": Case(
        DESIGN, SHEET + "9,20,36 1/2\n", ("row 18", "diameter")
    ),
    "all diameters": Case(DESIGN, HEAD + rows(text="37"), ("rod.csv", "diameter")),
    "inches named mm": Case(
        DESIGN, SHEET.replace("radius_in", "radius_mm"), ("rod.csv", "mm", "in")
    ),
    "inside a tuyere": Case(DESIGN, SHEET + "30,17.5,18\n", ("row 18", "tuyere")),
    "one reading": Case(DESIGN, HEAD + "1,10,18\n", ("rod.csv", "at least 8")),
    "all at one height": Case(
        DESIGN, HEAD + rows(12, (20,)), ("rod.csv", "different heights")
    ),
    "two azimuths": Case(
        DESIGN, HEAD + rows(2, (10, 20, 30, 40, 50)), ("different azimuths",)
    ),
    "sd of zero": Case(
        DESIGN, "azimuth_deg,height_in,radius_in,sd_in\n1,10,18,0\n", ("row 2", "sd_in")
    ),
}


def laid_out(folder: Path, case: Case) -> list[str]:
    for name, content in (("lining.toml", case.design), ("rod.csv", case.sheet)):
        if isinstance(content, str):
            (folder / name).write_text(content, encoding="utf-8")
        elif content is not None:
            (folder / name).write_bytes(content)
    return [
        "survey",
        str(folder / "lining.toml"),
        str(folder / "rod.csv"),
        "--out",
        str(folder / "deep" / "out"),
    ]


def refused(
    command: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> str:
    before = sorted(folder.rglob("*"))
    assert main(command) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert sorted(folder.rglob("*")) == before
    message = said.err.strip().splitlines()
    assert len([line for line in message if line.startswith("daubline: ")]) == 1
    assert "Traceback" not in said.err
    return said.err


@pytest.mark.parametrize("name", CASES)
def test_bad_files_are_refused_by_name_and_place(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    said = refused(laid_out(tmp_path, case), tmp_path, capsys)
    missing = [word for word in case.words if word not in said]
    assert not missing, said


def test_the_files_of_these_cases_are_good_when_unspoiled(tmp_path: Path) -> None:
    from geom.design import load_design
    from geom.readings import load_readings

    laid_out(tmp_path, Case(DESIGN, SHEET, ()))
    design = load_design(tmp_path / "lining.toml")
    assert len(load_readings(tmp_path / "rod.csv", design)) == 16


def good_command(folder: Path) -> list[str]:
    return laid_out(folder, Case(DESIGN, SHEET, ()))


def in_place_of(command: list[str], place: int, path: Path) -> list[str]:
    return [*command[:place], str(path), *command[place + 1 :]]


def test_a_folder_is_no_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = good_command(tmp_path)
    for place in (1, 2):
        said = refused(in_place_of(command, place, tmp_path), tmp_path, capsys)
        assert str(tmp_path) in said


#: Name and content of a cloud, options, and words the message must hold.
CLOUDS: dict[str, tuple[str, bytes, list[str], tuple[str, ...]]] = {
    "no unit": ("scan.xyz", b"1 2 3\n" * 9, [], ("unit", "--cloud-unit")),
    "another unit than the file's": (
        "scan.xyz",
        b"x_mm y_mm z_mm\n1 2 3\n",
        ["--cloud-unit", "in"],
        ("units of 1 mm", "not in in"),
    ),
    "cut off": ("scan.las", b"LASF", ["--cloud-unit", "mm"], ("scan.las",)),
    "empty": ("scan.ply", b"", ["--cloud-unit", "mm"], ("scan.ply", "empty")),
    "too few points": (
        "scan.csv",
        b"x,y,z\n450,0,300\n",
        ["--cloud-unit", "mm"],
        ("at least 200",),
    ),
    "a row of words far down": (
        "scan.txt",
        b"450 0 300\n" * 3000 + b"the end\n",
        ["--cloud-unit", "mm"],
        ("scan.txt", "line 3001", "the end"),
    ),
}


@pytest.mark.parametrize("name", CLOUDS)
def test_a_bad_cloud_is_refused_by_name(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, content, options, words = CLOUDS[name]
    command = in_place_of(good_command(tmp_path), 2, tmp_path / file)
    (tmp_path / file).write_bytes(content)
    said = refused([*command, *options], tmp_path, capsys)
    missing = [word for word in words if word not in said]
    assert not missing, said


def test_an_output_folder_with_files_needs_overwrite(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = good_command(tmp_path)
    (tmp_path / "deep" / "out").mkdir(parents=True)
    (tmp_path / "deep" / "out" / "mine.txt").write_text("mine")
    said = refused(command, tmp_path, capsys)
    assert "--overwrite" in said
    assert (tmp_path / "deep" / "out" / "mine.txt").read_text() == "mine"


def test_a_file_in_the_place_of_the_output_folder_is_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = good_command(tmp_path)
    (tmp_path / "deep").write_text("mine")
    assert "deep" in refused(command, tmp_path, capsys)


def test_a_folder_that_may_not_be_written_is_refused(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    command = good_command(tmp_path)
    allowed = os.access
    # the superuser may write anywhere, so the refusal is played
    monkeypatch.setattr(
        os, "access", lambda path, mode: allowed(path, mode) and not mode & os.W_OK
    )
    assert "out" in refused(command, tmp_path, capsys)


@pytest.mark.parametrize("call", ["fsync", "rename"])
def test_a_full_disk_leaves_nothing_behind(
    call: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    command = good_command(tmp_path)
    monkeypatch.setattr("geom.views.outputs.write_files", written_a_little)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, call, full)
    said = refused(command, tmp_path, capsys)
    assert "No space left on device" in said


@pytest.mark.parametrize("made_of_it", [None, SystemError, ImportError])
def test_asked_to_end_it_ends_as_for_ctrl_c_and_leaves_nothing(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    made_of_it: type[Exception] | None,
) -> None:
    """Also where a library makes another error of it."""
    command = good_command(tmp_path)
    before = sorted(tmp_path.rglob("*"))

    def ended(folder: Path, *_: object, **__: object) -> None:
        written_a_little(folder)
        try:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(10.0)
        except KeyboardInterrupt:
            if made_of_it is None:
                raise
            raise made_of_it("returned a result with an exception set") from None

    monkeypatch.setattr("geom.views.outputs.write_files", ended)
    was = signal.getsignal(signal.SIGTERM)
    assert main(command) == 143
    said = capsys.readouterr().err
    assert "nothing written" in said
    assert "Traceback" not in said
    assert sorted(tmp_path.rglob("*")) == before
    assert signal.getsignal(signal.SIGTERM) is was


def written_a_little(folder: Path, *_: object, **__: object) -> None:
    (folder / "findings.json").write_text("{}")


def test_a_fault_of_ours_is_told_apart_and_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    command = good_command(tmp_path)
    before = sorted(tmp_path.rglob("*"))

    def broken(folder: Path, *_: object, **__: object) -> None:
        written_a_little(folder)
        raise ZeroDivisionError

    monkeypatch.setattr("geom.views.outputs.write_files", broken)
    assert main(command) == 1
    assert "a fault of ours" in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == before


USAGE: list[Callable[[list[str]], list[str]]] = [
    lambda c: c[:-2],
    lambda c: [*c, "--cloud-unit", "ft"],
    lambda c: [*c, "--azimuth-of-x", "north"],
    lambda c: [*c, "--scanner", "1,2"],
    lambda c: [*c, "--scanner", "1,2,up"],
    lambda c: [*c, "--no-such-option"],
    lambda _: ["measure"],
    lambda _: [],
]


@pytest.mark.parametrize("spoil", USAGE)
def test_wrong_usage_is_exit_code_2(
    spoil: Callable[[list[str]], list[str]],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    command = good_command(tmp_path)
    with pytest.raises(SystemExit) as stop:
        main(spoil(command))
    assert stop.value.code == 2
    assert "usage" in capsys.readouterr().err
