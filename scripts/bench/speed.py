"""How long the commands take, whole processes: medians, memory, ratios.

``.venv/bin/python scripts/bench/speed.py [--rounds N] [--quick]``; leaves with 1 when
an aim is missed.  Beside the time on the clock stands the processor's (on a busy
machine the clock runs ahead of it), the greatest memory held, and the ratio to a
reference that is run in the same call: scikit-learn's Gaussian process, fitted to the
demo's number of readings.  Then what is no whole command (`speed_parts`).  ``--quick``
runs the demo's commands once, without the record: a minute or two.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCANS = ROOT / "scans"
DAUBLINE = str(Path(sys.executable).with_name("daubline"))
DESIGN = str(SCANS / "cupola-2.toml")
SHEET = str(SCANS / "cupola-2-heat-41.csv")
AFTER = str(SCANS / "cupola-2-heat-41-after.csv")
SCAN = str(SCANS / "cupola-2-heat-41-scan.laz")
TARGETS = str(SCANS / "cupola-2-heat-41-targets.csv")
#: A general process on as many readings, its own optimiser, mean and sd on as many
#: cells.
REFERENCE = """
import numpy as np
from sklearn.gaussian_process import GaussianProcessRegressor as Process
from sklearn.gaussian_process.kernels import RBF, WhiteKernel
rng = np.random.default_rng(1)
at = rng.uniform(size=(234, 2))
read = np.sin(6.0 * at[:, 0]) * at[:, 1] + 0.05 * rng.standard_normal(234)
fitted = Process(RBF([0.3, 0.3]) + WhiteKernel(0.01), n_restarts_optimizer=2,
                 random_state=1).fit(at, read)
for part in np.array_split(rng.uniform(size=(89_280, 2)), 24):
    fitted.predict(part, return_std=True)
"""
#: A survey as far as its findings and its order; no file is written.
UNWRITTEN = """
import sys
import geom
design = geom.load_design(sys.argv[1])
surface = geom.reconstruct(geom.load_readings(sys.argv[2], design), design)
geom.prepare_repair(surface, geom.assess(surface, design), design)
"""


@dataclass(frozen=True)
class Trial:
    """A command to be timed; the aims in seconds and megabytes, if it has any."""

    name: str
    command: Sequence[str]
    aim: float | None = None
    rounds: int | None = None
    most: float | None = None


@dataclass(frozen=True)
class Times:
    """Of one run: seconds on the clock and of the processor, and megabytes."""

    clock: float
    processor: float
    memory: float


def trials(folder: Path, *, quick: bool) -> Iterator[Trial]:
    """The commands, each after those whose files it reads."""
    survey = [DAUBLINE, "survey", DESIGN]
    out = [str(folder / "survey"), "--overwrite", "--quiet"]
    yield Trial("a general process", [sys.executable, "-c", REFERENCE])
    yield Trial("daubline --help", [DAUBLINE, "--help"], aim=0.3)
    yield Trial(
        "survey, 234 readings", [*survey, SHEET, "--out", *out], 2.0, most=300.0
    )
    unwritten = [sys.executable, "-c", UNWRITTEN, DESIGN, SHEET]
    yield Trial("of it, before files", unwritten, aim=1.0)
    yield Trial("next", [DAUBLINE, "next", DESIGN, SHEET], aim=0.8)
    words = [DESIGN, AFTER, "--before", str(folder / "survey")]
    words += ["--out", str(folder / "recheck"), "--overwrite", "--quiet"]
    yield Trial("recheck", [DAUBLINE, "recheck", *words])
    sheet = [DESIGN, "--out", str(folder / "sheet"), "--overwrite"]
    yield Trial("sheet", [DAUBLINE, "sheet", *sheet])
    scan = [SCAN, "--cloud-unit", "mm", "--scanner", "0,0,0", "--targets", TARGETS]
    scan += ["--out", str(folder / "scan"), "--overwrite", "--quiet"]
    yield Trial("survey, demo scan", [*survey, *scan], aim=3.5)
    if quick:
        return
    # not before: what this process holds counts for those that it starts
    from speed_parts import SHEETS, write_scan, write_sheet

    record, log = str(folder / "record"), str(SCANS / "cupola-2-campaign.csv")
    logged = [record, log, "--design", DESIGN, "--quiet"]
    yield Trial("record log, 29", [DAUBLINE, "record", "log", *logged], 20.0, 1)
    wear = [record, "--out", str(folder / "wear"), "--overwrite", "--quiet"]
    yield Trial("wear of 29", [DAUBLINE, "wear", *wear], aim=3.0)
    out = ["--out", str(folder / "many"), "--overwrite", "--quiet"]
    for (name, net), aim in zip(SHEETS.items(), (4.0, 30.0), strict=True):
        sheet_of_many = folder / "many.csv"
        write_sheet(sheet_of_many, DESIGN, *net)
        yield Trial(name, [*survey, str(sheet_of_many), *out], aim)
    large = [DAUBLINE, "survey", *write_scan(folder), *out]
    yield Trial("survey, 1e7 points LAS", large, aim=4.0)


def timed(command: Sequence[str]) -> Times:
    """Run a command and wait for it.

    Raises
    ------
    subprocess.CalledProcessError
        If it fails.
    """
    # a user's modules are compiled once: by pip, or by the first run
    usual = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    start = time.perf_counter()
    run = subprocess.Popen(
        command,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env=usual,
    )
    _, status, used = os.wait4(run.pid, 0)
    run.returncode = os.waitstatus_to_exitcode(status)
    took = time.perf_counter() - start
    said = run.stderr.read() if run.stderr is not None else ""
    if run.returncode:
        raise subprocess.CalledProcessError(run.returncode, command, stderr=said)
    return Times(took, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0)


def verdict_of(met: bool) -> str:
    """Whether an aim is met, in a word."""
    return "met" if met else "MISSED"


def main(words: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--quick", action="store_true", help="once, no record")
    options = parser.parse_args(words)
    missed, base = 0, None
    print(f"{'command':22}{'median s':>9}{'worst':>7}{'cpu s':>7}{'MB':>6}{'ratio':>7}")
    with tempfile.TemporaryDirectory() as folder:
        for trial in trials(Path(folder), quick=options.quick):
            rounds = 1 if options.quick else trial.rounds or options.rounds
            if not options.quick and trial.rounds is None:
                timed(trial.command)  # warms the disk cache
            runs = [timed(trial.command) for _ in range(rounds)]
            middle = statistics.median(run.clock for run in runs)
            base = base or middle
            memory = max(run.memory for run in runs)
            verdict = ""
            for found, aim, unit in (
                (middle, trial.aim, "s"),
                (memory, trial.most, "MB"),
            ):
                if aim is not None:
                    missed += found >= aim
                    verdict += f"  < {aim} {unit} {verdict_of(found < aim)}"
            print(
                f"{trial.name:22}{middle:9.2f}{max(run.clock for run in runs):7.2f}"
                f"{statistics.median(run.processor for run in runs):7.2f}"
                f"{memory:6.0f}{middle / base:7.2f}{verdict}",
                flush=True,
            )
    if not options.quick:
        missed += show_parts()
    return 1 if missed else 0


def show_parts() -> int:
    """Print the rest of the table; how many aims are missed."""
    from speed_parts import parts

    missed = 0
    for part in parts():
        found = part.measure()
        met = found > part.aim if part.more else found < part.aim
        missed += not met
        sign = ">" if part.more else "<"
        print(
            f"{part.name:27}{found:{part.form}}  {sign} {part.aim} {verdict_of(met)}",
            flush=True,
        )
    return missed


if __name__ == "__main__":
    sys.exit(main())
