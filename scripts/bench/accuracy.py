"""How close daubline comes to walls that are known everywhere, beside other tools.

``python scripts/bench/accuracy.py --linings 200 --json accuracy.json``

A seeded family of worn linings (`linings`), rod readings with 2 mm noise on several
grids, every method on the same readings in the same run (`peers`), every figure from
`scores`.  Points are the middles of cells of 2 degrees by 20 mm between the lowest and
the highest reading, outside the openings.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import platform
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
from linings import FAMILIES, HIGH, LOW, Lining, cut_into_cells, make_lining, read
from peers import PEERS, Job
from scores import Answer, score
from tables import OURS, best_peers, grid_order, show, tabulate

import geom
from geom.frame import wrap
from geom.readings import RodReadings
from geom.units import Float

GRIDS = ("8x6", "12x10", "16x14", "24x20")
METHODS = (*PEERS, OURS)
NOISE = 2.0
LIBRARIES = (
    "numpy", "scipy", "scikit-learn", "PyKrige", "gstools", "verde",
)  # fmt: skip
_ONE_THREAD = (
    "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS",
)  # fmt: skip

Record = dict[str, Any]


def daubline(job: Job) -> Answer:
    """The package measured here: `geom.reconstruct` and `geom.assess`, no options."""
    n = job.azimuth.size
    readings = RodReadings(
        kind=("radius",) * n,
        azimuth=job.azimuth,
        height=job.height,
        value=job.cutback + job.design.profile.radius_at(job.height),
        sd=np.full(n, job.noise),
        step=np.full(n, 0.1),
        place=tuple(f"reading {i + 1}" for i in range(n)),
        note=("",) * n,
    )
    surface = geom.reconstruct(readings, job.design)
    findings = geom.assess(surface, job.design)
    at = _Between(surface.height, surface.azimuth, job.cells.height, job.cells.azimuth)
    rebuild = findings.volume.rebuild
    return Answer(
        mean=at(findings.maps.cutback),
        sd=at(findings.maps.cutback_sd),
        p_brick=at(findings.maps.p_brick),
        volume=rebuild.value,
        volume_low=rebuild.low95,
        volume_high=rebuild.high95,
        volume_range=(findings.surveyed.height_from, findings.surveyed.height_to),
    )


class _Between:
    """Straight-line interpolation between grid nodes, closed round the bore.

    Nodes without a value are left out; a point with none around it has none.
    """

    def __init__(self, height: Float, azimuth: Float, h: Float, a: Float) -> None:
        gap = azimuth[1] - azimuth[0]
        x = wrap(a - azimuth[0]) / gap
        j = np.floor(x).astype(int) % azimuth.size
        i = np.clip(np.searchsorted(height, h) - 1, 0, height.size - 2)
        v = np.clip((h - height[i]) / (height[i + 1] - height[i]), 0.0, 1.0)
        u, on = x - np.floor(x), (j + 1) % azimuth.size
        self.parts = (
            (i, j, (1 - v) * (1 - u)), (i, on, (1 - v) * u),
            (i + 1, j, v * (1 - u)), (i + 1, on, v * u),
        )  # fmt: skip

    def __call__(self, values: Float) -> Float:
        total, weight = 0.0, 0.0
        for i, j, part in self.parts:
            there = np.isfinite(values[i, j])
            total = total + np.where(there, part * values[i, j], 0.0)
            weight = weight + np.where(there, part, 0.0)
        out = np.full(np.shape(total), np.nan)
        return np.divide(total, weight, out=out, where=np.asarray(weight) > 1e-9)


@dataclass(frozen=True)
class Task:
    """One lining on one grid, for every method."""

    family: str
    seed: int
    grid: str
    methods: tuple[str, ...]


def run(task: Task) -> list[Record]:
    """Score every method on one lining and grid; one record a method."""
    lining = make_lining(task.family, task.seed)
    azimuths, heights = (int(part) for part in task.grid.split("x"))
    readings = read(lining, azimuths, heights, noise=NOISE, seed=task.seed)
    cells = cut_into_cells(lining.design, LOW, HIGH, turn_step=2.0, height_step=20.0)
    true = lining.cutback(cells.azimuth, cells.height)
    job = Job(
        design=lining.design,
        azimuth=readings.azimuth,
        height=readings.height,
        cutback=readings.value - lining.design.profile.radius_at(readings.height),
        noise=NOISE,
        cells=cells,
        seed=task.seed,
    )
    return [
        {"family": task.family, "seed": task.seed, "grid": task.grid, "method": name}
        | _timed(name, job, lining, true)
        for name in task.methods
    ]


def _timed(name: str, job: Job, lining: Lining, true: Float) -> Record:
    start = time.perf_counter()
    try:
        answer = _method(name)(job)
    except Exception as fault:  # a method that fails is a result, not a stop
        return {"failed": f"{type(fault).__name__}: {fault}"}
    seconds = time.perf_counter() - start
    volume = lining.true_rebuild_volume(*(answer.volume_range or (LOW, HIGH)))
    threshold = lining.design.repair.brick_threshold
    return {"seconds": seconds} | score(answer, job.cells, true, volume, threshold)


def _method(name: str) -> Callable[[Job], Answer]:
    return daubline if name == OURS else PEERS[name]


def _settle_worker(methods: tuple[str, ...]) -> None:
    """One thread, quiet, every library loaded and compiled before the clock runs."""
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)
    warnings.simplefilter("ignore")
    run(Task("even", 1, "8x6", methods))


def run_all(tasks: Sequence[Task], jobs: int) -> Iterator[list[Record]]:
    """Results as they come, from processes of one thread each."""
    for name in _ONE_THREAD:
        os.environ[name] = "1"
    with ProcessPoolExecutor(
        max_workers=jobs,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_settle_worker,
        initargs=(tasks[0].methods,),
    ) as pool:
        for done in as_completed([pool.submit(run, task) for task in tasks]):
            yield done.result()


def _tasks(options: argparse.Namespace) -> list[Task]:
    families = options.families
    return [
        Task(
            families[i % len(families)], 1000 * options.seed + i, grid, options.methods
        )
        for i in range(options.linings)
        for grid in options.grids
    ]


def _several(known: Sequence[str] | None) -> Callable[[str], tuple[str, ...]]:
    def parse(text: str) -> tuple[str, ...]:
        names = tuple(part.strip() for part in text.split(","))
        wrong = [n for n in names if known is not None and n not in known]
        if wrong:
            raise argparse.ArgumentTypeError(f"{wrong[0]!r} is not one of {known}")
        return names

    return parse


def _options(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    add = parser.add_argument
    add("--linings", type=int, default=200, help="how many, over all families")
    add("--grids", type=_several(None), default=GRIDS, help="azimuths x heights")
    add("--families", type=_several(FAMILIES), default=FAMILIES)
    add("--methods", type=_several(METHODS), default=METHODS)
    add("--seed", type=int, default=7)
    add("--jobs", type=int, default=2)
    add("--json", type=Path, help="write every figure and record there")
    return parser.parse_args(words)


def _versions() -> dict[str, str]:
    found = {"python": platform.python_version(), "daubline": geom.__version__}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def main(words: Sequence[str] | None = None) -> None:
    """Run, print, and write where asked."""
    from rich.console import Console
    from rich.progress import track

    options = _options(words)
    tasks = _tasks(options)
    start = time.perf_counter()
    records: list[Record] = []
    running = run_all(tasks, options.jobs)
    for found in track(
        running,
        total=len(tasks),
        description="linings x grids",
        console=Console(stderr=True),
        transient=True,
    ):
        records += found
    records.sort(key=lambda r: (r["seed"], grid_order(r["grid"]), r["method"]))
    table = tabulate(records, options.methods)
    duel = best_peers(table)
    show(table, duel)
    seconds = time.perf_counter() - start
    print(f"{options.linings} linings, seed {options.seed}, {seconds:.0f} s")
    for fault in dict.fromkeys(r["failed"] for r in records if "failed" in r):
        print("failed:", fault)
    if options.json:
        document = {
            "settings": _settings(options),
            "versions": _versions(),
            "seconds": seconds,
            "summary": table,
            "against_best_peer": duel,
            "records": records,
        }
        options.json.write_text(json.dumps(document, indent=1), encoding="utf-8")


def _settings(options: argparse.Namespace) -> Record:
    settings = {k: v for k, v in vars(options).items() if k != "json"}
    return settings | {"noise": NOISE, "low": LOW, "high": HIGH}


if __name__ == "__main__":
    main()
