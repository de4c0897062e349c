"""What people write is read as the plain sheet is, and one line says what was done."""

from __future__ import annotations

import datetime
import warnings

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.errors import InputError, InputWarning
from geom.readings import load_readings
from tests.walls import plain_design

HEAD = "azimuth_deg;height_mm;radius_mm;note\n"
ROWS = [(10, 600, "455.5"), (20, 600, "460"), (340, 900, "462.5")]
PLAIN = HEAD + "".join(f"{a};{h};{r};\n" for a, h, r in ROWS)
DESIGN = plain_design()

#: How each thing may be spelled; the first is the plain way.
AZIMUTH = ("azimuth_deg", "Azimuth (deg)", "azimuth, degrees", "AZIMUTH [\u00b0]")
HEIGHT = (
    "height_mm",
    "Height, mm",
    "height (millimetres)",
    "Height / mm",
    "height mm.",
)
RADIUS = ("radius_mm", "Radius [mm]", "radius: millimeter", "RADIUS (MM)")
NOTE = ("note", "Notes", "remarks")
DEGREES = ("", "\u00b0", " deg", " degrees")
LENGTH = ("", " mm", "mm", " MM", " millimetres")
TITLES = ("", "Rod sheet, after heat 60\n", "Cupola A;x\n\nread by two; at night\n")
EXTRA = ("", "read_by", "shift", "Bemerkung")


def same(one, other) -> bool:
    """Whether two surveys read the same, wherever it is written."""
    arrays = ("azimuth", "height", "value", "step")
    return one.kind == other.kind and all(
        getattr(one, name).tolist() == getattr(other, name).tolist() for name in arrays
    )


def coped(path, design=DESIGN):
    """The readings of a sheet, and the lines that say what was coped with."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        readings = load_readings(path, design)
    assert all(one.category is InputWarning for one in caught)
    return readings, [str(one.message) for one in caught]


@given(
    names=st.tuples(*map(st.sampled_from, (AZIMUTH, HEIGHT, RADIUS, NOTE))),
    units=st.tuples(*map(st.sampled_from, (DEGREES, LENGTH, LENGTH))),
    title=st.sampled_from(TITLES),
    extra=st.sampled_from(EXTRA),
    comma=st.booleans(),
    separator=st.sampled_from(";\t"),
    unread=st.sampled_from(("", "n/r", "N/R", "not read")),
    encoding=st.sampled_from(("utf-8", "latin-1")),
)
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    max_examples=60,
    deadline=None,
    derandomize=True,
)
def test_any_spelling_reads_as_the_plain_sheet(write, **spelled):
    names, units, title, extra, comma, separator, unread, encoding = spelled.values()
    header = [*names, extra] if extra else [*names]
    cells = [
        (f"{a}{units[0]}", f"{h}{units[1]}", f"{r}{units[2]}", "", "two")
        for a, h, r in ROWS
    ]
    if unread:
        cells.insert(1, ("15", "600", unread, "", ""))
    rows = "\n".join(separator.join(row[: len(header)]) for row in [header, *cells])
    text = title + (rows.replace(".5", ",5") if comma else rows)
    path = write(text.encode(encoding), "spelled.csv")
    readings, said = coped(path)
    assert same(readings, load_readings(write(PLAIN), DESIGN))
    assert all(line.startswith(str(path)) and "\n" not in line for line in said)
    odd = names != (AZIMUTH[0], HEIGHT[0], RADIUS[0], NOTE[0]) or any(units)
    assert bool(said) >= bool(odd or title or extra or unread)
    assert len(said) <= 8


#: Sheet; what the one line says of it.
SAID = {
    "unit in a cell": (
        HEAD + "10;600;455 mm;\n20;600;460 mm;\n",
        'row 2, column radius_mm: "455 mm" is read without its unit, and 1 more alike.',
    ),
    "degrees in a cell": (
        HEAD + "0\u00b0;600;455;\n",
        'row 2, column azimuth_deg: "0\u00b0" is read without its unit.',
    ),
    "not read": (
        HEAD + "10;600;n/r;\n20;600;455;\n",
        'row 2, column radius_mm: "n/r" is no reading.',
    ),
    "titles": (
        "Rod sheet\nof heat 60\n" + HEAD + "10;600;455;\n",
        "rows 1 to 2: what stands above the names of the columns is passed over.",
    ),
    "names": (
        "Azimuth (deg);Height, mm;radius_mm\n10;600;455\n",
        'row 1: "Azimuth (deg)" is read as azimuth_deg and "Height, mm" is read as '
        "height_mm.",
    ),
    "another column": (
        "azimuth_deg,height_mm,radius_mm,read_by\n10,600,455,x\n",
        'row 1: no reading is taken from "read_by".',
    ),
    "cut-back with a hyphen": (
        "azimuth_deg,height_mm,Cut-back (inch)\n10,600,1/2\n",
        'row 1: "Cut-back (inch)" is read as cutback_in.',
    ),
    "bare heads": (
        "height_mm \\ radius_mm,0,30,60\n600,455,456,457\n",
        "row 1: the heads 0 to 60 are read as degrees.",
    ),
    "another column of the wide form": (
        "height_mm \\ radius_mm,0deg,read_by\n600,455,x\n",
        'row 1: no reading is taken from "read_by".',
    ),
    "corner": (
        "Height (mm) \\ Radius (mm),0deg\n600,455\n",
        r"is read as height_mm \ radius_mm.",
    ),
    "Latin-1": (
        (HEAD + "0\u00b0;600;455;\n").encode("latin-1"),
        "it is not UTF-8 text, and read as Latin-1.",
    ),
}


@pytest.mark.parametrize("name", SAID)
def test_one_line_says_what_was_coped_with(write, name):
    text, line = SAID[name]
    path = write(text)
    readings, said = coped(path)
    assert len(readings) > 0
    assert [one for one in said if one.startswith(str(path)) and line in one], said
    assert len(said) == (2 if name == "Latin-1" else 1)


def test_a_plain_sheet_is_read_without_a_word(write):
    assert coped(write(PLAIN))[1] == []


@pytest.mark.parametrize("cell", ["400 in", "16 inch", '16"', "40 cm", "0.4 m"])
def test_a_unit_that_its_column_does_not_have_is_refused(write, cell):
    text = HEAD + f"10;600;455;\n20;600;{cell};\n"
    path = write(text.replace('"', '""').replace('16""', '"16"""'))
    with pytest.raises(InputError, match="its column in millimetres") as caught:
        load_readings(path, DESIGN)
    assert caught.value.place == "row 3, column radius_mm"
    assert "radius_mm" in caught.value.cure


def test_an_inch_mark_agrees_with_inches(write, design):
    path = write('azimuth_deg;height_in;radius_in\n100;24";18 3/8 in.\n')
    readings, said = coped(path, design)
    assert readings.value == pytest.approx([466.725], abs=1e-9)
    assert len(said) == 2


def test_merged_heights_and_numbers_as_heads_of_a_workbook(workbook):
    rows = [["azimuth_deg", "height_mm", "radius_mm"], [10, 600, 455]]
    rows += [[20, None, 456], [30, None, 457], [10, 900, 458]]
    path = workbook({"rod": rows})
    with pytest.raises(InputError, match="the height is blank"):
        load_readings(path, DESIGN)
    import openpyxl

    book = openpyxl.load_workbook(path)
    book["rod"].merge_cells("B2:B4")
    book.save(path)
    readings, said = coped(path)
    assert readings.height.tolist() == [600.0, 600.0, 600.0, 900.0]
    assert '"600" is merged down to row 4 and read for each' in said[0]
    heads = workbook({"rod": [["height_mm \\ radius_mm", 0, 30], [600, 455, "456,5"]]})
    readings, said = coped(heads)
    assert readings.azimuth.tolist() == [0.0, 30.0]
    assert readings.value.tolist() == [455.0, 456.5]
    assert len(said) == 1


def test_titles_of_a_workbook_are_passed_over(workbook):
    rows = [["Rod sheet"], ["after heat", 60, "by two"], []]
    rows += [["azimuth_deg", "height_mm", "radius_mm"], [10, 600, 455]]
    readings, said = coped(workbook({"rod": rows}))
    assert readings.value.tolist() == [455.0]
    assert readings.place == ("rod.xlsx, row 5",)
    assert len(said) == 1
    assert "rows 1 to 2: what stands above the names" in said[0]


def test_heads_of_1_to_12_are_not_taken_for_degrees(write):
    heads = "".join(f",{hour}" for hour in range(1, 13))
    path = write(f"height_mm \\ radius_mm{heads}\n600{12 * ',455'}\n")
    with (
        pytest.warns(InputWarning),
        pytest.raises(InputError, match=r"hours\?") as hours,
    ):
        load_readings(path, DESIGN)
    assert "write the heads as 3 o'clock" in hours.value.cure


def test_a_merged_reading_is_one_reading(workbook):
    rows = [["azimuth_deg", "height_mm", "radius_mm"], [10, 600, 455], [20, 600, None]]
    path = workbook({"rod": rows})
    import openpyxl

    book = openpyxl.load_workbook(path)
    book["rod"].merge_cells("C2:C3")
    book.save(path)
    with pytest.raises(InputError, match="the radius is blank"):
        load_readings(path, DESIGN)


# --- stations of a grid that fall into openings ---------------------------------------


def grid(azimuths, heights, more="") -> str:
    """A long sheet of a regular grid."""
    rows = [f"{a},{h},18" for h in heights for a in azimuths]
    return "azimuth_deg,height_in,radius_in\n" + "\n".join(rows) + more + "\n"


def test_a_station_of_a_grid_in_an_opening_is_left_out(write, design):
    path = write(grid((30, 60, 90), (17, 24, 30)))
    readings, said = coped(path, design)
    assert len(readings) == 8
    assert readings.in_openings == ("rod.csv, row 2, column radius_in",)
    assert readings.joined(readings).in_openings == 2 * readings.in_openings
    assert said == [
        f"{path}, row 2, column radius_in: this station lies in the tuyere, where "
        "there is no wall: its reading is left out."
    ]
    wide = "height_in \\ radius_in,0deg,30deg,60deg\n24,18,18,18\n17,18,18,18\n"
    readings, said = coped(write(wide, "wide.csv"), design)
    assert len(readings) == 5
    assert "row 3, column 30deg" in said[0]


def test_stations_left_out_alike_are_said_once(write, design):
    tuyere = design.openings[0].azimuth
    heads = ",".join(f"{tuyere + off:g}deg" for off in (-30, -1, 0, 1, 40))
    rows = "\n".join(f"{height},18,18,18,18,18" for height in (24, 17, 30))
    path = write(f"height_in \\ radius_in,{heads}\n{rows}\n", "wide.csv")
    readings, said = coped(path, design)
    assert len(readings) == 12
    assert len(readings.in_openings) == 3
    assert len(said) == 1
    assert "row 3, column 29deg: this station" in said[0]
    assert said[0].endswith("left out, and 2 more alike.")


def test_a_single_reading_in_an_opening_is_a_slip_and_refused(write, design):
    path = write(grid((30, 60, 90), (24, 30, 36), "\n30,17,18"))
    with pytest.raises(InputError, match="lies in the tuyere"):
        load_readings(path, design)


# --- hours of the clock ---------------------------------------------------------------

CLOCK = "height_mm \\ radius_mm,12 o'clock,3:30,half past 7\n600,455,456,457\n"


@pytest.mark.parametrize(
    ("sense", "azimuth"),
    [("clockwise", [0.0, 105.0, 225.0]), ("counterclockwise", [0.0, 255.0, 135.0])],
)
def test_hours_are_read_in_both_forms(write, sense, azimuth):
    design = plain_design(azimuth_sense=sense)
    long = "clock,height_mm,radius_mm\n12,600,455\n3 1/2,600,456\n7:30,600,457\n"
    for name, text in (("long.csv", long), ("wide.csv", CLOCK)):
        readings = load_readings(write(text, name), design)
        assert readings.azimuth.tolist() == azimuth
        assert readings.value.tolist() == [455.0, 456.0, 457.0]


@given(
    minutes=st.integers(0, 719),
    sense=st.sampled_from(("clockwise", "counterclockwise")),
)
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    max_examples=40,
    deadline=None,
    derandomize=True,
)
def test_an_hour_reads_as_its_azimuth(write, minutes, sense):
    design = plain_design(azimuth_sense=sense)
    turn = minutes / 2 if sense == "clockwise" else (720 - minutes) % 720 / 2
    rest = "height_mm,radius_mm\n"
    plain = write(f"azimuth_deg,{rest}{turn},600,455\n")
    clock = f"{minutes // 60 or 12}:{minutes % 60:02d}"
    path = write(f"clock,{rest}{clock},600,455\n", "clock.csv")
    assert same(load_readings(path, design), load_readings(plain, design))


def test_times_of_a_workbook_are_hours(workbook):
    rows = [["clock", "height_mm", "radius_mm"], [datetime.time(3, 30), 600, 455]]
    rows += [[datetime.time(12, 0), 600, 456], [9, 600, 457], ["3 o'clock", 600, 458]]
    readings = load_readings(workbook({"rod": rows}), DESIGN)
    assert readings.azimuth.tolist() == [105.0, 0.0, 270.0, 90.0]
    heads = [["height_mm \\ radius_mm", datetime.time(3, 30)], [600, 455]]
    readings = load_readings(workbook({"rod": heads}), DESIGN)
    assert readings.azimuth.tolist() == [105.0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("clock,height_mm,radius_mm\n13,600,455\n", "no hour of a clock"),
        ("clock,height_mm,radius_mm\nnoon,600,455\n", "half past 3"),
        ("clock,height_mm,radius_mm\n,600,455\n", "the clock is blank"),
        ("clock,azimuth_deg,height_mm,radius_mm\n3,90,600,455\n", "Keep one of them"),
    ],
)
def test_hours_that_are_none_are_refused(write, text, words):
    with pytest.raises(InputError, match=words):
        load_readings(write(text), DESIGN)
