"""What a sheet must not hold: each fault is message with its place and a cure."""

from __future__ import annotations

import pytest

from geom.errors import InputError
from geom.readings import load_readings

HEAD = "azimuth_deg,height_in,radius_in\n"
ROWS = "10,24,18\n50,40,18 1/2\n90,60,18 1/4\n"

#: Sheet; place and words of the message.
LONG_FAULTS = {
    "no rows": (HEAD, "row 1", "no readings"),
    "no rows but comments": (HEAD + "# none\n\n,,\n", "row 1", "no readings"),
    "only comments": ("# a\n# b\n", None, "nothing but comments"),
    "empty": ("", None, "empty"),
    "no header": ("10,24,18 1/2\n" + ROWS, "row 1", "numbers where the names"),
    "no header, plain numbers": (ROWS, None, "in which unit its points are"),
    "a cloud": ("0.1,0.2,0.3\n" * 3, None, "in which unit its points are"),
    "names of a cloud": ("x,y,z\n1,2,3\n", None, "in which unit its points are"),
    "names of a cloud with a fault": ("x,y,z\n1,2\n", "line 2", "not three numbers"),
    "unknown column": (
        "azimuth_deg,height_in,radus_in\n" + ROWS,
        "row 1",
        'the nearest known is "radius_in"',
    ),
    "no column of readings, another in its place": (
        "Winkel,height_in,Tiefe\n" + ROWS,
        "row 1",
        "azimuth_deg is missing; not known: Winkel and Tiefe",
    ),
    "no unit": ("azimuth_deg,height_in,radius\n" + ROWS, "row 1", "names no unit"),
    "no unit of height": (
        "azimuth_deg,height,radius_in\n" + ROWS,
        "row 1",
        "height_cm",
    ),
    "unit not known": (
        "azimuth_deg,height_ft,radius_in\n" + ROWS,
        "row 1",
        "height_in, height_mm, height_cm or height_m",
    ),
    "unit in brackets": (
        "azimuth_deg,height (ft),radius_in\n" + ROWS,
        "row 1",
        "height_mm",
    ),
    "azimuth without its unit": (
        "azimuth,height_in,radius_in\n" + ROWS,
        "row 1",
        "azimuth_deg",
    ),
    "azimuth in radians": (
        "azimuth_rad,height_in,radius_in\n" + ROWS,
        "row 1",
        "azimuth_deg",
    ),
    "no azimuth": ("height_in,radius_in\n24,18\n", "row 1", "azimuth_deg is missing"),
    "no height": ("azimuth_deg,radius_in\n24,18\n", "row 1", "height_mm is missing"),
    "no readings column": (
        "azimuth_deg,height_in,sd_in\n10,24,1\n",
        "row 1",
        "exactly one of radius, diameter or cutback",
    ),
    "two readings columns": (
        "azimuth_deg,height_in,radius_in,cutback_in\n10,24,18,0\n",
        "row 1",
        "radius and cutback",
    ),
    "column twice": (
        "azimuth_deg,height_in,radius_in,Radius_in\n10,24,18,18\n",
        "row 1",
        "two columns for radius",
    ),
    "column twice in two units": (
        "azimuth_deg,height_in,height_mm,radius_in\n10,24,610,18\n",
        "row 1",
        "two columns for height",
    ),
    "blank reading": (
        HEAD + "10,24,\n",
        "row 2, column radius_in",
        "leave the row out",
    ),
    "short row": (HEAD + "10,24\n", "row 2, column radius_in", "is blank"),
    "blank azimuth": (HEAD + ",24,18\n", "row 2, column azimuth_deg", "is blank"),
    "blank height": (HEAD + "10,,18\n", "row 2, column height_in", "is blank"),
    "long row": (HEAD + "10,24,18,5\n", "row 2", "4 numbers under 3 names"),
    "decimal comma between commas": (HEAD + "10,24,18,375\n", "row 2", "decimals"),
    "decimals taken for notes": (
        HEAD.replace("in\n", "in,note\n") + "10,24,18,375\n50,40,18,5\n",
        "row 2, column radius_in",
        "is 18,375 one reading?",
    ),
    "words past the names": (HEAD + "10,24,18,soft\n", "row 2", "no name"),
    "quoted decimal comma": (
        HEAD + '10,24,"18,375"\n',
        "row 2, column radius_in",
        "decimal comma where commas separate",
    ),
    "words": (
        HEAD + "10,24,deep\n",
        "row 2, column radius_in",
        "'deep' is not a number",
    ),
    "a question mark for not read": (
        HEAD + "10,24,?\n",
        "row 2, column radius_in",
        "not a number",
    ),
    "a unit in a cell": (
        HEAD + "10,24,46 cm\n",
        "row 2, column radius_in",
        '"46 cm" is in centimetres, its column in inches',
    ),
    "an inch mark": (HEAD + "10,24,18 3/8'\n", "row 2, column radius_in", "mark"),
    "a date for a fraction": (
        HEAD + "10,24,8-Mar\n",
        "row 2, column radius_in",
        '"8-Mar" is a date; it may have been 3/8',
    ),
    "a time": (HEAD + "10,24,3:30\n", "row 2, column radius_in", "a time of the day"),
    "nan": (HEAD + "10,24,nan\n", "row 2, column radius_in", "not a number"),
    "inf": (HEAD + "10,24,inf\n", "row 2, column radius_in", "not a number"),
    "past any float": (HEAD + "10,24,1e400\n", "row 2, column radius_in", "too large"),
    "division by zero": (HEAD + "10,24,18 1/0\n", "row 2, column radius_in", "zero"),
    "a fault of a spreadsheet first in its row": (
        HEAD + ROWS + "#N/A,24,18\n",
        "row 5, column azimuth_deg",
        "not a number",
    ),
    "a quote that does not close": (
        HEAD + '10,24,"18\n50,40,18\n',
        "row 2",
        "double quotes do not pair",
    ),
    "text after a quote": (HEAD + '10,24,"18"3\n', "row 2", "double quotes"),
    "mixed decimal marks": (
        "azimuth_deg;height_mm;radius_mm\n10;600,5;460\n20;1.250;455,5\n",
        "row 3, column height_mm",
        "decimal mark",
    ),
    "azimuth 400": (HEAD + "400,24,18\n", "row 2, column azimuth_deg", "0 to 360"),
    "azimuth below zero": (
        HEAD + "-1,24,18\n",
        "row 2, column azimuth_deg",
        "0 to 360",
    ),
    "UTF-16": ((HEAD + ROWS).encode("utf-16"), None, "UTF-16"),
    "binary": (b"\x00\x01\x02" * 100, "line 1", "control byte"),
    "a workbook called CSV": (b"PK\x03\x04....", None, ".xlsx"),
    "true row number": (
        "# a\n\n" + HEAD + "# b\r\n10,24,18\n\n\n20,24,x\n",
        "row 8, column radius_in",
        "'x' is not a number",
    ),
    "too many digits": (
        HEAD + f"10,24,{50 * '1'}\n",
        "row 2, column radius_in",
        "long",
    ),
    "past any furnace": (
        HEAD + "10,24,1e300\n",
        "row 2, column radius_in",
        "no length",
    ),
}

WIDE_HEAD = "height_in \\ radius_in,0deg,30deg,60deg\n"

WIDE_FAULTS = {
    "all blank": (WIDE_HEAD + "24,,,\n30,,,\n", "row 1", "no readings"),
    "no rows": (WIDE_HEAD, "row 1", "no readings"),
    "first cell blank": (",0deg,30deg\n24,18,18\n", "row 1", "the first cell"),
    "first cell without readings": (
        "height_in,0deg,30deg\n24,18,18\n",
        "row 1",
        "the first cell",
    ),
    "first cell the wrong way round": (
        "radius_in \\ height_in,0deg\n24,18\n",
        "row 1",
        "the first cell",
    ),
    "no unit of height": (
        "height \\ radius_in,0deg\n24,18\n",
        "row 1",
        "names no unit",
    ),
    "no unit of radius": (
        "height_in \\ radius,0deg\n24,18\n",
        "row 1",
        "names no unit",
    ),
    "unit not known": ("height_ft \\ radius_in,0deg\n24,18\n", "row 1", '"ft"'),
    "head without its unit": (
        "height_in \\ radius_in,0deg,thirty\n24,18,18\n",
        "row 1",
        '"thirty" is no azimuth',
    ),
    "head that is no number": (
        "height_in \\ radius_in,0deg,x3deg\n24,18,18\n",
        "row 1, column x3deg",
        "not a number",
    ),
    "no azimuths": ("height_in \\ radius_in,note\n24,x\n", "row 1", "no column has an"),
    "azimuth twice": (
        "height_in \\ radius_in,30deg,30.0deg\n24,18,18\n",
        "row 1, column 30.0deg",
        "twice",
    ),
    "azimuth 0 and 360": (
        "height_in \\ radius_in,0deg,360deg\n24,18,18\n",
        "row 1, column 360deg",
        "twice",
    ),
    "azimuth 390": (
        "height_in \\ radius_in,390deg\n24,18\n",
        "row 1, column 390deg",
        "0 to 360",
    ),
    "note twice": (
        "height_in \\ radius_in,0deg,note,Note\n24,18,a,b\n",
        "row 1",
        "two columns for note",
    ),
    "height blank": (
        WIDE_HEAD + ",18,18,18\n",
        r"row 2, column height_in \ radius_in",
        "height is blank",
    ),
    "height no number": (
        WIDE_HEAD + "top,18,18,18\n",
        r"row 2, column height_in \ radius_in",
        "'top' is not a number",
    ),
    "cell no number": (
        WIDE_HEAD + "24,18,?,18\n",
        "row 2, column 30deg",
        "not a number",
    ),
    "cell past the heads": (WIDE_HEAD + "24,18,18,18,18\n", "row 2", "under 4 names"),
    "cell past the shell": (
        WIDE_HEAD + "24,18,28,18\n",
        "row 2, column 30deg",
        "shell",
    ),
    "height past the top": (
        WIDE_HEAD + "24,18,18,18\n30,18,18,18\n96,18,18,18\n",
        r"row 4, column height_in \ radius_in",
        "outside the profile",
    ),
    "nothing but a cell in the tuyere": (
        WIDE_HEAD + "17,,18,\n",
        "row 2, column 30deg",
        "tuyere at azimuth 30",
    ),
    "clock past 12": (
        "height_in \\ radius_in,13:30\n24,18\n",
        "row 1, column 13:30",
        "no hour of a clock",
    ),
}

FAULTS = {f"long: {name}": case for name, case in LONG_FAULTS.items()}
FAULTS |= {f"wide: {name}": case for name, case in WIDE_FAULTS.items()}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_in_a_sheet_is_told_with_its_place(write, design, name):
    text, place, words = FAULTS[name]
    path = write(text)
    with pytest.raises(InputError) as caught:
        load_readings(path, design)
    fault, message = caught.value, str(caught.value)
    assert fault.file == str(path)
    assert fault.place == place
    assert message.startswith(str(path))
    assert words in message
    assert fault.cure
    assert "Traceback" not in message
    assert "\n" not in message
    assert len(message) < 600


def test_the_sheets_spoiled_above_are_sound(write, design):
    assert len(load_readings(write(HEAD + ROWS), design)) == 3
    assert len(load_readings(write(WIDE_HEAD + "24,18,,18\n"), design)) == 2


def test_the_fault_of_the_second_file_names_the_second_file(write, design):
    good, bad = write(HEAD + ROWS, "a.csv"), write(HEAD + "10,24,x\n", "b.csv")
    with pytest.raises(InputError) as caught:
        load_readings([good, bad], design)
    assert caught.value.file == str(bad)


def test_a_missing_sheet_is_told(tmp_path, design):
    with pytest.raises(InputError, match="no such file"):
        load_readings(tmp_path / "rod.csv", design)
    with pytest.raises(InputError, match="no such file"):
        load_readings(tmp_path / "rod.xlsx", design)


@pytest.mark.parametrize(
    "text",
    [
        "azimuth_deg,height_in,radius_in\n" + "0,24,18\n" * 20_001,
        "height_in," + ",".join(f"az{k}" for k in range(500)) + "\n24\n",
    ],
)
def test_a_table_that_nobody_filled_in_rod_by_rod_is_refused(write, design, text):
    with pytest.raises(InputError, match="more than 20000 rows or 400 columns"):
        load_readings(write(text), design)
