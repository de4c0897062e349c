"""Writers that are killed: one warm process that forks them, so that starting is cheap.

``python -m tests.record.writers RECORD FOLDER kill ROUNDS`` or ``... steps`` or
``... race COUNT``; what happened is printed as JSON.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from geom.cf import Variables
from geom.errors import InputError
from geom.record.store.grid import record_grid
from geom.record.store.manifest import LINING
from geom.record.store.store import (
    check_record,
    keep_survey,
    open_record,
    refuse_occasion,
    start_record,
)
from geom.record.store.survey_file import read_survey, survey_content
from tests.record.furnace import occasion

#: Calls that reach the disk, before and after each of which a writer is killed.
STEPS = ("open", "mkdir", "chmod", "fsync", "link", "unlink", "rename", "replace")


class Writers:
    """One survey, ready to be added to a record any number of times."""

    def __init__(self, folder: Path, data: Variables) -> None:
        self.folder = folder
        self.data = data

    def add(self, heat: int) -> str:
        """All of ``add_survey`` but reading the output folder."""
        record, when = open_record(self.folder), occasion(heat)
        try:
            refuse_occasion(record, when)
            keep_survey(record, survey_content(self.data, when), when)
        except InputError as said:
            return said.what
        return "saved"

    def fork(self, work: Callable[[Callable[[str], None]], None]) -> tuple[int, int]:
        """A process that works and tells lines; its id and the pipe's end."""
        end, found = os.pipe()
        if (pid := os.fork()) != 0:
            os.close(found)
            return pid, end

        def say(line: str) -> None:
            os.write(found, f"{line}\n".encode())

        try:
            os.close(end)
            work(say)
        finally:
            os._exit(0)

    def kill_at_random(self, rounds: int, *, seed: int = 5) -> dict[str, object]:
        """Two writers at once, each killed at a random moment, many times over."""
        chance = np.random.default_rng(seed)
        span = self._seconds()
        saved: list[int] = []
        heat, killed = 100, 0
        for _ in range(rounds):
            pair = []
            for lane in range(2):
                first = heat + 1 + lane
                pair.append(self.fork(lambda say, n=first: self._go_on(n, say)))
            heat += 40
            moments = np.sort(chance.uniform(0.0, min(3.0 * span, 0.5), 2))
            start = time.monotonic()
            for moment, (pid, _) in zip(moments, pair, strict=True):
                time.sleep(max(0.0, start + moment - time.monotonic()))
                os.kill(pid, signal.SIGKILL)
                killed += os.waitpid(pid, 0)[1] == signal.SIGKILL
            saved += [int(line) for _, end in pair for line in _lines(end)]
        return {"killed": killed, "saved": saved}

    def _go_on(self, first: int, say: Callable[[str], None]) -> None:
        for heat in range(first, first + 38, 2):
            if self.add(heat) == "saved":
                say(str(heat))

    def _seconds(self) -> float:
        """How long an add takes here and now, two at once."""
        start = time.monotonic()
        for pid, end in [self.fork(lambda _, n=n: self.add(n)) for n in (98, 99)]:
            os.close(end)
            os.waitpid(pid, 0)
        return time.monotonic() - start

    def kill_at_every_step(self) -> list[dict[str, object]]:
        """A writer killed before, then one after, every call that reaches the disk."""
        return [
            self._killed_at(step, after=after)
            for step in range(self._count())
            for after in (False, True)
        ]

    def _count(self) -> int:
        def work(say: Callable[[str], None]) -> None:
            calls = _watch(-1, after=False)
            self.add(2)
            say(str(len(calls)))

        return int(self._finish(work)[0])

    def _killed_at(self, step: int, *, after: bool) -> dict[str, object]:
        """In a record of its own, so that each step meets the same."""
        here = self.folder.with_name(f"step-{step}-{after}")
        start_record(here, self.folder / LINING)
        writers = Writers(here, self.data)
        writers.add(1)

        def work(say: Callable[[str], None]) -> None:
            _watch(step, after=after)
            say(writers.add(2))

        found = self._finish(work)
        faults = check_record(here)
        there = [one.heat for one in open_record(here).occasions]
        return {
            "step": (step, after),
            "told": found,
            "there": 2 in there,
            "before": 1 in there,
            "faults": faults,
            "next": writers.add(2),
            "after": check_record(here),
        }

    def _finish(self, work: Callable[[Callable[[str], None]], None]) -> list[str]:
        pid, end = self.fork(work)
        found = _lines(end)
        os.waitpid(pid, 0)
        return found

    def race(self, count: int) -> list[list[str]]:
        """Two who add the same occasion at the same time, many times over."""
        results = []
        for heat in range(1, count + 1):
            go, start = os.pipe()

            def work(say: Callable[[str], None], n: int = heat, go: int = go) -> None:
                os.read(go, 1)
                say(self.add(n))

            pair = [self.fork(work) for _ in range(2)]
            os.write(start, b"go")
            results.append(sorted(line for _, end in pair for line in _lines(end)))
            for pid, _ in pair:
                os.waitpid(pid, 0)
            os.close(go)
            os.close(start)
        return results


def _watch(deadly: int, *, after: bool) -> list[str]:
    """Count calls that reach the disk; this process is killed at the deadly one."""
    calls: list[str] = []

    def watched(name: str, call: Callable[..., object]) -> Callable[..., object]:
        def through(*told: object, **more: object) -> object:
            calls.append(name)
            deadly_now = len(calls) - 1 == deadly
            if deadly_now and not after:
                os.kill(os.getpid(), signal.SIGKILL)
            try:
                return call(*told, **more)
            finally:
                if deadly_now:
                    os.kill(os.getpid(), signal.SIGKILL)

        return through

    for name in STEPS:
        setattr(os, name, watched(name, getattr(os, name)))
    return calls


def _lines(end: int) -> list[str]:
    with os.fdopen(end) as found:
        return found.read().split("\n")[:-1]


def main() -> None:
    record, survey, what, *count = sys.argv[1:]
    design = open_record(record).design
    data = read_survey(Path(survey), record_grid(design), design)
    writers = Writers(Path(record), data)
    writers.add(0)
    if what == "kill":
        found: object = writers.kill_at_random(int(count[0]))
    elif what == "race":
        found = writers.race(int(count[0]))
    else:
        found = writers.kill_at_every_step()
    print(json.dumps(found))


if __name__ == "__main__":
    main()
