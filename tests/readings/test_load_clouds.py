"""Point clouds of a survey: what has to be told of them, and rod sheets beside them."""

from __future__ import annotations

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings import load_readings
from geom.readings.cloud import CloudReadings, no_rod_readings
from geom.readings.clouds import CLOUD_ENDINGS
from geom.readings.rod import RodReadings
from tests.readings.clouds.writers import WAYS, read, some_points, write_scan

ROD = "azimuth_deg,height_in,radius_in\n0,24,18 3/8\n90,30,18 1/2\n"
CLOUD = "0.45 0 0.6\n0 0.45 0.7\n"


def only(readings):
    """The one cloud there is."""
    assert isinstance(readings, CloudReadings)
    (cloud,) = readings.clouds
    return cloud


@pytest.mark.parametrize("ending", CLOUD_ENDINGS)
def test_a_cloud_that_is_not_there_is_told(design, tmp_path, ending):
    name = str(tmp_path / f"wall{ending}")
    with pytest.raises(InputError, match="no such file") as caught:
        load_readings(name, design, cloud_unit="mm")
    assert caught.value.file == name


@pytest.mark.parametrize(
    "name", ["savetxt", "polars", "ply text", "las 1.2", "npy big"]
)
def test_a_cloud_without_a_unit_is_refused(design, tmp_path, name):
    path = tmp_path / f"wall{WAYS[name].ending}"
    WAYS[name].write(path, some_points(9))
    with pytest.raises(InputError, match="in which unit its points are") as caught:
        load_readings(path, design)
    assert caught.value.file == str(path)
    assert "--cloud-unit" in str(caught.value.cure)
    assert only(load_readings(path, design, cloud_unit="m")).millimetres == 1000.0


@pytest.mark.parametrize(
    ("unit", "mm"), [("in", 25.4), ("mm", 1.0), ("cm", 10.0), ("m", 1000.0)]
)
def test_each_unit_is_what_it_is_in_millimetres(write, design, unit, mm):
    path = write("1 2 3\n", "wall.xyz")
    cloud = only(load_readings(path, design, cloud_unit=unit, z_offset=2.0))
    assert cloud.millimetres == mm
    assert cloud.z_offset == pytest.approx(2.0 * mm, rel=1e-15)
    assert cloud.name == str(path)


@pytest.mark.parametrize("unit", ["ft", "", "MM", "mm "])
def test_an_unknown_unit_is_refused_with_those_allowed(write, design, unit):
    with pytest.raises(InputError, match="in, mm, cm, m"):
        load_readings(write(CLOUD, "wall.xyz"), design, cloud_unit=unit)


def test_a_file_that_fixes_its_unit_needs_none_and_keeps_it(write, design, tmp_path):
    # ASTM E2807: lengths in an E57 file are metres.
    path = tmp_path / "wall.e57"
    WAYS["e57"].write(path, some_points(9))
    named = write("x_in y_in z_in\n18 0 24\n", "wall.txt")
    for file, unit, mm in ((path, "m", 1000.0), (named, "in", 25.4)):
        assert only(load_readings(file, design)).millimetres == mm
        assert only(load_readings(file, design, cloud_unit=unit)).millimetres == mm
        with pytest.raises(
            InputError, match=f"units of {mm:g} mm.*not in mm"
        ) as caught:
            load_readings(file, design, cloud_unit="mm")
        assert caught.value.file == str(file)


def test_one_unit_is_told_for_those_clouds_that_lack_one(write, design, tmp_path):
    path = tmp_path / "wall.e57"
    WAYS["e57"].write(path, some_points(9))
    text = write(CLOUD, "wall.xyz")
    with pytest.raises(InputError, match="in which unit") as caught:
        load_readings([path, text], design)
    assert caught.value.file == str(text)
    both = load_readings([path, text], design, cloud_unit="m", z_offset=0.5)
    assert [cloud.millimetres for cloud in both.clouds] == [1000.0, 1000.0]
    assert [cloud.z_offset for cloud in both.clouds] == [500.0, 500.0]


def test_the_scanners_place_is_told_in_the_clouds_unit(write, design):
    path = write("1 2 3\n", "wall.xyz")
    options = {"cloud_unit": "in", "scanner": (1.0, -2.0, 40.0)}
    cloud = only(load_readings(path, design, **options))
    assert cloud.scanner == pytest.approx([25.4, -50.8, 1016.0], rel=1e-15)
    assert only(load_readings(path, design, cloud_unit="in")).scanner is None


def test_the_file_tells_where_the_scanner_stood_unless_it_is_told(design, tmp_path):
    import pye57

    path = tmp_path / "wall.e57"
    file = pye57.E57(str(path), mode="w")
    write_scan(file, some_points(9), translation=np.array([0.1, 0.2, 1.5]))
    file.close()
    cloud = only(load_readings(path, design))
    assert cloud.scanner == pytest.approx([100.0, 200.0, 1500.0], rel=1e-15)
    cloud = only(load_readings(path, design, scanner=(0.0, 0.0, 1.0)))
    assert cloud.scanner.tolist() == [0.0, 0.0, 1000.0]


@pytest.mark.parametrize(
    "place", [(1.0, 2.0), (1.0, 2.0, 3.0, 4.0), (0.0, 0.0, np.nan), (np.inf, 0, 0)]
)
def test_a_place_that_is_none_is_refused(write, design, place):
    path = write(CLOUD, "wall.xyz")
    with pytest.raises(InputError, match="three numbers"):
        load_readings(path, design, cloud_unit="m", scanner=place)


def test_clouds_and_rod_sheets_are_one_survey_in_their_order(write, design):
    a, b = write(CLOUD, "a.xyz"), write(CLOUD, "b.txt")
    rods = [write(ROD, "c.csv"), write(ROD.replace("90,", "80,"), "d.csv")]
    options = {"cloud_unit": "m", "azimuth_of_x": 30.0}
    mixed = load_readings([rods[0], b, rods[1], a], design, **options)
    assert isinstance(mixed, CloudReadings)
    assert [cloud.name for cloud in mixed.clouds] == [str(b), str(a)]
    assert [cloud.azimuth_of_x for cloud in mixed.clouds] == [30.0, 30.0]
    assert mixed.rod.azimuth.tolist() == [0.0, 90.0, 0.0, 80.0]
    assert mixed.rod.place == load_readings(rods, design).place
    assert mixed.kinds == ["laser points", "rod radius"]
    assert mixed.one_frame is True
    apart = load_readings([a, b], design, cloud_unit="m", own_frames=True)
    assert apart.one_frame is False
    assert apart.kinds == ["laser points"]
    assert len(apart.rod) == len(no_rod_readings()) == 0


def test_a_fault_in_the_sheet_beside_a_cloud_is_told(write, design):
    cloud, sheet = write(CLOUD, "a.xyz"), write(ROD + "10,24,x\n", "rod.csv")
    with pytest.raises(InputError, match="row 4, column radius_in") as caught:
        load_readings([cloud, sheet], design, cloud_unit="m")
    assert caught.value.file == str(sheet)


def test_the_first_row_of_a_csv_tells_a_cloud_from_a_sheet(write, design):
    # The same three numbers: a point, or one reading of a sheet with its names.
    sheet = load_readings(
        write("azimuth_deg,height_mm,radius_mm\n20,600,460\n"), design
    )
    assert isinstance(sheet, RodReadings)
    assert sheet.value.tolist() == [460.0]
    for text in ("20,600,460\n", "x,y,z\n20,600,460\n", "X;Y;Z\n20;600;460\n"):
        path = write(text, "points.csv")
        cloud = only(load_readings(path, design, cloud_unit="mm"))
        assert read(cloud.source).tolist() == [[20.0, 600.0, 460.0]]


def test_a_cloud_is_counted_as_its_file_says(design, tmp_path, write):
    paths = [tmp_path / "wall.npy", write(ROD)]
    WAYS["npy float32"].write(paths[0], some_points(50))
    assert len(load_readings(paths, design, cloud_unit="m")) == 52


def test_the_same_cloud_twice_is_refused(write, design, monkeypatch):
    path = write(CLOUD, "wall.xyz")
    link = path.with_name("again.xyz")
    link.symlink_to(path)
    monkeypatch.chdir(path.parent)
    for again in (path, "wall.xyz", "./wall.xyz", link):
        with pytest.raises(InputError, match="named twice") as caught:
            load_readings([path, again], design, cloud_unit="m")
        assert caught.value.file == str(again)


def test_no_point_is_read_before_the_surface_is_made(design, write):
    path = write(CLOUD + "not a point\n", "wall.xyz")
    cloud = only(load_readings(path, design, cloud_unit="m"))
    with pytest.raises(InputError, match="line 3"):
        read(cloud.source)
