"""PLY: what else a file may hold, and headers that lie."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings.clouds import open_cloud
from tests.readings.clouds.writers import read, read_file, some_points

HEADER = (
    "ply\nformat {form} 1.0\nelement vertex {count}\nproperty float x\n"
    "property float y\nproperty float z\nend_header\n"
)
BODY = "1 2 3\n4 5 6\n7 8 9.5\n"
ROWS = [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [7.0, 8.0, 9.5]]


def text(old: str = "", new: str = "", *, count: object = 3, body: str = BODY) -> str:
    """An ASCII file with part of its header exchanged."""
    header = HEADER.format(form="ascii", count=count)
    assert old in header
    return header.replace(old, new) + body


@pytest.mark.parametrize("encoding", ["binary", "ascii"])
def test_a_mesh_of_another_library_is_read_without_its_faces(tmp_path, encoding):
    import trimesh

    shape = trimesh.creation.icosphere(subdivisions=2, radius=0.45)
    content: Any = shape.export(file_type="ply", encoding=encoding, vertex_normal=True)
    (tmp_path / "ball.ply").write_bytes(content)
    found = read_file(tmp_path / "ball.ply")
    assert found.shape == shape.vertices.shape == (162, 3)
    np.testing.assert_allclose(found, shape.vertices, atol=1e-7)
    assert not np.allclose(found, shape.vertices[::-1], atol=1e-7)


def test_points_of_another_library_with_colours_are_read(tmp_path):
    import trimesh

    points = some_points(100)
    colours = np.full((100, 4), 128, np.uint8)
    content: Any = trimesh.PointCloud(points, colours).export(file_type="ply")
    (tmp_path / "wall.ply").write_bytes(content)
    np.testing.assert_allclose(read_file(tmp_path / "wall.ply"), points, atol=1e-7)


GOOD = {
    "as it is": text(),
    "no last newline": text(body=BODY.rstrip()),
    "carriage returns": text().replace("\n", "\r\n"),
    "comments": text("end_header", "comment a\xe9 b\nobj_info c\nend_header"),
    "doubles": text().replace("float", "float64"),
    "more numbers": text(
        "property float x",
        "property uchar r\nproperty float x",
        body="9 1 2 3\n9 4 5 6\n9 7 8 9.5\n",
    ),
    "other order": text(
        "property float x\nproperty float y\nproperty float z",
        "property float z\nproperty int n\nproperty float y\nproperty float x",
        body="3 0 2 1\n6 0 5 4\n9.5 0 8 7\n",
    ),
    "faces": text(
        "end_header",
        "element face 2\nproperty list uchar int vertex_indices\nend_header",
        body=BODY + "3 0 1 2\n3 2 1 0\n",
    ),
    "camera before": text(
        "element vertex",
        "element camera 1\nproperty float f\nelement vertex",
        body="50\n" + BODY,
    ),
    "several blanks": text(body=" 1  2 3\n4\t5 6\n7 8 9.5 \n"),
    "blank lines below": text(body=BODY + "\n \n"),
}  # fmt: skip


@pytest.mark.parametrize("case", GOOD)
def test_text_is_read_whatever_stands_around_the_vertices(cloud, case):
    path = cloud(GOOD[case].encode("latin-1"), "wall.ply")
    source = open_cloud(path)
    assert source.count == 3
    np.testing.assert_array_equal(read(source), ROWS)


def binary(
    order: str, before: bytes = b"", after: bytes = b"", words: str = ""
) -> bytes:
    form = {"<": "binary_little_endian", ">": "binary_big_endian"}[order]
    header = HEADER.format(form=form, count=3)
    early, _, late = words.partition("|")
    header = header.replace("element vertex", f"{early}element vertex")
    header = header.replace("end_header", f"{late}end_header")
    rows = b"".join(struct.pack(f"{order}3f", *row) for row in ROWS)
    return header.encode() + before + rows + after


@pytest.mark.parametrize("order", ["<", ">"])
def test_elements_around_binary_vertices_are_passed_over(cloud, order):
    words = (
        "element camera 2\nproperty double f\nproperty uchar n\n"
        "|element face 1\nproperty list uchar int vertex_indices\n"
    )
    before = struct.pack(f"{order}dBdB", 1.0, 2, 3.0, 4).ljust(18, b"\0")
    before = b"".join(struct.pack(f"{order}dB", f, n) for f, n in ((1.0, 2), (3.0, 4)))
    after = struct.pack(f"{order}B3i", 3, 0, 1, 2)
    path = cloud(binary(order, before, after, words), "wall.ply")
    np.testing.assert_array_equal(read_file(path), ROWS)


def test_a_body_that_begins_like_a_line_end_is_not_eaten(cloud):
    rows = struct.pack("<3f", *np.frombuffer(b"\n\n\n\n\r\n\r\n    ", "<f4").tolist())
    header = HEADER.format(form="binary_little_endian", count=1)
    found = read_file(cloud(header.encode() + rows, "wall.ply"))
    assert found.astype("<f4").tobytes() == rows


BAD = {
    "billions of points": (text(count=10**14), "the file ends here"),
    "more points than lines": (text(count=4, body=BODY + "4 5 6"[:2]), "ends here"),
    "fewer points than lines": (text(count=2), "more lines than the header promises"),
    "a negative count": (text(count=-3), "is not understood"),
    "a count with a point": (text(count="3.0"), "is not understood"),
    "a count past all counts": (text(count="9" * 400), "is not understood"),
    "no points": (text(count=0, body=""), "holds no points"),
    "no end": (text("end_header", "comment"), "has no end"),
    "an endless header": (text("end_header", "comment x\n" * 9999), "has no end"),
    "no format": (text("format ascii 1.0\n", ""), "does not say its format"),
    "an unknown format": (text("ascii", "packed"), "is not understood"),
    "a later version": (text("1.0", "2.0"), "is not understood"),
    "two formats": (text("format", "format ascii 1.0\nformat"), "is not understood"),
    "an unknown kind": (text("float y", "quad y"), "is not understood"),
    "an unknown word": (text("element", "elements"), "is not understood"),
    "no element": (text("element vertex 3\n", ""), "is not understood"),
    "a number twice": (text("float y", "float x"), "is not understood"),
    "vertices twice": (text("end_header", "element vertex 3\nend_header"), "not under"),
    "no z": (text("float z", "float w"), "one of the numbers x, y and z"),
    "no vertices": (text("vertex", "point"), "no element named vertex"),
    "lists in vertices": (text("float z", "list uchar int z"), "vertices hold lists"),
    "lists before vertices": (
        text("element v", "element f 1\nproperty list uchar int i\nelement v"),
        "before the vertices holds lists",
    ),
    "a word in a row": (text(body="1 2 3\n4 five 6\n7 8 9\n"), "is not three numbers"),
    "a blank line": (text(body="10 20 30\n\n70 80 90\n"), "is not three numbers"),
    "a comment in the body": (text(body="1 2 3\n# 5 6 7\n7 8 9\n"), "not three"),
    "not a PLY file": ("plywood", "does not begin with"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_a_header_or_body_that_lies_is_refused(cloud, case):
    content, message = BAD[case]
    path = cloud(content, "wall.ply")
    with pytest.raises(InputError, match=message) as fault:
        read_file(path)
    assert fault.value.file == str(path)
    assert fault.value.cure
    assert fault.value.place or "no points" in message


def test_the_line_of_a_bad_row_counts_the_header(cloud):
    with pytest.raises(InputError) as fault:
        read_file(cloud(text(body="1 2 3\n4 five 6\n7 8 9\n"), "wall.ply"))
    assert fault.value.place == "line 9"


@pytest.mark.parametrize("count", [4, 10**9, 10**15 - 1])
@pytest.mark.parametrize("form", ["binary_little_endian", "binary_big_endian"])
def test_a_short_body_is_refused_with_what_was_promised(cloud, form, count):
    header = HEADER.format(form=form, count=count).encode()
    path = cloud(header + bytes(36), "wall.ply")
    with pytest.raises(InputError) as fault:
        open_cloud(path)
    assert fault.value.place == f"byte {len(header) + 36}"
    assert f"promises {len(header) + 12 * count} bytes" in fault.value.what


def test_faces_that_are_promised_must_have_room(cloud):
    words = "|element face 50\nproperty list int int vertex_indices\n"
    with pytest.raises(InputError, match="the file ends here"):
        open_cloud(cloud(binary("<", after=bytes(199), words=words), "wall.ply"))
    assert (
        len(read_file(cloud(binary("<", after=bytes(200), words=words), "wall.ply")))
        == 3
    )


def test_a_vertex_of_thousands_of_numbers_is_read(cloud):
    more = "".join(f"property double p{n}\n" for n in range(2000))
    header = HEADER.format(form="binary_little_endian", count=2)
    header = header.replace("end_header", f"{more}end_header")
    rows = b"".join(struct.pack("<3f", *row) + bytes(16_000) for row in ROWS[:2])
    np.testing.assert_array_equal(
        read_file(cloud(header.encode() + rows, "wall.ply")), ROWS[:2]
    )
