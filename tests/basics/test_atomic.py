"""Files and folders stand whole or not at all, also when the disk is full."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from geom.atomic import atomic_directory, atomic_write, check_directory
from geom.errors import InputError


def everything(folder: Path) -> dict[str, bytes | None]:
    """All paths below a folder, hidden ones too, with what files hold."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        if path.is_file()
        else None
        for path in sorted(folder.rglob("*"))
    }


@pytest.fixture(params=["fsync", "replace"])
def full_disk(request, monkeypatch):
    """Let the disk be full at one of the two steps that meet it."""

    def refuse(*args, **kwargs):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def fill():
        monkeypatch.setattr(os, request.param, refuse)
        if request.param == "replace":
            monkeypatch.setattr(Path, "replace", refuse)
            monkeypatch.setattr(Path, "rename", refuse)

    return fill


def test_a_file_is_written(tmp_path):
    atomic_write(tmp_path / "a.json", b"one")
    atomic_write(tmp_path / "a.json", b"two")
    assert everything(tmp_path) == {"a.json": b"two"}


def test_a_file_is_as_readable_as_any_other(tmp_path):
    atomic_write(tmp_path / "a.json", b"one")
    (tmp_path / "b.json").write_bytes(b"one")
    assert (tmp_path / "a.json").stat().st_mode == (tmp_path / "b.json").stat().st_mode


@pytest.mark.parametrize("before", [{}, {"a.json": b"old"}])
def test_a_full_disk_leaves_the_file_as_it_was(tmp_path, full_disk, before):
    for name, content in before.items():
        (tmp_path / name).write_bytes(content)
    full_disk()
    with pytest.raises(OSError, match="No space left"):
        atomic_write(tmp_path / "a.json", b"new")
    assert everything(tmp_path) == before


def test_a_folder_is_made_with_those_above_it(tmp_path):
    with atomic_directory(tmp_path / "x" / "y" / "out") as scratch:
        (scratch / "a.txt").write_text("a")
        assert not (tmp_path / "x" / "y" / "out").exists()
    assert everything(tmp_path / "x") == {"y": None, "y/out": None, "y/out/a.txt": b"a"}


def test_an_empty_folder_is_filled(tmp_path):
    (tmp_path / "out").mkdir()
    with atomic_directory(tmp_path / "out") as scratch:
        (scratch / "a.txt").write_text("a")
    assert everything(tmp_path) == {"out": None, "out/a.txt": b"a"}


class BlockError(Exception):
    """What a block may raise."""


def write_then_fail(target, fault):
    """Begin a folder and fail in its block."""
    with atomic_directory(target) as scratch:
        (scratch / "a.txt").write_text("half")
        raise fault


@pytest.mark.parametrize("fault", [BlockError(), KeyboardInterrupt(), MemoryError()])
def test_a_failure_in_the_block_leaves_nothing_behind(tmp_path, fault):
    with pytest.raises(type(fault)):
        write_then_fail(tmp_path / "x" / "out", fault)
    assert everything(tmp_path) == {}


def test_bad_input_in_the_block_passes_as_it_is(tmp_path):
    with pytest.raises(InputError, match=r"^radius -3\.$"):
        write_then_fail(tmp_path / "out", InputError("radius -3"))
    assert everything(tmp_path) == {}


def test_a_failure_in_the_block_leaves_an_older_folder_alone(tmp_path):
    (tmp_path / "out").mkdir()
    with pytest.raises(BlockError):
        write_then_fail(tmp_path / "out", BlockError())
    assert everything(tmp_path) == {"out": None}


def test_a_folder_with_files_is_not_overwritten_unasked(tmp_path):
    (tmp_path / "a.txt").write_text("old")
    with (
        pytest.raises(InputError, match="--overwrite") as told,
        atomic_directory(tmp_path),
    ):
        pytest.fail("the block must not run")
    assert told.value.file == str(tmp_path)
    assert everything(tmp_path) == {"a.txt": b"old"}


def old_folder(tmp_path) -> Path:
    """A folder with files of an earlier run and one of somebody's own."""
    out = tmp_path / "out"
    out.mkdir()
    for name in ("a.txt", "still.svg"):
        (out / name).write_text("old")
    (out / "mine.txt").write_text("kept")
    return out


OURS = {"a.txt", "b.txt", "still.svg"}


def write_anew(out) -> None:
    with atomic_directory(out, overwrite=True, ours=OURS) as scratch:
        (scratch / "a.txt").write_text("new")
        (scratch / "b.txt").write_text("more")


WRITTEN_ANEW = {
    "out": None,
    "out/a.txt": b"new",
    "out/b.txt": b"more",
    "out/mine.txt": b"kept",
}


def test_overwriting_leaves_nothing_of_the_run_before_and_what_is_not_ours(tmp_path):
    write_anew(old_folder(tmp_path))
    assert everything(tmp_path) == WRITTEN_ANEW


def test_a_folder_that_cannot_take_its_place_leaves_the_old_one_whole(
    tmp_path, monkeypatch
):
    out = old_folder(tmp_path)
    before, rename = everything(tmp_path), Path.rename

    def held(path, target):
        if path.suffix == ".new":
            raise PermissionError(errno.EACCES, "held")
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", held)
    with pytest.raises(InputError, match="held"):
        write_anew(out)
    assert everything(tmp_path) == before


def test_of_writers_to_one_new_folder_one_wins_and_the_others_hear_of_it(tmp_path):
    out, together = tmp_path / "out", threading.Barrier(3)

    def write(number: int) -> str:
        try:
            with atomic_directory(out) as scratch:
                for name in ("a", "b"):
                    (scratch / name).write_text(str(number))
                together.wait()
        except InputError as fault:
            return str(fault)
        return "done"

    with ThreadPoolExecutor(3) as pool:
        ends = list(pool.map(write, range(3)))
    assert ends.count("done") == 1
    assert sum("already holds files" in end for end in ends) == 2
    winner = str(ends.index("done")).encode()
    assert everything(tmp_path) == {"out": None, "out/a": winner, "out/b": winner}


def test_of_writers_that_may_overwrite_the_last_one_stands_whole(tmp_path):
    out = old_folder(tmp_path)

    def write(number: int) -> None:
        for _ in range(20):
            with atomic_directory(out, overwrite=True, ours={"a", "b"}) as scratch:
                for name in ("a", "b"):
                    (scratch / name).write_text(str(number))

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(write, range(3)))
    left = everything(tmp_path)
    assert left.pop("out/a") == left.pop("out/b")
    kept = {"out/a.txt": b"old", "out/still.svg": b"old", "out/mine.txt": b"kept"}
    assert left == {"out": None} | kept


KILLED = """
import os, signal, sys
from pathlib import Path
from geom.atomic import atomic_directory
at, out = sys.argv[1], Path(sys.argv[2])
rename = Path.rename
def killed(path, target):
    if at == "put in place" and path.suffix == ".new":
        os.kill(os.getpid(), signal.SIGKILL)
    done = rename(path, target)
    if at == "taken aside" and Path(target).suffix == ".old":
        os.kill(os.getpid(), signal.SIGKILL)
    if at == "in place" and path.suffix == ".new":
        os.kill(os.getpid(), signal.SIGKILL)
    return done
Path.rename = killed
with atomic_directory(out, overwrite=True, ours={"a.txt", "still.svg"}) as scratch:
    (scratch / "a.txt").write_text("killed")
    if at == "writing":
        os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize("at", ["writing", "taken aside", "put in place", "in place"])
def test_what_a_killed_writer_left_is_cleared_by_the_next(tmp_path, at):
    out = old_folder(tmp_path)
    ended = subprocess.run([sys.executable, "-c", KILLED, at, out], check=False)
    assert ended.returncode == -signal.SIGKILL
    check_directory(out, overwrite=True, ours=OURS)
    wall = b"killed" if at == "in place" else b"old"
    left = everything(tmp_path)
    assert (left["out/a.txt"], left["out/mine.txt"]) == (wall, b"kept")
    assert ("out/still.svg" in left) == (at != "in place")
    assert not [name for name in left if name.startswith(".")]
    write_anew(out)
    assert everything(tmp_path) == WRITTEN_ANEW


def test_a_living_writer_is_left_alone(tmp_path):
    with atomic_directory(tmp_path / "out") as scratch:
        check_directory(tmp_path / "out", overwrite=False)
        assert scratch.is_dir()
        (scratch / "a.txt").write_text("a")
    assert everything(tmp_path) == {"out": None, "out/a.txt": b"a"}


def test_a_folder_is_as_readable_as_any_other(tmp_path):
    (tmp_path / "made").mkdir()
    with atomic_directory(tmp_path / "out") as scratch:
        (scratch / "a.txt").write_text("a")
    assert (tmp_path / "out").stat().st_mode == (tmp_path / "made").stat().st_mode


def test_a_name_longer_than_any_may_be_is_refused_early(tmp_path):
    for name in ("x" * 300, "ü" * 200):
        for target in (tmp_path / name, tmp_path / name / "out"):
            with pytest.raises(InputError, match="too long"):
                check_directory(target, overwrite=False)


def write_to_full_disk(target, fill, *, overwrite=False):
    """Write a folder while the disk fills up."""
    with atomic_directory(target, overwrite=overwrite) as scratch:
        (scratch / "a.txt").write_text("new")
        fill()


def test_a_full_disk_is_told_and_nothing_half_written_stays(tmp_path, full_disk):
    target = tmp_path / "x" / "out"
    with pytest.raises(InputError, match="No space left") as told:
        write_to_full_disk(target, full_disk)
    assert told.value.file == str(target)
    assert told.value.cure
    assert isinstance(told.value.__cause__, OSError)
    assert everything(tmp_path) == {}


def test_a_full_disk_leaves_an_older_folder_as_it_was(tmp_path, full_disk):
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.txt").write_text("old")
    before = everything(tmp_path)
    with pytest.raises(InputError, match="No space left"):
        write_to_full_disk(out, full_disk, overwrite=True)
    assert everything(tmp_path) == before


def test_a_file_where_the_folder_should_go_is_refused(tmp_path):
    (tmp_path / "out").write_text("x")
    for overwrite in (False, True):
        with pytest.raises(InputError, match="there is a file"):
            check_directory(tmp_path / "out", overwrite=overwrite)
    with pytest.raises(InputError, match="cannot be made"):
        check_directory(tmp_path / "out" / "deeper", overwrite=False)


def test_a_folder_nobody_may_write_is_refused(tmp_path, monkeypatch):
    # Asked through os.access, since a test may run as one who may write everywhere.
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(InputError, match="cannot be written"):
        check_directory(tmp_path, overwrite=True)
    with pytest.raises(InputError, match="cannot be made"):
        check_directory(tmp_path / "out", overwrite=False)


def test_refusing_writes_nothing(tmp_path):
    check_directory(tmp_path / "x" / "out", overwrite=False)
    assert everything(tmp_path) == {}
