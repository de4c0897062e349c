"""Sheets become readings in millimetres, with their places."""

from __future__ import annotations

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings import load_readings

LONG = """\
# rod 2, read after heat 14 of an invented furnace
azimuth_deg,height_in,radius_in,note

0,24,18 3/8,
90,24,18⅜,"deep, at the seam"
360,95,18-3/8
"""


def fields(readings):
    """All that readings hold but their places, for comparing."""
    arrays = ("azimuth", "height", "value", "sd", "step")
    return [getattr(readings, name).tolist() for name in arrays]


def test_the_long_form_is_read(write, design):
    readings = load_readings(write(LONG), design)
    assert readings.kind == ("radius",) * 3
    assert readings.azimuth.tolist() == [0.0, 90.0, 0.0]
    assert readings.height == pytest.approx([609.6, 609.6, 2413.0], abs=1e-9)
    # 18 3/8 in = 18.375 * 25.4 mm = 466.725 mm; 1/8 in = 3.175 mm.
    assert readings.value == pytest.approx([466.725] * 3, abs=1e-9)
    assert readings.step == pytest.approx([3.175] * 3, abs=1e-12)
    assert np.isnan(readings.sd).all()
    assert readings.note == ("", "deep, at the seam", "")
    assert readings.place == ("rod.csv, row 4", "rod.csv, row 5", "rod.csv, row 6")
    assert readings.kinds == ["rod radius"]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.rstrip("\n"),
        lambda text: text.replace("radius_in", " Radius_IN "),
        lambda text: text.replace("24", " 24.0 "),
        lambda text: text.replace("in,note", "in,note,,").replace("18⅜,", '"18⅜",'),
        lambda text: text.replace(",\n90", ",,,\n90"),
        lambda text: text.replace("\n\n", "\n,,,\n"),
        lambda text: text.replace("# rod 2, read", '"# rod 2, read').replace(
            "furnace\n", 'furnace"\n'
        ),
        lambda text: text.replace(",", ";").replace("deep;", "deep,"),
        lambda text: text.replace(",", "\t").replace("deep\t", "deep,"),
    ],
)
def test_the_same_table_written_otherwise_is_the_same(write, design, spoil):
    plain = load_readings(write(LONG), design)
    other = load_readings(write(spoil(LONG), "other.csv"), design)
    assert str(fields(other)) == str(fields(plain))
    assert other.note == plain.note
    assert [p.split()[-1] for p in other.place] == ["4", "5", "6"]


def test_the_order_of_columns_does_not_matter(write, design):
    a = load_readings(write("azimuth_deg,height_in,radius_in\n10,24,18\n"), design)
    b = load_readings(write("radius_in,azimuth_deg,height_in\n18,10,24\n"), design)
    assert str(fields(a)) == str(fields(b))


def test_a_decimal_comma_is_read_between_semicolons(write, design):
    text = "azimuth_deg;height_cm;radius_mm;sd_mm\n22,5;60,96;466,7;1,5\n30;61;460;\n"
    readings = load_readings(write(text), design)
    assert readings.azimuth.tolist() == [22.5, 30.0]
    assert readings.height == pytest.approx([609.6, 610.0], abs=1e-9)
    assert readings.value == pytest.approx([466.7, 460.0], abs=1e-9)
    assert readings.sd[0] == 1.5
    assert np.isnan(readings.sd[1])
    assert readings.step == pytest.approx([0.1, 0.1])


@pytest.mark.parametrize(
    ("column", "value", "mm"),
    [
        ("radius_in", "18 1/2", 469.9),
        ("diameter_in", "37", 939.8),
        ("cutback_in", "-1/4", -6.35),
        ("cutback_mm", "0", 0.0),
        ("radius_m", "0.4699", 469.9),
        ("diameter_cm", "93.98", 939.8),
    ],
)
def test_each_kind_and_unit_arrives_in_millimetres(write, design, column, value, mm):
    text = f"azimuth_deg,height_in,{column}\n10,24,{value}\n"
    readings = load_readings(write(text), design)
    assert readings.kind == (column.split("_")[0],)
    assert readings.value == pytest.approx([mm], abs=1e-9)


def test_the_same_sheet_in_every_unit_says_the_same(write, design):
    rows = [(10.0, 24.0, 18.25), (200.0, 60.0, 19.5)]
    found = []
    for unit, size in (("in", 1.0), ("mm", 25.4), ("cm", 2.54), ("m", 0.0254)):
        lines = [f"{a},{h * size!r},{r * size!r}" for a, h, r in rows]
        head = f"azimuth_deg,height_{unit},radius_{unit}"
        readings = load_readings(
            write("\n".join([head, *lines]), f"{unit}.csv"), design
        )
        found.append(np.concatenate([readings.height, readings.value]))
    # A few roundings of a double at 1500 mm.
    assert np.ptp(np.array(found), axis=0).max() < 1e-11


def test_heights_at_the_very_ends_stay_inside_the_profile(write, design):
    # 241.3 cm is 95 in; the change of unit must not put it past the profile.
    text = "azimuth_deg,height_m,radius_in\n10,2.4130000000001,18\n10,-1e-12,18\n"
    readings = load_readings(write(text), design)
    assert readings.height.tolist() == [design.profile.top, design.profile.bottom]


def test_several_files_are_one_survey_in_their_order(write, design):
    a = write("azimuth_deg,height_in,radius_in\n10,24,18 1/2\n", "a.csv")
    b = write("azimuth_deg,height_mm,cutback_mm,sd_mm\n20,600,5,2\n", "b.csv")
    both = load_readings([str(a), b], design)
    assert both.kind == ("radius", "cutback")
    assert both.place == ("a.csv, row 2", "b.csv, row 2")
    assert both.step == pytest.approx([12.7, 1.0])
    assert both.kinds == ["rod radius", "rod cutback"]
    turned = load_readings((b, a), design)
    assert turned.value.tolist() == both.value.tolist()[::-1]
    one = load_readings(str(a), design)
    assert len(one) == 1


def test_a_lone_misread_inside_the_shell_is_kept_for_the_fit(write, design):
    rows = "".join(f"{a},24,18\n" for a in range(0, 360, 30))
    text = f"azimuth_deg,height_in,radius_in\n{rows}15,24,26 1/2\n"
    assert len(load_readings(write(text), design)) == 13


def test_the_same_station_may_be_read_twice(write, design):
    text = "azimuth_deg,height_in,radius_in\n10,24,18\n10,24,18 1/8\n"
    assert load_readings(write(text), design).height.size == 2


@pytest.mark.parametrize(
    "options",
    [
        {"cloud_unit": "mm"},
        {"azimuth_of_x": 90.0},
        {"z_offset": 1.0},
        {"scanner": (0.0, 0.0, 1.0)},
        {"own_frames": True},
    ],
)
def test_options_that_could_do_nothing_are_refused(write, design, options):
    with pytest.raises(InputError, match="point clouds only"):
        load_readings(write(LONG), design, **options)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("rod.xls", r'in "\.xls" is neither a rod sheet \(\.csv, \.tsv or \.xlsx\)'),
        ("rod.ods", r"nor a point cloud \(\.xyz, \.txt, \.csv, .*\.npy or \.e57\)"),
        ("rod", "a file without an ending is neither"),
        ("lining.toml", "design file comes first"),
    ],
)
def test_another_ending_is_refused(write, design, name, words):
    path = write("x", name)
    with pytest.raises(InputError, match=words) as caught:
        load_readings(path, design)
    assert caught.value.file == str(path)


def test_no_file_and_a_file_named_twice_are_refused(write, design, monkeypatch):
    with pytest.raises(InputError, match="no file of readings"):
        load_readings([], design)
    path = write(LONG)
    monkeypatch.chdir(path.parent)
    with pytest.raises(InputError, match="named twice"):
        load_readings([path, "rod.csv"], design)


def test_a_folder_is_refused(tmp_path, design):
    with pytest.raises(InputError, match="this is a folder"):
        load_readings(tmp_path, design)
    (tmp_path / "rod.csv").mkdir()
    with pytest.raises(InputError, match="this is a folder"):
        load_readings(tmp_path / "rod.csv", design)
