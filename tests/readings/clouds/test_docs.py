"""What docs/file-formats.md says of point clouds is so."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from geom.readings.clouds import CLOUD_ENDINGS, looks_like_cloud, open_cloud
from tests.readings.clouds.writers import read_file

TEXT = Path(__file__).parents[3].joinpath("docs", "file-formats.md").read_text("utf-8")
(CLOUDS,) = re.findall(r"^## Point clouds\n(.*?)^## ", TEXT, re.MULTILINE | re.DOTALL)


def test_the_example_is_read(cloud):
    (example,) = re.findall(r"^```\n(.*?)^```$", CLOUDS, re.MULTILINE | re.DOTALL)
    path = cloud(example, "wall.txt")
    assert looks_like_cloud(path)
    expected = [[0.4571, 0.0032, 1.2040], [0.4569, 0.0071, 1.2041]]
    np.testing.assert_array_equal(read_file(path), expected)


def test_every_ending_is_told():
    table = CLOUDS[: CLOUDS.index("E57 needs")]
    assert set(re.findall(r"`(\.\w+)`", table)) == set(CLOUD_ENDINGS)


def test_the_names_said_to_carry_a_unit_do(cloud):
    (names,) = re.findall(r"`(x_\w+,y_\w+,z_\w+)`", CLOUDS)
    assert open_cloud(cloud(f"{names}\n1,2,3\n")).millimetres == 1.0
