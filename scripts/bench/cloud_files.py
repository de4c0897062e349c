"""Clouds written to files of each kind, and the barest way to read each.

The barest way is what a person who only wants the numbers in memory would do with a
general library: no check of any number, no sorting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import IO, Any

import numpy as np
from cloud_wall import RUN, Short

#: Millimetres in the unit of each kind of file; LAS in metres to 0.1 mm.
UNIT = {".las": 1000.0, ".laz": 1000.0, ".npy": 1.0, ".ply": 1.0, ".xyz": 1.0}
_LAS_STEP = 1e-4
_VERTEX = np.dtype([(axis, "<f4") for axis in "xyz"])


def write(path: Path, runs: Iterable[Short], count: int) -> None:
    """Write runs of points, mm, as the ending of the path says."""
    if path.suffix in {".las", ".laz"}:
        _write_las(path, runs)
        return
    with path.open("wb") as file:
        if path.suffix == ".npy":
            _npy_header(file, count)
        elif path.suffix == ".ply":
            file.write(_ply_header(count))
        for run in runs:
            if path.suffix == ".xyz":
                _write_rows(file, run)
            else:
                run.tofile(file)


def _write_las(path: Path, runs: Iterable[Short]) -> None:
    import laspy

    # The shortest records there are, so that reading them takes the least time.
    header = laspy.LasHeader(version="1.2", point_format=0)
    header.scales, header.offsets = np.full(3, _LAS_STEP), np.zeros(3)
    with laspy.open(path, mode="w", header=header) as file:
        for run in runs:
            points = laspy.ScaleAwarePointRecord.zeros(len(run), header=header)
            held = np.round(run / (_LAS_STEP * UNIT[".las"])).astype(np.int32)
            points.X, points.Y, points.Z = held.T
            file.write_points(points)


def _npy_header(file: IO[bytes], count: int) -> None:
    npy_header = {"descr": "<f4", "fortran_order": False, "shape": (count, 3)}
    np.lib.format.write_array_header_1_0(file, npy_header)


def _ply_header(count: int) -> bytes:
    axes = "".join(f"property float {axis}\n" for axis in "xyz")
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {count}\n{axes}"
    return f"{head}end_header\n".encode("ascii")


def _write_rows(file: IO[bytes], run: Short) -> None:
    import polars as pl

    frame = pl.DataFrame(run, schema=list("xyz"), orient="row")
    frame.write_csv(file, separator=" ", include_header=False, float_precision=2)


def bare_las(path: Path) -> int:
    """Read with laspy: X, Y and Z of each run, copied out of its records."""
    import laspy

    count = 0
    backend = laspy.LazBackend.LazrsParallel if path.suffix == ".laz" else None
    with laspy.open(path, laz_backend=backend) as file:
        for run in file.chunk_iterator(RUN):
            x, _, _ = (np.array(axis) for axis in (run.X, run.Y, run.Z))
            count += len(x)
    return count


def bare_npy(path: Path) -> int:
    """Read with np.load: mapped and copied, run by run, to the same place."""
    mapped = np.load(path, mmap_mode="r")
    kept = np.empty((RUN, 3), dtype=np.float32)
    for first in range(0, len(mapped), RUN):
        run = mapped[first : first + RUN]
        np.copyto(kept[: len(run)], run)
    return len(mapped)


def bare_ply(path: Path) -> int:
    """Read with np.fromfile, run by run, behind the header."""
    count = 0
    with path.open("rb") as file:
        while file.readline() != b"end_header\n":
            pass
        while len(run := np.fromfile(file, _VERTEX, RUN)):
            count += len(run)
    return count


def bare_xyz(path: Path) -> int:
    """Read with polars, on all processors."""
    import polars as pl

    frame = pl.read_csv(
        path, separator=" ", has_header=False, schema=dict.fromkeys("xyz", pl.Float32)
    )
    return frame.height


BARE: dict[str, tuple[str, Callable[[Path], Any]]] = {
    ".las": ("laspy", bare_las),
    ".laz": ("laspy, lazrs parallel", bare_las),
    ".npy": ("np.load, copied", bare_npy),
    ".ply": ("np.fromfile", bare_ply),
    ".xyz": ("polars.read_csv", bare_xyz),
}
