"""Rows of the table of `speed.py` past the demo's commands.

Sheets of many readings, a large scan, files over a bare read, the report, the desk.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from cloud_files import UNIT, write
from cloud_wall import design_toml, make_wall

import geom

#: Points of the large scan and of the text; readings of the sheets, round and up.
POINTS, TEXT = 10_000_000, 2_000_000
SHEETS = {"survey, 2,000 readings": (50, 40), "survey, 20,000": (200, 100)}
#: Of a reading, mm; a spread.
_NOISE = 2.0
#: Readings of the desk's sheet.
_TYPED = 240


@dataclass(frozen=True)
class Part:
    """A figure that is no time of a command.

    Attributes
    ----------
    measure : callable
        Gives the figure.
    form : str
        How it is printed.
    aim : float
    more : bool
        Whether more is better.
    """

    name: str
    measure: Callable[[], float]
    form: str
    aim: float
    more: bool = False


def write_sheet(path: Path, design_file: str, around: int, up: int) -> None:
    """Readings of an invented wall on an even net: a ring, deeper on one side."""
    design = geom.load_design(design_file)
    rng = np.random.default_rng(7)
    low, high = design.profile.height[[0, -1]] + np.array([40.0, -40.0])
    height, azimuth = np.meshgrid(
        np.linspace(low, high, up), np.arange(around) * 360.0 / around, indexing="ij"
    )
    ring = np.exp(-(((height - 0.4 * (low + high)) / 230.0) ** 2))
    deep = 40.0 * ring * (1.0 + 0.4 * np.cos(np.deg2rad(azimuth - 200.0)))
    radius = design.profile.radius_at(height) + deep
    radius += _NOISE * rng.standard_normal(height.shape)
    rows = zip(azimuth.ravel(), height.ravel(), radius.ravel(), strict=True)
    text = "".join(f"{a:.2f},{h:.1f},{r:.1f}\n" for a, h, r in rows)
    path.write_text(f"azimuth_deg,height_mm,radius_mm\n{text}", encoding="utf-8")


def write_scan(folder: Path) -> list[str]:
    """A scan and its furnace; the words of the command that name them."""
    wall = make_wall()
    scan, design = folder / "scan.las", folder / "furnace.toml"
    write(scan, wall.runs(POINTS), POINTS)
    design.write_text(design_toml(wall.design), encoding="utf-8")
    return [
        str(design), str(scan), "--cloud-unit", "m",
        f"--azimuth-of-x={wall.pose.azimuth_of_x!r}",
        f"--z-offset={wall.pose.z_offset / UNIT['.las']!r}",
    ]  # fmt: skip


def parts() -> Iterator[Part]:
    """The rest of the table, each measured when it is asked."""
    from cloud_peers import Question, daubline

    wall = make_wall()
    daubline(Question.of(wall), *wall.columns(1000))  # compiles
    yield Part("LAS to cells, over bare", lambda: _over_bare(".las"), ".1f", 2.0)
    yield Part("text to cells, over polars", lambda: _over_bare(".xyz"), ".1f", 2.0)
    yield Part("cells, times pandas", _over_pandas, ".1f", 5.0, more=True)
    yield Part("report turning, s", _turning, ".2f", 1.2)
    yield Part("desk, worst of 240, ms", _typed_to_call, ".0f", 250.0)


def _over_bare(ending: str) -> float:
    """Time from a file to cells over the barest way to read it."""
    from cloud_large import file_times
    from cloud_peers import Question

    times = file_times(
        Question.of(make_wall()), ending, TEXT if ending == ".xyz" else POINTS
    )
    return times.to_cells / times.bare


def _over_pandas() -> float:
    """How many times as fast points in memory become cells as medians by pandas."""
    from cloud_peers import Question, own_cells, pandas_median
    from cloud_timing import best

    question = Question.of(make_wall())
    held = question.wall.columns(POINTS)
    _, ours = best(lambda: question.volume(own_cells(question, *held)))
    _, theirs = best(lambda: question.volume(pandas_median(question, *held)))
    return theirs / ours


def _turning() -> float:
    """Seconds until the report's wall can be turned in headless Chromium."""
    import report

    with tempfile.TemporaryDirectory() as folder:
        report.write(Path(folder))
        _, turning = report.open_page(Path(folder) / "report.html")
    return statistics.median(turning)


def _typed_to_call() -> float:
    """Milliseconds from a typed reading to its call, the worst of either hand."""
    import desk

    with tempfile.TemporaryDirectory() as folder:
        return max(
            desk.measured(_TYPED, pause, Path(folder))[1]
            for pause in desk.HANDS.values()
        )
