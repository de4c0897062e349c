"""LAS and LAZ: whole numbers as they are, flags, and headers that lie."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings.clouds import open_cloud
from tests.readings.clouds.writers import las, read, read_file, some_points

#: Bytes of the header that hold a number, and how it is packed (ASPRS LAS 1.4,
#: public header block).
SIZE, START, VLRS, FORM, RECORD = (
    (94, "<H"),
    (96, "<I"),
    (100, "<I"),
    (104, "B"),
    (105, "<H"),
)
COUNT, SCALE, OFFSET, MINOR = (107, "<I"), (131, "<d"), (155, "<d"), (25, "B")
EVLR_START, EVLRS, COUNT_14 = (235, "<Q"), (243, "<I"), (247, "<Q")

KINDS = [(0, "1.2"), (2, "1.2"), (1, "1.3"), (3, "1.4"), (6, "1.4"), (8, "1.4")]


def spoiled(content: bytes, *changes: tuple[tuple[int, str], float]) -> bytes:
    """The same file with numbers of its header changed."""
    whole = bytearray(content)
    for (at, kind), value in changes:
        struct.pack_into(kind, whole, at, value)
    return bytes(whole)


def written(tmp_path, form=6, version="1.4", ending=".laz", count=300) -> bytes:
    path = tmp_path / f"written{ending}"
    las(form, version)(path, some_points(count))
    return path.read_bytes()


@pytest.mark.parametrize("ending", [".las", ".laz"])
@pytest.mark.parametrize(("form", "version"), KINDS)
def test_whole_numbers_are_handed_on_with_scale_and_offset(
    tmp_path, form, version, ending
):
    import laspy

    path = tmp_path / f"wall{ending}"
    las(form, version)(path, some_points(400))
    known = laspy.read(str(path))
    for run in open_cloud(path).chunks(1000):
        for values, name in ((run.x, "X"), (run.y, "Y"), (run.z, "Z")):
            assert values.dtype == np.int32
            np.testing.assert_array_equal(values, known[name])
        assert run.scale.tolist() == [0.001] * 3
        assert run.offset.tolist() == [1.0, -2.0, 0.5]
        np.testing.assert_allclose(run.coordinates(), known.xyz, rtol=0, atol=1e-12)


@pytest.mark.parametrize("ending", [".las", ".laz"])
@pytest.mark.parametrize(("form", "version"), [(0, "1.2"), (6, "1.4"), (7, "1.4")])
def test_points_marked_withheld_are_left_out(tmp_path, form, version, ending):
    import laspy

    path = tmp_path / f"wall{ending}"
    header = laspy.LasHeader(point_format=form, version=version)
    data = laspy.LasData(header)
    data.X = np.arange(50, dtype=np.int32)
    data.withheld = (np.arange(50) % 5 == 0).astype(np.uint8)
    data.synthetic = (np.arange(50) % 2).astype(np.uint8)
    data.classification = np.full(50, 7 if form == 0 else 18, np.uint8)
    data.write(str(path))
    runs = list(open_cloud(path).chunks(20))
    found = np.concatenate([run.x for run in runs])
    assert found.tolist() == [n for n in range(50) if n % 5]
    data.withheld = np.ones(50, np.uint8)
    data.write(str(path))
    with pytest.raises(InputError, match="holds no points"):
        read_file(path)


@pytest.mark.parametrize("form", [1, 6])
def test_extra_numbers_and_records_are_passed_over(tmp_path, form):
    import laspy

    header = laspy.LasHeader(point_format=form, version="1.4")
    header.add_extra_dim(laspy.ExtraBytesParams("quality", "uint8"))
    header.vlrs.append(laspy.VLR("us", 5, "ours", b"x" * 5000))
    data = laspy.LasData(header)
    data.X = np.arange(90, dtype=np.int32) - 45
    data.evlrs = laspy.vlrs.vlrlist.VLRList([laspy.VLR("us", 6, "more", b"y" * 99_000)])
    for ending in (".las", ".laz"):
        path = tmp_path / f"wall{ending}"
        data.write(str(path))
        runs = [run.x for run in open_cloud(path).chunks(13)]
        assert np.concatenate(runs).tolist() == list(range(-45, 45))
        path.write_bytes(path.read_bytes()[:-1])
        with pytest.raises(InputError, match="the file ends here"):
            open_cloud(path)


@pytest.mark.parametrize("form", [3, 6])
def test_packed_runs_are_read_from_any_point_on(tmp_path, form):
    path = tmp_path / "wall.laz"
    expected = las(form, "1.4")(path, some_points(120_000))
    source = open_cloud(path)
    pieces = source.pieces(60_000)
    assert [piece.start for piece in pieces] == [0, 50_000, 100_000]
    for piece in pieces:
        part = expected[piece.start : piece.stop]
        np.testing.assert_array_equal(read(source, 17_000, piece), part)
    middle = type(pieces[0])(49_990, 50_010)
    np.testing.assert_array_equal(
        read(source, 7, middle), expected[middle.start : middle.stop]
    )


def laz_of_unequal_runs(path, data, counts) -> None:
    """A LAZ file whose packed runs hold ``counts`` points, as COPC files are packed."""
    import laspy
    import lazrs
    from laspy.vlrs.known import LasZipVlr

    header = data.header
    form = header.point_format
    packing = lazrs.LazVlr.new_for_compression(form.id, form.num_extra_bytes, True)
    header.grow(data.points)
    header.are_points_compressed = True
    header.vlrs.append(LasZipVlr(packing.record_data()))
    ends = np.cumsum(counts)
    with path.open("wb") as file:
        header.write_to(file)
        packer = lazrs.ParLasZipCompressor(file, packing)
        packer.reserve_offset_to_chunk_table()
        runs = np.split(data.points.array, ends[:-1])
        packer.compress_chunks([run.tobytes() for run in runs])
        packer.done()
    assert len(laspy.read(str(path)).points) == ends[-1]


@pytest.mark.parametrize("form", [3, 6])
def test_runs_of_unequal_length_are_those_that_were_packed(tmp_path, form):
    """LAZ allows a table of runs of any length each (LASzip; all COPC files use it)."""
    import laspy

    rng = np.random.default_rng(form)
    counts = [3, 70_001, 1, 40_000, 120_000, 17, 9_978]
    data = laspy.LasData(laspy.LasHeader(point_format=form, version="1.4"))
    xyz = rng.integers(-(2**20), 2**20, size=(sum(counts), 3), dtype=np.int32)
    data.X, data.Y, data.Z = xyz.T
    data.withheld = (hidden := rng.random(len(xyz)) < 0.1).astype(np.uint8)
    path = tmp_path / "wall.laz"
    laz_of_unequal_runs(path, data, counts)
    source = open_cloud(path)
    np.testing.assert_array_equal(known_numbers(source.chunks(30_000)), xyz[~hidden])
    for most in (20_000, 100_000, 1_000_000):
        pieces = source.pieces(most)
        assert [part.start for part in pieces] == [0, *(p.stop for p in pieces[:-1])]
        assert pieces[-1].stop == len(xyz)
        for part in reversed(pieces):
            inside = slice(part.start, part.stop)
            np.testing.assert_array_equal(
                known_numbers(source.chunks(150_000, part)),
                xyz[inside][~hidden[inside]],
            )


def known_numbers(runs):
    return np.concatenate([np.column_stack([run.x, run.y, run.z]) for run in runs])


LYING = {
    "billions of points": (COUNT_14, 10**10),
    "points past all counts": (COUNT_14, 2**64 - 1),
    "no points": (COUNT_14, 0),
    "a giant count of records": (VLRS, 2**32 - 1),
    "one record too many": (VLRS, 2),
    "points past the end": (START, 2**32 - 1),
    "points within the header": (START, 200),
    "points within the records": (START, 400),
    "a short header": (SIZE, 200),
    "a long header": (SIZE, 60_000),
    "an unknown format": (FORM, 0x80 | 55),
    "a format not packed": (FORM, 6),
    "a format of an old draft": (FORM, 0xC0 | 6),
    "points without bytes": (RECORD, 0),
    "points of too many bytes": (RECORD, 65_535),
    "a scale of nothing": (SCALE, 0.0),
    "a scale without end": (SCALE, float("inf")),
    "a scale past all numbers": (SCALE, 1e304),
    "a negative scale": (SCALE, -0.001),
    "no offset": (OFFSET, float("nan")),
    "records after the points": (EVLRS, 1),
    "records past all counts": (EVLRS, 2**32 - 1),
    "a version to come": (MINOR, 9),
    "a version gone": (MINOR, 1),
}


@pytest.mark.parametrize("case", LYING)
def test_a_header_that_lies_is_refused_at_opening(cloud, tmp_path, case):
    whole = written(tmp_path)
    changes = [LYING[case]]
    if case.startswith("records"):
        changes.append((EVLR_START, len(whole) - 50))
    path = cloud(spoiled(whole, *changes), "wall.laz")
    with pytest.raises(InputError) as fault:
        open_cloud(path)
    assert fault.value.file == str(path)
    assert fault.value.place or "no points" in str(fault.value)
    assert len(read_file(cloud(whole, "wall.laz"))) == 300


@pytest.mark.parametrize("case", ["billions", "one more", "past all counts"])
@pytest.mark.parametrize("version", ["1.2", "1.4"])
def test_an_unpacked_file_is_refused_with_what_was_promised(
    cloud, tmp_path, version, case
):
    form = {"1.2": 0, "1.4": 6}[version]
    whole = written(tmp_path, form, version, ".las")
    count = {"billions": 3 * 10**9, "one more": 301, "past all counts": 2**32 - 1}[case]
    where = COUNT if version == "1.2" else COUNT_14
    record = 20 if version == "1.2" else 30
    path = cloud(spoiled(whole, (where, count)), "wall.las")
    with pytest.raises(InputError) as fault:
        open_cloud(path)
    assert fault.value.place == f"byte {len(whole)}"
    promised = len(whole) - 300 * record + count * record
    assert f"promises {promised} bytes" in fault.value.what


def test_records_below_the_header_that_overlap_the_points_are_refused(cloud, tmp_path):
    whole = written(tmp_path)
    path = cloud(spoiled(whole, ((375 + 20, "<H"), 60_000)), "wall.laz")
    with pytest.raises(InputError, match="record 1 below the header reaches to byte"):
        open_cloud(path)


# --- how the points are packed -------------------------------------------------------

PACKED = 375 + 54
PACKING = {
    "way": ((PACKED, "<H"), 1, "packed in a way not known"),
    "coder": ((PACKED + 2, "<H"), 7, "packed in a way not known"),
    "empty runs": ((PACKED + 12, "<I"), 0, "claims runs of 0"),
    "giant runs": ((PACKED + 12, "<I"), 2**31, "claims runs of 2147483648"),
    "runs that differ": ((PACKED + 12, "<I"), 2**32 - 1, "byte|table|runs"),
    "items": ((PACKED + 32, "<H"), 50_000, "no such"),
    "size": ((PACKED + 36, "<H"), 31, "packed are other than 30 bytes"),
}


@pytest.mark.parametrize("case", PACKING)
def test_a_packing_that_lies_is_refused(cloud, tmp_path, case):
    where, value, message = PACKING[case]
    path = cloud(spoiled(written(tmp_path), (where, value)), "wall.laz")
    with pytest.raises(InputError, match=message) as fault:
        read_file(path)
    assert fault.value.place


@pytest.mark.parametrize("form", [3, 6])
def test_a_table_of_runs_that_lies_is_refused(cloud, tmp_path, form):
    whole = written(tmp_path, form)
    (start,) = struct.unpack_from("<I", whole, 96)
    (table,) = struct.unpack_from("<q", whole, start)
    wrong = [
        ((start, "<q"), value)
        for value in (0, start, -2, 2**62, len(whole) - 4, table - 1, table + 1)
    ]
    wrong += [((table + 4, "<I"), many) for many in (0, 2, 50_000, 2**32 - 1)]
    for change in wrong:
        with pytest.raises(InputError) as fault:
            open_cloud(cloud(spoiled(whole, change), "wall.laz"))
        assert "byte" in str(fault.value) or "table" in str(fault.value)
    # As a stream is written: the place of the table at the very end.
    streamed = spoiled(whole, ((start, "<q"), -1)) + struct.pack("<q", table)
    assert len(read_file(cloud(streamed, "wall.laz"))) == 300


def test_giant_layers_are_refused_before_memory_is_set_aside(cloud, tmp_path):
    whole = written(tmp_path)
    (start,) = struct.unpack_from("<I", whole, 96)
    for layer in range(9):
        where = (start + 8 + 30 + 4 + 4 * layer, "<I")
        path = cloud(spoiled(whole, (where, 2**32 - 16)), "wall.laz")
        with pytest.raises(InputError, match="the packed run claims") as fault:
            open_cloud(path)
        assert fault.value.place == "record 0"


def test_a_damaged_run_is_refused_with_its_record(tmp_path):
    path = tmp_path / "wall.laz"
    las(3, "1.2")(path, some_points(120_000))
    whole = bytearray(path.read_bytes())
    middle = len(whole) // 2
    whole[middle : middle + 2000] = bytes(2000)
    path.write_bytes(whole)
    source = open_cloud(path)
    with pytest.raises(InputError, match="cannot be read") as fault:
        read(source, 50_000)
    assert fault.value.place in ("record 0", "record 50000")
