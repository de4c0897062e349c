"""Are slips of the pen found, and is nothing else taken for one.

``python scripts/bench/slips.py`` draws fresh walls for furnaces of the fleet, reads
each 12 x 10 in eighths with the errors of a rod (off the axis by 2 mm, 1.5 mm a
reading, set down 1 degree and 6 mm off), once as it is and once with one reading
misread by an inch, long or short, anywhere on the sheet.  Printed for quiet walls (as
drawn, a ring of wear, wear on one side) and for walls with sharp losses of brick:
sheets, slips found, other readings taken for slips a sheet; and of stations read again
an inch off, how many have both their rows named.
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
from fleet_surveys import Way, write_rods

import geom
from geom.surface.reconstruct import expected_prior
from geom.surface.rods.fit import fit_wall
from geom.surface.rods.repeats import contradicting_repeats

#: Furnaces of the fleet, 18 in to 108 in, inches and millimetres.
FURNACES = (0, 2, 3, 6, 8, 10, 11)
QUIET, BRICKS = ("sound", "ring", "one-sided"), ("bricks",)
INCH = 25.4
#: A number that no other bench draws its walls by.
_WALLS = 300
_WAY = Way("eighths, 12x10", 12, 10)


def sheet(furnace: int, family: str, seed: int) -> tuple[Any, Any, np.random.Generator]:
    """A design, its readings in the order that counts, and chance for what follows."""
    job = (furnace, _WALLS + seed, fleet.FAMILIES.index(family))
    wall, rng = fleet.wall_of(job)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "lining.toml").write_text(wall.furnace.toml(), "utf-8")
        design = geom.load_design(folder / "lining.toml")
        write_rods(_WAY, wall, rng, folder / "rods.csv", slip_rate=0.0)
        readings = geom.load_readings(folder / "rods.csv", design)
    return design, readings, rng


def misread(readings: Any, rng: np.random.Generator) -> tuple[Any, str]:
    """One reading an inch off, and where it is written."""
    row = int(rng.integers(len(readings)))
    value = readings.value.copy()
    value[row] += rng.choice([-INCH, INCH])
    return replace(readings, value=value), readings.place[row]


def left_out(readings: Any, design: Any) -> set[str]:
    """Readings taken for slips, as `geom.reconstruct` leaves them out."""
    readings = readings.take(readings.canonical_order())
    prior = expected_prior(readings, design)
    return {r.place for r in fit_wall(readings, design, prior, n_samples=0).rejected}


def both_named(readings: Any, design: Any, rng: np.random.Generator) -> bool:
    """Whether a station read again an inch off has both its rows named."""
    row = int(rng.integers(len(readings)))
    again = readings.take(np.array([row]))
    value = again.value + rng.choice([-INCH, INCH])
    again = replace(again, value=value, place=("again.csv, row 2",))
    _, rejected = contradicting_repeats(readings.joined(again), design)
    return {r.place for r in rejected} == {readings.place[row], *again.place}


def try_sheet(furnace: int, family: str, seed: int) -> dict[str, Any]:
    """One sheet as it is, with a slip, and with a station read twice."""
    design, readings, rng = sheet(furnace, family, seed)
    slipped, place = misread(readings, rng)
    clean, found = left_out(readings, design), left_out(slipped, design)
    return {
        "furnace": fleet.FLEET[furnace].name,
        "family": family,
        "false": len(clean),
        "found": place in found,
        "false beside": len(found - {place}),
        "named": both_named(readings, design, rng),
    }


def table(records: list[dict[str, Any]]) -> str:
    """Shares found and false alarms, by kind of wall, family and furnace."""
    lines = [
        f"{'':28} {'sheets':>6} {'found %':>8} {'false a sheet':>14}"
        f" {'beside a slip':>14} {'both rows named %':>18}"
    ]
    groups = {
        "quiet walls": [r for r in records if r["family"] in QUIET],
        "bricks lost": [r for r in records if r["family"] in BRICKS],
    }
    for key in ("family", "furnace"):
        for name in dict.fromkeys(r[key] for r in records):
            quiet = [r for r in records if r[key] == name]
            if key == "furnace":
                quiet = [r for r in quiet if r["family"] in QUIET]
                name = f"{name}, quiet"  # noqa: PLW2901
            groups[name] = quiet
    for name, some in groups.items():
        if some:
            share, false, beside, named = (
                float(np.mean([r[key] for r in some]))
                for key in ("found", "false", "false beside", "named")
            )
            lines.append(
                f"{name:28} {len(some):6d} {100 * share:8.1f} {false:14.3f}"
                f" {beside:14.3f} {100 * named:18.1f}"
            )
    return "\n".join(lines)


def main(words: list[str] | None = None) -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--seeds", type=int, default=4, help="walls of each kind")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    options = parser.parse_args(words)
    os.environ["OMP_NUM_THREADS"] = "1"
    warnings.simplefilter("ignore")
    jobs = [
        (furnace, family, seed)
        for seed in range(options.first, options.first + options.seeds)
        for furnace in FURNACES
        for family in (*QUIET, *BRICKS)
    ]
    records = []
    for count, job in enumerate(jobs, 1):
        records.append(try_sheet(*job))
        print(f"\r{count} of {len(jobs)}", end="", file=sys.stderr)
    print(table(records))
    return 0


if __name__ == "__main__":
    sys.exit(main())
