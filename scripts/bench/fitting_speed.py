"""Time and memory of `geom.reconstruct` and `geom.assess`, beside a reference process.

``python scripts/bench/fitting_speed.py`` prints, for several numbers of readings:
seconds to the pinned grid with sizes, lengths and standard deviations, seconds to
findings with volume uncertainty, peak memory, and the same readings through
scikit-learn's Gaussian process (its own optimiser, two restarts, mean and sd on the
same grid) with the ratio.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import time
import warnings

import numpy as np

GRIDS = {240: (20, 12), 480: (24, 20), 2000: (50, 40)}


def survey(count: int):
    from linings import make_lining, read

    lining = make_lining("tuyere", 7)
    around, up = GRIDS[count]
    return lining, read(lining, around, up, noise=2.0, seed=7)


def ours(count: int) -> None:
    from linings import read

    import geom

    lining, readings = survey(count)
    small = read(lining, 8, 6, noise=2.0, seed=8)
    geom.assess(geom.reconstruct(small, lining.design), lining.design)  # loads all
    start = time.perf_counter()
    surface = geom.reconstruct(readings, lining.design)
    middle = time.perf_counter()
    geom.assess(surface, lining.design)
    show_speeds(middle - start, time.perf_counter() - middle)


def reference(count: int) -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    warnings.filterwarnings("ignore")
    lining, readings = survey(count)
    radius = lining.design.profile.mean_radius
    start = time.perf_counter()
    kernel = ConstantKernel(200.0) * Matern([300.0, 300.0, 200.0], nu=1.5)
    model = GaussianProcessRegressor(
        kernel + WhiteKernel(4.0), n_restarts_optimizer=2, random_state=0
    )
    drawn = lining.design.profile.radius_at(readings.height)
    model.fit(points(readings.azimuth, readings.height, radius), readings.value - drawn)
    height = np.arange(readings.height.min() + 5.0, readings.height.max(), 10.0)
    for row in np.array_split(height, 20):
        azimuth = np.tile(np.arange(360.0), row.size)
        model.predict(points(azimuth, np.repeat(row, 360), radius), return_std=True)
    show_speeds(time.perf_counter() - start, 0.0)


def points(azimuth: np.ndarray, height: np.ndarray, radius: float) -> np.ndarray:
    turn = np.deg2rad(azimuth)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=1)


def show_speeds(first: float, second: float) -> None:
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(first, second, memory)


def measured(who: str, count: int, runs: int) -> tuple[float, float, float]:
    """Medians over runs, each in a process of its own."""
    rows = []
    for _ in range(runs):
        done = subprocess.run(
            [sys.executable, __file__, "--one", who, "--readings", str(count)],
            capture_output=True, text=True, check=True, env=os.environ,
        )  # fmt: skip
        rows.append([float(word) for word in done.stdout.split()])
    first, second, memory = np.median(rows, axis=0)
    return float(first), float(second), float(memory)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--one", choices=("ours", "reference"))
    parser.add_argument("--readings", type=int, choices=GRIDS)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--largest-reference", type=int, default=480)
    options = parser.parse_args()
    if options.one:
        {"ours": ours, "reference": reference}[options.one](options.readings)
        return
    print("readings  reconstruct s  assess s  memory MB  reference s  ratio")
    for count in GRIDS:
        mine = measured("ours", count, options.runs)
        line = f"{count:8d}  {mine[0]:13.2f}  {mine[1]:8.2f}  {mine[2]:9.0f}"
        if count <= options.largest_reference:
            other = measured("reference", count, options.runs)[0]
            line += f"  {other:11.2f}  {mine[0] / other:5.2f}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
