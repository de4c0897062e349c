"""What holds of every format: exact, in any runs and pieces, whole or refused."""

from __future__ import annotations

import pickle
import random
import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings.clouds import open_cloud
from tests.readings.clouds.writers import (
    BINARY,
    WAYS,
    kinds_of,
    read,
    read_file,
    some_points,
)

COUNT = 500
#: Ways that can hold NaN.
FLOATS = ("npy columns", "npy float32", "ply big float", "polars", "savetxt")


@pytest.fixture(params=sorted(WAYS))
def way(request):
    return WAYS[request.param]


@pytest.fixture
def written(way, tmp_path):
    """The path of a cloud and what must be read of it."""
    path = tmp_path / f"wall{way.ending}"
    return path, way.write(path, some_points(COUNT))


def test_what_was_written_is_read_to_the_last_digit(way, written):
    path, expected = written
    found = read_file(path)
    assert found.shape == expected.shape == (COUNT, 3)
    np.testing.assert_allclose(found, expected, rtol=0.0, atol=way.near)
    # Spoiled: a fifth of a micrometre off.
    assert not np.allclose(found + 2e-7, expected, rtol=0.0, atol=way.near)


def test_numbers_are_handed_on_as_they_are(way, written):
    path, _ = written
    for run in open_cloud(path).chunks(200):
        kinds = kinds_of(run)
        assert kinds <= {"i4", "f4", "f8"}
        assert way.kind in ("text", "mixed") or kinds == {way.kind}
        for values in (run.x, run.y, run.z):
            assert values.dtype.isnative
            assert values.flags.aligned
            assert values.flags.writeable
        assert run.scale.shape == run.offset.shape == (3,)


@pytest.mark.parametrize("size", [1, 7, 250, 499, 500, 10_000])
def test_the_length_of_runs_does_not_matter(written, size):
    path, _ = written
    source = open_cloud(path)
    lengths = [len(run) for run in source.chunks(size)]
    assert 0 < max(lengths) <= size
    assert sum(lengths) == COUNT
    np.testing.assert_array_equal(read(source, size), read(source))


@pytest.mark.parametrize("most", [1, 3, 100, 499, 501, 10**9])
def test_pieces_hold_every_point_once(written, most):
    path, _ = written
    source = open_cloud(path)
    pieces = source.pieces(most)
    assert all(a.stop == b.start for a, b in pairwise(pieces))
    found = np.concatenate([read(source, 64, piece) for piece in pieces])
    np.testing.assert_array_equal(found, read(source))
    # In another order, as threads would read them.
    last = read(source, 64, pieces[-1])
    np.testing.assert_array_equal(last, found[len(found) - len(last) :])


def test_pieces_are_about_as_long_as_asked(way, written):
    path, _ = written
    source = open_cloud(path)
    longest = max(len(read(source, 999, piece)) for piece in source.pieces(100))
    runs = {".laz": 500, ".e57": 250}  # can only be read as a whole
    assert 60 <= longest <= runs.get(way.ending, 120)
    assert len(source.pieces(10**9)) == 1


def test_a_source_says_what_the_file_says(way, written):
    path, _ = written
    source = open_cloud(path)
    assert source.name == str(path)
    assert source.count == (COUNT if way.counted else None)
    assert source.millimetres == (1000.0 if way.ending == ".e57" else None)
    assert source.station is None
    again = pickle.loads(pickle.dumps(source))
    np.testing.assert_array_equal(read(again), read(source))


def test_many_points_are_read_in_the_same_order(way, tmp_path):
    path = tmp_path / f"wall{way.ending}"
    expected = way.write(path, some_points(20_000))
    found = read(open_cloud(path), 6_000)
    np.testing.assert_allclose(found, expected, rtol=0.0, atol=way.near)


def places_to_cut(length: int, name: str) -> list[int]:
    """Thirty anywhere, and the last bytes one by one."""
    rng = random.Random(name)
    return sorted({rng.randrange(1, length) for _ in range(30)} | {*range(-12, 0)})


@pytest.mark.parametrize("name", BINARY)
def test_a_cut_off_file_is_refused_wherever_it_is_cut(name, tmp_path):
    path = tmp_path / f"wall{WAYS[name].ending}"
    WAYS[name].write(path, some_points(300))
    whole = path.read_bytes()
    for cut in places_to_cut(len(whole), name):
        path.write_bytes(whole[:cut])
        with pytest.raises(InputError) as caught:
            read_file(path)
        assert caught.value.file == str(path)
        assert re.search(r"byte \d+|record \d+", caught.value.place or ""), cut
        assert caught.value.cure
        assert len(str(caught.value)) < 500
    path.write_bytes(whole)
    assert len(read_file(path)) == 300


@pytest.mark.parametrize("name", BINARY)
def test_a_file_that_shrinks_while_it_is_read_is_refused(name, tmp_path):
    path = tmp_path / f"wall{WAYS[name].ending}"
    WAYS[name].write(path, some_points(300))
    source = open_cloud(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError) as caught:
        read(source)
    assert caught.value.file == str(path)


@pytest.mark.parametrize("name", sorted(WAYS))
def test_a_file_with_bytes_changed_is_read_or_refused(name, tmp_path):
    path = tmp_path / f"wall{WAYS[name].ending}"
    WAYS[name].write(path, some_points(60))
    whole = path.read_bytes()
    rng = random.Random(name)
    outcomes = set()
    for _ in range(60):
        spoiled = bytearray(whole)
        for _ in range(rng.choice([1, 2, 8])):
            spoiled[rng.randrange(len(spoiled))] = rng.choice([0, 10, 45, 57, 127, 255])
        path.write_bytes(spoiled)
        if spoiled != whole:
            outcomes.add(finite_or_refused(path))
    # E57 has checksums: no change goes unseen.
    assert outcomes == ({False} if name == "e57" else {True, False})


@pytest.mark.parametrize("ending", sorted({way.ending for way in WAYS.values()}))
@pytest.mark.parametrize("seed", range(6))
def test_garbage_is_refused(ending, seed, tmp_path):
    path = tmp_path / f"wall{ending}"
    path.write_bytes(random.Random(seed).randbytes(1 + 1000 * seed))
    assert not finite_or_refused(path)


@pytest.mark.parametrize(
    "start", [b"LASF", b"ply\n", b"\x93NUMPY\x01\x00", b"ASTM-E57"]
)
def test_garbage_that_begins_well_is_refused(start, tmp_path):
    endings = {b"L": ".laz", b"p": ".ply", b"\x93": ".npy", b"A": ".e57"}
    path = tmp_path / f"wall{endings[start[:1]]}"
    for seed in range(20):
        path.write_bytes(start + random.Random(seed).randbytes(40 * seed))
        assert not finite_or_refused(path)


def well_told(fault: InputError, path: Path) -> bool:
    """Check a refusal."""
    assert fault.file == str(path)
    assert fault.cure
    assert len(str(fault)) < 500
    return True


def finite_or_refused(path: Path) -> bool:
    """Read a file; tell whether it was read, and check what comes of it."""
    try:
        found = read_file(path)
    except InputError as fault:
        return not well_told(fault, path)
    assert len(found) > 0
    assert np.isfinite(found).all()
    return True


@pytest.mark.parametrize("name", FLOATS)
def test_points_without_finite_coordinates_are_left_out(name, tmp_path):
    way = WAYS[name]
    path = tmp_path / f"wall{way.ending}"
    points = some_points(40)
    points[3, 0], points[7, 1], points[11, 2] = np.nan, np.inf, -np.inf
    points[39] = np.nan
    expected = way.write(path, points)
    good = np.isfinite(points).all(axis=1)
    assert good.sum() == 36
    np.testing.assert_allclose(read_file(path), expected[good], rtol=0, atol=way.near)


@pytest.mark.parametrize("name", FLOATS)
def test_a_cloud_of_nothing_but_nan_is_refused(name, tmp_path):
    path = tmp_path / f"wall{WAYS[name].ending}"
    WAYS[name].write(path, np.full((40, 3), np.nan))
    source = open_cloud(path)
    with pytest.raises(InputError, match="holds no points"):
        read(source)
    assert read(source, 9, source.pieces(10)[0]).shape == (0, 3)


@pytest.mark.parametrize("name", sorted(set(WAYS) - {"e57", "ply text"}))
def test_a_cloud_without_points_is_refused(name, tmp_path):
    path = tmp_path / f"wall{WAYS[name].ending}"
    WAYS[name].write(path, np.zeros((0, 3)))
    with pytest.raises(InputError, match=r"holds no points|is empty"):
        open_cloud(path)


def test_large_numbers_whose_sum_is_not_finite_are_kept(tmp_path):
    big = np.array([[1.5e308, 1.5e308, -1.5e308], [1.7e308, 1.0, 2.0]])
    np.save(tmp_path / "far.npy", big)
    np.testing.assert_array_equal(read_file(tmp_path / "far.npy"), big)
