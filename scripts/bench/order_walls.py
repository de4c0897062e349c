"""How well few counted walls tell what a repair takes: strata beside simple draws.

``.venv/bin/python scripts/bench/order_walls.py [--surveys N] [--walls N]``: of surveys
of the demo's furnaces and of the fleet, what 300 drawn walls take is counted; then 24
of them, one of each stratum, and 40 simple ones, are chosen again and again, and their
mean and sd of brick and daub, and the daub that suffices, held against those of all.
Root mean square errors, in the sd of the demand; and the geometric mean of the ratios.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import fleet
import numpy as np
from fleet_surveys import write_rods

import geom
from geom.compare.nodes import make_nodes
from geom.repair.masonry.bricks import bricks_of
from geom.repair.masonry.pieces import pieces_of
from geom.repair.plan.order import Packing, posterior_walls, quick_demand, sufficient
from geom.repair.plan.partition import ZoneMask, partition
from geom.repair.wall import Wall, section
from geom.stats.strata import of_each_stratum
from geom.units import Float, Int

ROOT = Path(__file__).resolve().parents[2]
DEMO = (("cupola-2", "cupola-2-heat-41"), ("cupola-5", "cupola-5-heat-12"))
SIMPLE, STRATA, TIMES = 40, 24, 300
#: A demand that is known to less than this is known well enough, mm3.
_WORTH = 2e5
COLUMNS = ("brick", "its sd", "daub", "its sd", "enough")


def surveys(count: int) -> Iterator[tuple[str, Any, Any]]:
    """Name, design and surface: the demo's sheets, and rod surveys of the fleet."""
    for design_name, sheet in DEMO:
        design = geom.load_design(ROOT / "scans" / f"{design_name}.toml")
        readings = geom.load_readings(ROOT / "scans" / f"{sheet}.csv", design)
        yield design_name, design, geom.reconstruct(readings, design)
    rods = [j for j in fleet.jobs(quick=False) if fleet.WAYS[j[1]].kind == "rods"]
    order = np.random.default_rng(20).permutation(len(rods))
    for job in (rods[k] for k in order[: max(0, count - len(DEMO))]):
        wall, rng = fleet.wall_of(job)
        way, family = fleet.WAYS[job[1]], fleet.FAMILIES[job[2]]
        with tempfile.TemporaryDirectory() as folder:
            drawn, sheet_file = Path(folder) / "l.toml", Path(folder) / "r.csv"
            drawn.write_text(wall.furnace.toml(), "utf-8")
            write_rods(way, wall, rng, sheet_file)
            design = geom.load_design(drawn)
            surface = geom.reconstruct(geom.load_readings(sheet_file, design), design)
        yield f"{wall.furnace.name}, {way.name}, {family}", design, surface


def counted(design: Any, surface: Any, walls: int) -> tuple[Float, Float]:
    """Brick and daub that drawn walls take (n, 2), and what is gone of them (n, 2)."""
    findings, nodes = geom.assess(surface, design), make_nodes(surface)
    wall = Wall(surface.grid, surface.cutback, surface.radius_sd, design)
    pieces = pieces_of(bricks_of(design))
    zones = findings.maps.zone
    marked = [ZoneMask(z.id, z.action, zones == z.id) for z in findings.zones]
    packing = Packing.of(wall, partition(wall, marked, pieces), pieces)
    errors = nodes.draws(np.arange(nodes.mean.size), walls, seed=7)
    demands = [
        quick_demand(one, packing) for one in posterior_walls(surface, nodes, errors)
    ]
    cutback = np.maximum(nodes.mean[:, None] + errors, 0.0)
    gone = section(nodes.design_radius[:, None], cutback)
    gone *= nodes.gather(surface.grid.patch)[:, None]
    least = design.repair.brick_threshold, design.repair.tolerance
    measures = [np.sum(gone, axis=0, where=cutback > depth) for depth in least]
    return np.array([(d.brick, d.daub) for d in demands]), np.array(measures).T


def estimates(demands: Float) -> Float:
    """Mean and sd of brick and of daub, and daub that suffices where brick is short."""
    brick, daub = demands.T
    made_up = daub + np.maximum(brick - brick.mean(), 0.0)
    enough = sufficient(made_up, 0.0, 0.95)
    return np.array([brick.mean(), brick.std(), daub.mean(), daub.std(), enough])


def errors_of(demands: Float, choose: Callable[[], Int]) -> Float:
    """Root mean square errors of what few walls say, in sds of the demand."""
    whole = estimates(demands)
    found = np.array([estimates(demands[choose()]) for _ in range(TIMES)])
    sd = np.maximum(whole[[1, 1, 3, 3, 3]], 1.0)
    return np.asarray(np.sqrt(np.mean((found - whole) ** 2, axis=0)) / sd)


def main(words: Sequence[str] | None = None) -> int:
    """Print the table; 1 where strata do worse than simple draws on the whole."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--surveys", type=int, default=11)
    parser.add_argument("--walls", type=int, default=300)
    options = parser.parse_args(words)
    ratios = []
    print(f"{'':46}" + "".join(f"{name:>8}" for name in COLUMNS))
    for name, design, surface in surveys(options.surveys):
        demands, measures = counted(design, surface, options.walls)
        rng, count = np.random.default_rng(1), len(demands)

        def strata(measures: Float = measures, rng: Any = rng) -> Int:
            some = rng.choice(len(measures), 10 * STRATA, replace=False)
            chosen = of_each_stratum(*measures[some].T, STRATA, rng=rng)
            return np.asarray(some[chosen])

        def simple(count: int = count, rng: Any = rng) -> Int:
            return np.asarray(rng.choice(count, SIMPLE, replace=False))

        both = [errors_of(demands, way) for way in (simple, strata)]
        for way, found in zip(
            (f"{SIMPLE} simple", f"{STRATA} strata"), both, strict=True
        ):
            row = "".join(f"{error:8.3f}" for error in found)
            print(f"{name[:32]:33}{way:13}{row}", flush=True)
        worn = demands.std(axis=0).repeat([2, 3]) > 1e4
        ratios.append(np.where(worn, both[1] / np.maximum(both[0], 1e-9), np.nan))
    mean = np.exp(np.nanmean(np.log(ratios), axis=0))
    print(
        f"{'strata over simple, geometric mean':46}"
        + "".join(f"{m:8.2f}" for m in mean)
    )
    return int(np.nanmean(np.log(ratios)) > 0.0)


if __name__ == "__main__":
    sys.exit(main())
