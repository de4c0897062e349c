"""Whatever a file of points holds, it is read or refused in a sentence."""

from __future__ import annotations

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
