"""E57: scans with poses, spherical coordinates, invalid points, and shells that lie."""

from __future__ import annotations

import struct
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geom.errors import InputError, MissingExtra
from geom.readings.clouds import open_cloud
from tests.readings.clouds.writers import e57, read, read_file, some_points, write_scan

CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")


def new(path: Path) -> Any:
    import pye57

    return pye57.E57(str(path), mode="w")


def add_scan(
    file: Any, fields: dict[str, Any], pose: dict[str, Any] | None = None
) -> None:
    """Write a scan node by node: each field a prototype's maker and its numbers."""
    from pye57 import libe57

    image = file.image_file
    scan, prototype = libe57.StructureNode(image), libe57.StructureNode(image)
    scan.set("guid", libe57.StringNode(image, "{ours}"))
    if pose is not None:
        node = libe57.StructureNode(image)
        scan.set("pose", node)
        for part, numbers in pose.items():
            inner = libe57.StructureNode(image)
            for axis, number in numbers.items():
                inner.set(axis, libe57.FloatNode(image, number))
            node.set(part, inner)
    buffers = libe57.VectorSourceDestBuffer()
    for name, (make, numbers) in fields.items():
        prototype.set(name, make(image))
        count = len(numbers)
        buffers.append(libe57.SourceDestBuffer(image, name, numbers, count, True, True))
    points = libe57.CompressedVectorNode(
        image, prototype, libe57.VectorNode(image, True)
    )
    scan.set("points", points)
    file.data3d.append(scan)
    writer = points.writer(buffers)
    writer.write(count)
    writer.close()


def double(image: Any) -> Any:
    from pye57 import libe57

    return libe57.FloatNode(image, 0.0)


def scaled(image: Any) -> Any:
    from pye57 import libe57

    return libe57.ScaledIntegerNode(image, 0, -(10**6), 10**6, 0.001, 0.5)


def state(image: Any) -> Any:
    from pye57 import libe57

    return libe57.IntegerNode(image, 0, 0, 2)


def doubles(names: tuple[str, ...], numbers: Any) -> dict[str, Any]:
    columns = np.asarray(numbers, dtype=float).T
    return {
        n: (double, np.ascontiguousarray(c))
        for n, c in zip(names, columns, strict=True)
    }


def test_spherical_coordinates_are_turned_into_cartesian(tmp_path):
    from pye57.utils import convert_spherical_to_cartesian

    # E57 coordinate systems, libe57.org: azimuth from +x counterclockwise about +z,
    # elevation up from the xy plane.  The library's own conversion is a second opinion.
    rae = [
        [2.0, 0.0, 0.0],
        [2.0, np.pi / 2, 0.0],
        [1.0, 0.3, np.pi / 2],
        [2.0, np.pi, np.pi / 6],
    ]
    file = new(tmp_path / "wall.e57")
    add_scan(file, doubles(SPHERICAL, rae))
    file.close()
    expected = [[2, 0, 0], [0, 2, 0], [0, 0, 1], [-np.sqrt(3.0), 0, 1]]
    found = read_file(tmp_path / "wall.e57")
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)
    assert not np.allclose(found, np.array(expected) * [1, -1, 1], atol=1e-3)
    theirs = convert_spherical_to_cartesian(np.array(rae))
    np.testing.assert_allclose(found, theirs, rtol=0, atol=1e-12)


def test_scaled_whole_numbers_come_in_metres(tmp_path):
    numbers = np.array([1.5, 2.251, -3.0])
    file = new(tmp_path / "wall.e57")
    add_scan(file, dict.fromkeys(CARTESIAN, (scaled, numbers)))
    file.close()
    found = read_file(tmp_path / "wall.e57")
    np.testing.assert_allclose(found, np.stack([numbers] * 3, axis=1), atol=1e-12)


@pytest.mark.parametrize("names", [CARTESIAN, SPHERICAL])
def test_points_without_a_place_are_left_out(tmp_path, names):
    numbers = np.array([[1.0, 0.1, 0.1]] * 6)
    numbers[1, 0], numbers[2, 2] = np.nan, np.inf
    invalid = f"{names[0][:9]}InvalidState"
    fields = doubles(names, numbers)
    fields[invalid] = (state, np.array([0, 0, 0, 1, 2, 0], np.int8))
    file = new(tmp_path / "wall.e57")
    add_scan(file, fields)
    file.close()
    source = open_cloud(tmp_path / "wall.e57")
    assert source.count == 6
    found = read(source, 2)
    assert found.shape == (2, 3)
    assert np.isfinite(found).all()


def quaternion(axis: list[float], angle: float) -> dict[str, float]:
    x, y, z = np.sin(angle / 2) * np.array(axis) / np.linalg.norm(axis)
    return {"w": float(np.cos(angle / 2)), "x": float(x), "y": float(y), "z": float(z)}


def test_a_scan_is_put_into_the_files_frame_by_its_pose(tmp_path):
    # Rodrigues' formula, as scipy has it, is the second opinion.
    from scipy.spatial.transform import Rotation

    axis, angle = [1.0, -2.0, 0.5], 0.7
    points = some_points(50)
    file = new(tmp_path / "wall.e57")
    pose = {
        "rotation": quaternion(axis, angle),
        "translation": {"x": 4.0, "y": -5.0, "z": 6.0},
    }
    add_scan(file, doubles(CARTESIAN, points), pose)
    file.close()
    turn = Rotation.from_rotvec(angle * np.array(axis) / np.linalg.norm(axis))
    expected = turn.apply(points) + np.array([4.0, -5.0, 6.0])
    source = open_cloud(tmp_path / "wall.e57")
    np.testing.assert_allclose(read(source), expected, rtol=0, atol=1e-12)
    wrong = turn.inv().apply(points) + np.array([4.0, -5.0, 6.0])
    assert not np.allclose(read(source), wrong, atol=0.1)
    assert source.station == (4.0, -5.0, 6.0)


def test_the_parts_of_a_pose_are_known_by_name(tmp_path):
    turn = quaternion([0.0, 0.0, 1.0], np.pi / 2)
    shuffled = {axis: turn[axis] for axis in "zyxw"}
    file = new(tmp_path / "wall.e57")
    add_scan(file, doubles(CARTESIAN, [[1.0, 0.0, 0.0]]), {"rotation": shuffled})
    file.close()
    source = open_cloud(tmp_path / "wall.e57")
    np.testing.assert_allclose(read(source), [[0.0, 1.0, 0.0]], atol=1e-12)
    assert source.station is None


def test_the_station_is_told_of_a_single_scan_with_a_pose(tmp_path):
    file = new(tmp_path / "one.e57")
    write_scan(file, some_points(9), translation=np.array([1.0, 2.0, 3.0]))
    file.close()
    assert open_cloud(tmp_path / "one.e57").station == (1.0, 2.0, 3.0)
    file = new(tmp_path / "bare.e57")
    add_scan(file, doubles(CARTESIAN, some_points(9)))
    file.close()
    assert open_cloud(tmp_path / "bare.e57").station is None
    e57(tmp_path / "two.e57", some_points(9))
    assert open_cloud(tmp_path / "two.e57").station is None


def test_pieces_are_whole_scans(tmp_path):
    file = new(tmp_path / "wall.e57")
    for count in (40, 30, 200, 10, 20):
        write_scan(file, some_points(count))
    file.close()
    source = open_cloud(tmp_path / "wall.e57")
    lengths = [len(read(source, 64, piece)) for piece in source.pieces(100)]
    assert lengths == [70, 200, 30]


def test_a_turn_that_is_none_is_refused(tmp_path):
    file = new(tmp_path / "wall.e57")
    spoiled = {"w": 1.0, "x": 1.0, "y": 0.0, "z": 0.0}
    add_scan(file, doubles(CARTESIAN, some_points(5)), {"rotation": spoiled})
    file.close()
    with pytest.raises(InputError, match="no turn and shift") as fault:
        open_cloud(tmp_path / "wall.e57")
    assert fault.value.place == "scan 1"


def test_a_scan_without_coordinates_is_refused(tmp_path):
    file = new(tmp_path / "wall.e57")
    write_scan(file, some_points(5))
    add_scan(file, doubles(("cartesianX", "cartesianY"), [[1.0, 2.0]]))
    file.close()
    with pytest.raises(InputError, match="neither cartesian nor spherical") as fault:
        open_cloud(tmp_path / "wall.e57")
    assert fault.value.place == "scan 2"


def test_a_file_without_scans_is_refused(tmp_path):
    new(tmp_path / "wall.e57").close()
    with pytest.raises(InputError, match="holds no points"):
        open_cloud(tmp_path / "wall.e57")


def test_without_the_library_the_extra_is_named(tmp_path, monkeypatch):
    e57(tmp_path / "wall.e57", some_points(9))
    monkeypatch.setitem(sys.modules, "pye57", None)
    with pytest.raises(MissingExtra, match=r"daubline\[e57\]"):
        open_cloud(tmp_path / "wall.e57")


# --- shells that lie; pages of 1024 bytes, the last four their CRC-32C ----------------

PAGE, CHECKED = 1024, 1020


def crc32c(content: bytes) -> int:
    """CRC-32C bit by bit (Castagnoli polynomial; RFC 3720, B.4)."""
    crc = 0xFFFFFFFF
    for byte in content:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def test_the_checksum_is_the_standard_one():
    assert crc32c(b"123456789") == 0xE3069283  # the check value of CRC-32C
    assert crc32c(bytes(32)) == 0x8A9136AA  # RFC 3720, B.4


def with_xml(whole: bytes, old: bytes, new: bytes) -> bytes:
    """The same file with its XML changed, lengths and checksums made good."""
    plain = b"".join(whole[i : i + CHECKED] for i in range(0, len(whole), PAGE))
    xml, long = struct.unpack_from("<QQ", plain, 24)
    start = xml // PAGE * CHECKED + xml % PAGE
    text = plain[start : start + long]
    assert old in text
    changed = text.replace(old, new, 1)
    plain = plain[:start] + changed
    plain += bytes(-len(plain) % CHECKED)
    head = bytearray(plain)
    struct.pack_into("<Q", head, 16, len(plain) // CHECKED * PAGE)
    struct.pack_into("<Q", head, 32, len(changed))
    pages = (bytes(head[i : i + CHECKED]) for i in range(0, len(head), CHECKED))
    return b"".join(page + struct.pack(">I", crc32c(page)) for page in pages)


@pytest.fixture
def whole(tmp_path) -> bytes:
    file = new(tmp_path / "whole.e57")
    write_scan(file, some_points(70))
    file.close()
    return (tmp_path / "whole.e57").read_bytes()


@pytest.mark.parametrize("count", [71, 10**6, 10**15])
def test_a_scan_that_promises_more_points_is_refused_where_it_ends(cloud, whole, count):
    more = with_xml(whole, b'recordCount="70"', f'recordCount="{count}"'.encode())
    source = open_cloud(cloud(more, "wall.e57"))
    with pytest.raises(InputError, match="the scan ends here") as fault:
        read(source)
    assert fault.value.place == "scan 1, record 70"


def test_a_negative_count_is_refused(cloud, whole):
    less = with_xml(whole, b'recordCount="70"', b'recordCount="-7"')
    with pytest.raises(InputError, match="claims -7 points"):
        open_cloud(cloud(less, "wall.e57"))


def test_entities_that_unfold_without_end_are_refused(cloud, whole):
    bomb = b'<!DOCTYPE e57Root [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]>\n<e57Root '
    path = cloud(with_xml(whole, b"<e57Root ", bomb), "wall.e57")
    with pytest.raises(InputError, match="declares more than an E57 file may"):
        open_cloud(path)
    same = with_xml(whole, b"<e57Root ", b"<e57Root  ")
    assert len(read_file(cloud(same, "wall.e57"))) == 70


@pytest.mark.parametrize("at", [8, 16, 24, 32, 40])
@pytest.mark.parametrize("value", [0, 7, 10**6, 2**31, 2**62])
def test_a_header_that_lies_is_refused(cloud, whole, at, value):
    lying = bytearray(whole)
    lying[at : at + 8] = struct.pack("<Q", value)
    with pytest.raises(InputError) as fault:
        read_file(cloud(bytes(lying), "wall.e57"))
    assert fault.value.place


def test_every_changed_byte_is_noticed(cloud, whole):
    for at in range(0, len(whole), 97):
        spoiled = bytearray(whole)
        spoiled[at] ^= 0x10
        with pytest.raises(InputError):
            read_file(cloud(bytes(spoiled), "wall.e57"))
