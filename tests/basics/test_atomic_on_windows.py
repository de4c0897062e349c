"""Files are written where a system is as strict about open ones as Windows is.

What it refuses is refused here by stand-ins: waiting for a file that is open for
reading alone, opening a folder, removing a name of a read-only file (from its
documentation of FlushFileBuffers, CreateFile and DeleteFile; from memory).
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import sys
from pathlib import Path

import pytest

from geom import atomic
from geom.atomic import atomic_directory, atomic_write

MADE = {"a.json": b"one", "b.json": b"two"}


@pytest.fixture
def strict(monkeypatch: pytest.MonkeyPatch) -> None:
    """A system that refuses what Windows refuses."""
    real_open, real_fsync, real_unlink = os.open, os.fsync, Path.unlink
    writable: dict[int, bool] = {}

    def opened(path, flags, *more, **names):
        if Path(path).is_dir():
            raise PermissionError(errno.EACCES, "a folder", str(path))
        handle = real_open(path, flags, *more, **names)
        writable[handle] = bool(flags & (os.O_RDWR | os.O_WRONLY))
        return handle

    def to_disk(handle):
        if not writable.get(handle, True):
            raise OSError(errno.EBADF, "open for reading alone")
        real_fsync(handle)

    def unlink(path, missing_ok=False):
        if path.exists() and not path.stat().st_mode & stat.S_IWUSR:
            raise PermissionError(errno.EACCES, "read-only", str(path))
        real_unlink(path, missing_ok=missing_ok)

    monkeypatch.setattr(os, "open", opened)
    monkeypatch.setattr(os, "fsync", to_disk)
    monkeypatch.setattr(Path, "unlink", unlink)
    monkeypatch.setattr(shutil, "_use_fd_functions", False)  # nor has it these
    monkeypatch.setattr(atomic, "WINDOWS", True)
    monkeypatch.setitem(sys.modules, "fcntl", None)


@pytest.mark.parametrize("replace", [True, False])
def test_a_file_is_written_and_leaves_nothing_beside_it(
    tmp_path: Path, strict: None, replace: bool
) -> None:
    path = tmp_path / "a.json"
    atomic_write(path, b"one", replace=replace)
    assert path.read_bytes() == b"one"
    assert list(tmp_path.iterdir()) == [path]
    if not replace:
        with pytest.raises(FileExistsError):
            atomic_write(path, b"two", replace=False)
        assert list(tmp_path.iterdir()) == [path]


def test_a_folder_appears_whole_and_takes_the_place_of_another(
    tmp_path: Path, strict: None
) -> None:
    target = tmp_path / "out"
    target.mkdir()  # an empty folder is in the way there
    for _ in range(2):
        with atomic_directory(target, overwrite=True, ours=MADE) as folder:
            for name, content in MADE.items():
                (folder / name).write_bytes(content)
    assert {path.name: path.read_bytes() for path in target.iterdir()} == MADE
    assert list(tmp_path.iterdir()) == [target]
