"""Files that appear whole, once, and never change: with no server and no lock.

A file is written beside its place under a hidden name, brought to the disk, and
linked to its place.  Linking fails where something stands already: of several writers
exactly one wins, and a reader never meets half a file.  What a killed writer leaves
behind is a hidden file, which nobody reads and a later writer sweeps away.
"""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

#: Leftovers are swept when they are older than this, s.
_OLD = 3600.0
#: An empty file is a place taken for the moment, where files cannot be linked; older
#: than this, s, its writer is dead.
_TAKEN = 60.0
_LEFT = re.compile(r"\.(heat-.*\.nc|lining\.toml|manifest\.json)\.[0-9a-z_]+", re.I)


def put_in_place(target: Path, write: Callable[[Path], None]) -> None:
    """Write a read-only file that must not be there yet.

    Parameters
    ----------
    target : Path
        Its folder must exist.
    write : callable
        Fills an empty file of another name in the same folder.

    Raises
    ------
    FileExistsError
        If something stands there; it is as it was.
    OSError
        If it cannot be written; nothing stands there.
    """
    hidden = target.parent / f".{target.name}.{secrets.token_hex(6)}"
    mode = os.O_CREAT | os.O_EXCL | os.O_WRONLY
    os.close(os.open(hidden, mode, 0o666))
    try:
        write(hidden)
        hidden.chmod(hidden.stat().st_mode & 0o444)
        _to_disk(hidden)
        _link(hidden, target)
    finally:
        hidden.unlink(missing_ok=True)
    with suppress(OSError):
        _to_disk(target.parent)


def sweep(folder: Path, *, now: float) -> None:
    """Remove what killed writers left in a folder long ago.

    Parameters
    ----------
    folder : Path
    now : float, s
        Time of a file just written there: the clock of its disk.
    """
    for entry in os.scandir(folder):
        if _LEFT.fullmatch(entry.name):
            with suppress(OSError):
                if now - entry.stat(follow_symlinks=False).st_mtime > _OLD:
                    Path(entry.path).unlink()


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _link(hidden: Path, target: Path) -> None:
    _drop_dead(target, now=hidden.stat().st_mtime)
    try:
        os.link(hidden, target)
    except FileExistsError:
        # Over a network the answer to a link that was made may be lost, and asked anew.
        if not hidden.samefile(target):
            raise
    except OSError:
        _take(hidden, target)


def _take(hidden: Path, target: Path) -> None:
    """Where files cannot be linked: take the place with an empty file, then fill it."""
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    try:
        hidden.replace(target)
    except BaseException:
        target.unlink(missing_ok=True)
        raise


def _drop_dead(target: Path, *, now: float) -> None:
    with suppress(FileNotFoundError):
        there = target.stat()
        if there.st_size == 0 and now - there.st_mtime > _TAKEN:
            target.unlink()
