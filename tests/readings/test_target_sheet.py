"""Sheets of targets: what is read in which unit, and what is refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from geom.design import load_design
from geom.errors import InputError
from geom.readings.cloud import ObservedTarget, read_targets

TEXT = Path(__file__).parents[2].joinpath("docs", "file-formats.md").read_text("utf-8")
HEAD = "name,x_mm,y_mm,z_mm\n"
ROWS = "A,1,2,3\nB,4,5,6\n"


def test_a_sheet_is_read_in_its_order(write):
    path = write("# tripod 2\n" + HEAD + "Tap hole, 1.5,-2,3 1/2\n\nB,4,5,6\n")
    first, second = read_targets(path, None)
    assert first == ObservedTarget("Tap hole", 1.5, -2.0, 3.5, str(path), "row 3")
    assert second == ObservedTarget("B", 4.0, 5.0, 6.0, str(path), "row 5")


@pytest.mark.parametrize(
    ("unit", "mm"), [("in", 25.4), ("mm", 1.0), ("cm", 10.0), ("m", 1000.0)]
)
def test_any_unit_becomes_millimetres_whoever_names_it(write, unit, mm):
    # 1 in = 25.4 mm exactly (NIST SP 811, appendix B.8)
    named = HEAD.replace("mm", unit) + ROWS
    plain = HEAD.replace("_mm", "") + ROWS
    for text, unit_mm in ((named, None), (named, mm), (plain, mm)):
        first, second = read_targets(write(text), unit_mm)
        assert (first.x, first.y, first.z) == pytest.approx((mm, 2 * mm, 3 * mm))
        assert (second.x, second.y, second.z) == pytest.approx((4 * mm, 5 * mm, 6 * mm))


def test_order_capitals_and_marks_of_columns_do_not_matter(write):
    text = "Z_IN;Name;X_in;y_in\n3,5;A;1;2\n6;B;4;5\n"
    first, _ = read_targets(write("\ufeff" + text.replace("\n", "\r\n")), None)
    assert first.name == "A"
    assert (first.x, first.y, first.z) == pytest.approx((25.4, 50.8, 88.9))


#: Sheet; millimetres in the cloud's unit; place and words of the message.
FAULTS = {
    "no unit anywhere": ("name,x,y,z\n" + ROWS, None, "row 1", "name no unit"),
    "another unit than the cloud": (HEAD + ROWS, 1000.0, "row 1", "which is 1000 mm"),
    "inches called millimetres": (HEAD + ROWS, 25.4, "row 1", "which is 25.4 mm"),
    "two units": ("name,x_mm,y_in,z_mm\n" + ROWS, None, "row 1", "different units"),
    "one without": ("name,x_mm,y_mm,z\n" + ROWS, 1.0, "row 1", "different units"),
    "no name": ("x_mm,y_mm,z_mm\n1,2,3\n", None, "row 1", "column name is missing"),
    "no z": ("name,x_mm,y_mm\nA,1,2\n", None, "row 1", "column z is missing"),
    "unknown column": (
        "nam,x_mm,y_mm,z_mm\n" + ROWS,
        None,
        "row 1",
        'nearest known is "name"',
    ),
    "unit not known": (
        "name,x_ft,y_ft,z_ft\n" + ROWS,
        None,
        "row 1",
        'unknown column "x_ft"',
    ),
    "column twice": (
        "name,x_mm,x_in,y_mm,z_mm\nA,1,2,3,4\n",
        None,
        "row 1",
        "two columns for x",
    ),
    "no header": (ROWS, None, "row 1", 'unknown column "A"'),
    "no rows": (HEAD, None, "row 1", "no readings"),
    "blank name": (HEAD + ",1,2,3\n", None, "row 2, column name", "name is blank"),
    "blank z": (HEAD + ROWS + "C,1,2\n", None, "row 4, column z_mm", "z is blank"),
    "long row": (HEAD + "A,1,2,3,4\n", None, "row 2", "no name"),
    "words": (HEAD + "A,1,west,3\n", None, "row 2, column y_mm", "not a number"),
    "decimal comma": (HEAD + 'A,"1,5",2,3\n', None, "row 2, column x_mm", "number"),
    "mixed marks": (
        HEAD.replace(",", ";") + "A;1,5;2;3\nB;1.250;2;3\n",
        None,
        "row 3, column x_mm",
        "decimal mark",
    ),
    "nan": (HEAD + "A,1,nan,3\n", None, "row 2, column y_mm", "not a number"),
    "past any frame": (
        HEAD + "A,1,2,1e11\n",
        None,
        "row 2, column z_mm",
        "no place in a cloud",
    ),
    "past any float": (
        "name,x,y,z\nA,1,2,1e308\n",
        1000.0,
        "row 2, column z",
        "no place in a cloud",
    ),
    "a name twice": (HEAD + ROWS + "a ,7,8,9\n", None, "row 4, column name", "row 2"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_told_with_its_place(write, name):
    text, unit_mm, place, words = FAULTS[name]
    path = write(text)
    with pytest.raises(InputError) as caught:
        read_targets(path, unit_mm)
    fault = caught.value
    assert (fault.file, fault.place) == (str(path), place)
    assert words in str(fault)
    assert fault.cure
    assert len(str(fault)) < 500


def test_the_sheet_that_is_spoiled_above_is_sound(write):
    assert [t.name for t in read_targets(write(HEAD + ROWS), None)] == ["A", "B"]
    assert [t.name for t in read_targets(write(HEAD + ROWS), 1.0)] == ["A", "B"]


def test_a_sheet_that_is_not_there_is_told(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_targets(tmp_path / "seen.csv", None)


def test_the_examples_of_the_docs_belong_together(write):
    blocks = re.findall(r"^```\w*\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
    (drawing,) = [text for text in blocks if "[lining]" in text]
    (sheet,) = [text for text in blocks if "name,x_m,y_m,z_m" in text]
    targets = load_design(write(drawing, "lining.toml")).targets
    seen = read_targets(write(sheet), None)
    assert [t.name for t in seen] == [t.name for t in targets] == ["T1", "T2"]
    # one height zero for both: the sheet is of a cloud that is not tilted
    zero = [s.z - t.height for s, t in zip(seen, targets, strict=True)]
    assert zero == pytest.approx([-1190.0, -1190.0], abs=0.1)
