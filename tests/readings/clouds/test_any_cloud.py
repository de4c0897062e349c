"""Whatever a file of points holds, it is read or refused in a sentence."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import InputError
from geom.readings.clouds import open_cloud
from tests.readings.clouds.writers import WAYS, some_points

COUNT = 60
QUIET = settings(max_examples=25, deadline=None, derandomize=True, database=None)
#: What is put over or into a file: whole numbers and floats at their ends, and text.
BITS = st.sampled_from(
    [b"\x00" * 4, b"\xff" * 4, b"\xff\xff\xff\x7f", b"\xff" * 8, b"\x00" * 8,
     b"\x00\x00\x00\x00\x00\x00\xf8\x7f", b"\x00\x00\x00\x00\x00\x00\xf0\x7f",
     b"\n", b"nan", b"9" * 320, b"-", b"e999", b",", b"\x80"]
)  # fmt: skip
#: Half of all places lie in the first part of a file, where headers are.
PLACES = st.one_of(st.floats(0.0, 1.0), st.floats(0.0, 0.08))
EDIT = st.tuples(st.sampled_from(("over", "into", "out", "end")), PLACES, BITS)


@cache
def sound(way: str) -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"wall{WAYS[way].ending}"
        WAYS[way].write(path, some_points(COUNT))
        return path.read_bytes()


def edited(content: bytes, edits: list[tuple[str, float, bytes]]) -> bytes:
    for how, place, bit in edits:
        at = int(place * len(content))
        after = {"over": at + len(bit), "into": at, "out": at + 9, "end": len(content)}
        new = bit if how in {"over", "into"} else b""
        content = content[:at] + new + content[after[how] :]
    return content


def counted(path: Path) -> tuple[int, InputError | None]:
    """How many points are read, each checked, and what is then refused."""
    points = 0
    try:
        for run in open_cloud(str(path)).chunks(25):
            assert len(run) <= 25
            points += len(run)
            for values in (run.x, run.y, run.z):
                assert values.shape == (len(run),)
                assert np.isfinite(values).all()
    except InputError as fault:
        return points, fault
    return points, None


@pytest.mark.parametrize("way", sorted(WAYS))
def test_a_spoiled_cloud_is_read_or_refused(way: str, tmp_path: Path) -> None:
    path = tmp_path / f"wall{WAYS[way].ending}"

    @given(edits=st.lists(EDIT, min_size=1, max_size=3))
    @QUIET
    def spoiled(edits: list[tuple[str, float, bytes]]) -> None:
        path.write_bytes(edited(sound(way), edits))
        points, fault = counted(path)
        # a row for each place in the file: no header may claim more
        assert points <= 8 * COUNT
        if fault is not None:
            assert fault.file == str(path)
            assert len(str(fault)) < 1000

    spoiled()


#: Words that a header may hold in place of a number.
ODD = (b"-1", b"-60", b"True", b"0", b"1e3", b"6.0", b"nan", b"9" * 25, b"'60'", b"()")


def with_header(content: bytes, header: bytes) -> bytes:
    """An array file with another header, as long as that one says it is."""
    body = content[10 + int.from_bytes(content[8:10], "little") :]
    return content[:8] + len(header).to_bytes(2, "little") + header + body


@pytest.mark.parametrize("way", sorted(w for w in WAYS if w.startswith(("npy", "ply"))))
def test_a_header_with_any_word_for_a_number(way: str, tmp_path: Path) -> None:
    path, content = tmp_path / f"wall{WAYS[way].ending}", sound(way)
    is_npy = way.startswith("npy")
    if is_npy:
        head = content[10 : 10 + int.from_bytes(content[8:10], "little")]
    else:
        head = content.partition(b"end_header")[0]
    for number in re.finditer(rb"\d+", head):
        for word in ODD:
            changed = head[: number.start()] + word + head[number.end() :]
            if is_npy:
                path.write_bytes(with_header(content, changed))
            else:
                path.write_bytes(changed + content[len(head) :])
            points, fault = counted(path)
            # a name of no bytes beside the coordinates may be passed over, no more
            assert fault is not None or (word == b"0" and points == COUNT), changed
            assert fault is None or fault.file == str(path)
            assert fault is None or (fault.cure and len(str(fault)) < 1000)
