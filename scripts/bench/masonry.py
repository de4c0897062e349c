"""Brickwork on the fleet: what it cuts, whether it stands, and what comes of it.

``python scripts/bench/masonry.py --out FILE`` surveys worn walls of five furnaces with
24 x 16 and 8 x 6 readings of 2 mm, plans them and adds a line of JSON for each to FILE;
what stands there already is not done again.  Walls are worn as the fleet's are, to
45 mm and a third more, and 1.7 times so.  For every brick zone: sound lining cut and
brick laid, over what is lost there, as planned and on the true wall; whether the bricks
are solids that stand clear of each other and of the lining that has to stay; whether a
ring that is burnt all round raises the stop.  Then the plan is laid as printed: every
brick where its row of the course table has it, pushed into the bore by as much as it
lacks room in the true wall (no more is squared than the shop says), left out for daub
where that is more than 1/8 in, daubed to the drawn face; and read and rechecked by
24 x 16 readings.

``--orders`` holds order lists against forty walls of other seeds: what is needed is
what the same rule plans on the true wall, and an order suffices where that can be done
with it, daub in place of bricks that run short.  ``--table`` prints the tables alone.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import fleet
import numpy as np
from fleet_surveys import Wall, Way, write_rods
from fleet_walls import FAMILIES, Float, texture
from masonry_checks import Pushed, into_least, overlap, pushed_out
from masonry_demand import demand_by_rule
from masonry_table import orders_table, plans_table
from recheck import as_before

import geom
from geom.design import Design
from geom.repair import RepairPackage
from geom.repair.acceptance.recheck import recheck
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bricks import brick_volume, bricks_of
from geom.repair.masonry.pieces import pieces_of
from geom.repair.masonry.relining import relined_bands
from geom.repair.package import plan_support
from geom.repair.plan.openings import bricks_for, opening_demands
from geom.repair.plan.order import clay_of, made_up, sand_of
from geom.repair.plan.plan import plan_repair
from geom.repair.wall import Wall as KnownWall

#: Furnaces: 27 in with a lining of 4 1/2 in, 36 in, 42 in with lips, 60 in boshed with
#: a tapered well, 900 mm with two rows of tuyeres.
FURNACES = (2, 4, 5, 7, 8)
#: Families that go past the brick line.
KINDS = ("ring", "bricks", "one-sided", "streaks")
#: How many times as deep as the fleet's walls.
DEEPER = (1.0, 1.7)
#: No wall is worn past this share of its lining.
WORN = 0.7
DENSE, SPARSE = Way("24x16", 24, 16), Way("8x6", 8, 6)
#: Lining that has to stay, as a share of it.
LEAST = 0.5
#: A ring of the true wall past the brick line so far round is burnt.
BURNT = 0.95
#: A brick that would stand out further than this is left out, mm: 1/8 in.
NO_ROOM = 3.175
#: Roughness of a repaired face, mm.
ROUGH = 0.6

Job = tuple[int, int, int, str, float]


def jobs(seeds: int, first: int) -> list[Job]:
    """Furnace, seed, family, sheet and depth of every wall; sparse only where deep."""
    return [
        (furnace, first + seed, FAMILIES.index(kind), way.name, deeper)
        for seed in range(seeds)
        for way, deeper in ((DENSE, 1.7), (SPARSE, 1.7), (DENSE, 1.0))
        for kind in KINDS
        for furnace in FURNACES
    ]


def surveyed(job: Job, folder: Path) -> tuple[Wall, Design, Any, Any, Any]:
    """A wall, its drawing, and what a survey finds; with the generator of readings."""
    furnace, seed, family, name, deeper = job
    shallow, rng = fleet.wall_of((furnace, seed, family))
    wall = _deepened(shallow, deeper)
    drawn = wall.furnace.toml().replace(
        "[shell]\n", f"[shell]\nleast_lining = {LEAST * wall.furnace.lining}\n"
    )
    (folder / "lining.toml").write_text(drawn, "utf-8")
    design = geom.load_design(folder / "lining.toml")
    way = DENSE if name == DENSE.name else SPARSE
    write_rods(way, wall, rng, folder / "before.csv")
    surface = geom.reconstruct(
        geom.load_readings(folder / "before.csv", design), design
    )
    return wall, design, surface, geom.assess(surface, design), rng


def _deepened(wall: Wall, deeper: float) -> Wall:
    most = WORN * wall.furnace.lining * wall.furnace.mm

    def cutback(azimuth: Float, height: Float) -> Float:
        return np.minimum(deeper * wall.cutback(azimuth, height), most)

    return Wall(wall.furnace, cutback)


def plan_wall(job: Job) -> dict[str, Any]:
    """Plan one wall, check its brickwork, lay it and recheck it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wall, design, surface, findings, rng = surveyed(job, folder)
        start = time.perf_counter()
        works = _package(surface, findings, design)
        record: dict[str, Any] = {
            "job": list(job),
            "furnace": wall.furnace.name,
            "family": FAMILIES[job[2]],
            "way": job[3],
            "deeper": f"{job[4]:g} times as deep",
            "seconds": time.perf_counter() - start,
        }
        record["zones"] = [_zone(zone, wall, design) for zone in _bricked(works)]
        record["daubed"] = sum(
            zone.action == "brick" and zone.brickwork is None
            for zone in works.plan.zones
        )
        bricks = [b for zone in _bricked(works) for b in zone.brickwork.bricks]
        record["into_least"] = max((into_least(b, surface) for b in bricks), default=0)
        record["bricks"] = len(bricks)
        record["overlap"] = overlap(bricks, design.azimuth_sense)
        record |= _support(works, wall, design, surface)
        if bricks:
            record["recheck"] = _laid_and_rechecked(
                wall, design, surface, findings, works, rng, folder
            )
    return record


def _package(surface: Any, findings: Any, design: Design) -> RepairPackage:
    """What `prepare_repair` works out, the order list on two walls only."""
    plan = plan_repair(surface, findings, design, draws=2)
    support = plan_support(plan, surface, findings, design)
    return RepairPackage(
        plan=plan,
        support=support,
        relining=relined_bands(design, support.stops),
        taper=(),
        melting=None,
        bottom=None,
        drying=None,
        settings=None,
    )


def _bricked(works: RepairPackage) -> list[Any]:
    return [zone for zone in works.plan.zones if zone.brickwork is not None]


def _zone(zone: Any, wall: Wall, design: Design) -> dict[str, Any]:
    """What is cut and laid, over what is lost: as planned, and on the true wall."""
    laid = zone.brickwork
    backs = [pushed_out(brick, wall, design) for brick in laid.bricks]
    return {
        "id": zone.id,
        "lost": zone.rebuild,
        "bricks": len(laid.bricks),
        "halves": sum(not b.piece.whole for b in laid.bricks),
        "skins": laid.skins,
        "volume": laid.volume,
        "cut": laid.cut,
        "true_cut": sum(back.cut for back in backs),
        "protrusion": max(back.most for back in backs),
        "cover": min(back.cover for back in backs),
        "account": laid.volume
        + laid.joints
        + laid.daub
        - (zone.rebuild + laid.cut + laid.before),
    }


def _support(
    works: RepairPackage, wall: Wall, design: Design, surface: Any
) -> dict[str, Any]:
    support, grid = works.support, surface.grid
    true = wall.cutback(grid.azimuth[None, :], grid.height[:, None])
    past = (true > design.repair.brick_threshold) & (grid.counted > 0.0)
    counted = np.maximum((grid.counted > 0.0).sum(axis=1), 1)
    burnt = float(np.max(past.sum(axis=1) / counted))
    return {
        "burnt": burnt,
        "stop": [stop.reason for stop in support.stops],
        "open_share": support.open_share,
        "segments": len(support.segments),
        "behind": None if support.behind is None else support.behind.lining,
        "kept": None if support.behind is None else support.behind.kept,
        "relining": all(band.ways for band in works.relining),
    }


def _laid_and_rechecked(  # noqa: PLR0917
    wall: Wall,
    design: Design,
    surface: Any,
    findings: Any,
    works: RepairPackage,
    rng: np.random.Generator,
    folder: Path,
) -> dict[str, Any]:
    """Lay the plan on the true wall, read that, and recheck it."""
    before = as_before(surface, findings)
    every = [
        pushed_out(brick, wall, design)
        for zone in _bricked(works)
        for brick in zone.brickwork.bricks
    ]
    backs = [back for back in every if back.proud <= NO_ROOM and back.brick.skin == 1]
    new = _repaired(wall, surface.grid, works, backs, rng)
    write_rods(DENSE, new, rng, folder / "after.csv")
    readings = geom.load_readings(folder / "after.csv", design)
    after = geom.reconstruct(readings, design, repaired=before)
    result = recheck(before, after, geom.assess(after, design), design)
    own = {zone.id for zone in _bricked(works)}
    zones = [z for z in result.zones if z.id in own and not z.found_now]
    back = [
        _zone_back(new, after.grid, findings, surface.grid, zone.id, design)
        for zone in zones
    ]
    return {
        "zones": [zone.face.decision for zone in zones],
        "zones_back": back,
        "levels": [level.decision for level in result.levels],
        "levels_off": [_level_off(new, level.height) for level in result.levels],
        "tolerance": design.repair.tolerance,
        "verdict": result.verdict,
        "proud": max((back.proud for back in backs), default=0.0),
        "left_out": sum(back.proud > NO_ROOM for back in every),
    }


def _repaired(
    wall: Wall,
    grid: Any,
    works: RepairPackage,
    backs: Sequence[Pushed],
    rng: np.random.Generator,
) -> Wall:
    """The wall after the repair: zones on the drawing, but where brick stands proud."""
    rough = texture(rng, fleet.room_of(wall.furnace), ROUGH)
    done = np.zeros(grid.shape, dtype=bool)
    for zone in works.plan.zones:
        done |= zone.share > 0.0

    def cutback(azimuth: Float, height: Float) -> Float:
        azimuth, height = np.broadcast_arrays(azimuth, height)
        column = np.rint(azimuth * grid.azimuth.size / 360.0).astype(int)
        row = np.clip(np.searchsorted(grid.edge, height) - 1, 0, grid.height.size - 1)
        here = done[row, column % grid.azimuth.size]
        value = np.where(here, rough(azimuth, height), wall.cutback(azimuth, height))
        for back in backs:
            value = np.minimum(value, back.face_depth(azimuth, height, wall))
        return value

    return Wall(wall.furnace, cutback)


def _zone_back(  # noqa: PLR0917
    wall: Wall, grid: Any, findings: Any, was: Any, zone: int, design: Design
) -> bool:
    """Whether a zone of the survey before is back, by the recheck's own rule."""
    row = np.clip(np.searchsorted(was.edge, grid.height) - 1, 0, was.height.size - 1)
    column = np.rint(grid.azimuth / 360.0 * was.azimuth.size).astype(int)
    mask = (findings.maps.zone == zone)[np.ix_(row, column % was.azimuth.size)]
    mask &= grid.surveyed & ~grid.opening
    off = wall.cutback(grid.azimuth[None, :], grid.height[:, None])[mask]
    area, most = grid.face_area[mask], design.repair.tolerance
    mean = float(np.average(off, weights=area))
    within = float(np.average(np.abs(off) <= most, weights=area))
    return bool(abs(mean) <= most and within >= ASSUMED.face_share)


def _level_off(wall: Wall, height: float) -> float:
    """By how much the circle of the true section's area is off the drawing, mm."""
    azimuth = np.arange(0.0, 360.0, 0.5)
    up = np.full(azimuth.shape, height)
    closed = ~wall.open_at(azimuth, up)
    radius, drawn = wall.radius(azimuth, up)[closed], wall.drawn(up)[closed]
    return float(np.sqrt(np.mean(radius**2)) - np.sqrt(np.mean(drawn**2)))


def order_wall(job: Job) -> dict[str, Any]:
    """Plan one wall and hold the order against what the true wall takes."""
    with tempfile.TemporaryDirectory() as name:
        wall, design, surface, findings, _ = surveyed(job, Path(name))
        start = time.perf_counter()
        plan = plan_repair(surface, findings, design)
        seconds = time.perf_counter() - start
    grid, mix = surface.grid, design.shop.mix
    true = wall.cutback(grid.azimuth[None, :], grid.height[:, None])
    true = np.where(grid.surveyed, true, np.nan)
    known = KnownWall(grid, true, np.zeros(grid.shape), design)
    bricks = bricks_of(design)
    lines = {line.material: line for line in plan.order}
    solid = {brick.name: brick_volume(brick) * 1e-6 for brick in bricks}
    # Openings are taken to need one draw of what they may: none was made worse than
    # its drawing by the bench.
    *_, opened = opening_demands(plan.openings, None, 1, seed=job[1])
    need = demand_by_rule(known, pieces_of(bricks)).plus(opened)
    filled = bricks_for(plan.openings, breakage=design.shop.brickwork.breakage)
    besides = sum(count * solid[name] for name, count in filled.items())
    ordered = {
        what: sum(solid[b] * getattr(lines[b], what) for b in solid if b in lines)
        - besides
        for what in ("best", "enough")
    }
    # daub makes up for what is short of bricks: that is what the order has to cover
    with_order = made_up(need, ordered["enough"] * 1e6)
    taken = min(need.brick * 1e-6, ordered["enough"])
    held = {"bricks": [ordered["best"], ordered["enough"], need.brick * 1e-6, taken]}
    for material, amount in (("sand", sand_of), ("fire clay", clay_of)):
        line = lines.get(material)
        best, enough = (0.0, 0.0) if line is None else (line.best, line.enough)
        held[material] = [best, enough, amount(need, mix), amount(with_order, mix)]
    return {
        "job": list(job),
        "furnace": wall.furnace.name,
        "family": FAMILIES[job[2]],
        "way": job[3],
        "deeper": f"{job[4]:g} times as deep",
        "seconds": seconds,
        "orders": held,
    }


def order_jobs(count: int) -> list[Job]:
    """Walls of seeds of their own: of twenty of a sheet, each kind in each furnace.

    Dense and sparse in turn, as deep as the fleet's and deeper in turn, so that no
    kind of wear is read in one furnace alone.
    """
    return [
        (
            FURNACES[k // 2 % len(FURNACES)],
            900 + k,
            FAMILIES.index(KINDS[k // 2 % len(KINDS)]),
            DENSE.name if k % 2 == 0 else SPARSE.name,
            DEEPER[k // 2 // len(KINDS) % len(DEEPER)],
        )
        for k in range(count)
    ]


def _kept(path: Path | None) -> list[dict[str, Any]]:
    if path is None or not path.exists():
        return []
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def run(todo: Sequence[Job], work: Any, out: Path | None) -> Iterator[dict[str, Any]]:
    """Each wall in turn; a line of JSON for each."""
    for number, job in enumerate(todo, 1):
        record = work(job)
        if out is not None:
            with out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(record) + "\n")
        print(f"\r{number} of {len(todo)}", end="", file=sys.stderr)
        yield record


def main(words: Sequence[str] | None = None) -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--out", type=Path, metavar="FILE")
    parser.add_argument("--seeds", type=int, default=1, help="walls of each kind")
    parser.add_argument("--first", type=int, default=300, help="seed of the first")
    parser.add_argument("--orders", type=int, nargs="?", const=40, metavar="WALLS")
    parser.add_argument("--table", action="store_true")
    options = parser.parse_args(words)
    os.environ["OMP_NUM_THREADS"] = "1"
    warnings.simplefilter("ignore")
    orders = options.orders is not None
    kept = [r for r in _kept(options.out) if ("orders" in r) == orders]
    if not options.table:
        every = (
            order_jobs(options.orders) if orders else jobs(options.seeds, options.first)
        )
        done = {tuple(record["job"]) for record in kept}
        todo = [job for job in every if job not in done]
        kept += run(todo, order_wall if orders else plan_wall, options.out)
        print(file=sys.stderr)
    print(orders_table(kept) if orders else plans_table(kept))
    return 0


if __name__ == "__main__":
    sys.exit(main())
