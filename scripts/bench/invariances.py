"""What must not matter, and what must go one way, measured on walls of the fleet.

``python scripts/bench/invariances.py`` surveys walls by rod and then: shuffles the rows
of the sheet (greatest change of radius and of the rebuild); draws sizes and lengths
from other seeds (standard deviation of the rebuild from seed to seed, over the stated
standard uncertainty, and the numbers of zones that come out); and makes one reading
after the other 5 mm deeper (how often that lowers the rebuild, and by how much at most,
in percent of it and of its standard uncertainty).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import fleet
import numpy as np
from fleet_surveys import WAYS, write_rods

import geom

#: Furnace, way and family: 8 x 6 and 12 x 10, quiet and hostile.
WALLS = tuple(
    (furnace, way, fleet.FAMILIES.index(family))
    for furnace, way, family in (
        (4, 3, "slag"),
        (8, 3, "slag"),
        (3, 3, "ring"),
        (6, 3, "bricks"),
        (4, 2, "slag"),
        (8, 2, "ring"),
        (6, 2, "bricks"),
        (10, 2, "one-sided"),
    )
)
DEEPER, _FRESH = 5.0, 400


def sheet(job: fleet.Job, seed: int) -> tuple[Any, Any]:
    """Design and readings of a fresh wall."""
    wall, rng = fleet.wall_of((job[0], _FRESH + seed, job[2]))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "lining.toml").write_text(wall.furnace.toml(), "utf-8")
        design = geom.load_design(folder / "lining.toml")
        write_rods(WAYS[job[1]], wall, rng, folder / "rods.csv")
        return design, geom.load_readings(folder / "rods.csv", design)


def made(readings: Any, design: Any, seed: int = 0) -> tuple[Any, Any]:
    """The surface and its findings."""
    surface = geom.reconstruct(readings, design, seed=seed, spacing=20.0, columns=180)
    return surface, geom.assess(surface, design)


def try_wall(job: fleet.Job, seed: int, seeds: int, deeper: int) -> dict[str, Any]:
    """All of it on one wall."""
    design, readings = sheet(job, seed)
    rng = np.random.default_rng([seed, *job])
    surface, findings = made(readings, design)
    rebuild = findings.volume.rebuild
    shuffled = readings.take(rng.permutation(len(readings)))
    other, again = made(shuffled, design)
    several = [findings, *(made(readings, design, k)[1] for k in range(1, seeds))]
    change = []
    for row in rng.choice(len(readings), deeper, replace=False):
        value = readings.value.copy()
        value[row] += DEEPER
        _, now = made(replace(readings, value=value), design)
        change.append(now.volume.rebuild.value - rebuild.value)
    return {
        "name": f"{fleet.FLEET[job[0]].name}, {WAYS[job[1]].name}, "
        f"{fleet.FAMILIES[job[2]]}",
        "order": max(
            float(np.nanmax(np.abs(other.radius - surface.radius))),
            abs(again.volume.rebuild.value - rebuild.value),
        ),
        "seeds": float(np.std([f.volume.rebuild.value for f in several], ddof=1)),
        "zones": [len(f.zones) for f in several],
        "change": change,
        "value": rebuild.value,
        "sd": rebuild.sd,
    }


def table(records: list[dict[str, Any]]) -> str:
    """A line for each wall."""
    lines = [
        f"{'':36} {'order':>7} {'seeds %':>8} {'of sd':>6} {'lowered':>8}"
        f" {'worst %':>8} {'of sd':>6}  zones"
    ]
    for r in records:
        change = np.array(r["change"])
        low = int((change < 0.0).sum())
        worst = -min(float(change.min()), 0.0)
        lines.append(
            f"{r['name']:36} {r['order']:7.0e} {100 * r['seeds'] / r['value']:8.2f}"
            f" {r['seeds'] / r['sd']:6.2f} {low:4d}/{change.size:3d}"
            f" {100 * worst / r['value']:8.2f} {worst / r['sd']:6.2f}"
            f"  {' '.join(map(str, r['zones']))}"
        )
    return "\n".join(lines)


def main(words: list[str] | None = None) -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--walls", type=int, default=len(WALLS))
    parser.add_argument("--seeds", type=int, default=4, help="seeds of sizes")
    parser.add_argument("--deeper", type=int, default=6, help="readings made deeper")
    parser.add_argument("--first", type=int, default=0, help="first wall drawn")
    options = parser.parse_args(words)
    os.environ["OMP_NUM_THREADS"] = "1"
    warnings.simplefilter("ignore")
    records = []
    for job in WALLS[: options.walls]:
        wall = try_wall(job, options.first, options.seeds, options.deeper)
        records.append(wall)
        print(table([wall]).splitlines()[1], file=sys.stderr)
    print(table(records))
    return 0


if __name__ == "__main__":
    sys.exit(main())
