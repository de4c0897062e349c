"""Work for other processes to do: they must find it in a module."""

from __future__ import annotations

import os
import time
from pathlib import Path

from geom.errors import InputError


def square(task: tuple[int, float]) -> int:
    """The square of a number, after some seconds."""
    number, seconds = task
    time.sleep(seconds)
    return number * number


def pid(seconds: float) -> int:
    """Which process this is."""
    time.sleep(seconds)
    return os.getpid()


def fail(name: str) -> None:
    """Raise what a file gives reason for."""
    raise InputError("it is spoiled", file=name, cure="Copy it again")


def report(word: str) -> str:
    """Print, as no work should."""
    print(word)
    return word


def stumble(task: tuple[str, int]) -> int:
    """End the whole process at the third task, the first time."""
    folder, number = task
    mark = Path(folder) / f"ended-{number}"
    if number == 2 and not mark.exists():
        mark.touch()
        os._exit(1)
    return number


def begun(task: tuple[Path, float]) -> int:
    """Make a file when it begins, and take some seconds."""
    mark, seconds = task
    mark.touch()
    return pid(seconds)


#: Whether this process got ready, and how often.
_READY: list[int] = []


def get_ready() -> None:
    """Remember that it was done."""
    _READY.append(os.getpid())


def is_ready(seconds: float) -> tuple[int, list[int]]:
    """Which process this is, and what it remembers of getting ready."""
    return pid(seconds), _READY
