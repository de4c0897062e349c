"""What written means: a file, or a folder of files, is there whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
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
