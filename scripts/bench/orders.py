"""Whether what is ordered suffices: orders held against walls that are known.

``python scripts/bench/orders.py --linings 40``

Each lining is read on 12 x 10 stations with 2 mm noise, surveyed and planned.  The true
need is that of the same planning rule on the true wall, on the same grid: zones by the
same rule, squared out, bricks chosen and counted.  An order suffices where it is no
less than that; surplus is what is left over, in percent of the true need.  *Enough* is
the order before it is rounded up to bags; *bought* is with it.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np
from linings import FAMILIES, make_lining, read

from geom.compare import assess
from geom.design import Design
from geom.repair.masonry.bricks import brick_volume, bricks_of
from geom.repair.masonry.pieces import pieces_of
from geom.repair.plan.order import Demand, OrderLine, clay_of, demand_by_rule, sand_of
from geom.repair.plan.plan import plan_repair
from geom.repair.wall import Wall
from geom.surface import reconstruct

AZIMUTHS, HEIGHTS, NOISE = 12, 10, 2.0
MATERIALS = ("bricks", "sand", "fire clay")


@dataclass(frozen=True)
class Held:
    """One material of one wall; litres of brick, kg of the others."""

    best: float
    enough: float
    bought: float
    demand: float
    suffices: bool


Task = tuple[str, int]


def held(task: Task) -> dict[str, Held]:
    """Plan one lining and hold the order against the truth."""
    family, seed = task
    lining = make_lining(family, seed)
    design = lining.design
    readings = read(lining, AZIMUTHS, HEIGHTS, noise=NOISE, seed=seed)
    surface = reconstruct(readings, design)
    plan = plan_repair(surface, assess(surface, design), design)
    grid = surface.grid
    true = lining.cutback(grid.azimuth[None, :], grid.height[:, None])
    true = np.where(grid.surveyed, true, np.nan)
    wall = Wall(grid, true, np.zeros(grid.shape), design)
    demand = demand_by_rule(wall, pieces_of(bricks_of(design)))
    lines = {line.material: line for line in plan.order}
    return {
        "bricks": _bricks(lines, demand, design),
        "sand": _kilograms(lines.get("sand"), sand_of(demand, design.shop.mix)),
        "fire clay": _kilograms(
            lines.get("fire clay"), clay_of(demand, design.shop.mix)
        ),
    }


def _bricks(lines: dict[str, OrderLine], demand: Demand, design: Design) -> Held:
    best = ordered = 0.0
    for brick in bricks_of(design):
        if (line := lines.get(brick.name)) is not None:
            litres = brick_volume(brick) * 1e-6
            best, ordered = best + litres * line.best, ordered + litres * line.enough
    needed = demand.brick * 1e-6
    return Held(best, ordered, ordered, needed, ordered >= needed)


def _kilograms(line: OrderLine | None, demand: float) -> Held:
    if line is None:
        return Held(0.0, 0.0, 0.0, demand, demand <= 0.0)
    bought = line.packs * line.pack
    return Held(line.best, line.enough, bought, demand, line.enough >= demand)


def _one_thread() -> None:
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)


def show(tasks: Sequence[Task], found: Sequence[dict[str, Held]]) -> None:
    """Print a line for each wall, and the shares over all."""
    print("litres of brick, kg        best  enough  bought    need")
    for (family, seed), outcome in zip(tasks, found, strict=True):
        for name, one in outcome.items():
            remark = "" if one.suffices else "  short"
            print(
                f"{family:10s} {seed:5d} {name:9s}{one.best:6.1f}  {one.enough:6.1f}"
                f"  {one.bought:6.1f}  {one.need:6.1f}{remark}"
            )
    print("\nmaterial   suffices  as bought  surplus %  bought surplus %  best error %")
    for name in MATERIALS:
        rows = [outcome[name] for outcome in found]
        wanted = [one for one in rows if one.demand > 0.0]
        shares = (
            np.mean([one.suffices for one in rows]),
            np.mean([one.suffices or one.bought > one.demand for one in rows]),
        )
        errors = [
            100.0 * np.mean([getattr(one, what) / one.demand - 1.0 for one in wanted])
            for what in ("enough", "bought", "best")
        ]
        print(
            f"{name:10s} {shares[0]:8.3f}  {shares[1]:9.3f}"
            f"  {errors[0]:9.1f}  {errors[1]:16.1f}  {errors[2]:12.1f}"
        )
    whole = np.mean(
        [all(one.suffices for one in outcome.values()) for outcome in found]
    )
    print(f"all three  {whole:8.3f}   of {len(found)} walls")


def main(words: Sequence[str] | None = None) -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--linings", type=int, default=40)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args(words)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    tasks = [
        (FAMILIES[i % len(FAMILIES)], 1000 * options.seed + i)
        for i in range(options.linings)
    ]
    with ProcessPoolExecutor(
        options.jobs, mp_context=get_context("spawn"), initializer=_one_thread
    ) as pool:
        found = list(pool.map(held, tasks))
    show(tasks, found)


if __name__ == "__main__":
    main()
