"""How long the command takes to start, and the demo survey: medians, warm.

``.venv/bin/python scripts/bench/startup.py [rounds]``; leaves with 1 when an aim is
missed.  Beside the time on the clock stands the processor's: on a busy machine the
clock runs ahead of it.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DAUBLINE = str(Path(sys.executable).with_name("daubline"))
DESIGN = str(ROOT / "scans" / "cupola-2.toml")
SHEET = str(ROOT / "scans" / "cupola-2-heat-41.csv")


@dataclass(frozen=True)
class Trial:
    """A command to be timed; the aim in seconds, if it has one."""

    name: str
    command: Sequence[str]
    aim: float | None = None


def trials(folder: str) -> list[Trial]:
    survey = [DAUBLINE, "survey", DESIGN, SHEET, "--out", folder, "--overwrite"]
    return [
        Trial("python -c pass", [sys.executable, "-c", "pass"]),
        Trial("python -c 'import geom'", [sys.executable, "-c", "import geom"]),
        Trial("daubline --version", [DAUBLINE, "--version"]),
        Trial("daubline --help", [DAUBLINE, "--help"], aim=0.3),
        Trial("daubline survey --help", [DAUBLINE, "survey", "--help"]),
        Trial("daubline survey (demo)", survey, aim=6.0),
    ]


def seconds(command: Sequence[str], rounds: int) -> tuple[list[float], list[float]]:
    """Time a command; one run before, not counted, warms the disk cache.

    Returns
    -------
    clock, processor : list of float
        Seconds of each round.
    """
    clock, processor = [], []
    for _ in range(rounds + 1):
        start, used = time.perf_counter(), processor_time()
        subprocess.run(command, check=True, capture_output=True)
        clock.append(time.perf_counter() - start)
        processor.append(processor_time() - used)
    return clock[1:], processor[1:]


def processor_time() -> float:
    """Processor seconds of all programs that were run and waited for."""
    used = os.times()
    return used.children_user + used.children_system


def main(rounds: int) -> int:
    missed = 0
    base = None
    heads = f"{'median s':>10}{'worst s':>10}{'cpu s':>8}{'x pass':>9}"
    print(f"{'command':26}{heads}  aim")
    with tempfile.TemporaryDirectory() as folder:
        for trial in trials(folder):
            clock, processor = seconds(trial.command, rounds)
            middle = statistics.median(clock)
            base = base or middle
            verdict = ""
            if trial.aim is not None:
                met = middle < trial.aim
                missed += not met
                verdict = f"< {trial.aim} s {'met' if met else 'MISSED'}"
            times = (
                f"{middle:10.3f}{max(clock):10.3f}{statistics.median(processor):8.2f}"
            )
            print(f"{trial.name:26}{times}{middle / base:9.1f}  {verdict}", flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5))
