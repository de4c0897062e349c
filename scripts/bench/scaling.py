"""Points and surveys a second over threads, processes and workers of one machine.

``python scripts/bench/scaling.py`` prints both curves for as many workers as the
machine has: points of one NPY file of a scanned wall counted into 425 x 360 cells by
this process with more and more threads, by plain processes and by workers of a Dask
cluster, each with how many bytes of tallies came back; and the surveys of the
demo's log put into a record.  Times are of the counting alone: processes and workers
have been started and have counted once before.  ``--points N`` (2e7), ``--quick``
(no record), ``--workers K ...`` (1, 2, 4 and so on).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from cloud_files import write
from cloud_large import open_hdf5 as open_scan
from cloud_wall import Wall, make_wall

from geom.parallel import ProcessMap, processors
from geom.readings.cloud import Cloud
from geom.surface import make_grid
from geom.surface.clouds.binning import bin_chunk, bin_cloud, chunks_of, dask_binner
from geom.surface.clouds.histogram import BinLayout, Histogram, SparseHistogram

ROOT = Path(__file__).resolve().parents[2]
ROWS, COLUMNS = 425, 360


def powers(most: int) -> list[int]:
    """1, 2, 4 and so on, and the most."""
    return sorted({*(2**k for k in range(most.bit_length()) if 2**k <= most), most})


def scanned_wall(points: int, folder: Path) -> tuple[Wall, Cloud, BinLayout]:
    """A scan of a tall furnace, its file as a survey opens it, and its cells."""
    wall = make_wall(3)
    path = folder / "wall.npy"
    write(path, wall.runs(points), points)
    tall = (wall.high - wall.low) / ROWS
    surveyed = wall.low, wall.high
    grid = make_grid(wall.design, surveyed=surveyed, spacing=tall, columns=COLUMNS)
    return wall, open_scan(path, wall), BinLayout.of(wall.design, grid)


def seconds(count: Callable[[Histogram], int], layout: BinLayout, points: int) -> Any:
    """Seconds to count every point, the second time, and bytes handed over."""
    for _ in range(2):
        histogram = Histogram(layout)
        begun = time.perf_counter()
        sent = count(histogram)
        took = time.perf_counter() - begun
        assert histogram.total == points
    return took, sent


def by_threads(count: int, cloud: Cloud, wall: Wall) -> Callable[[Histogram], int]:
    """One process with so many threads."""

    def way(histogram: Histogram) -> int:
        import numba

        before = numba.get_num_threads()
        numba.set_num_threads(min(count, before))
        try:
            bin_cloud(cloud, wall.pose, histogram)
        finally:
            numba.set_num_threads(before)
        return 0

    return way


def added(parts: Iterable[SparseHistogram], histogram: Histogram) -> int:
    """Add tallies up; bytes that came."""
    sent = 0
    for part in parts:
        histogram.add_sparse(part)
        sent += part.code.nbytes
    return sent


def points_curve(points: int, counts: list[int]) -> None:
    """Print points a second over threads, processes and workers."""
    with tempfile.TemporaryDirectory() as folder:
        wall, cloud, layout = scanned_wall(points, Path(folder))
        print(f"{points:,} points of an NPY file into {layout.rows} x {COLUMNS} cells")
        print("workers   threads M/s   processes M/s      MB   Dask M/s")
        for count in counts:
            threads, _ = seconds(by_threads(count, cloud, wall), layout, points)
            apart, sent = seconds(by_processes(count, cloud, wall), layout, points)
            with cluster_of(count) as address, dask_binner(address) as binner:

                def by_workers(histogram: Histogram, binner: Any = binner) -> int:
                    binner(cloud, wall.pose, histogram)
                    return 0

                spread, _ = seconds(by_workers, layout, points)
            print(
                f"{count:7d} {points / threads / 1e6:13.0f} "
                f"{points / apart / 1e6:15.0f} {sent / 1e6:7.1f} "
                f"{points / spread / 1e6:10.0f}"
            )


def by_processes(count: int, cloud: Cloud, wall: Wall) -> Callable[[Histogram], int]:
    """Plain processes, one task each; they are started and load within the time."""

    def way(histogram: Histogram) -> int:
        share = -(-(cloud.source.count or 0) // count)
        chunks = chunks_of(cloud, wall.pose, histogram.layout, most=share)
        return added(ProcessMap(count).map(bin_chunk, chunks), histogram)

    return way


class cluster_of:
    """A Dask cluster of so many processes of this machine, while it is open."""

    def __init__(self, count: int) -> None:
        self._count = count

    def __enter__(self) -> str:
        import distributed

        self._cluster = distributed.LocalCluster(
            n_workers=self._count,
            threads_per_worker=1,
            memory_limit=0,
            dashboard_address=None,
            silence_logs="CRITICAL",
        )
        return str(self._cluster.scheduler_address)

    def __exit__(self, *_: object) -> None:
        self._cluster.close()


def surveys_curve(counts: list[int]) -> None:
    """Print surveys a second of ``record log`` over processors."""
    log = ROOT / "scans" / "cupola-2-campaign.csv"
    many = sum(1 for _ in surveys_of(log))
    daubline = sys.executable, "-c", "from geom.cli import main; main()"
    print(f"\n{many} surveys of a log into a record\nprocessors   surveys/s   seconds")
    for count in counts:
        with tempfile.TemporaryDirectory() as folder:
            words = [*daubline, "record", "log", f"{folder}/record", log, "--design"]
            words += [ROOT / "scans" / "cupola-2.toml", "--quiet"]
            begun = time.perf_counter()
            subprocess.run(
                [str(word) for word in words],
                check=True,
                preexec_fn=lambda count=count: os.sched_setaffinity(0, first(count)),
            )
            took = time.perf_counter() - begun
        print(f"{count:10d} {many / took:11.2f} {took:9.1f}")


def first(count: int) -> set[int]:
    """So many of the processors that this process may use."""
    return set(sorted(os.sched_getaffinity(0))[:count])


def surveys_of(log: Path) -> Iterator[str]:
    """Rows of a log that name a sheet."""
    for row in log.read_text("utf-8").splitlines():
        if row and not row.startswith("#") and ".csv" in row:
            yield row


def main(words: list[str] | None = None) -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--points", type=float, default=2e7)
    all_of_them = powers(processors())
    parser.add_argument("--workers", type=int, nargs="+", default=all_of_them)
    parser.add_argument("--quick", action="store_true", help="points alone")
    options = parser.parse_args(words)
    np.seterr(all="raise", under="ignore")
    points_curve(int(options.points), options.workers)
    if not options.quick and hasattr(os, "sched_setaffinity"):
        surveys_curve(options.workers)
    return 0


if __name__ == "__main__":
    sys.exit(main())
