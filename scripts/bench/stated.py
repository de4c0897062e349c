"""Which standard uncertainty of a volume is true: that of draws, or the closed form.

``python scripts/bench/stated.py`` surveys walls of the fleet by rod, radii only, and
holds what is stated of the rebuild volume and of every zone's volume against the truth:
as drawn jointly by the rules of `geom.compare.draws`, and as the process gives it in
closed form (Mehler's sum, a gamma of that mean and sd).  For zones' mean cut-back: from
the nodes of all the wall, and from a net of the zone's own.  Printed: surveys or zones,
share of 95 % intervals that hold the truth, mean interval score, root mean square of
(stated - true) / sd, and of the sds over those of the first way the 5 %, the median and
the 95 %.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import warnings
from pathlib import Path
from typing import Any

import fleet
import numpy as np
from fleet_scores import look
from fleet_surveys import WAYS, write_rods

import geom
from geom.compare.nodes import face_nodes, make_nodes
from geom.compare.volume import buildup_volume, gamma_quantity, rebuild_volume

LITRE = 1e-6
#: Ways to survey: rods, radii, all round.
_WAYS = (0, 1, 2, 3, 4, 5, 10)


def survey(job: fleet.Job) -> list[tuple[str, str, geom.Quantity, float]]:
    """Figures of one survey: name, how it was worked out, as stated, truth."""
    wall, rng = fleet.wall_of(job)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "lining.toml").write_text(wall.furnace.toml(), "utf-8")
        design = geom.load_design(folder / "lining.toml")
        write_rods(WAYS[job[1]], wall, rng, folder / "rods.csv")
        readings = geom.load_readings(folder / "rods.csv", design)
    surface = geom.reconstruct(readings, design)
    findings = geom.assess(surface, design)
    at, nodes, grid = look(wall, surface, findings), make_nodes(surface), surface.grid
    known = grid, findings.maps.cutback, findings.maps.cutback_sd
    lost = float(np.sum(at.patch * np.maximum(at.section, 0.0)))
    closed = gamma_quantity(
        rebuild_volume(*known), nodes.sd_of_excess(nodes.gather(grid.patch))
    )
    found = [
        ("rebuild", "draws", findings.volume.rebuild, lost),
        ("rebuild", "closed form", closed, lost),
    ]
    for zone in findings.zones:
        mask = (findings.maps.zone == zone.id) & at.seen
        if not mask.any():
            continue
        inward = zone.action == "chip"
        patch = np.where(mask, grid.patch, 0.0)
        true = float(
            np.sum(at.patch[mask] * np.maximum((-1) ** inward * at.section[mask], 0.0))
        )
        total = (buildup_volume if inward else rebuild_volume)(*known, patch=patch)
        own = face_nodes(surface, mask)
        area = np.where(mask, grid.face_area, 0.0)
        share = area / area.sum()
        mean = float(np.sum(share[mask] * at.true[mask]))
        middle = float(np.sum(share[mask] * surface.cutback[mask]))
        found += [
            ("zone", "draws", zone.volume, true),
            (
                "zone",
                "closed form",
                gamma_quantity(
                    total, nodes.sd_of_excess(nodes.gather(patch), inward=inward)
                ),
                true,
            ),
            (
                "zone",
                "closed form, own net",
                gamma_quantity(
                    total, own.sd_of_excess(own.gather(patch), inward=inward)
                ),
                true,
            ),
            ("zone mean", "nodes", zone.cutback_mean, mean),
            (
                "zone mean",
                "own net",
                geom.Quantity.normal(middle, own.sd_of_sum(own.gather(share))),
                mean,
            ),
        ]
    return found


def table(figures: list[tuple[str, str, geom.Quantity, float]]) -> str:
    """Coverage and scores of every figure and way to work it out."""
    lines = [
        f"{'':34} {'n':>5} {'held %':>7} {'score':>8} {'rms z':>6}  sd over the first's"
    ]
    kinds = dict.fromkeys((name, how) for name, how, _, _ in figures)
    first: dict[str, Any] = {}
    for name, how in kinds:
        some = [(q, true) for n, h, q, true in figures if (n, h) == (name, how)]
        scale = LITRE if name != "zone mean" else 1.0
        low, high, value, sd, true = (
            np.array(part)
            for part in zip(
                *((q.low95, q.high95, q.value, q.sd, true) for q, true in some),
                strict=True,
            )
        )
        held = (low <= true) & (true <= high)
        missed = np.maximum(low - true, 0.0) + np.maximum(true - high, 0.0)
        score = float(np.mean(high - low + 40.0 * missed)) * scale
        z = float(np.sqrt(np.mean(((value - true) / np.maximum(sd, 1e-9)) ** 2)))
        ratio = np.quantile(
            sd / np.maximum(first.setdefault(name, sd), 1e-9), [0.05, 0.5, 0.95]
        )
        lines.append(
            f"{name + ', ' + how:34} {len(some):5d} {100.0 * held.mean():7.1f}"
            f" {score:8.2f} {z:6.2f}" + "".join(f"{part:6.2f}" for part in ratio)
        )
    return "\n".join(lines)


def main(words: list[str] | None = None) -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--surveys", type=int, default=56)
    options = parser.parse_args(words)
    os.environ["OMP_NUM_THREADS"] = "1"
    warnings.simplefilter("ignore")
    every = [
        ((3 * w + 5 * f + 2) % len(fleet.FLEET), w, f)
        for f in range(len(fleet.FAMILIES))
        for w in _WAYS
    ]
    figures = []
    # every so many, so that fewer are of all kinds too
    some = every[:: max(1, len(every) // options.surveys)][: options.surveys]
    for count, job in enumerate(some, 1):
        figures += survey(job)
        print(f"\r{count} of {len(some)}", end="", file=sys.stderr)
    print(table(figures))
    return 0


if __name__ == "__main__":
    sys.exit(main())
