"""``daubline strickle``: the drawn face as a file to cut a board by."""

from __future__ import annotations

from pathlib import Path

import pytest

from geom.cli import main

DESIGN = """
[lining]
name = "Cupola S (invented)"
length_unit = "in"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[[profile]]
height = 0
radius = 18
[[profile]]
height = 60
radius = "19 1/2"
"""


@pytest.fixture
def design(tmp_path: Path) -> Path:
    (tmp_path / "lining.toml").write_text(DESIGN, encoding="utf-8")
    return tmp_path / "lining.toml"


def strickle(design: Path, name: str, *more: str, low: str = "12", high: str = "48"):
    told = ["strickle", str(design), "--from", low, "--to", high]
    return main([*told, "--out", str(design.parent / name), *more])


@pytest.mark.parametrize(
    ("name", "start"), [("a.pdf", b"%PDF-"), ("a.SVG", b"<?xml"), ("a.dxf", b"  0\r\n")]
)
def test_its_ending_says_what_is_drawn(
    design: Path, name: str, start: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    assert strickle(design, name, high="47 1/2") == 0
    assert (design.parent / name).read_bytes().startswith(start)
    assert "Check its size before it is cut out" in capsys.readouterr().out
    assert {path.name for path in design.parent.iterdir()} == {"lining.toml", name}


def test_the_scale_may_be_written_in_three_ways(design: Path) -> None:
    files = []
    for number, scale in enumerate(("1:8", "1/8", "0.125")):
        assert strickle(design, f"{number}.svg", "--scale", scale) == 0
        files.append((design.parent / f"{number}.svg").read_bytes())
    assert files[0] == files[1] == files[2]
    assert b"scale 1 to 8;" in files[0]
    assert strickle(design, "full.svg") == 0
    assert b"full size;" in (design.parent / "full.svg").read_bytes()


def test_a_file_that_is_there_is_kept_unless_told_otherwise(
    design: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = design.parent / "a.svg"
    there.write_text("ours")
    assert strickle(design, "a.svg") == 2
    assert "is there already" in capsys.readouterr().err
    assert there.read_text() == "ours"
    assert strickle(design, "a.svg", "--overwrite") == 0
    assert there.read_text().startswith("<?xml")


@pytest.mark.parametrize(
    ("name", "heights", "scale", "words"),
    [
        ("a.png", "12 48", "1", "no kind of file"),
        ("a", "12 48", "1", "no kind of file"),
        ("no/such/a.svg", "12 48", "1", "cannot be written"),
        ("a.svg", "12 61", "1", "no part of the profile"),
        ("a.svg", "48 12", "1", "no part of the profile"),
        ("a.svg", "twelve 48", "1", "--from: 'twelve' is not a number"),
        ("a.svg", "12 48", "2", "scale 2 is not in 0.01 to 1"),
        ("a.svg", "12 48", "1:0", "--scale 1:0 is none"),
        ("a.svg", "12 48", "half", "--scale: 'half' is not a number"),
    ],
)
def test_what_cannot_be_drawn_is_told_and_nothing_written(
    design: Path,
    capsys: pytest.CaptureFixture[str],
    *,
    name: str,
    heights: str,
    scale: str,
    words: str,
) -> None:
    low, high = heights.split()
    assert strickle(design, name, "--scale", scale, low=low, high=high) == 2
    assert words in capsys.readouterr().err
    assert [path.name for path in design.parent.iterdir()] == ["lining.toml"]
