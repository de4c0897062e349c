"""The cloud bench's files, whole surveys and growth up to hundreds of millions."""

from __future__ import annotations

import json
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir

import numpy as np
from cloud_files import BARE, UNIT, write
from cloud_peers import Question, counted
from cloud_timing import best, formatted, in_child, many, show
from cloud_wall import Wall, design_toml

from geom.readings.cloud import Cloud
from geom.readings.clouds import Points
from geom.readings.load import load_clouds
from geom.surface.clouds.binning import bin_cloud
from geom.surface.clouds.cells import wall_cells
from geom.surface.clouds.histogram import Histogram

#: Points in a file, and in a text.
IN_FILE, IN_TEXT = 10_000_000, 2_000_000
#: Points counted from memory and file, and streamed in a process of their own.
GROWTH, STREAMED = (1_000_000, 10_000_000, 100_000_000), (100_000_000, 300_000_000)
#: Bytes of disk that must be free before a large file is written.
_FREE = 10_000_000_000
_NAMES = {1.0: "mm", 1000.0: "m"}


def open_hdf5(path: Path, wall: Wall) -> Cloud:
    """A file that `write` wrote, as a survey opens it."""
    unit = UNIT[path.suffix]
    (cloud,) = load_clouds(
        [str(path)],
        unit=_NAMES[unit],
        azimuth_of_x=wall.pose.azimuth_of_x,
        z_offset=wall.pose.z_offset / unit,
        scanner=None,
    )
    return cloud


def counted_file(question: Question, path: Path) -> Histogram:
    """All points of a file, counted."""
    histogram = Histogram(question.layout)
    bin_cloud(open_hdf5(path, question.wall), question.wall.pose, histogram)
    return histogram


@dataclass(frozen=True)
class FileTimes:
    """Best seconds from a file, and what it is.

    Attributes
    ----------
    reader : str
        What reads it bare.
    bare, counting, to_cells : float
        To numbers in memory; to counted points; to cells.
    """

    count: int
    megabytes: float
    reader: str
    bare: float
    counting: float
    to_cells: float


def file_times(question: Question, ending: str, count: int) -> FileTimes:
    """From file to cells, and the bare time to read the file."""
    reader, read = BARE[ending]
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"scan{ending}"
        write(path, question.wall.runs(count), count)
        found, bare = best(lambda: read(path))
        histogram, alone = best(lambda: counted_file(question, path))
        _, ours = best(lambda: wall_cells(counted_file(question, path), question.grid))
        _refuse_other(count, found, histogram.total)
        size = path.stat().st_size / 1e6
    return FileTimes(count, size, reader, bare, alone, ours)


def files(question: Question, points: int) -> None:
    """From file to cells, beside the bare time to read the file."""
    rows = []
    for ending in BARE:
        count = min(points, IN_TEXT) if ending == ".xyz" else points
        t = file_times(question, ending, count)
        rows.append(
            [ending, many(count), formatted(t.megabytes, ".0f"), t.reader,
             formatted(t.bare), formatted(t.counting), formatted(t.to_cells),
             formatted(t.to_cells / t.bare, ".2f"),
             formatted(count / t.to_cells / 1e6)]
        )  # fmt: skip
    heads = (
        "file", "points", "MB", "read bare by", "bare s", "daubline, counting s",
        "to cells s", "to cells / bare", "million points/s",
    )  # fmt: skip
    show("From file to cells (files in the system's cache)", heads, rows)


def _refuse_other(count: int, *found: int) -> None:
    if any(n != count for n in found):
        raise RuntimeError(f"{count} points were written, {found} were read")


def survey(wall: Wall, points: int) -> None:
    """The command on a LAS file, from its start to its end."""
    pose = wall.pose
    with TemporaryDirectory() as name:
        folder = Path(name)
        scan, out = folder / "scan.las", folder / "out"
        write(scan, wall.runs(points), points)
        (folder / "furnace.toml").write_text(design_toml(wall.design), "utf-8")
        command = [
            str(Path(sys.executable).with_name("daubline")), "survey",
            str(folder / "furnace.toml"), str(scan), "--out", str(out), "--quiet",
            "--cloud-unit", "m", f"--azimuth-of-x={pose.azimuth_of_x!r}",
            f"--z-offset={pose.z_offset / UNIT['.las']!r}",
        ]  # fmt: skip
        done = in_child(command)
        if done.code:
            reason = done.err.strip().splitlines() or ["no word why"]
            print(f"\nThe whole survey: skipped, the command says: {reason[-1]}")
            return
        findings = json.loads((out / "findings.json").read_text("utf-8"))
    volume, heights = findings["volume"], findings["surveyed"]
    true = wall.volume(heights["height_from"], heights["height_to"]) * 1e-9
    datum = findings["datum"] or {"offset_x": np.nan, "offset_y": np.nan}
    off = np.hypot(datum["offset_x"] - pose.offset_x, datum["offset_y"] - pose.offset_y)
    litres = [
        formatted(1e3 * number, ".2f")
        for name in ("rebuild", "net")
        for number in (volume[name]["value"], volume[name]["sd"])
    ]
    show(
        "The whole survey: pose found, all files written",
        ("points", "s", "million points/s", "peak MB", "rebuild l", "sd l", "net l",
         "sd l", "true l", "axis off by mm"),
        [[many(points), formatted(done.seconds, ".1f"),
          formatted(points / done.seconds / 1e6),
          formatted(done.megabytes, ".0f"), *litres, formatted(1e3 * true, ".2f"),
          formatted(float(off), ".2f")]],
    )  # fmt: skip


def growth(question: Question, sizes: Sequence[int], streamed: Sequence[int]) -> None:
    """Time a point and memory, as the number of points grows."""
    rows = []
    for count in sizes:
        held = question.wall.columns(count)
        _, memory = best(lambda held=held: counted(question, *held))
        del held
        rows.append([many(count), formatted(memory), formatted(1e9 * memory / count)])
        if shutil.disk_usage(gettempdir()).free < _FREE:
            rows[-1] += ["too little disk", ""]
            continue
        with TemporaryDirectory() as folder:
            path = Path(folder) / "scan.npy"
            write(path, question.wall.runs(count), count)
            _, file = best(lambda path=path: counted_file(question, path))
        rows[-1] += [formatted(file), formatted(1e9 * file / count)]
    show(
        "Counting, as the number of points grows (file: .npy of float32)",
        ("points", "from memory s", "ns a point", "from file s", "ns a point"),
        rows,
    )
    rows = []
    for count in streamed:
        script = str(Path(__file__).with_name("cloud.py"))
        words = ["--one", "stream", "--points", f"{count}"]
        done = in_child([sys.executable, script, *words])
        if done.code:
            raise RuntimeError(done.err)
        seconds = float(done.out.split()[0])
        spent = [formatted(seconds), formatted(1e9 * seconds / count)]
        rows.append([many(count), *spent, formatted(done.megabytes, ".0f")])
    heads = ("points", "counting s", "ns a point", "peak MB")
    show("Points streamed by the million, in a process of their own", heads, rows)


def stream(question: Question, count: int) -> None:
    """Count points as they are made, and tell the seconds that counting took."""
    for run in question.wall.runs(1000):  # loads what was compiled
        Histogram(question.layout).count(Points(*run.T), question.wall.pose, 1.0)
    histogram, seconds = Histogram(question.layout), 0.0
    for run in question.wall.runs(count):
        start = time.perf_counter()
        histogram.count(Points(*run.T), question.wall.pose, 1.0)
        seconds += time.perf_counter() - start
    wall_cells(histogram, question.grid)
    _refuse_other(count, histogram.total)
    print(seconds)
