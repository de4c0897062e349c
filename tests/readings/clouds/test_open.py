"""Which file is opened how, and what is refused by its name alone."""

from __future__ import annotations

import os
import zipfile

import pytest

from geom.errors import InputError
from geom.readings.clouds import CLOUD_ENDINGS, open_cloud
from tests.readings.clouds.writers import WAYS, read_file, some_points


def test_every_ending_that_is_allowed_has_been_written_and_read():
    assert set(CLOUD_ENDINGS) == {way.ending for way in WAYS.values()} | {".txt"}


@pytest.mark.parametrize("name", ["savetxt", "ply little float", "laz 1.4", "e57"])
def test_capitals_in_the_ending_do_not_matter(tmp_path, name):
    path = tmp_path / f"WALL{WAYS[name].ending.upper()}"
    WAYS[name].write(path, some_points(9))
    assert len(read_file(path)) == 9
    assert open_cloud(str(path)).name == str(path)


@pytest.mark.parametrize("name", ["wall.stl", "wall.pts", "wall", "wall.xyz.gz"])
def test_an_unknown_ending_is_refused_with_those_allowed(cloud, name):
    with pytest.raises(InputError, match=r"\.xyz, \.txt, \.csv, \.ply") as fault:
        open_cloud(cloud("1 2 3\n", name))
    assert fault.value.file


@pytest.mark.parametrize("ending", CLOUD_ENDINGS)
def test_no_file_a_folder_and_an_empty_file_are_refused(tmp_path, ending):
    path = tmp_path / f"wall{ending}"
    with pytest.raises(InputError, match="no such file"):
        open_cloud(path)
    path.touch()
    with pytest.raises(InputError, match="is empty"):
        open_cloud(path)
    path.unlink()
    path.mkdir()
    with pytest.raises(InputError, match="is a folder"):
        open_cloud(path)


def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "wall.xyz")
    with pytest.raises(InputError, match="no plain file"):
        open_cloud(tmp_path / "wall.xyz")


@pytest.mark.parametrize("ending", [".xyz", ".ply", ".laz", ".npy", ".e57"])
@pytest.mark.parametrize("name", ["ply big float", "las 1.2", "npy float32", "e57"])
def test_a_wrong_ending_is_refused_with_the_right_one(tmp_path, name, ending):
    way = WAYS[name]
    written, path = tmp_path / f"right{way.ending}", tmp_path / f"wrong{ending}"
    way.write(written, some_points(9))
    written.rename(path)
    if ending == way.ending or {ending, way.ending} == {".las", ".laz"}:
        assert len(read_file(path)) == 9
        return
    with pytest.raises(
        InputError, match=f"begins like a file that ends in {way.ending}"
    ):
        open_cloud(path)


def test_a_packed_folder_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "wall.xyz", "w") as archive:
        archive.writestr("wall.xyz", "1 2 3\n")
    with pytest.raises(InputError, match="zip") as fault:
        open_cloud(tmp_path / "wall.xyz")
    assert fault.value.cure == "Unpack it first"
