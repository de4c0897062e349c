"""How true the surface of a laser scan is: pose, wall in shadow, rebuild volume.

``python scripts/bench/scanned.py --scenes 40``

Scans whose every point is known (`scans`): 2 mm noise along the radius, 5 % of the
points anywhere, 30 % of the wall hidden, the scanner up to 80 mm off the axis and
tilted by up to 2 degrees, worn walls of every family.  Twice: points evenly over the
wall, with plain patches hidden; and as a scanner meets it from where it stands, with
chains, a ladder and lumps in front, which meets the datum band at a grazing angle.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

import geom
from geom.readings import Cloud, CloudReadings
from geom.readings.cloud import no_rod_readings
from geom.stats.normal import expected_excess
from geom.units import Float
from scans import Held, Scene, make_scene

#: Parts of a cell, each way, that the true volume is summed over.
_PARTS = (-0.375, -0.125, 0.125, 0.375)


@dataclass(frozen=True)
class Score:
    """Of one scene; lengths mm, tilts degrees, volumes percent of the true one.

    ``pose_held`` counts which of the four pose parameters lie within 1.96 sd.
    """

    family: str
    offset: float
    tilt: float
    pose_held: float
    hidden: float
    rms_seen: float
    rms_hidden: float
    seen_held: float
    hidden_held: float
    volume: float
    half_width: float
    volume_held: bool
    seconds: float


def survey(scene: Scene) -> tuple[geom.RadialSurface, geom.Findings, float]:
    """Surface and findings of a scene, and how long they took."""
    cloud = Cloud(
        source=Held(scene.points),
        millimetres=1.0,
        azimuth_of_x=scene.pose.azimuth_of_x,
        z_offset=scene.pose.z_offset,
        scanner=scene.scanner,
    )
    begun = time.perf_counter()
    surface = geom.reconstruct(CloudReadings((cloud,), no_rod_readings()), scene.design)
    findings = geom.assess(surface, scene.design)
    return surface, findings, time.perf_counter() - begun


def truth(scene: Scene, surface: geom.RadialSurface) -> tuple[Float, float]:
    """Mean cut-back of every cell, mm, and the rebuild volume, mm3."""
    grid = surface.grid
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    mean, volume = np.zeros(grid.shape), 0.0
    drawn = grid.design_radius[:, None]
    for across in _PARTS:
        for along in _PARTS:
            place = azimuth + across, height + along * grid.row_height[:, None]
            cutback = scene.cutback(*place)
            mean += cutback / len(_PARTS) ** 2
            excess = expected_excess(cutback, np.zeros(grid.shape), drawn)
            volume += float(np.sum(grid.patch * excess)) / len(_PARTS) ** 2
    return mean, volume


def score(seed: int, *, points: int, even: bool) -> Score:
    """Make a scene, survey it and compare."""
    import numba
    from threadpoolctl import threadpool_limits

    numba.set_num_threads(1)
    scene = make_scene(seed, points=points, even=even)
    with threadpool_limits(1):
        surface, findings, seconds = survey(scene)
    true, volume = truth(scene, surface)
    assert surface.seen is not None
    wall = surface.grid.surveyed & ~surface.grid.opening
    seen, hidden = wall & surface.seen, wall & ~surface.seen
    off = surface.cutback - true
    held = np.abs(off) < 1.96 * surface.radius_sd
    pose = surface.poses[0]
    miss = pose.parameters - scene.pose.parameters
    rebuild = findings.volume.rebuild
    return Score(
        family=scene.lining.family,
        offset=float(np.hypot(*miss[:2])),
        tilt=float(np.hypot(*miss[2:])),
        pose_held=float(np.mean(np.abs(miss) < 1.96 * pose.sd)),
        hidden=float(hidden.sum() / wall.sum()),
        rms_seen=float(np.sqrt(np.mean(off[seen] ** 2))),
        rms_hidden=float(np.sqrt(np.mean(off[hidden] ** 2))),
        seen_held=float(held[seen].mean()),
        hidden_held=float(held[hidden].mean()),
        volume=100.0 * (rebuild.value / volume - 1.0),
        half_width=50.0 * (rebuild.high95 - rebuild.low95) / volume,
        volume_held=bool(rebuild.low95 <= volume <= rebuild.high95),
        seconds=seconds,
    )


def show(name: str, scores: Sequence[Score]) -> None:
    """Print a table: all scenes, and those of each family."""
    print(f"\n{name}, {len(scores)} scenes")
    print(
        "| family | scenes | offset P95 mm | tilt P95 ° | pose in 95 % | hidden % | "
        "rms seen, hidden mm | cells in 95 %: seen, hidden | volume error % | bias % | "
        "half-width % | volumes in 95 % | s |"
    )
    print("|" + " --- |" * 13)
    families = dict.fromkeys(s.family for s in scores)
    tame = [s for s in scores if s.family != "hostile"]
    groups = [("all", list(scores)), ("all but hostile", tame)]
    groups += [(f, [s for s in scores if s.family == f]) for f in families]
    for family, some in groups:
        print(_row(family, some))


def _row(family: str, some: list[Score]) -> str:
    def mean(name: str) -> float:
        return float(np.mean([getattr(s, name) for s in some]))

    far = np.quantile([s.offset for s in some], 0.95)
    steep = np.quantile([s.tilt for s in some], 0.95)
    error = np.mean([abs(s.volume) for s in some])
    return (
        f"| {family} | {len(some)} | {far:.2f} | {steep:.3f} | "
        f"{100 * mean('pose_held'):.1f} | {100 * mean('hidden'):.0f} | "
        f"{mean('rms_seen'):.2f}, {mean('rms_hidden'):.2f} | "
        f"{100 * mean('seen_held'):.1f}, {100 * mean('hidden_held'):.1f} | "
        f"{error:.2f} | {mean('volume'):+.2f} | {mean('half_width'):.2f} | "
        f"{100 * mean('volume_held'):.1f} | {mean('seconds'):.1f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=40)
    parser.add_argument("--points", type=float, default=1e6)
    parser.add_argument("--first", type=int, default=0, help="seed of the first scene")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.scenes)
    with ProcessPoolExecutor(2) as pool:
        for even, name in ((True, "points evenly"), (False, "as a scanner meets it")):
            job = partial(score, points=int(options.points), even=even)
            show(name, list(pool.map(job, seeds)))


if __name__ == "__main__":
    main()
