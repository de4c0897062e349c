"""How long choosing stations takes: 5 of 24 x 32, after 240 readings.

``.venv/bin/python scripts/bench/next_stations.py [rounds]``; medians, warm; leaves with
1 when an aim is missed.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from geom.compare.nodes import make_nodes
from geom.design import Design, Profile, RodErrors
from geom.readings import RodReadings
from geom.sampling.feasible import feasible_stations
from geom.sampling.stations import next_stations
from geom.surface import reconstruct

AIM = 1.0
HEIGHTS = 31 * 75.0


def invented() -> tuple[Design, RodReadings]:
    """A straight wall of 450 mm radius, burnt in the middle; 16 x 15 readings."""
    design = Design(
        name="invented",
        length_unit="mm",
        azimuth_zero="tap hole",
        azimuth_sense="clockwise",
        height_zero="bottom plate",
        profile=Profile(np.array([0.0, HEIGHTS]), np.array([450.0, 450.0])),
        rod=RodErrors(height_step=75.0, azimuth_step=15.0),
    )
    azimuth = np.tile(np.arange(16) * 22.5, 15)
    height = np.repeat(np.linspace(0.0, HEIGHTS, 15), 16)
    burn = 40.0 * np.exp(-(((height - 0.4 * HEIGHTS) / 300.0) ** 2))
    side = 1.0 + 0.4 * np.cos(np.deg2rad(azimuth - 60.0))
    error = np.random.default_rng(5).normal(0.0, 2.0, azimuth.size)
    n = azimuth.size
    readings = RodReadings(
        kind=("radius",) * n,
        azimuth=azimuth,
        height=height,
        value=450.0 + burn * side + error,
        sd=np.full(n, np.nan),
        step=np.full(n, 1.0),
        place=tuple(f"row {k + 2}" for k in range(n)),
        note=("",) * n,
    )
    return design, readings


def seconds(task: Callable[[], object], rounds: int) -> list[float]:
    """Time a task; one run before, not counted."""
    taken = []
    for _ in range(rounds + 1):
        start = time.perf_counter()
        task()
        taken.append(time.perf_counter() - start)
    return taken[1:]


def main(rounds: int) -> int:
    design, readings = invented()
    surface = reconstruct(readings, design)
    nodes = make_nodes(surface)
    stations = feasible_stations(design, *surface.grid.surveyed_heights).free.sum()
    print(f"{len(readings)} readings, {nodes.mean.size} nodes, {stations} stations")
    print(f"{'task':30}{'median s':>10}{'worst s':>10}  aim")
    missed = 0
    tasks: list[tuple[str, Callable[[], object], float | None]] = [
        ("wall fitted", lambda: reconstruct(readings, design), None),
        ("nodes of the wall", lambda: make_nodes(surface), None),
    ]
    for aim in ("volume", "brick"):
        for count in (5, 50):
            choose = lambda a=aim, k=count: next_stations(  # noqa: E731
                surface, readings, count=k, aim=a, nodes=nodes
            )
            limit = AIM if count == 5 else None
            tasks.append((f"{count} stations for {aim}", choose, limit))
    for name, task, limit in tasks:
        taken = seconds(task, rounds)
        middle = statistics.median(taken)
        verdict = ""
        if limit is not None:
            missed += middle >= limit
            verdict = f"< {limit} s {'met' if middle < limit else 'MISSED'}"
        print(f"{name:30}{middle:10.3f}{max(taken):10.3f}  {verdict}", flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5))
