"""What past surveys are worth: few readings with them against many without.

``python scripts/bench/past.py --seeds 20``

Furnaces with a wear pattern of their own (`linings.make_campaign`): earlier heats were
read on one grid, the present wall on a coarse one.  The past surveys are made without
help of others.  Three kinds of wall:

- *as it comes*: each heat also leaves spalls and lumps of its own, which no past survey
  can tell of and only near readings can see;
- *own wear only*: the same walls without them, which leaves what stays with the furnace
  and how that varies from heat to heat;
- *misled*: as it comes, but the past surveys are of another furnace (the next seed).

Points are the middles of cells of 2 degrees by 20 mm, outside the openings.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from accuracy import NOISE, _Between
from linings import HIGH, LOW, Lining, cut_into_cells, make_campaign, read
from scores import coverage, rmse
from wear import Lump, Patch

import geom
from geom.surface import PastPrior, RadialSurface, learn_prior, reconstruct

COARSE, FINE = "8x6", "12x10"
PAST = 3

Record = dict[str, Any]


@dataclass(frozen=True)
class Case:
    """One thing that is tried on every furnace."""

    wall: str
    grid: str
    count: int
    stranger: bool = False

    @property
    def name(self) -> str:
        """Words for the table."""
        whose = " of another furnace" if self.stranger else ""
        return f"{self.wall}: {self.grid}, {self.count} past{whose}"


WALLS = ("as it comes", "own wear only")
CASES = tuple(
    Case(wall, grid, count)
    for wall in WALLS
    for grid, counts in ((FINE, (0,)), (COARSE, range(PAST + 1)))
    for count in counts
) + tuple(
    Case(wall, COARSE, count, stranger=True)
    for wall in WALLS
    for count in range(1, PAST + 1)
)


def own_wear(lining: Lining) -> Lining:
    """The same wall without spalls and lumps, which come anew in every heat."""
    kept = tuple(p for p in lining.regions if not isinstance(p, (Patch, Lump)))
    return replace(lining, regions=kept, holes=())


def as_asked(wall: str, lining: Lining) -> Lining:
    """A wall of one of the kinds."""
    return own_wear(lining) if wall == "own wear only" else lining


def surveyed(
    lining: Lining, grid: str, seed: int, past: PastPrior | None = None
) -> RadialSurface:
    """A lining read on a grid and reconstructed."""
    azimuths, heights = (int(part) for part in grid.split("x"))
    readings = read(lining, azimuths, heights, noise=NOISE, seed=seed)
    return reconstruct(readings, lining.design, past=past, spacing=20.0, columns=180)


def past_surfaces(wall: str, seed: int, grid: str) -> list[RadialSurface]:
    """Surveys of the earlier heats, each by itself."""
    heats = make_campaign(seed, past=PAST).past
    return [
        surveyed(as_asked(wall, lining), grid, 10 * seed + k)
        for k, lining in enumerate(heats)
    ]


def run(seed: int, *, past_grid: str) -> list[Record]:
    """Every case on one furnace."""
    found = []
    for wall in WALLS:
        lining = as_asked(wall, make_campaign(seed, past=PAST).present)
        own = past_surfaces(wall, seed, past_grid)
        strange = past_surfaces(wall, seed + 1, past_grid)
        for case in CASES:
            if case.wall != wall:
                continue
            prior = None
            if case.count:
                chosen = (strange if case.stranger else own)[-case.count :]
                prior = learn_prior(chosen, lining.design)
            surface = surveyed(lining, case.grid, seed, prior)
            found.append({"case": case.name, "seed": seed} | score(lining, surface))
    return found


def score(lining: Lining, surface: RadialSurface) -> Record:
    """Error of the surface and of the rebuild volume, and whether both were owned."""
    cells = cut_into_cells(lining.design, LOW, HIGH, turn_step=2.0, height_step=20.0)
    at = _Between(surface.height, surface.azimuth, cells.height, cells.azimuth)
    mean, sd = at(surface.cutback), at(surface.radius_sd)
    known = cells.clear & np.isfinite(mean)
    true = lining.cutback(cells.azimuth, cells.height)
    findings = geom.assess(surface, lining.design)
    limits = findings.surveyed
    volume = lining.true_rebuild_volume(limits.height_from, limits.height_to)
    estimate = findings.volume.rebuild
    return {
        "rmse": rmse(mean[known], true[known]),
        "covered": coverage(mean[known], sd[known], true[known]),
        "volume_percent": 100.0 * (estimate.value / volume - 1.0),
        "volume_covered": bool(estimate.low95 <= volume <= estimate.high95),
        "volume_half_width": 50.0 * (estimate.high95 - estimate.low95) / volume,
    }


def tabulate(records: Sequence[Record]) -> Iterator[Record]:
    """Means over furnaces, and how far each case is from the one without past."""
    by_case = {
        case.name: [r for r in records if r["case"] == case.name] for case in CASES
    }
    for case in CASES:
        mine = by_case[case.name]
        plain = by_case[Case(case.wall, COARSE, 0).name]
        gain = np.array(
            [a["rmse"] - b["rmse"] for a, b in zip(mine, plain, strict=True)]
        )
        yield {
            "case": case.name,
            "rmse": float(np.mean([r["rmse"] for r in mine])),
            "covered": float(np.mean([r["covered"] for r in mine])),
            "volume": float(np.mean([abs(r["volume_percent"]) for r in mine])),
            "volume_covered": float(np.mean([r["volume_covered"] for r in mine])),
            "volume_half_width": float(np.mean([r["volume_half_width"] for r in mine])),
            "against_no_past": float(gain.mean()),
            "against_no_past_se": float(gain.std(ddof=1) / np.sqrt(gain.size)),
        }


def _one_thread() -> None:
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)


def main(words: Sequence[str] | None = None) -> None:
    """Run, print, and write where asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seeds", type=int, default=20, help="how many furnaces")
    parser.add_argument("--first", type=int, default=9000, help="first seed")
    parser.add_argument("--past-grid", default="16x14", help="azimuths x heights")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", type=Path, help="write every figure there")
    options = parser.parse_args(words)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    # Every second seed: the one between lends its furnace as the stranger.
    seeds = range(options.first, options.first + 2 * options.seeds, 2)
    with ProcessPoolExecutor(
        options.jobs, mp_context=get_context("spawn"), initializer=_one_thread
    ) as pool:
        work = partial(run, past_grid=options.past_grid)
        records = [record for found in pool.map(work, seeds) for record in found]
    table = list(tabulate(records))
    print(f"{options.seeds} furnaces, past surveys on {options.past_grid}")
    print(f"{'case':48s} rmse  cover  volume  covered  half-width  rmse - no past")
    for row in table:
        print(
            f"{row['case']:48s}{row['rmse']:5.2f}  {row['covered']:.3f}"
            f"  {row['volume']:4.1f} %    {row['volume_covered']:.2f}"
            f"      {row['volume_half_width']:4.1f} %"
            f"   {row['against_no_past']:+5.2f} +- {row['against_no_past_se']:.2f}"
        )
    if options.json:
        document = {"table": table, "records": records}
        options.json.write_text(json.dumps(document, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
