"""Points in rows of text, however they are written."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.errors import InputError
from geom.readings.clouds import Piece, looks_like_cloud, open_cloud
from tests.readings.clouds.writers import read, read_file

ROWS = [[1.0, -2.5, 3e-3], [4.0, 5.0, 6.0], [7.25, 0.1, 1e4]]

#: The same three points, as people and scanners write them.
WRITTEN = {
    "blanks": "1.0 -2.5 3e-3\n4 5 6\n7.25 .1 1E4\n",
    "several blanks": "1.0   -2.5  3e-3\n4 5    6\n7.25 .1 1E4\n",
    "leading blanks": "  1.0 -2.5 3e-3\n 4 5 6\n   7.25 .1 1E4\n",
    "trailing blanks": "1.0 -2.5 3e-3 \n4 5 6  \n7.25 .1 1E4\t\n",
    "tabs": "1.0\t-2.5\t3e-3\n4\t5\t6\n7.25\t.1\t1E4\n",
    "tabs and blanks": "1.0 \t-2.5\t 3e-3\n4\t5\t6\n7.25\t .1\t1E4\n",
    "runs of tabs": "\t1.0\t\t-2.5\t3e-3\n4\t5\t6\n7.25\t.1\t\t\t1E4\n",
    "tabs in the second row": "1.0 -2.5 3e-3\n4\t5\t6\n7.25 .1 1E4\n",
    "commas": "1.0,-2.5,3e-3\n4,5,6\n7.25,.1,1E4\n",
    "commas and blanks": "1.0, -2.5, 3e-3\n4 , 5 ,6\n 7.25,\t.1 ,1E4 \n",
    "semicolons": "1.0;-2.5;3e-3\n4;5;6\n7.25;.1;1E4\n",
    "carriage returns": "1.0 -2.5 3e-3\r\n4 5 6\r\n7.25 .1 1E4\r\n",
    "commas and carriage returns": "1.0,-2.5,3e-3\r\n4,5,6\r\n7.25,.1,1E4\r\n",
    "no last newline": "1.0 -2.5 3e-3\n4 5 6\n7.25 .1 1E4",
    "byte order mark": "\ufeff1.0 -2.5 3e-3\n4 5 6\n7.25 .1 1E4\n",
    "mark and names": "\ufeffX,Y,Z\n1.0,-2.5,3e-3\n4,5,6\n7.25,.1,1E4\n",
    "names": "x y z\n1.0 -2.5 3e-3\n4 5 6\n7.25 .1 1E4\n",
    "quoted names": '"X";"Y";"Z";"R"\n1.0;-2.5;3e-3;9\n4;5;6;9\n7.25;.1;1E4;9\n',
    "names in a comment": "//X,Y,Z,R\n1.0,-2.5,3e-3,9\n4,5,6,9\n7.25,.1,1E4,9\n",
    "comments": "# a wall\n// of ours\n\n1.0 -2.5 3e-3\n4 5 6\n7.25 .1 1E4\n",
    "comments within": "1.0 -2.5 3e-3\n # in\n\n4 5 6\n//more\n7.25 .1 1E4\n#end\n",
    "comment as a point": "1.0 -2.5 3e-3\n#4 4 4\n4 5 6\n7.25 .1 1E4\n",
    "more columns": "1.0 -2.5 3e-3 12 #ff0000\n4 5 6 x\n7.25 .1 1E4\n",
    "commas in other columns": "1.0 -2.5 3e-3 a,b,c\n4 5 6 a;b\n7.25 .1 1E4 \xff\n",
    "quotes in other columns": '1.0,-2.5,3e-3,"a\n4,5,6,b"\n7.25,.1,1E4,""\n',
    "no numbers": "nan 1 2\n1.0 -2.5 3e-3\n4 5 6\n7 inf 1\n7.25 .1 1E4\n0 0 NaN\n",
}


@pytest.mark.parametrize("way", WRITTEN)
def test_the_same_points_are_read_however_they_are_written(cloud, way):
    path = cloud(WRITTEN[way].encode("latin-1" if "\xff" in WRITTEN[way] else "utf-8"))
    np.testing.assert_array_equal(read_file(path), ROWS)
    for most in (1, 2):
        source = open_cloud(path)
        pieces = [read(source, 1, piece) for piece in source.pieces(most)]
        np.testing.assert_array_equal(np.concatenate(pieces), ROWS)


@pytest.mark.parametrize("way", WRITTEN)
def test_a_text_of_points_looks_like_a_cloud(cloud, way):
    content = WRITTEN[way].encode("latin-1" if "\xff" in WRITTEN[way] else "utf-8")
    assert looks_like_cloud(cloud(content, "wall.csv"))


@pytest.mark.parametrize("ending", [".xyz", ".txt", ".csv", ".XYZ"])
def test_every_ending_of_texts_is_read(cloud, ending):
    path = cloud(WRITTEN["commas"], f"wall{ending}")
    np.testing.assert_array_equal(read_file(path), ROWS)


#: Not three numbers, with the line that is to blame.
BAD = {
    "a word": ("1 2 3\n4 five 6\n7 8 9\n", 2, "4 five 6"),
    "two numbers": ("1 2 3\n4 5 6\n7 8\n", 3, "7 8"),
    "two numbers, first": ("1 2\n4 5 6\n", 1, "1 2"),
    "one number": ("12345\n4 5 6\n", 1, "12345"),
    "empty cell": ("1,2,3\n4,,6\n", 2, "4,,6"),
    "empty cell between tabs": ("1\t2\t3\t4\n4\t\t6\t7\n", 2, "4 6 7"),
    "blank within a number": ("1,2,3\n4 4,5,6\n", 2, "4 4,5,6"),
    "decimal comma": ("1,5 2,5 3,5\n", 1, "1,5 2,5 3,5"),
    "decimal comma, semicolons": ("1,5;2,5;3,5\n", 1, "1,5;2,5;3,5"),
    "decimal comma further down": ("1;2;3\n1;2;3,5\n", 2, "1;2;3,5"),
    "fraction": ("1 2 3\n1 2 3/8\n", 2, "1 2 3/8"),
    "after comments": ("# a\n\n1 2 3\n# b\nx\n", 5, "x"),
    "names twice": ("x y z\nx y z\n1 2 3\n", 2, "x y z"),
    "other names": ("easting northing height\n1 2 3\n", 1, "easting northing height"),
    "names in another order": ("z,y,x\n1,2,3\n", 1, "z,y,x"),
    "a rod sheet": ("azimuth_deg,height_in,radius_in\n0,24,18\n", 1, "azimuth_deg"),
    "underscore": ("1 2 3\n1_0 2 3\n", 2, "1_0 2 3"),
    "hexadecimal": ("1 2 3\n0x1 2 3\n", 2, "0x1 2 3"),
    "quoted": ('1,2,3\n"1",2,3\n', 2, '"1",2,3'),
    "a null byte": ("1 2 3\n1 2 3\0\n", 2, "1 2 3"),
    "old line ends": ("1 2 3\n4 5 6\r7 8 9\n", 2, "4 5 6"),
    "long": ("1 2 3\n" + "w" * 999 + "\n", 2, '"' + "w" * 40 + '"'),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_row_is_refused_with_its_line(cloud, case):
    text, line, message = BAD[case]
    path = cloud(text)
    with pytest.raises(InputError, match="is not three numbers") as fault:
        read_file(path)
    assert fault.value.file == str(path)
    assert fault.value.place == f"line {line}"
    assert message in " ".join(fault.value.what.split())
    assert len(re.findall(r'"(.*)"', fault.value.what)[0]) <= 40
    assert "x y z" in fault.value.cure


@pytest.mark.parametrize("bad", [1, 2999, 70_000, 149_999])
def test_the_line_is_told_however_the_file_is_cut(cloud, bad):
    lines = ["# invented", *["0.125 0.25 -0.5"] * 150_000]
    lines[bad + 1] = "0.125 O.25 -0.5"
    source = open_cloud(cloud("\n".join(lines)))
    places = [place_of_fault(source, size, None) for size in (10_000, 10**6)]
    pieces = source.pieces(40_000)
    places += filter(None, (place_of_fault(source, 9, piece) for piece in pieces))
    assert len(pieces) == 4
    assert places == [f"line {bad + 2}"] * 3


def place_of_fault(source, size, piece) -> str | None:
    try:
        read(source, size, piece)
    except InputError as fault:
        return fault.place
    return None


@pytest.mark.parametrize("cut", range(1, 5))
@pytest.mark.parametrize("colour", ["", " 200 31"])
def test_a_last_row_that_breaks_off_is_refused(cloud, cut, colour):
    """A copy that stopped: 2.0 in place of 2.000, or 2 in place of 2.000, is a slip."""
    rows = [f"1.250 -0.5{k:02d} 2.000{colour}" for k in range(90)]
    whole = "\n".join(rows)
    assert len(read_file(cloud(whole))) == len(read_file(cloud(whole + "\n"))) == 90
    if colour and cut == 1:
        return  # a shorter whole number is not seen to be cut
    with pytest.raises(InputError, match="breaks off in its last row") as told:
        read_file(cloud(whole[:-cut]))
    assert told.value.place.startswith("byte ")


def test_a_line_without_an_end_is_refused(cloud):
    for line, above in ((1, ""), (3, "1 2 3\n# so far\n")):
        path = cloud(above + "1 " * 3_000_000)
        with pytest.raises(InputError, match="longer than 64 KiB") as fault:
            read_file(path)
        assert fault.value.place == f"line {line}"


def test_utf16_is_refused_with_its_cure(cloud):
    with pytest.raises(InputError, match="UTF-16"):
        read_file(cloud("1 2 3\n".encode("utf-16")))


@pytest.mark.parametrize("text", ["# nothing\n", "\n\n", " ", "x,y,z\n", "x y z"])
def test_no_row_is_no_cloud(cloud, text):
    with pytest.raises(InputError, match=r"holds no points|is empty"):
        open_cloud(cloud(text))


@pytest.mark.parametrize(
    ("names", "millimetres"),
    [
        ("x,y,z", None),
        ("x_mm,y_mm,z_mm", 1.0),
        ("X (m),Y (m),Z (m),R", 1000.0),
        ("x[in];y[in];z[in]", 25.4),
        ("X_CM\tY_CM\tZ_CM", 10.0),
    ],
)
def test_names_that_carry_a_unit_fix_it(cloud, names, millimetres):
    row = "1,2,3" if "," in names else "1;2;3" if ";" in names else "1\t2\t3"
    source = open_cloud(cloud(f"{names}\n{row}\n"))
    assert source.millimetres == millimetres
    np.testing.assert_array_equal(read(source), [[1.0, 2.0, 3.0]])


def test_names_with_different_units_are_refused(cloud):
    with pytest.raises(InputError, match="different units") as fault:
        open_cloud(cloud("x_mm,y_mm,z_in\n1,2,3\n"))
    assert fault.value.place == "line 1"


def test_a_row_belongs_to_the_piece_its_first_byte_lies_in(cloud):
    source = open_cloud(cloud("1 1 1\n2 2 2\n3 3 3\n"))
    rows = {0: [1, 2, 3], 1: [2, 3], 5: [2, 3], 6: [2, 3], 7: [3], 12: [3], 13: []}
    for start, expected in rows.items():
        assert read(source, 9, Piece(start, 18))[:, 0].tolist() == expected
    for stop, expected in {6: [1], 7: [1, 2], 12: [1, 2], 13: [1, 2, 3]}.items():
        assert read(source, 9, Piece(0, stop))[:, 0].tolist() == expected


QUIET = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    max_examples=150,
    deadline=None,
    derandomize=True,
)
CELLS = st.sampled_from(["1", "-2.5", "3e2", ".5", "7.", "+8", "nan", "-inf", "0.1"])
GAPS = {" ": [" ", "  ", "\t", " \t ", "\t\t"], ",": [",", ", ", " ,", " , ", "\t,"]}
ENDS = st.sampled_from(["\n", "\r\n", " \n", "\t\n"])
QUIET_LINES = st.sampled_from(["", "  ", "# 1 2 3", "// 4,5,6", " # so far", "\t"])
BAD_LINES = st.sampled_from(["1 2", "1,2", "x y z", "1 2 3/8", "1,,3", "1, 2 3"])


@st.composite
def texts(draw, mark: str) -> str:
    """Rows of a cloud as somebody careless might type them, a few of them wrong."""
    gap = st.sampled_from(GAPS[mark])
    lines = [mark.join("123") + "\n"]
    for _ in range(draw(st.integers(0, 8))):
        row = draw(st.sampled_from(["", " ", "\t"])) + draw(CELLS)
        for _ in range(draw(st.integers(2, 4))):
            row += draw(gap) + draw(CELLS)
        kind = draw(st.sampled_from("rrrrrrqqb"))
        line = {"r": st.just(row), "q": QUIET_LINES, "b": BAD_LINES}[kind]
        lines.append(draw(line) + draw(ENDS))
    return "".join(lines)


def by_hand(text: str, mark: str) -> list[list[float]] | None:
    """Rows of a text, read slowly and by other means; None if one is no row."""
    rows = []
    for line in text.split("\n"):
        row = line.strip()
        if not row or row.startswith(("#", "//")):
            continue
        cells = row.split(",") if mark == "," else row.split()
        try:
            x, y, z = (float(cell.strip()) for cell in cells[:3])
        except ValueError:
            return None
        rows.append([x, y, z])
    return [row for row in rows if np.isfinite(row).all()]


@pytest.mark.parametrize("mark", [" ", ","])
@given(data=st.data())
@QUIET
def test_any_text_is_read_as_by_hand_or_refused(cloud, mark, data):
    text = data.draw(texts(mark))
    source = open_cloud(cloud(text))
    expected = by_hand(text, mark)
    place = place_of_fault(source, 9, None)
    assert (place is None) == (expected is not None)
    if expected is not None:
        assert read(source).tolist() == expected
        parts = [read(source, 2, piece) for piece in source.pieces(2)]
        assert np.concatenate(parts).tolist() == expected


NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@given(st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=30))
@QUIET
def test_any_number_comes_back_as_it_was(cloud, rows):
    path = cloud("".join(f"{x!r} {y!r} {z!r}\n" for x, y, z in rows))
    np.testing.assert_array_equal(read_file(path), rows)
