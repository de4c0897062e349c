"""``daubline design --new`` and ``daubline check``: a drawing made, and looked at."""

from __future__ import annotations

import builtins
import io
import sys
from pathlib import Path

import pytest
from PIL import Image

import geom
from geom.cli import main

ROOT = Path(__file__).resolve().parents[2]
DESIGN = ROOT / "scans" / "cupola-2.toml"
READINGS = ROOT / "scans" / "cupola-2-heat-52.csv"
ANSWERS = {
    "--name": 'Cupola "3"',
    "--unit": "inch",
    "--azimuth-zero": "tap hole",
    "--azimuth-sense": "clockwise",
    "--height-zero": "bottom plate",
    "--profile": "18 at 0, 18 at 72, 19 1/2 at 72, 19 1/2 at 96",
    "--shell": "27",
    "--tuyeres": "4",
    "--tuyere": "5 x 3 1/2 at 26, half past 1",
    "--tap-hole": "3 x 3 at 6, 12",
    "--slag-hole": "2 1/2 x 2 1/2 at 17, 6:30",
    "--datum-band": "84 to 96",
}


def options(answers: dict[str, str]) -> list[str]:
    return [word for pair in answers.items() for word in pair]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def is_picture(path: Path) -> bool:
    """Whether a file is a picture with something on it."""
    with Image.open(path) as picture:
        return picture.format == "PNG" and len(picture.convert("L").getcolors()) > 9


def test_a_new_design_loads_and_has_its_picture(here, capsys):
    assert main(["design", "--new", "c.toml", *options(ANSWERS)]) == 0
    assert "Look at it, and at c.png" in capsys.readouterr().out
    design = geom.load_design("c.toml")
    assert (design.name, design.length_unit) == ('Cupola "3"', "in")
    assert design.azimuth_zero == "tap hole"
    assert design.profile.radius == pytest.approx([457.2, 457.2, 495.3, 495.3])
    assert design.shell_radius == pytest.approx(685.8)
    assert [o.azimuth for o in design.tuyeres] == pytest.approx([45, 135, 225, 315])
    assert [(o.kind, o.azimuth) for o in design.openings[4:]] == [
        ("tap hole", 0.0),
        ("slag hole", 195.0),
    ]
    assert design.openings[0].tall == pytest.approx(88.9)
    assert [(b.low, b.high) for b in design.datum_bands] == [(84 * 25.4, 96 * 25.4)]
    assert "#" in (here / "c.toml").read_text("utf-8")
    assert is_picture(here / "c.png")


def test_hours_grow_clockwise_whatever_the_sense(here):
    more = ["--azimuth-sense", "CCW"]
    assert main(["design", "--new", "c.toml", *options(ANSWERS), *more]) == 0
    design = geom.load_design("c.toml")
    assert [o.azimuth for o in design.tuyeres] == pytest.approx([315, 225, 135, 45])
    assert design.openings[5].azimuth == pytest.approx(165.0)


def test_what_no_option_says_is_asked_and_asked_again(here, monkeypatch, capsys):
    lining = ["", "C", "foot", "mm", "door", "sunwise", "CW", "floor"]
    typed = iter(
        [
            *lining,
            "18 by 0",
            "400 at 0, 400 at 2000",
            "",
            "",
            "",
            "60 x 60 at 200, 6",
            "",
        ]
    )
    asked: list[str] = []

    def answer(words: str) -> str:
        asked.append(words)
        return next(typed)

    monkeypatch.setattr(builtins, "input", answer)
    terminal = io.StringIO()
    terminal.isatty = lambda: True  # type: ignore[method-assign]
    monkeypatch.setattr(sys, "stdin", terminal)
    assert main(["design", "--new", "c.toml"]) == 0
    design = geom.load_design("c.toml")
    assert (design.length_unit, design.azimuth_sense) == ("mm", "clockwise")
    assert [o.kind for o in design.openings] == ["slag hole"]
    told = capsys.readouterr().err
    assert "no corner of the hot face" in told
    assert not any(words.startswith("a tuyere") for words in asked)
    assert next(typed, None) is None


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"--name": ""}, "name must be given. Answer at a terminal, or add --name."),
        ({"--profile": "18 at 0, 19"}, 'profile: "19" is no corner of the hot face'),
        ({"--profile": "18 at 9, 18 at 0"}, "lies below the entry before it"),
        ({"--tuyere": ""}, "4 tuyeres, but not how large they are"),
        ({"--tap-hole": "3 x 3 at 6"}, 'tap_hole: "3 x 3 at 6" is no opening'),
        ({"--tap-hole": "3 x 3 at 6, 13"}, "is no hour of a clock"),
        ({"--tap-hole": "3 x 3 at 200, 1"}, "past the profile"),
        ({"--datum-band": "84"}, "Write two heights: 86 to 95"),
        ({"--azimuth-sense": "", "--unit": ""}, "unit and azimuth_sense must be given"),
        ({"--unit": "ft"}, '"ft" is not allowed here'),
    ],
)
def test_an_answer_that_is_none_is_refused(here, capsys, monkeypatch, more, words):
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    assert main(["design", "--new", "c.toml", *options(ANSWERS | more)]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert "/tmp" not in told
    assert list(here.iterdir()) == []


def test_a_design_that_is_there_is_kept(here, capsys):
    (here / "c.png").write_text("mine")
    assert main(["design", "--new", "c.toml", *options(ANSWERS)]) == 2
    assert "c.png: is there already" in capsys.readouterr().err
    assert main(["design", "--new", "c.toml", *options(ANSWERS), "--overwrite"]) == 0
    assert main(["design", "--new", "c.txt", *options(ANSWERS)]) == 2


def test_a_sound_drawing_and_sheet_are_said_to_be(here, capsys):
    assert main(["check", str(DESIGN), str(READINGS)]) == 0
    told = capsys.readouterr()
    assert "6 tuyeres, 2 holes" in told.out
    assert "Readings: " in told.out
    assert "Nothing is wrong" in told.out
    assert told.err == ""
    assert is_picture(here / "cupola-2-check.png")
    assert main(["check", str(DESIGN)]) == 0  # its own picture is drawn anew
    assert main(["check", str(DESIGN), "--out", "cupola-2-check.png"]) == 2


def test_stations_stand_on_the_picture(here):
    assert main(["check", str(DESIGN), "--out", "bare.png"]) == 0
    assert main(["check", str(DESIGN), str(READINGS), "--out", "read.png"]) == 0
    bare, read = (Image.open(here / f"{name}.png") for name in ("bare", "read"))
    dark = [sum(picture.convert("L").histogram()[:60]) for picture in (bare, read)]
    assert dark[1] > dark[0] + 3000


#: Faults of the drawing, two of them in one entry, and words of each message.
SPOILED = {
    'length_unit = "in"': ('length_unit = "foot"', "key length_unit"),
    "radius = 27": ("radios = 27", 'unknown key "radios"'),
    "azimuth = 30": ("azimuth = 400", "[[tuyere]] entry 1, key azimuth"),
    "width = 5": ("width = -5", "[[tuyere]] entry 1, key width"),
    "height = 96": ('height = "tall"', "[[profile]] entry 8, key height"),
}


def faults_of(capsys: pytest.CaptureFixture[str], *told: object) -> list[str]:
    assert main(["check", *map(str, told)]) == 2
    *faults, last = capsys.readouterr().err.splitlines()
    assert last.startswith(f"daubline: {len(faults)} fault")
    return faults


def test_all_faults_of_keys_are_said_at_once(here, capsys):
    text = DESIGN.read_text("utf-8")
    for old, (new, _) in SPOILED.items():
        assert old in text
        text = text.replace(old, new, 1)
    design = here / "a.toml"
    design.write_text(text, "utf-8")
    sheet = here / "a.csv"
    sheet.write_text("azimuth_deg,height_in,radius_in\n1,2,x\n3,4,5\n6,y,7\n")
    faults = faults_of(capsys, design, sheet)
    for _, words in SPOILED.values():
        assert any(words in fault for fault in faults), words
    assert [fault for fault in faults if "a.csv, row 2, column radius_in" in fault]
    assert [fault for fault in faults if "a.csv, row 4, column height_in" in fault]
    assert len(faults) == len(SPOILED) + 3  # a shell without its radius is one more
    assert not (here / "a-check.png").exists()


def test_all_that_cannot_be_built_or_read_is_said_at_once(here, capsys):
    text = DESIGN.read_text("utf-8")
    for old, new in (("radius = 27", "radius = 18.5"), ("height = 26", "height = 126")):
        text = text.replace(old, new, 1)
    design = here / "a.toml"
    design.write_text(text, "utf-8")
    rows = [
        "azimuth_deg,height_in,radius_in",
        "10,40,18",
        "20,140,18",
        "20,40,1",
        "x,40,18",
    ]
    sheet = here / "a.csv"
    sheet.write_text("\n".join([*rows, "40,40,18"]))
    faults = faults_of(capsys, design, sheet)
    assert len([fault for fault in faults if "not inside the shell" in fault]) == 2
    assert len([fault for fault in faults if "past the profile" in fault]) == 1
    for words in (
        "row 5, column azimuth_deg: 'x' is not a number",
        "row 3, column height_in: height 140 in is outside",
        "row 4, column radius_in: radius 1 in is not in",
    ):
        assert any(words in fault for fault in faults), words
    assert len(faults) == 6
    assert is_picture(here / "a-check.png")


def test_what_check_lets_pass_the_survey_reads(here, capsys):
    assert main(["check", str(DESIGN), "none.csv"]) == 2
    assert "none.csv: there is no such file" in capsys.readouterr().err
    cloud = here / "c.csv"
    cloud.write_text("1,2,3\n4,5,6\n")
    (fault,) = faults_of(capsys, DESIGN, cloud)
    assert "only rod sheets are checked" in fault
