"""Processes of one's own: in order, whatever dies, and gone when they should be."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from geom.errors import InputError
from geom.parallel import ProcessMap, begun_processes, processors, second_process
from geom.surface import reconstruct
from tests.record.errands import (
    begun,
    fail,
    get_ready,
    is_ready,
    pid,
    report,
    square,
    stumble,
)
from tests.walls import plain_design, rod_readings, stations

ROOT = Path(__file__).resolve().parents[2]


def test_answers_come_in_the_order_of_the_tasks():
    """The first take longest."""
    tasks = [(n, 0.2 / (1 + n)) for n in range(12)]
    assert list(ProcessMap(3).map(square, tasks)) == [n * n for n in range(12)]


def test_others_do_it():
    found = set(ProcessMap(2).map(pid, [0.05] * 8))
    assert os.getpid() not in found
    assert len(found) == 2


def test_processes_begun_early_get_ready_once_each_and_end_with_the_block():
    with begun_processes(2, get_ready) as processes:
        found = list(processes.map(is_ready, [0.05] * 8))
    assert len({here for here, _ in found}) == 2
    assert all(ready == [here] for here, ready in found)
    with begun_processes(1, get_ready) as processes:
        pass
    with pytest.raises((OSError, ValueError)):
        list(processes.map(is_ready, [0.0]))


def test_tasks_are_taken_only_a_few_ahead():
    taken: list[int] = []

    def tasks():
        for n in range(20):
            taken.append(n)
            yield n, 0.0

    answers = ProcessMap(2).map(square, tasks())
    assert next(answers) == 0
    assert len(taken) == 4
    answers.close()
    assert len(taken) == 4


def test_what_goes_wrong_is_raised_here():
    answers = ProcessMap(2).map(fail, ["a.nc", "b.nc"])
    with pytest.raises(InputError) as fault:
        list(answers)
    assert fault.value.file == "a.nc"
    assert str(fault.value) == "a.nc: it is spoiled. Copy it again."
    assert any("in fail" in note for note in fault.value.__notes__)


def test_what_a_process_prints_spoils_no_answer(capfd):
    assert list(ProcessMap(1).map(report, ["seen"])) == ["seen"]
    said = capfd.readouterr()
    assert said.out == ""
    assert "seen" in said.err


def test_the_work_of_a_process_that_dies_is_done_all_the_same(tmp_path):
    """The third task ends its process; it is done here, and the rest by a new one."""
    tasks = [(str(tmp_path), n) for n in range(8)]
    assert list(ProcessMap(2).map(stumble, tasks)) == list(range(8))
    assert len(list(tmp_path.glob("ended-*"))) == 1


def test_they_end_with_whoever_started_them(tmp_path):
    """Even if that is killed: nobody is there to tell them."""
    script = tmp_path / "script.py"
    script.write_text(
        f"import sys; sys.path.insert(0, {str(ROOT)!r})\n"
        "from geom.parallel import ProcessMap\n"
        "from tests.record.errands import pid\n"
        "answers = ProcessMap(2).map(pid, [0.0] * 100)\n"
        "print(next(answers), flush=True)\n"
        "sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as parent:
        process = int(parent.stdout.readline())
        assert alive(process)
        parent.kill()
    ends = time.monotonic() + 20.0
    while alive(process):
        assert time.monotonic() < ends, "still there"
        time.sleep(0.05)


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.fixture
def two_processors(monkeypatch):
    monkeypatch.setattr("geom.parallel.processors", lambda: 2)


def test_a_second_process_does_what_is_begun_in_order(two_processors):
    with second_process() as second:
        answers = [second.begin(square, (n, 0.1 / (1 + n))) for n in range(4)]
        other = second.begin(pid, 0.0)()
        assert [answer() for answer in answers] == [0, 1, 4, 9]
        assert other != os.getpid()
        assert alive(other)
    assert not alive(other)


def test_a_second_process_ends_at_once_when_the_block_is_left(two_processors, tmp_path):
    """And the fault that left it comes through."""
    left: list[Any] = []

    def left_early():
        with second_process() as second:
            left.append(second.begin(pid, 0.0)())
            left.append(second.begin(begun, (tmp_path / "begun", 5.0)))
            while not (tmp_path / "begun").exists():
                time.sleep(0.01)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        left_early()
    other, answer = left
    assert not alive(other)
    with pytest.raises(EOFError):
        answer()


def test_work_is_handed_over_as_it_stands(two_processors):
    """The first piece keeps the process busy while the second is changed."""
    task = [3, 0.0]
    with second_process() as second:
        second.begin(pid, 0.5)
        answer = second.begin(square, task)
        task[0] = 5
        assert answer() == 9


def test_what_goes_wrong_in_the_second_process_is_raised_here(two_processors):
    with second_process() as second:
        answer = second.begin(fail, "a.nc")
        with pytest.raises(InputError, match="it is spoiled"):
            answer()


def test_the_work_of_a_second_process_that_dies_is_done_here(two_processors, tmp_path):
    with second_process() as second:
        answers = [second.begin(stumble, (str(tmp_path), n)) for n in range(5)]
        assert [answer() for answer in answers] == list(range(5))
    assert len(list(tmp_path.glob("ended-*"))) == 1


@pytest.mark.parametrize("lacking", ["a processor", "room for a process"])
def test_where_there_can_be_no_second_process_this_one_does_it(monkeypatch, lacking):
    def none(*_, **__):
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr("geom.parallel.processors", lambda: 1 + ("room" in lacking))
    if "room" in lacking:
        monkeypatch.setattr(subprocess, "Popen", none)
    with second_process() as second:
        answer = second.begin(pid, 0.0)
        assert answer() == answer() == os.getpid()


def test_there_is_at_least_one_processor():
    assert 1 <= processors() <= os.cpu_count()


NO_PLACE = """
import os
from numba.core.caching import CacheImpl, UserProvidedCacheLocator
CacheImpl._locator_classes = [UserProvidedCacheLocator]
import numpy as np
from geom.surface.clouds.kernels import _shifted
one, out = np.ones(1), np.zeros((3, 1), np.float32)
_shifted(one, one, one, np.full(3, 2.0), np.full(3, 40.0), *out)
place = os.environ["NUMBA_CACHE_DIR"]
names = [name for *_, found in os.walk(place) for name in found]
print(out[0, 0], sum(name.endswith(".nbi") for name in names))
print(place)
"""


def test_where_nothing_can_be_kept_machine_code_goes_with_the_process():
    """A read-only installation without a home: numba found no place and gave up."""
    bare = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    said = subprocess.run(
        [sys.executable, "-c", NO_PLACE],
        capture_output=True,
        text=True,
        check=True,
        env=bare,
        cwd=ROOT,
    ).stdout.splitlines()
    assert said[0] == "42.0 1"
    assert not Path(said[1]).exists()


def test_whatever_is_read_is_fitted_on_one_thread_of_linear_algebra(monkeypatch):
    def threads(*_: object, **__: object) -> set[int]:
        pools = [pool for pool in threadpool_info() if pool["user_api"] == "blas"]
        return {int(pool["num_threads"]) for pool in pools}

    for name, inner in (
        ("geom.surface.reconstruct", "_of_rods"),
        ("geom.surface.clouds.reconstruct", "reconstruct_clouds"),
    ):
        monkeypatch.setattr(import_module(name), inner, threads)
    rods = rod_readings(*stations(3, 3, 100.0, 900.0), np.full(9, 450.0))
    cloud: Any = SimpleNamespace(sparse=False)
    with threadpool_limits(2, user_api="blas"):
        assert reconstruct(rods, plain_design()) == {1}
        assert reconstruct(cloud, plain_design()) == {1}
        assert threads() == {2}
