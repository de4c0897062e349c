"""Writing that is atomic: a file, or a folder of files, is there whole or not at all.

A file is written next to its place under a hidden name, brought to the disk, and moved
or linked to its place.  Linking fails where something stands already: of several
writers exactly one wins, with no server and no lock, and a reader never meets half a
file.  What a killed writer leaves behind is a hidden file, which nobody reads and a
later writer removes.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
import time
from collections.abc import Callable, Container, Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from geom.errors import InputError

WINDOWS = os.name == "nt"
#: Hidden files of killed writers are removed when they are older than this, s.
_STALE = 3600.0
#: An empty file is a place taken for the moment, where files cannot be linked; older
#: than this, s, its writer is dead.
_TAKEN = 60.0
_OTHER = (
    "Check who may write there and that the disk is not full, or choose another folder"
)


def atomic_write(
    path: Path, content: bytes | Callable[[Path], None], *, replace: bool = True
) -> None:
    """Write a file so that a reader, or a power cut, never meets half of it.

    Parameters
    ----------
    path : Path
        Its folder must exist.
    content : bytes or callable
        A callable fills an empty file of another name in the same folder.
    replace : bool
        False for a file that must not be there yet, and is read-only from then on (but
        on Windows).

    Raises
    ------
    FileExistsError
        If it must not be there and is; it is as it was.
    OSError
        If it cannot be written; what stood there is as it was.
    """
    hidden = path.parent / f".{path.name}.{secrets.token_hex(6)}"
    os.close(os.open(hidden, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    try:
        if callable(content):
            content(hidden)
        else:
            hidden.write_bytes(content)
        if replace:
            _to_disk(hidden)
            hidden.replace(path)
            return
        if not WINDOWS:  # which lets nobody remove its other name then
            hidden.chmod(hidden.stat().st_mode & 0o444)
        _to_disk(hidden)
        _link(hidden, path)
    finally:
        hidden.unlink(missing_ok=True)
    with suppress(OSError):
        _to_disk(path.parent)


def remove_stale(folder: Path, names: str, *, now: float) -> None:
    """Remove what killed writers left in a folder long ago.

    Parameters
    ----------
    names : str
        Regular expression of the names of files that are written there.
    now : float, s
        Time of a file just written there: the clock of its disk.
    """
    hidden = re.compile(rf"\.({names})\.[0-9a-z_]+", re.IGNORECASE)
    for entry in os.scandir(folder):
        if hidden.fullmatch(entry.name):
            with suppress(OSError):
                if now - entry.stat(follow_symlinks=False).st_mtime > _STALE:
                    Path(entry.path).unlink()


def remove_killed(path: Path) -> None:
    """Remove what killed writers of a file left next to it; nobody may write it now."""
    hidden = re.compile(re.escape(f".{path.name}.") + "[0-9a-f]{12}")
    for entry in os.scandir(path.parent):
        if hidden.fullmatch(entry.name):
            with suppress(OSError):
                Path(entry.path).unlink()


@contextmanager
def atomic_directory(
    target: Path, *, overwrite: bool = False, ours: Container[str] = ()
) -> Iterator[Path]:
    """A scratch folder that becomes ``target`` when the block ends without error.

    The folder that stood there is moved aside as a whole, and comes back if the new one
    cannot take its place.  What a killed writer left is cleared by the next one.

    Parameters
    ----------
    target : Path
        Where the files shall stand.
    overwrite : bool
        Allow a target that already holds files.
    ours : container of str
        Names of files that do not outlive a new folder, whether or not it holds one of
        that name.  Anything else that stood there is kept.

    Yields
    ------
    Path
        An empty folder next to the target, on the same disk.

    Raises
    ------
    InputError
        If the target is not a folder, holds files already, or cannot be written.
    """
    check_directory(target, overwrite=overwrite, ours=ours)
    target = target.resolve()
    try:
        made = _make_parents(target.parent)
        scratch, lock = _make_scratch(target)
    except OSError as fault:
        raise _unwritable(target, fault) from fault
    try:
        yield scratch
        for file in scratch.rglob("*"):
            if file.is_file():
                _to_disk(file)
        _swap(scratch, target, ours if overwrite else None)
    except BaseException as fault:
        shutil.rmtree(scratch, ignore_errors=True)
        _remove_empty(made)
        if isinstance(fault, OSError):
            raise _unwritable(target, fault) from fault
        raise
    finally:
        _unlock(lock)


def check_directory(
    target: Path, *, overwrite: bool, ours: Container[str] = ()
) -> None:
    """Say no, early, to an output folder that cannot or must not be written.

    Raises
    ------
    InputError
        As for `atomic_directory`.
    """
    try:
        _clear_dead(target.resolve(), ours)
        with _undisturbed(target.resolve().parent):
            _refuse_unsuited(target, overwrite=overwrite)
            _refuse_unmakeable(target)
    except OSError as fault:
        raise _unwritable(target, fault) from fault


def _refuse_unsuited(target: Path, *, overwrite: bool) -> None:
    """Refuse a place that is no folder, may not be written, or holds files."""
    if target.exists() and not target.is_dir():
        raise InputError(
            "there is a file where the output folder should go",
            file=target,
            cure="Name another folder with --out",
        )
    if target.is_dir() and not os.access(target, os.R_OK | os.W_OK | os.X_OK):
        raise InputError(
            "the output folder cannot be written", file=target, cure=_OTHER
        )
    if target.is_dir() and not overwrite and any(target.iterdir()):
        raise _not_empty(target)


def _refuse_unmakeable(target: Path) -> None:
    """Try, where the scratch folder would stand or be made, whether it can be."""
    whole = target.absolute()
    above = next(p for p in whole.parents if p.exists())
    if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
        raise InputError(
            f"the output folder cannot be made in {above}", file=target, cure=_OTHER
        )
    longest = os.pathconf(above, "PC_NAME_MAX") if hasattr(os, "pathconf") else 255
    if any(len(os.fsencode(name)) > longest for name in whole.parts):
        raise OSError(errno.ENAMETOOLONG, os.strerror(errno.ENAMETOOLONG))
    probe = above / _hidden_name(target, "new")
    probe.mkdir()
    with suppress(FileNotFoundError):  # another took it for a dead one's
        probe.rmdir()


def _hidden_name(target: Path, kind: str) -> str:
    """A name for a folder on its way to or from its place; short, whatever the name."""
    digest = sha256(os.fsencode(target.name)).hexdigest()[:12]
    token = "*" if kind == "*" else secrets.token_hex(6)
    return f".daubline-{digest}-{token}" + ("" if kind == "*" else f".{kind}")


def _make_scratch(target: Path) -> tuple[Path, int | None]:
    """Make a folder and hold it, before anyone takes it for a dead one's."""
    while True:
        scratch = target.parent / _hidden_name(target, "new")
        scratch.mkdir()
        with suppress(FileNotFoundError, BlockingIOError):
            lock = _lock(scratch)
            if scratch.exists():
                return scratch, lock
            _unlock(lock)


def _swap(scratch: Path, target: Path, ours: Container[str] | None) -> None:
    """Put a folder in its place, once the one that stands there is out of the way.

    Parameters
    ----------
    ours : container of str, or None
        None: nothing may stand there.
    """
    with _undisturbed(target.parent):
        stands = target.exists() and any(target.iterdir())
        if stands and ours is None:
            raise _not_empty(target)
        if not stands:
            if WINDOWS and target.exists():
                target.rmdir()  # only there an empty folder is in the way
            scratch.rename(target)
        else:
            shutil.copymode(target, scratch)
            aside = target.rename(target.parent / _hidden_name(target, "old"))
            try:
                scratch.rename(target)
            except BaseException:
                aside.rename(target)
                raise
            _clear_aside(aside, target, ours or ())
        with suppress(OSError):
            _to_disk(target.parent)


@contextmanager
def _undisturbed(folder: Path) -> Iterator[None]:
    """Let nobody else put a folder in place in here meanwhile."""
    lock = _lock(folder, wait=True) if folder.is_dir() else None
    try:
        yield
    finally:
        _unlock(lock)


def _clear_aside(aside: Path, target: Path, ours: Container[str]) -> None:
    """Remove a folder that was replaced, once what is not ours is out of it."""
    for entry in aside.iterdir():
        if entry.name not in ours and not (target / entry.name).exists():
            entry.rename(target / entry.name)
    shutil.rmtree(aside)


def _clear_dead(target: Path, ours: Container[str]) -> None:
    """Clear what killed writers to one place left: new folders go, old ones come back.

    A new folder is dead when nobody holds it, an old one when no folder is being put in
    place; and, where that cannot be known, one that has not been touched for long.
    """
    for folder in sorted(target.parent.glob(_hidden_name(target, "*"))):
        old = folder.suffix == ".old"
        with suppress(OSError):
            lock = _lock(target.parent, wait=True) if old else _lock(folder)
            try:
                if lock is None and time.time() - folder.stat().st_mtime < _STALE:
                    continue
                if not old:
                    shutil.rmtree(folder)
                elif target.exists():
                    _clear_aside(folder, target, ours)
                else:
                    folder.rename(target)
            finally:
                _unlock(lock)


def _lock(folder: Path, *, wait: bool = False) -> int | None:
    """Hold a folder until it is let go, or the process ends; None where none can.

    Raises
    ------
    BlockingIOError
        If another holds it, unless that is waited for.
    """
    try:
        import fcntl
    except ImportError:
        return None
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        os.close(handle)
        if isinstance(fault, BlockingIOError):
            raise
        return None
    return handle


def _unlock(lock: int | None) -> None:
    if lock is not None:
        os.close(lock)


def _not_empty(target: Path) -> InputError:
    return InputError(
        "the output folder already holds files",
        file=target,
        cure="Name another folder with --out, or add --overwrite",
    )


def _make_parents(folder: Path) -> list[Path]:
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return missing


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()


def _unwritable(target: Path, fault: OSError) -> InputError:
    why = fault.strerror or str(fault)
    cure = _OTHER
    if isinstance(fault, PermissionError) and WINDOWS and target.exists():
        cure = "Close whatever has a file of it open; the folder is as it was"
    return InputError(f"the output cannot be written ({why})", file=target, cure=cure)


def _to_disk(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk.

    Windows does so of files alone, and of such only as are open to be written.
    """
    if WINDOWS and path.is_dir():
        return
    handle = os.open(path, os.O_RDWR if WINDOWS else os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _link(hidden: Path, target: Path) -> None:
    _remove_dead(target, now=hidden.stat().st_mtime)
    try:
        os.link(hidden, target)
    except FileExistsError:
        # Over a network the answer to a link that was made may be lost, and asked anew.
        if not hidden.samefile(target):
            raise
    except OSError:
        _occupy(hidden, target)


def _occupy(hidden: Path, target: Path) -> None:
    """Where files cannot be linked: take the place with an empty file, then fill it."""
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    try:
        hidden.replace(target)
    except BaseException:
        target.unlink(missing_ok=True)
        raise


def _remove_dead(target: Path, *, now: float) -> None:
    with suppress(FileNotFoundError):
        there = target.stat()
        if there.st_size == 0 and now - there.st_mtime > _TAKEN:
            target.unlink()
