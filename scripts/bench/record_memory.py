"""A command's time, and the most memory that it and all its processes held together."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

#: Seconds between looks.
_EVERY = 0.05


@dataclass(frozen=True)
class Watched:
    """A command that has ended.

    Attributes
    ----------
    code : int
    out, err : str
    seconds : float
        From its start to its end.
    processor : float
        Seconds that processors worked for it and its processes: these do not depend on
        what else the machine does.
    megabytes : float
        Most memory of it and its processes together at any look; what they share is
        counted once.  Linux only: NaN elsewhere.
    """

    code: int
    out: str
    err: str
    seconds: float
    processor: float
    megabytes: float


def watched(command: Sequence[str]) -> Watched:
    """Run a command."""
    start, spent = time.perf_counter(), _spent()
    with subprocess.Popen(
        list(command), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        look = _Look(process.pid)
        look.start()
        out, err = process.communicate()
        seconds = time.perf_counter() - start
        look.ended.set()
        look.join()
    used = _spent() - spent
    return Watched(process.returncode, out, err, seconds, used, look.most)


def _spent() -> float:
    """Processor time of all processes that were waited for, s."""
    used = os.times()
    return used.children_user + used.children_system


class _Look(threading.Thread):
    def __init__(self, process: int) -> None:
        super().__init__(daemon=True)
        self.process = process
        self.ended = threading.Event()
        self.most = float("nan")

    def run(self) -> None:
        while not self.ended.wait(_EVERY):
            held = sum(map(_megabytes, family(self.process)))
            if held > 0.0:
                self.most = max(held, self.most) if self.most > 0.0 else held


def family(process: int) -> list[int]:
    """A process and all that came of it."""
    parents: dict[int, list[int]] = {}
    for entry in os.scandir("/proc") if Path("/proc").is_dir() else ():
        if entry.name.isdigit():
            try:
                stat = Path(entry.path, "stat").read_text("utf-8", "replace")
            except OSError:
                continue
            parent = int(stat.rpartition(")")[2].split()[1])
            parents.setdefault(parent, []).append(int(entry.name))
    found, waiting = [], [process]
    while waiting:
        one = waiting.pop()
        found.append(one)
        waiting += parents.get(one, [])
    return found


def _megabytes(process: int) -> float:
    """Memory of a process, its part of what it shares."""
    try:
        lines = Path(f"/proc/{process}/smaps_rollup").read_text("ascii").splitlines()
    except OSError:
        return 0.0
    sizes = [int(line.split()[1]) for line in lines if line.startswith("Pss:")]
    return sum(sizes) / 1024.0
