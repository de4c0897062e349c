"""Arrays of numpy: shapes, kinds of number, and headers that lie."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings.clouds import open_cloud
from tests.readings.clouds.writers import read, read_file, some_points


def saved(array: object) -> bytes:
    out = io.BytesIO()
    np.save(out, np.asarray(array))
    return out.getvalue()


def with_header(words: str, body: bytes = bytes(240), version: int = 1) -> bytes:
    """A file whose header holds any words."""
    header = words.encode() + b"\n"
    size = struct.pack("<H" if version == 1 else "<I", len(header))
    return b"\x93NUMPY" + bytes([version, 0]) + size + header + body


SOUND = "{'descr': '<f8', 'fortran_order': False, 'shape': (10, 3), }"


@pytest.mark.parametrize("version", [1, 2, 3])
def test_every_version_of_the_format_is_read(cloud, version):
    body = some_points(10).astype("<f8")
    path = cloud(with_header(SOUND, body.tobytes(), version), "wall.npy")
    np.testing.assert_array_equal(read_file(path), body)


@pytest.mark.parametrize(
    "kind", ["i1", "u1", "<i2", ">u2", "<i4", ">i4", "<u4", ">i8", "<u8", "<f2", ">f4"]
)
def test_every_kind_of_number_is_exact(cloud, kind):
    info = np.finfo(kind) if np.dtype(kind).kind == "f" else np.iinfo(kind)
    most = min(int(info.max), 2**53)
    array = np.array([[0, 1, most], [info.min if most < 2**53 else 0, 5, 100]], kind)
    np.testing.assert_array_equal(
        read_file(cloud(saved(array), "wall.npy")), array.astype(np.float64)
    )


@pytest.mark.parametrize("order", ["C", "F"])
def test_rows_and_columns_are_read_in_either_order(cloud, order):
    array = np.array(some_points(100), order=order)
    source = open_cloud(cloud(saved(array), "wall.npy"))
    np.testing.assert_array_equal(read(source, 33), array)


REFUSED = {
    "objects": (np.array([[1, 2, 3]], dtype=object), "Python objects"),
    "objects in fields": (np.zeros(3, [(a, "O") for a in "xyz"]), "objects"),
    "a row": (np.zeros(9), "not of points"),
    "a number": (np.float64(3.0), "not of points"),
    "two columns": (np.zeros((9, 2)), "not of points"),
    "a picture": (np.zeros((9, 3, 3)), "not of points"),
    "words": (np.array([["a", "b", "c"]]), "not of points"),
    "true and false": (np.zeros((3, 3), bool), "not of points"),
    "complex": (np.zeros((3, 3), complex), "not of points"),
    "dates": (np.zeros((3, 3), "M8[s]"), "not of points"),
    "fields without z": (np.zeros(3, [("x", "f4"), ("y", "f4")]), "not of points"),
    "fields in capitals": (np.zeros(3, [(a, "f4") for a in "XYZ"]), "not of points"),
    "fields of rows": (np.zeros(3, [(a, "f4", 2) for a in "xyz"]), "not of points"),
    "fields of words": (np.zeros(3, [(a, "S4") for a in "xyz"]), "not of points"),
    "fields in a plane": (np.zeros((3, 3), [(a, "f4") for a in "xyz"]), "not of"),
    "no rows": (np.zeros((0, 3)), "holds no points"),
    "no columns": (np.zeros((5, 0)), "holds no points"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_no_array_of_points_is_refused(cloud, case):
    array, message = REFUSED[case]
    path = cloud(saved(array), "wall.npy")
    with pytest.raises(InputError, match=message) as fault:
        open_cloud(path)
    assert fault.value.file == str(path)
    assert fault.value.cure


LYING = {
    "billions of points": SOUND.replace("10", str(10**12)),
    "points past all counts": SOUND.replace("10", "9" * 300),
    "a negative count": SOUND.replace("10", "-10"),
    "a count that is true": SOUND.replace("10", "True"),
    "a count with a point": SOUND.replace("10", "1e9"),
    "columns past all counts": SOUND.replace("3)", f"{10**12})"),
    "columns in memory order": SOUND.replace("False", "True").replace(
        "10", str(10**15)
    ),
    "no kind": SOUND.replace("'<f8'", "''"),
    "a huge kind": SOUND.replace("<f8", "V2000000000"),
    "huge fields": "{'descr': [('x','f4'),('y','f4'),('z','f4'),('n','V2000000000')],"
    " 'fortran_order': False, 'shape': (10,), }",
    "code": "__import__('os').getcwd()",
    "not a dictionary": "[1, 2, 3]",
    "keys missing": "{'descr': '<f8'}",
    "keys too many": SOUND.replace("'descr'", "'more': 1, 'descr'"),
    "unclosed": "{" * 5000,
    "deep": "(" * 4000 + ")" * 4000,
    "long": SOUND + " " * 20_000,
    "nothing": "",
}


@pytest.mark.parametrize("case", LYING)
def test_a_header_that_lies_is_refused(cloud, case):
    path = cloud(with_header(LYING[case]), "wall.npy")
    with pytest.raises(InputError) as fault:
        read_file(path)
    assert fault.value.file == str(path)
    assert fault.value.cure
    # The path's length is the caller's.
    assert len(str(fault.value).removeprefix(str(path))) < 450
    assert len(read_file(cloud(with_header(SOUND), "wall.npy"))) == 10


def test_an_unknown_version_is_refused(cloud):
    path = cloud(with_header(SOUND, version=9), "wall.npy")
    with pytest.raises(InputError, match="no array file"):
        open_cloud(path)
