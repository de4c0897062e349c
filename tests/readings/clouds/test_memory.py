"""Memory does not grow with the cloud: it is never held whole."""

from __future__ import annotations

import subprocess
import sys

import numpy as np

#: Reads a small file, then a large one, and prints how far the second raised the most
#: memory ever in use, MiB.
MEASURE = """
import resource, sys
from pathlib import Path
from geom.readings.clouds import open_cloud

def most():
    # Linux counts what the parent had into ru_maxrss.
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = (s for s in status.read_text().splitlines() if s.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

def read(path):
    if sys.argv[3] == "whole":
        runs = list(open_cloud(path).chunks(500_000))
    else:
        runs = open_cloud(path).chunks(500_000)
    return sum(len(run) for run in runs)

small = read(sys.argv[1])
before = most()
large = read(sys.argv[2])
print(small, large, most() - before)
"""


def growth(small, large, how: str = "run by run") -> tuple[int, int, float]:
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(small), str(large), how],
        capture_output=True,
        text=True,
        check=True,
    )
    counts = done.stdout.split()
    return int(counts[0]), int(counts[1]), float(counts[2])


def sparse_npy(path, count: int) -> None:
    """An array of zeros that takes no room on the disk."""
    with path.open("wb") as file:
        header = {"descr": "<f4", "fortran_order": False, "shape": (count, 3)}
        np.lib.format.write_array_header_1_0(file, header)
        file.truncate(file.tell() + 12 * count)


def test_twenty_million_points_take_no_more_memory_than_two(tmp_path):
    sparse_npy(tmp_path / "small.npy", 2_000_000)
    sparse_npy(tmp_path / "large.npy", 20_000_000)
    small, large, grown = growth(tmp_path / "small.npy", tmp_path / "large.npy")
    assert (small, large) == (2_000_000, 20_000_000)
    assert grown < 24.0
    # Spoiled: the runs kept are the whole file, 229 MiB, and the measure sees it.
    *_, kept = growth(tmp_path / "small.npy", tmp_path / "large.npy", "whole")
    assert kept > 150.0


def test_a_long_text_takes_little_more_memory_than_a_short_one(tmp_path):
    row = b"-0.12345 0.54321 1.98765\n"
    for name, count in (("small", 1_000_000), ("large", 4_000_000)):
        with (tmp_path / f"{name}.xyz").open("wb") as file:
            for _ in range(count // 100_000):
                file.write(row * 100_000)
    small, large, grown = growth(tmp_path / "small.xyz", tmp_path / "large.xyz")
    assert (small, large) == (1_000_000, 4_000_000)
    assert grown < 25.0
    # Spoiled: three columns of doubles, kept, take 69 MiB more.
    *_, kept = growth(tmp_path / "small.xyz", tmp_path / "large.xyz", "whole")
    assert kept > 50.0
