"""How close anybody could come: all wear known but what each heat leaves anew.

``python scripts/bench/limits.py --linings 60``

Spalls, lumps of slag, missing brick, ledges and the grain of the face lie where they
lie; only readings that hit them, or nearly, tell of them.  Here the smooth wear of each
lining (the ring, its lobes, the tuyeres' marks, the rubbed stack) is *given*, exactly,
and only the rest has to be inferred from readings of the rest alone.  No survey knows
that much, so a method that is given the whole wall's readings and comes near these
figures has taken from the readings nearly all that is in them.  The same linings read
as they are stand beside it.  A volume is told by the better of two ways, that of the
mean surface and the expected one, as for the peers in `accuracy`.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
from accuracy import GRIDS, NOISE, daubline
from linings import (
    FAMILIES,
    HIGH,
    LOW,
    Cells,
    Lining,
    cut_into_cells,
    make_lining,
    read,
)
from peers import Job
from scores import Answer, expected_volume, overlap, rmse
from wear import Grain, Joints, Ledge, Lump, Patch

from geom.units import Float

ANEW = (Patch, Lump, Ledge, Grain, Joints)

Task = tuple[str, int, str]
Figures = tuple[float, float, float, float]


def split(lining: Lining) -> tuple[Lining, Lining]:
    """The smooth wear alone, and all the rest alone."""
    kept = tuple(p for p in lining.regions if not isinstance(p, ANEW))
    smooth = replace(lining, regions=kept, holes=())

    def rest(azimuth: Float, height: Float) -> Float:
        return lining.cutback(azimuth, height) - smooth.cutback(azimuth, height)

    return smooth, replace(lining, regions=(rest,), holes=())


def answered(lining: Lining, grid: str, seed: int, cells: Cells) -> Answer:
    """What daubline says of a lining read on a grid."""
    azimuths, heights = (int(part) for part in grid.split("x"))
    readings = read(lining, azimuths, heights, noise=NOISE, seed=seed)
    drawn = lining.design.profile.radius_at(readings.height)
    return daubline(
        Job(
            design=lining.design,
            azimuth=readings.azimuth,
            height=readings.height,
            cutback=readings.value - drawn,
            noise=NOISE,
            cells=cells,
            seed=seed,
        )
    )


def figures(lining: Lining, cells: Cells, mean: Float, sd: Float) -> Figures:
    """RMSE in mm, volume error in percent (plain and as expected), brick overlap."""
    true = lining.cutback(cells.azimuth, cells.height)
    known = cells.clear & np.isfinite(mean)
    limit = lining.design.repair.brick_threshold
    volume = lining.true_rebuild_volume()
    filled, spread = np.nan_to_num(mean), np.nan_to_num(sd)
    volumes = (cells.volume(filled), expected_volume(cells, filled, spread))
    return (
        rmse(mean[known], true[known]),
        *(abs(100.0 * (v / volume - 1.0)) for v in volumes),
        overlap(mean[known] > limit, true[known] > limit),
    )


def run(task: Task) -> tuple[Task, Figures, Figures]:
    """One lining as it is, and with its smooth wear given."""
    family, seed, grid = task
    lining = make_lining(family, seed)
    cells = cut_into_cells(lining.design, LOW, HIGH, turn_step=2.0, height_step=20.0)
    whole = answered(lining, grid, seed, cells)
    smooth, rest = split(lining)
    found = answered(rest, grid, seed, cells)
    assert whole.sd is not None
    assert found.sd is not None
    given = smooth.cutback(cells.azimuth, cells.height) + found.mean
    return (
        task,
        figures(lining, cells, whole.mean, whole.sd),
        figures(lining, cells, given, found.sd),
    )


def _one_thread() -> None:
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)


def main(words: Sequence[str] | None = None) -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--linings", type=int, default=60)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args(words)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    tasks = [
        (FAMILIES[i % len(FAMILIES)], 1000 * options.seed + i, grid)
        for grid in GRIDS
        for i in range(options.linings)
    ]
    with ProcessPoolExecutor(
        options.jobs, mp_context=get_context("spawn"), initializer=_one_thread
    ) as pool:
        found = list(pool.map(run, tasks))
    print("                        as it is                smooth wear given")
    print("grid   family      rmse  volume  overlap     rmse  volume  overlap")
    for grid in GRIDS:
        for family in ("all", *FAMILIES):
            rows = [
                (*whole, *given)
                for task, whole, given in found
                if task[2] == grid and family in ("all", task[0])
            ]
            if not rows:
                continue
            line = f"{grid:6s} {family:10s}"
            for error, plain, expected, both in np.mean(rows, axis=0).reshape(2, 4):
                volume = min(plain, expected)
                line += f" {error:5.2f}  {volume:5.2f} %  {both:.3f}     "
            print(line.rstrip())


if __name__ == "__main__":
    main()
