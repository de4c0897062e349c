"""The file a cloud lies in: opening it, its length, and what goes wrong with it."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BufferedReader
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from geom.design.text_file import read_bytes
from geom.errors import InputError

AGAIN = "Copy it again from where it came from, or export it again"


def length_of(name: str) -> int:
    """Length of a file, bytes.

    Raises
    ------
    InputError
        If there is no such file, or it is a folder, no plain file, or empty.
    """
    try:
        found = Path(name).stat()
    except (OSError, ValueError):
        read_bytes(name)  # says what is wrong
        raise
    if stat.S_ISREG(found.st_mode) and found.st_size:
        return found.st_size
    if stat.S_ISREG(found.st_mode) or stat.S_ISDIR(found.st_mode):
        read_bytes(name)
    what = "it is no plain file"
    raise InputError(what, file=name, cure="Save the cloud to a file first")


@contextmanager
def reading(name: str) -> Iterator[BufferedReader]:
    """Open a file; whatever the system refuses while it is read is told as bad input.

    Raises
    ------
    InputError
        If the file cannot be opened or read.
    """
    try:
        with Path(name).open("rb") as file:
            yield file
    except OSError as fault:
        why = os.strerror(fault.errno) if fault.errno else str(fault)
        cure = "Check the name, and who may read the file"
        raise InputError(f"it cannot be read ({why})", file=name, cure=cure) from fault


@contextmanager
def faults_told(told: Callable[[str], InputError]) -> Iterator[None]:
    """Tell what a library raises as bad input.

    Parameters
    ----------
    told : callable
        Makes the error of the first line that the library said.
    """
    try:
        yield
    except InputError:
        raise
    except BaseException as fault:
        # Libraries written in Rust panic past Exception.
        if not isinstance(fault, Exception) and type(fault).__name__ != _PANIC:
            raise
        said = (str(fault).strip().splitlines() or [type(fault).__name__])[0]
        raise told(said[:100]) from fault


_PANIC = "PanicException"


def read_exactly(file: BufferedReader, many: int, name: str) -> NDArray[np.uint8]:
    """Read so many bytes from where the file stands.

    Raises
    ------
    InputError
        If the file ends before.
    """
    content = np.empty(many, np.uint8)
    start = file.tell()
    got = file.readinto(content.data)
    if got < many:
        raise cut_off(name, start + got, start + many)
    return content


def cut_off(name: str, ends: int, promised: int) -> InputError:
    """Make the error for a file that is shorter than it says."""
    what = f"the file ends here, but its header promises {promised} bytes"
    return InputError(what, file=name, place=f"byte {ends}", cure=AGAIN)


def damaged(name: str, what: str, place: str | None = None) -> InputError:
    """Make the error for a file that cannot be as it is."""
    return InputError(what, file=name, place=place, cure=AGAIN)
