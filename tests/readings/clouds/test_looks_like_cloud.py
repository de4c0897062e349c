"""A text of points told from a rod sheet."""

from __future__ import annotations

from pathlib import Path

import pytest

from geom.readings.clouds import looks_like_cloud

SCANS = Path(__file__).parents[3] / "scans"

CLOUDS = {
    "numbers": "1,2,3\n",
    "more numbers": "0.1;0.2;0.3;17;255\n",
    "names": "x,y,z\n1,2,3\n",
    "names with units": "X_mm,Y_mm,Z_mm,I\n1,2,3,4\n",
    "names in a comment": "//X Y Z\n1 2 3\n",
    "comments": "# rod\n\n1 2 3\n",
    "a missing number": "nan nan nan\n1 2 3\n",
    # It has to be refused as a cloud, with its line, rather than as a rod sheet.
    "names and a bad row": "x,y,z\n1,2\n",
}
SHEETS = {
    "long form": "azimuth_deg,height_in,radius_in\n0,24,18.375\n",
    "comments": "# rod 2\nazimuth_deg,height_in,radius_in\n0,24,18\n",
    "semicolons": "azimuth_deg;height_mm;radius_mm\n0;600;455,5\n",
    "wide form": "height_in \\ radius_in,0deg,30deg\n24,18,19\n",
    "headless, fractions": "0,24,18 3/8\n",
    "headless, two columns": "0,24\n",
    "decimal commas": "0;24;18,375\n",
    "empty": "",
    "nothing but comments": "# nothing\n# at all\n",
    "text": "the wall is worn\n",
    "binary": "\0\1\2\3" * 99,
    "quoted numbers": '"1","2","3"\n',
}


@pytest.mark.parametrize("ending", [".csv", ".txt"])
@pytest.mark.parametrize("case", CLOUDS)
def test_a_cloud_is_seen(cloud, case, ending):
    path = cloud(CLOUDS[case], f"wall{ending}")
    assert looks_like_cloud(path) is True
    assert looks_like_cloud(str(path)) is True


@pytest.mark.parametrize("case", SHEETS)
def test_a_rod_sheet_is_not_mistaken_for_a_cloud(cloud, case):
    assert looks_like_cloud(cloud(SHEETS[case], "rod.csv")) is False


def test_the_demo_sheets_are_no_clouds():
    sheets = sorted(SCANS.glob("*.csv"))
    assert sheets
    assert not any(looks_like_cloud(sheet) for sheet in sheets if "heat" in sheet.name)


def test_what_cannot_be_read_does_not_look_like_anything(tmp_path):
    assert looks_like_cloud(tmp_path / "nowhere.csv") is False
    assert looks_like_cloud(tmp_path) is False
    assert looks_like_cloud("a\0b.csv") is False


def test_only_the_head_is_looked_at(cloud):
    path = cloud("# far down\n" * 200_000 + "1 2 3\n", "wall.csv")
    assert looks_like_cloud(path) is False
    assert looks_like_cloud(cloud("1" * 200_000, "wall.csv")) is False
