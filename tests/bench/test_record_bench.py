"""The record bench: its records are records, and its ways agree."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from long_records import bytes_of, make_record
from record_memory import family, watched
from record_ways import WAYS

from geom.record.store.store import check_record, open_record
from geom.record.wear.series import find_spells

SURVEYS = 9


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    return make_record(tmp_path_factory.mktemp("bench") / "record", SURVEYS)


def test_a_record_made_quickly_is_a_sound_record(record):
    assert check_record(record.folder) == ()
    assert len(open_record(record.folder).occasions) == SURVEYS
    spells, gaps = find_spells(record.occasions)
    assert len(spells) == SURVEYS // 2
    assert gaps == ()
    wall = record.wall(record.occasions[-1])
    assert wall.cutback.shape == (300, 360)
    assert 0.3e6 < bytes_of(record) / SURVEYS < 3e6


def test_it_wears_where_it_is_meant_to(record):
    """Most at a height of 1000 mm and an azimuth of 75 degrees, 0.7 x 1.4 of 12 to 18.

    What a reconstructed wall strays besides is 1.5 mm; heats scatter by a fifth.
    """
    rate, _, _ = WAYS["h5py and numpy by hand"](record)
    wall = record.wall(record.occasions[0])
    row, column = np.unravel_index(np.nanargmax(rate), rate.shape)
    assert abs(wall.height[row] - 1000.0) < 300.0
    assert abs(wall.azimuth[column] - 75.0) < 60.0
    assert 0.98 * 12.0 * 0.6 < np.nanmax(rate) < 0.98 * 18.0 * 1.4 + 3.0


def test_all_ways_find_the_same_wear_and_trend(record):
    ours = WAYS["daubline, one process"](record)
    for name in ("h5py and numpy by hand", "xarray and dask, threads"):
        rate, _, trend = WAYS[name](record)
        np.testing.assert_allclose(rate, ours[0], rtol=1e-9)
        np.testing.assert_allclose(trend, ours[2], rtol=1e-6, atol=1e-12)


def test_memory_is_that_of_all_processes_together():
    """A child of the child that holds 190.7 MB (of 2^20 bytes) counts."""
    inner = "x = bytearray(200_000_000); import time; time.sleep(1.0)"
    outer = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {inner!r}])"
    done = watched([sys.executable, "-c", outer])
    assert done.code == 0
    assert 190.7 < done.megabytes < 300.0
    assert done.seconds > 1.0


def test_a_family_is_a_process_and_its_children():
    with subprocess.Popen(
        [sys.executable, "-c", "input()"], stdin=subprocess.PIPE
    ) as child:
        assert {os.getpid(), child.pid} <= set(family(os.getpid()))
        assert family(child.pid) == [child.pid]
        child.communicate(b"\n")
