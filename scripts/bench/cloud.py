"""How fast points become cells of the wall, beside general libraries, in one run.

``python scripts/bench/cloud.py`` puts the same points in memory through daubline and
through numpy, polars, pandas and scipy, all asked for the median cut-back in each cell
and the signed volume, with the pose given (`cloud_peers`); asks trimesh, VTK and Open3D
for signed distances (`cloud_mesh`); and tells the memory's own speed.  ``--files`` adds
files beside the bare time to read them, ``--survey`` the whole command, ``--growth``
time and memory at up to 3e8 points; ``--all`` all of it.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import PackageNotFoundError, version
from tempfile import TemporaryDirectory

import numpy as np
from cloud_distance import PEERS as MESHES
from cloud_large import GROWTH, IN_FILE, STREAMED, files, growth, stream, survey
from cloud_mesh import distances
from cloud_peers import PEERS, Question, Route, counted, daubline, own_cells
from cloud_timing import TooLong, best, formatted, in_child, many, show, stopped_after
from cloud_wall import DUST_IS_ONE_IN, NOISE, Columns, make_wall

import geom
from geom.surface.clouds.cells import wall_cells
from geom.units import Float

LIBRARIES = (
    "numpy", "numba", "polars", "pandas", "scipy", "laspy", "lazrs", "trimesh", "vtk",
)  # fmt: skip
#: Seconds after which a peer is stopped, and for which distances are asked.
TOO_LONG, DISTANCE = 60.0, 20.0
#: Bytes of a point as three float32; numbers copied to tell the memory's speed.
_POINT, _COPIED = 12, 1 << 26


def first_calls() -> None:
    """Seconds to load what counts, and of the first call of it."""
    question = Question.of(make_wall())
    held = question.wall.columns(10_000)
    start = time.perf_counter()
    import geom.surface.clouds.kernels  # noqa: F401 - its loading is what is timed

    middle = time.perf_counter()
    wall_cells(counted(question, *held), question.grid)
    print(middle - start, time.perf_counter() - middle)


def show_first_calls() -> None:
    """What compiling costs, once a machine, and loading what was compiled."""
    rows = []
    with TemporaryDirectory() as folder:
        env = os.environ | {"NUMBA_CACHE_DIR": folder}
        for report in ("compiled code not cached", "cached"):
            done = in_child([sys.executable, __file__, "--one", "first"], env)
            if done.code:
                raise RuntimeError(done.err)
            loading, call = map(float, done.out.split())
            rows.append([report, formatted(loading), formatted(call)])
    heads = ("first call", "loading numba s", "first call, 1e4 points, s")
    show("The first call of a process", heads, rows)


def show_routes(question: Question, count: int, *, in_order: bool) -> float:
    """One table of all routes; the points that counting takes in a second."""
    held = question.wall.columns(count, in_order=in_order)
    rows: list[tuple[str, float, Float | None]] = []
    _, alone = best(lambda: counted(question, *held))
    rows.append(("daubline, counting alone", alone, None))
    value, seconds = best(lambda: _with_volume(question, daubline, held))
    rows.append(("daubline, the same question", seconds, value))
    ours = ("daubline, its own cells", *_own_cells(question, held))
    rows += [ours, ("the same on one thread", *_own_cells(question, held, threads=1))]
    missing = []
    for name, route in PEERS.items():
        try:
            with stopped_after(TOO_LONG):
                value, seconds = best(
                    lambda route=route: _with_volume(question, route, held)
                )
        except ImportError:
            missing.append(f"{name}: not installed")
        except TooLong:
            missing.append(f"{name}: stopped after {TOO_LONG:.0f} s")
        else:
            rows.append((name, seconds, value))
    fastest = min(seconds for name, seconds, _ in rows if name in PEERS)
    show(
        f"{many(count)} points in memory to {question.grid.wall.size} cells",
        ("route", "s", "million points/s", "time / fastest general route",
         "cells told", "rms off the truth mm", "volume off %"),
        [[name, formatted(seconds), formatted(count / seconds / 1e6),
          formatted(seconds / fastest, ".3f"), *_how_good(question, value)]
         for name, seconds, value in rows],
    )  # fmt: skip
    for line in missing:
        print(f"\n{line}")
    return count / alone


def _with_volume(question: Question, route: Route, held: Columns) -> Float:
    value = route(question, *held)
    question.volume(value)
    return value


def _own_cells(
    question: Question, held: Columns, threads: int | None = None
) -> tuple[float, Float]:
    import numba

    usual = numba.get_num_threads()
    numba.set_num_threads(threads or usual)
    cutback, seconds = best(lambda: _with_volume(question, own_cells, held))
    numba.set_num_threads(usual)
    return seconds, cutback


def _how_good(question: Question, value: Float | None) -> list[str]:
    """Cells told; their error; and that of the volume of these very cells."""
    if value is None:
        return ["", "", ""]
    true = np.where(np.isfinite(value), question.truth(), np.nan)
    rms = float(np.sqrt(np.nanmean((value - true) ** 2)))
    off = question.volume(value) / question.volume(true) - 1.0
    cells = int(np.isfinite(value).sum())
    return [f"{cells}", formatted(rms, ".2f"), formatted(100.0 * off, "+.2f")]


def show_distances(question: Question, ours: float, python: str | None) -> None:
    """Signed distances from a mesh: points a second, on some of the points."""
    rows = []
    for name in MESHES:
        found = distances(question.wall, name, DISTANCE, python)
        if found.failure:
            rows.append([name, found.failure, "", "", "", ""])
            continue
        rate = found.points / found.seconds
        gap = formatted(found.gap, ".3f")
        rows.append(
            [name, many(found.points), formatted(found.seconds), formatted(rate / 1e6),
             formatted(rate / ours, ".4f"), gap]
        )  # fmt: skip
    show(
        "Signed distance from the mesh of the drawing: no cells and no medians, which "
        "favours it",
        ("route", "points", "s", "million points/s", "points/s / daubline's counting",
         "median off cut-back mm"),
        rows,
    )  # fmt: skip


def show_memory(ours: float) -> None:
    """How fast this machine copies memory, and what that would be in points."""
    there = np.ones(_COPIED, dtype=np.float64)
    to = np.zeros_like(there)
    rows = []
    for threads in sorted({1, os.cpu_count() or 1}):
        cut = (np.array_split(whole, threads) for whole in (to, there))
        parts = list(zip(*cut, strict=True))
        with ThreadPoolExecutor(threads) as pool:
            _, seconds = best(
                lambda pool=pool, parts=parts: list(
                    pool.map(lambda pair: np.copyto(*pair), parts)
                )
            )
        rate = there.nbytes / seconds
        rows.append(
            [f"{threads}", formatted(rate / 1e9), formatted(rate / _POINT / 1e6, ".0f"),
             formatted(ours * _POINT / rate, ".3f")]
        )  # fmt: skip
    show(
        "Memory: numpy's copy of a large array (each byte read once, written once)",
        ("threads", "GB/s copied", "million points/s of 12 bytes",
         "daubline's counting / copying"),
        rows,
    )  # fmt: skip


def _versions() -> str:
    report = [f"Python {platform.python_version()}", f"daubline {geom.__version__}"]
    for name in LIBRARIES:
        try:
            report.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            report.append(f"{name} not installed")
    return ", ".join(report)


def _counts(text: str) -> tuple[int, ...]:
    try:
        found = tuple(round(float(part)) for part in text.split(","))
    except ValueError:
        found = (0,)
    if min(found) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not like 1e6,1e7")
    return found


def _options(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    add = parser.add_argument
    add("--points", type=_counts, help="how many, e.g. 1e6,1e7: of everything")
    add("--files", action="store_true", help="files beside the bare time to read them")
    add("--survey", action="store_true", help="the whole command on a LAS file")
    add("--growth", action="store_true", help="time and memory at up to 3e8 points")
    add("--all", action="store_true", help="all of it")
    add("--in-order", action="store_true", help="points as a head that turns writes")
    add("--seed", type=int, default=7)
    add("--open3d-python", metavar="PATH", help="a Python that has Open3D (and rtree)")
    add("--one", choices=("first", "stream"), help=argparse.SUPPRESS)
    return parser.parse_args(words)


def main(words: Sequence[str] | None = None) -> None:
    """Run what is asked for, and print tables as they come."""
    report = _options(words)
    if report.one == "first":
        first_calls()
        return
    question = Question.of(make_wall(report.seed))
    if report.one == "stream":
        stream(question, report.points[0])
        return
    start = time.perf_counter()
    print(f"{os.cpu_count()} processors; {_versions()}")
    rows, columns = question.grid.shape
    print(
        f"Cells {rows} x {columns}; noise {NOISE} mm, one point in {DUST_IS_ONE_IN} "
        f"dust; points {'in order' if report.in_order else 'in any order'}; "
        f"seed {report.seed}; best of up to 3"
    )
    sizes, streamed = report.points or GROWTH, STREAMED
    if report.points:
        streamed = (max(sizes), 3 * max(sizes))
    extra: dict[str, Callable[[], None]] = {
        "files": lambda: files(question, max(report.points or (IN_FILE,))),
        "survey": lambda: survey(question.wall, max(report.points or (IN_FILE,))),
        "growth": lambda: growth(question, sizes, streamed),
    }
    wanted = [name for name in extra if report.all or getattr(report, name)]
    if report.all or not wanted:
        show_first_calls()
        wall_cells(
            counted(question, *question.wall.columns(1000)), question.grid
        )  # compiles
        rates = [
            show_routes(question, count, in_order=report.in_order)
            for count in report.points or (1_000_000, 10_000_000)
        ]
        show_memory(rates[-1])
        show_distances(question, rates[-1], report.open3d_python)
    for name in wanted:
        extra[name]()
    print(f"\n{time.perf_counter() - start:.0f} s in all")


if __name__ == "__main__":
    main()
