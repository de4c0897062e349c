"""What written means: a file, or a folder of files, is there whole or not at all.

Files that appear whole, once, and never change: with no server and no lock.

A file is written beside its place under a hidden name, brought to the disk, and
linked to its place.  Linking fails where something stands already: of several writers
exactly one wins, and a reader never meets half a file.  What a killed writer leaves
behind is a hidden file, which nobody reads and a later writer sweeps away.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from geom.errors import InputError


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that a reader, or a power cut, never meets half of it.

    Parameters
    ----------
    path : Path
        Its folder must exist.
    content : bytes
    """
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o666 & ~_umask())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


@contextmanager
def folder_written_whole(target: Path, *, overwrite: bool = False) -> Iterator[Path]:
    """A scratch folder that becomes ``target`` when the block ends without error.

    Parameters
    ----------
    target : Path
        Where the files shall stand.
    overwrite : bool
        Allow a target that already holds files; those of the same name are replaced,
        one by one and each whole.

    Yields
    ------
    Path
        An empty folder beside the target, on the same disk.

    Raises
    ------
    InputError
        If the target is not a folder, holds files already, or cannot be written.
    """
    refuse_folder(target, overwrite=overwrite)
    try:
        made = _make_parents(target.parent)
        scratch = Path(tempfile.mkdtemp(dir=target.parent, prefix=f".{target.name}."))
    except OSError as fault:
        raise _unwritable(target, fault) from fault
    try:
        yield scratch
        _settle(scratch, target)
    except BaseException as fault:
        shutil.rmtree(scratch, ignore_errors=True)
        _remove_empty(made)
        if isinstance(fault, OSError):
            raise _unwritable(target, fault) from fault
        raise
    shutil.rmtree(scratch, ignore_errors=True)


def refuse_folder(target: Path, *, overwrite: bool) -> None:
    """Say no, early, to an output folder that cannot or must not be written.

    Raises
    ------
    InputError
        As for `folder_written_whole`.
    """
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
        raise InputError(
            "the output folder already holds files",
            file=target,
            cure="Name another folder with --out, or add --overwrite",
        )
    above = next(
        p for p in (target.absolute(), *target.absolute().parents) if p.exists()
    )
    if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
        raise InputError(
            f"the output folder cannot be made in {above}", file=target, cure=_OTHER
        )


_OTHER = (
    "Check who may write there and that the disk is not full, or choose another folder"
)


def _settle(scratch: Path, target: Path) -> None:
    for file in scratch.rglob("*"):
        if file.is_file():
            with file.open("rb") as opened:
                os.fsync(opened.fileno())
    scratch.chmod(0o777 & ~_umask())
    if not target.exists() or not any(target.iterdir()):
        scratch.replace(target)
        return
    for file in sorted(scratch.iterdir()):
        file.replace(target / file.name)


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
    return InputError(f"the output cannot be written ({why})", file=target, cure=_OTHER)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


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
