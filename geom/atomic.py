"""Writing that is atomic: a file, or a folder of files, is there whole or not at all.

A file is written next to its place under a hidden name, brought to the disk, and moved
or linked to its place.  Linking fails where something stands already: of several
writers exactly one wins, with no server and no lock, and a reader never meets half a
file.  What a killed writer leaves behind is a hidden file, which nobody reads and a
later writer removes.
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
        False for a file that must not be there yet, and is read-only from then on.

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
    folder : Path
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


@contextmanager
def atomic_directory(target: Path, *, overwrite: bool = False) -> Iterator[Path]:
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
        An empty folder next to the target, on the same disk.

    Raises
    ------
    InputError
        If the target is not a folder, holds files already, or cannot be written.
    """
    check_directory(target, overwrite=overwrite)
    try:
        made = _make_parents(target.parent)
        scratch = Path(tempfile.mkdtemp(dir=target.parent, prefix=f".{target.name}."))
    except OSError as fault:
        raise _unwritable(target, fault) from fault
    try:
        yield scratch
        _move_in(scratch, target)
    except BaseException as fault:
        shutil.rmtree(scratch, ignore_errors=True)
        _remove_empty(made)
        if isinstance(fault, OSError):
            raise _unwritable(target, fault) from fault
        raise
    shutil.rmtree(scratch, ignore_errors=True)


def check_directory(target: Path, *, overwrite: bool) -> None:
    """Say no, early, to an output folder that cannot or must not be written.

    Raises
    ------
    InputError
        As for `atomic_directory`.
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


def _move_in(scratch: Path, target: Path) -> None:
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


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
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
