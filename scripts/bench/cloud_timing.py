"""Clocks, children and tables of the cloud bench."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

T = TypeVar("T")

#: Runs of which the best counts, and seconds after which no other is begun.
ROUNDS, LONG = 3, 10.0

#: Runs a command from a small process of its own: the most memory that a process used
#: is reckoned from before its program was loaded, when it was a copy of its parent.
_WATCH = """
import json, resource, subprocess, sys, time
start = time.perf_counter()
done = subprocess.run(sys.argv[1:], capture_output=True, text=True)
seconds = time.perf_counter() - start
most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
print(json.dumps([done.returncode, done.stdout, done.stderr, seconds, most]))
"""


class TooLong(Exception):
    """What was asked for took too long and was stopped."""


def best(function: Callable[[], T], rounds: int = ROUNDS) -> tuple[T, float]:
    """What a function gives back, and the best of its times, s."""
    times: list[float] = []
    while True:
        start = time.perf_counter()
        value = function()
        times.append(time.perf_counter() - start)
        if len(times) == rounds or sum(times) > LONG:
            return value, min(times)
        del value


@contextmanager
def stopped_after(seconds: float) -> Iterator[None]:
    """Raise `TooLong` in what runs within, once Python has its turn again."""

    def stop(*_: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


@dataclass(frozen=True)
class Child:
    """A command that has ended.

    Attributes
    ----------
    code : int
    out, err : str
    seconds : float
        From its start to its end.
    megabytes : float
        Most memory it held at once.
    """

    code: int
    out: str
    err: str
    seconds: float
    megabytes: float


def in_child(command: Sequence[str], env: dict[str, str] | None = None) -> Child:
    """Run a command; its time and memory."""
    watched = subprocess.run(
        [sys.executable, "-c", _WATCH, *command],
        capture_output=True, text=True, check=True, env=env,
    )  # fmt: skip
    return Child(*json.loads(watched.stdout))


def show(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table in Markdown."""
    print(f"\n{title}\n")
    print("| " + " | ".join(heads) + " |")
    print("|" + " --- |" * len(heads))
    for row in rows:
        print("| " + " | ".join(row) + " |")
    sys.stdout.flush()


def formatted(number: float, form: str = ".3g") -> str:
    """A number as the tables show it; nothing for NaN."""
    return "" if number != number else format(number, form)  # noqa: PLR0124


def many(count: float) -> str:
    """A number of points: ``1e7``, ``2e6``.

    Examples
    --------
    >>> many(10_000_000), many(1_500_000)
    ('1e7', '1.5e6')
    """
    figure, power = f"{count:.6e}".split("e")
    return f"{float(figure):g}e{int(power)}"
