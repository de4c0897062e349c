"""Is a recheck true: repairs that end in steps, zone by zone, against the truth.

``python scripts/bench/recheck.py --out FILE`` surveys worn walls of the fleet, repairs
every zone found (each to the drawing with an error of its own of 0 to 12 mm, its edges
stepped, a little rough), reads the repaired walls 24 x 16, 16 x 14 and 12 x 10 and
rechecks them.  Furnaces drawn in millimetres are read with 2 mm noise, those in inches
in eighths with the errors of a rod: off the axis, a degree and a quarter inch off its
place (the tool takes an eighth for granted).  Printed: zones accepted though they are
not back by the tool's own rule, zones rejected though they are, and how often the 95 %
interval of a zone's mean deviation holds the truth: with the zones known, and, with
``--smooth``, fitted as if nobody knew of them too; at last, how many of those that are
back were accepted, by how far they are off, and zones that no reading stands in and how
many of these were accepted.  ``--first`` takes walls of other seeds.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import sys
import tempfile
import warnings
from pathlib import Path
from typing import Any

import fleet
import numpy as np
from fleet_surveys import Wall, Way, write_rods
from fleet_walls import Float, texture

import geom
from geom.compare.nodes import make_nodes
from geom.readings.surveys import PastSurvey, SurveyBefore, ZoneBefore
from geom.repair.acceptance.judge import RepairedWall
from geom.repair.acceptance.material import wall_before
from geom.repair.assumptions import ASSUMED

#: Furnace and family of the walls before the repair.
FURNACES = (2, 3, 4, 6, 8, 9)
KINDS = ("ring", "one-sided", "bricks", "ledges")
ERROR = 12.0
#: How walls are read, by the unit of their drawing; the first before the repair too.
READ = {
    "mm": (Way("16x14", 16, 14), Way("24x16", 24, 16), Way("12x10", 12, 10)),
    "in": (
        Way("eighths, 16x14", 16, 14),
        Way("eighths, 24x16", 24, 16),
        Way("eighths, 12x10", 12, 10),
    ),
}
#: Zones that are back are told apart by how far they are off, mm.
OFF = (0.0, 2.0, 4.0, 7.0)


def repaired(wall: Wall, grid: Any, zone: Any, rng: np.random.Generator) -> Wall:
    """The wall with every zone filled up to an error of its own."""
    error = np.append(0.0, rng.uniform(0.0, ERROR, int(zone.max())))
    rough = texture(rng, fleet.room_of(wall.furnace), 0.6)

    def cutback(azimuth: Float, height: Float) -> Float:
        column = np.rint(azimuth * grid.azimuth.size / 360.0).astype(int)
        row = np.clip(np.searchsorted(grid.edge, height) - 1, 0, grid.height.size - 1)
        here = zone[row, column % grid.azimuth.size]
        filled = error[here] + rough(azimuth, height)
        return np.where(here > 0, filled, wall.cutback(azimuth, height))

    return Wall(wall.furnace, cutback)


def as_before(surface: Any, findings: Any) -> SurveyBefore:
    """A survey as a recheck reads it from its folder."""
    rows = surface.grid.surveyed_rows
    fields = (surface.cutback[rows], surface.radius_sd[rows])
    names = ZoneBefore.__dataclass_fields__
    return SurveyBefore(
        survey=PastSurvey(surface.height[rows], surface.azimuth, *fields),
        zone=findings.maps.zone[rows],
        zones=tuple(
            ZoneBefore(**{name: getattr(zone, name) for name in names})
            for zone in findings.zones
        ),
        title="before",
        created=findings.created,
        low=findings.surveyed.height_from,
        high=findings.surveyed.height_to,
        rebuild=findings.volume.rebuild,
        net=findings.volume.net,
    )


def recheck_wall(
    seed: int, furnace: int, family: int, *, smooth: bool, first: int = 100
) -> list[Any]:
    """Zones of one repaired wall, read in two ways, fitted with zones known or not."""
    warnings.simplefilter("ignore")
    wall, rng = fleet.wall_of((furnace, first + seed, family))
    records = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "lining.toml").write_text(wall.furnace.toml(), "utf-8")
        design = geom.load_design(folder / "lining.toml")
        ways = READ[wall.furnace.unit]
        write_rods(ways[0], wall, rng, folder / "before.csv", slip_rate=0.0)
        readings = geom.load_readings(folder / "before.csv", design)
        surface = geom.reconstruct(readings, design)
        findings = geom.assess(surface, design)
        before = as_before(surface, findings)
        zone = findings.maps.zone
        new = repaired(wall, surface.grid, zone, rng)
        for way in ways:
            write_rods(way, new, rng, folder / "after.csv", slip_rate=0.0)
            readings = geom.load_readings(folder / "after.csv", design)
            for known in (False, True) if smooth else (True,):
                surface = geom.reconstruct(
                    readings, design, repaired=before if known else None
                )
                labels = {
                    "furnace": wall.furnace.name,
                    "way": way.name,
                    "known": known,
                    "family": fleet.FAMILIES[family],
                }
                records += [r | labels for r in _zones(surface, new, before, design)]
    return records


def _zones(surface: Any, wall: Wall, before: SurveyBefore, design: Any) -> list[Any]:
    """Every zone as `geom.repair.acceptance.recheck` judges it, and as it is."""
    grid, tolerance = surface.grid, design.repair.tolerance
    true = wall.cutback(grid.azimuth[None, :], grid.height[:, None])
    was = wall_before(before, grid)
    now = RepairedWall(surface, make_nodes(surface), tolerance)
    found = []
    for zone in before.zones:
        mask = was.zone == zone.id
        face = now.check(mask, repaired=True)
        stated = face.deviation
        mask &= grid.surveyed & ~grid.opening
        if not mask.any():
            continue
        if stated is None:
            found.append({"decision": face.decision, "unread": True})
            continue
        area = grid.face_area[mask]
        mean = float(np.average(true[mask], weights=area))
        share = float(np.average(np.abs(true[mask]) <= tolerance, weights=area))
        # the deviation stated is that of what was measured, the verdict of the whole
        seen = mask & now.reached_within(was.zone == zone.id)
        held = float(np.average(true[seen], weights=grid.face_area[seen]))
        found.append(
            {
                "decision": face.decision,
                "back": bool(abs(mean) <= tolerance and share >= ASSUMED.face_share),
                "true": held,
                "mean": stated.value,
                "sd": stated.sd,
                "held": bool(stated.low95 <= held <= stated.high95),
                "area": float(area.sum()),
                "chance": face.chance,
                "measured": face.measured,
                "action": zone.action,
                "unread": False,
            }
        )
    return found


def table(records: list[Any]) -> str:
    """False acceptance and coverage, altogether and by furnace and way."""
    lines = [
        f"{'':34} {'zones':>6} {'accepted':>9} {'falsely':>8} {'rejected':>9}"
        f" {'falsely':>8} {'held %':>7} {'sd':>5} {'rms':>5}"
    ]
    groups = {"all": records}
    for key in ("way", "family", "furnace"):
        for name in dict.fromkeys(r[key] for r in records):
            groups[name] = [r for r in records if r[key] == name]
    for name, every in groups.items():
        for known in (False, True):
            some = [r for r in every if r["known"] is known and not r["unread"]]
            if not some:
                continue
            accepted = [r for r in some if r["decision"] == "accept"]
            rejected = [r for r in some if r["decision"] == "reject"]
            off = np.array([r["mean"] - r["true"] for r in some])
            label = name + (", zones known" if known else "")
            lines.append(
                f"{label:34} {len(some):6d} {len(accepted):9d}"
                f" {sum(not r['back'] for r in accepted):8d} {len(rejected):9d}"
                f" {sum(r['back'] for r in rejected):8d}"
                f" {100.0 * np.mean([r['held'] for r in some]):7.1f}"
                f" {np.mean([r['sd'] for r in some]):5.2f}"
                f" {np.sqrt(np.mean(off**2)):5.2f}"
            )
    for way in dict.fromkeys(r["way"].removeprefix("eighths, ") for r in records):
        back = [r for r in records if r["known"] and r.get("back")]
        back = [r for r in back if r["way"].endswith(way)]
        parts = []
        for low, high in itertools.pairwise(OFF):
            some = [r["decision"] for r in back if low <= abs(r["true"]) < high]
            parts.append(
                f"{low:g} to {high:g} mm {some.count('accept')} of {len(some)}"
            )
        accepted = sum(r["decision"] == "accept" for r in back)
        lines.append(
            f"{way}: of {len(back)} back {accepted} accepted; off by {', '.join(parts)}"
        )
    unread = [r for r in records if r["unread"] and r["known"]]
    wrongly = sum(r["decision"] == "accept" for r in unread)
    lines.append(f"no reading in it: {len(unread)} zones, {wrongly} accepted")
    return "\n".join(lines)


def main(words: list[str] | None = None) -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--out", type=Path, metavar="FILE")
    parser.add_argument("--walls", type=int, default=24)
    parser.add_argument("--first", type=int, default=100, help="seed of the first wall")
    parser.add_argument("--smooth", action="store_true", help="zones unknown too")
    options = parser.parse_args(words)
    os.environ["OMP_NUM_THREADS"] = "1"
    records = []
    for k in range(options.walls):
        furnace = FURNACES[k % len(FURNACES)]
        family = fleet.FAMILIES.index(KINDS[(k + k // len(FURNACES)) % len(KINDS)])
        records += recheck_wall(
            k, furnace, family, smooth=options.smooth, first=options.first
        )
        print(f"\r{k + 1} of {options.walls}", end="", file=sys.stderr)
        if options.out:
            options.out.write_text(json.dumps(records), "utf-8")
    print(table(records))
    return 0


if __name__ == "__main__":
    sys.exit(main())
