"""The fleet: is what is stated true where nobody tuned it.

``python scripts/bench/fleet.py --out FILE`` surveys a balanced part of 12 drawings x 16
ways to survey x 8 families of wear (640 surveys; every way meets every family five
times, drawings in turn) and adds a line of JSON for each to FILE; what stands there
already is not done again.  ``--quick`` does 64.  ``--table`` prints the table alone.

For every quantity: the share of 95 % intervals that hold the truth, the mean interval
score over that of the truth's scale, and error; for points also root-mean-square error
against the peers on the same readings.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
import warnings
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from fleet_furnaces import FLEET, Furnace
from fleet_scores import against_peers, score
from fleet_surveys import WAYS, Wall, write_cloud, write_rods
from fleet_walls import FAMILIES, HOSTILE, Float, Room, make_wall

import geom

Job = tuple[int, int, int]
#: The fleet's scanner has noise and no other error; single points have that noise.
_SCANNER = "\n[scanner]\nrange_error = 0\nscale_error = 0\n"


def jobs(*, quick: bool) -> list[Job]:
    """Furnace, way and family of every survey; balanced, and so is each fifth."""
    return [
        ((3 * w + 5 * f + 5 * k) % len(FLEET), w, f)
        for k in range(1 if quick else 5)
        for w in range(len(WAYS))
        for f in range(len(FAMILIES))
        if not quick or (w + f) % 2 == 0
    ]


def room_of(furnace: Furnace) -> Room:
    """What a family of wear has to know of a furnace."""
    mm = furnace.mm
    return Room(
        radius=float(np.mean([r for _, r in furnace.profile])) * mm,
        top=furnace.profile[-1][0] * mm,
        tuyeres=max(row[1] for row in furnace.tuyeres) * mm,
        thickness=furnace.lining * mm,
    )


def wall_of(job: Job) -> tuple[Wall, np.random.Generator]:
    """The true wall of a survey, and what its readings are drawn with."""
    furnace, family = FLEET[job[0]], FAMILIES[job[2]]
    rng = np.random.default_rng([20, *job])
    mm, room = furnace.mm, room_of(furnace)
    field = make_wall(family, rng, room)
    bands = [(low * mm, high * mm) for low, high in furnace.bands]

    def cutback(azimuth: Float, height: Float) -> Float:
        value = np.minimum(field(azimuth, height), 0.9 * room.thickness)
        for low, high in bands:
            value = np.where((height >= low) & (height <= high), 0.0, value)
        return value

    return Wall(furnace, cutback), rng


def survey(job: Job) -> dict[str, Any]:
    """Survey one wall and hold every stated figure against the truth."""
    warnings.simplefilter("ignore")
    wall, rng = wall_of(job)
    way, family = WAYS[job[1]], FAMILIES[job[2]]
    record: dict[str, Any] = {
        "job": list(job),
        "furnace": wall.furnace.name,
        "way": way.name,
        "family": family,
    }
    with tempfile.TemporaryDirectory() as folder:
        drawn = Path(folder) / "lining.toml"
        drawn.write_text(wall.furnace.toml() + _SCANNER, "utf-8")
        design = geom.load_design(drawn)
        pose = None
        if way.kind == "cloud":
            path = Path(folder) / "cloud.npy"
            pose = write_cloud(way, wall, rng, path)
            start = time.perf_counter()
            readings = geom.load_readings(
                path, design, cloud_unit="mm", sparse="1000" in way.name
            )
        else:
            path = Path(folder) / "rods.csv"
            write_rods(way, wall, rng, path)
            start = time.perf_counter()
            readings = geom.load_readings(path, design)
        try:
            surface = geom.reconstruct(readings, design)
            findings = geom.assess(surface, design)
        except geom.InputError as refused:
            return record | {"refused": str(refused)[:200]}
        record["seconds"] = time.perf_counter() - start
        score(record, wall, surface, findings, pose)
        if way.kind == "rods":
            against_peers(record, readings, design, way.noise)
    return {key: value for key, value in record.items() if key[0] != "_"}


def run(todo: list[Job], workers: int) -> Iterator[dict[str, Any]]:
    """Survey them all, on that many processes."""
    os.environ["OMP_NUM_THREADS"] = "1"
    if workers == 1:
        yield from map(_guarded, todo)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(_guarded, todo)


def _guarded(job: Job) -> dict[str, Any]:
    try:
        return survey(job)
    except Exception as fault:  # a fault is a finding of the fleet
        return {
            "job": list(job),
            "furnace": FLEET[job[0]].name,
            "way": WAYS[job[1]].name,
            "family": FAMILIES[job[2]],
            "fault": f"{type(fault).__name__}: {fault}"[:300],
        }


def table(records: list[dict[str, Any]]) -> str:
    """Print coverage, errors and scores, and the worst walls."""
    lines = []
    refused = [r for r in records if "refused" in r]
    faults = [r for r in records if "fault" in r]
    good = [r for r in records if "points" in r]
    lines.append(
        f"{len(records)} surveys: {len(good)} told, {len(refused)} refused, "
        f"{len(faults)} faults"
    )
    by: dict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for r in good:
        for name, value, true, held, points in r["figures"]:
            by[name].append((r["way"], r["family"], value, true, held, points))
    lines.append(
        f"{'quantity':16} {'n':>5} {'held %':>7} {'hostile':>8} {'others':>7}"
        f" {'bias':>8} {'score':>8}"
    )
    covered = [r["points"][0] for r in good]
    hostile = [r["points"][0] for r in good if r["family"] in HOSTILE]
    easy = [r["points"][0] for r in good if r["family"] not in HOSTILE]
    lines.append(
        f"{'points':16} {len(good):5d} {_percent(covered):>7} {_percent(hostile):>8}"
        f" {_percent(easy):>7} {'':8} {np.mean([r['points'][2] for r in good]):8.2f}"
    )
    for name, rows in by.items():
        hard = [row[4] for row in rows if row[1] in HOSTILE]
        soft = [row[4] for row in rows if row[1] not in HOSTILE]
        bias = np.mean([row[2] - row[3] for row in rows])
        lines.append(
            f"{name:16} {len(rows):5d} {_percent([row[4] for row in rows]):>7}"
            f" {_percent(hard):>8} {_percent(soft):>7} {bias:8.2f}"
            f" {np.mean([row[5] for row in rows]):8.2f}"
        )
    for key, title in (("way", "by way"), ("family", "by family")):
        lines.append(
            f"\n{title}: held % of points, rebuild, buildup, net, deepest, left"
        )
        for name in dict.fromkeys(r[key] for r in good):
            some = [r for r in good if r[key] == name]
            cells = [_percent([r["points"][0] for r in some])]
            for quantity in ("rebuild", "buildup", "net", "deepest", "lining left"):
                held = [f[3] for r in some for f in r["figures"] if f[0] == quantity]
                cells.append(_percent(held))
            rel = [
                (f[1] - f[2]) for r in some for f in r["figures"] if f[0] == "rebuild"
            ]
            ratio = [
                r["own rmse"] / r["peers"]["thin plate"]
                for r in some
                if "peers" in r and r["peers"]["thin plate"] > 0.3
            ]
            tail = f"  rebuild off {np.mean(rel):6.2f} L"
            if ratio:
                tail += (
                    f"  rmse/thin plate median {np.median(ratio):.2f}"
                    f" worst {np.max(ratio):.2f}"
                )
            lines.append(f"  {name:24}" + " ".join(f"{c:>6}" for c in cells) + tail)
    lines.append(
        "\np_brick by tenth: stated, happened give or take 2 sd over surveys, share"
    )
    lines += _reliability(np.array([r["p_brick"] for r in good]))
    peers_of = [r for r in good if "peers" in r]
    for name in ("thin plate", "scikit-learn", "Verde", "end areas"):
        some = [r for r in peers_of if name in r["peers"]]
        ratio = [r["own rmse"] / max(r["peers"][name], 0.3) for r in some]
        if ratio:
            lines.append(
                f"rmse over {name}: median {np.median(ratio):.3f},"
                f" mean {np.mean(ratio):.3f}, worst {np.max(ratio):.2f} of {len(some)}"
            )
    scored = [r for r in peers_of if "peer score" in r]
    if scored:
        own = np.mean([r["points"][2] for r in scored])
        lines.append(
            f"interval score {own:.2f}, scikit-learn's "
            f"{np.mean([r['peer score'] for r in scored]):.2f}"
            f" (its points held {_percent([r['peer held'] for r in scored])} %)"
        )
    worst = sorted(
        (r for r in peers_of if r["peers"]["thin plate"] > 0.3),
        key=lambda r: -r["own rmse"] / r["peers"]["thin plate"],
    )[:8]
    lines.append("worst walls against thin plate:")
    lines += [
        f"  {r['own rmse'] / r['peers']['thin plate']:.2f} {r['furnace']}, {r['way']},"
        f" {r['family']} {r['job']}"
        for r in worst
    ]
    lines += [f"refused: {r['furnace']}, {r['way']}: {r['refused']}" for r in refused]
    lines += [f"FAULT: {r['furnace']}, {r['way']}: {r['fault']}" for r in faults]
    seconds = [r["seconds"] for r in good]
    lines.append(f"seconds a survey: median {np.median(seconds):.2f}")
    return "\n".join(lines)


def _reliability(tenths: Float) -> list[str]:
    """Lines of what was stated and what happened.

    Places of one wall are off together, so the standard deviation is that of a ratio
    of sums over walls (Cochran 1977, Sampling Techniques, eq. 6.13; from memory).

    Parameters
    ----------
    tenths : array (surveys, 3, 10)
        Share of the wall, of that times what was stated, of that times what happened.
    """
    lines = []
    for count, stated, happened in np.moveaxis(tenths, 0, -1).swapaxes(0, 1):
        whole = count.sum()
        if whole == 0.0:
            continue
        off = (happened - stated).sum() / whole
        sd = float(np.sqrt(np.sum((happened - stated - off * count) ** 2))) / whole
        lines.append(
            f"  {stated.sum() / whole:5.3f} {happened.sum() / whole:5.3f}"
            f" +- {2.0 * sd:5.3f} ({100.0 * whole / len(tenths):.1f} %)"
        )
    return lines


def _percent(held: list[Any]) -> str:
    return f"{100.0 * float(np.mean(held)):.1f}" if held else "-"


def main(words: list[str] | None = None) -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    parser.add_argument("--quick", action="store_true", help="64 surveys")
    parser.add_argument("--table", action="store_true", help="the table alone")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--way", help="only ways whose name holds this")
    parser.add_argument("--family", help="only this family")
    options = parser.parse_args(words)
    records = []
    if options.out.is_file():
        lines = options.out.read_text("utf-8").splitlines()
        records = [json.loads(line) for line in lines]
    done = {tuple(r["job"]) for r in records}
    if not options.table:
        todo = [job for job in jobs(quick=options.quick) if job not in done]
        todo = [
            job
            for job in todo
            if (options.way or "") in WAYS[job[1]].name
            and options.family in (None, FAMILIES[job[2]])
        ]
        with options.out.open("a", encoding="utf-8") as file:
            for count, record in enumerate(run(todo, options.workers), 1):
                file.write(json.dumps(record) + "\n")
                file.flush()
                records.append(record)
                print(f"\r{count} of {len(todo)}", end="", file=sys.stderr)
    print(table(records))
    return 0


if __name__ == "__main__":
    sys.exit(main())
