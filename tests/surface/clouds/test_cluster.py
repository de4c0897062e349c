"""Counting on many processes: exact, whatever dies, and every failure told."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geom import cluster as dask_cluster
from geom.datum import Pose
from geom.errors import InputError, MissingExtra, TooFewReadings
from geom.readings.cloud import Cloud
from geom.readings.clouds import open_cloud
from geom.surface import make_grid
from geom.surface.clouds import binning
from geom.surface.clouds.binning import bin_chunk, bin_cloud, chunks_of, dask_binner
from geom.surface.clouds.histogram import BinLayout, Histogram
from tests.readings.clouds.writers import WAYS, some_points
from tests.surface.clouds.watched_cloud import DeadlyCloud, WatchedCloud
from tests.walls import tapered_design

DESIGN = tapered_design()
LAYOUT = BinLayout.of(DESIGN, make_grid(DESIGN, surveyed=(0.0, 1500.0), spacing=50.0))
POSE = Pose.nominal(DESIGN).at([7.3, -4.1, 0.4, -0.7])
COUNT = 300_000


@pytest.fixture(scope="module")
def workers():
    """Two processes, and a client that looks on; a task may end one of them."""
    import dask
    from distributed import Client, LocalCluster

    few = {
        "distributed.scheduler.allowed-failures": 1,
        "distributed.worker.multiprocessing-method": "spawn",
    }
    with (
        dask.config.set(few),
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
            silence_logs="CRITICAL",
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield client


@pytest.fixture
def address(workers):
    """Where the scheduler of two living workers listens."""
    until(lambda: len(workers.nthreads()) == 2)
    return workers.scheduler.address


@pytest.fixture(scope="module")
def wall(tmp_path_factory):
    """The path of a big array file."""
    path = tmp_path_factory.mktemp("clouds") / "wall.npy"
    WAYS["npy float32"].write(path, some_points(COUNT))
    return path


@pytest.fixture
def watched(wall, tmp_path):
    """The same cloud, telling who reads what."""
    source = open_cloud(wall)
    return WatchedCloud(str(wall), source, tmp_path)


def cloud_of(source: Any) -> Cloud:
    opened = open_cloud(source) if isinstance(source, str | Path) else source
    return Cloud(opened, 1000.0, 0.0, 0.0, None)


def until(true: Callable[[], bool], *, seconds: float = 30.0) -> None:
    """Wait until something is so."""
    ends = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < ends, "waited too long"
        time.sleep(0.01)


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def end(process: int) -> None:
    """Kill a process; it is dead when this returns."""
    os.kill(process, signal.SIGKILL)
    until(lambda: not alive(process))


def counted_here(cloud: Cloud, pose: Pose = POSE) -> Histogram:
    histogram = Histogram(LAYOUT)
    bin_cloud(cloud, pose, histogram)
    return histogram


def assert_same(one: Histogram, other: Histogram) -> None:
    np.testing.assert_array_equal(one.counts, other.counts)
    np.testing.assert_array_equal(one.missed, other.missed)


# --- exact ---------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["npy float32", "las 1.2", "polars", "e57"])
def test_a_cluster_counts_what_one_process_counts(address, tmp_path, way):
    path = tmp_path / f"wall{WAYS[way].ending}"
    WAYS[way].write(path, some_points(COUNT))
    cloud = cloud_of(path)
    here = counted_here(cloud)  # first, so that what it compiles is there for workers
    histogram, runs = Histogram(LAYOUT), []
    with dask_binner(address, most=40_000) as count:
        count(cloud, POSE, histogram, progress=runs.append)
    assert histogram.total == sum(runs) == COUNT
    assert len(runs) == len(cloud.source.pieces(40_000)) > 1
    assert_same(histogram, here)
    # Spoiled: a hundredth of a millimetre off is another tally.
    moved = POSE.at(POSE.parameters + np.array([0.01, 0.0, 0.0, 0.0]))
    assert (histogram.counts != counted_here(cloud, moved).counts).any()


@pytest.mark.parametrize("many", [None, 3, 40])
def test_each_thread_counts_one_share_and_few_tallies_come_here(
    address, wall, monkeypatch, many
):
    # Not one for every few points: however many there are, a few are fetched.
    monkeypatch.setattr(binning, "CHUNK", 1_000)
    fetched, fetch = [], dask_cluster._Run._fetched
    monkeypatch.setattr(
        dask_cluster._Run,
        "_fetched",
        lambda run, future: fetched.append(future) or fetch(run, future),
    )
    histogram, runs = Histogram(LAYOUT), []
    most = many and -(-COUNT // many)
    with dask_binner(address, most=most) as count:
        threads = count.workers.threads
        count(cloud_of(wall), POSE, histogram, progress=runs.append)
    assert len(runs) == (many or threads) > 1
    # how many each has counted, and the tallies
    assert len(fetched) == len(runs) + min(len(runs), dask_cluster._FEW)
    assert_same(histogram, counted_here(cloud_of(wall)))


def test_clouds_add_up_in_one_tally(address, wall, tmp_path):
    other = tmp_path / "other.npy"
    WAYS["npy float64"].write(other, some_points(30_000, seed=8))
    here, there = Histogram(LAYOUT), Histogram(LAYOUT)
    with dask_binner(address, most=100_000) as count:
        for cloud in (cloud_of(wall), cloud_of(other), cloud_of(other)):
            bin_cloud(cloud, POSE, here)
            count(cloud, POSE, there)
    assert here.total == COUNT + 60_000
    assert_same(there, here)


def test_processes_of_this_machine_count_and_are_ended(wall):
    from dask.system import CPU_COUNT

    before = set(multiprocessing.active_children())
    cloud, histogram = cloud_of(wall), Histogram(LAYOUT)
    started = set()

    def interrupted() -> None:
        with dask_binner("local", most=50_000) as count:
            started.update(set(multiprocessing.active_children()) - before)
            count(cloud, POSE, histogram)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        interrupted()
    assert len(started) == max(2, CPU_COUNT)
    assert not any(child.is_alive() for child in started)
    assert_same(histogram, counted_here(cloud))


def test_a_piece_is_counted_on_one_thread(wall, monkeypatch):
    import numba

    seen = []
    count = Histogram.count

    def watching(histogram: Histogram, *told: Any) -> None:
        seen.append(numba.get_num_threads())
        count(histogram, *told)

    monkeypatch.setattr(Histogram, "count", watching)
    before = numba.get_num_threads()
    (piece,) = chunks_of(cloud_of(wall), POSE, LAYOUT, most=COUNT)
    histogram = Histogram(LAYOUT)
    histogram.add_sparse(bin_chunk(piece))
    assert set(seen) == {1}
    assert numba.get_num_threads() == before
    assert_same(histogram, counted_here(cloud_of(wall)))


# --- whatever dies -------------------------------------------------------------------


def test_a_worker_killed_in_the_middle_of_a_piece(address, workers, watched):
    hold = watched.folder / "hold"
    hold.touch()

    def kill_one() -> tuple[int, int]:
        until(lambda: len(watched.noted("begun")) == 2)
        start, process = min(watched.noted("begun"))
        address = {by: where for where, by in workers.run(os.getpid).items()}[process]
        end(process)
        assert watched.noted("through") == set()
        until(lambda: address not in workers.nthreads())
        hold.unlink()
        return start, process

    histogram = Histogram(LAYOUT)
    with ThreadPoolExecutor(1) as aside, dask_binner(address, most=10_000) as count:
        killed = aside.submit(kill_one)
        count(cloud_of(watched), POSE, histogram)
        start, process = killed.result()
    assert (start, process) not in watched.noted("through")
    assert start in {again for again, other in watched.noted("through")}
    assert process not in {other for _, other in watched.noted("through")}
    assert_same(histogram, counted_here(cloud_of(watched.name)))


def test_a_worker_killed_with_tallies_that_were_put_together(address, workers, watched):
    lost: dict[str, Any] = {}
    told: list[int] = []

    def kill_one(points: int) -> None:
        told.append(points)
        if lost or len(told) < 12:
            return
        # A dozen of 30 pieces are told of, and most of their tallies put together.
        held = {worker: keys for worker, keys in workers.has_what().items() if keys}
        worker, keys = max(held.items(), key=lambda item: len(item[1]))
        process = workers.run(os.getpid)[worker]
        end(process)
        lost.update(process=process, tallies=len(keys))
        lost["through"] = {s for s, by in watched.noted("through") if by == process}
        until(lambda: worker not in workers.nthreads())

    histogram = Histogram(LAYOUT)
    with dask_binner(address, most=10_000) as count:
        count(cloud_of(watched), POSE, histogram, progress=kill_one)
    others = {s for s, by in watched.noted("through") if by != lost["process"]}
    assert lost["tallies"] >= 1
    assert lost["through"] & others  # what was lost was counted again by another
    assert_same(histogram, counted_here(cloud_of(watched.name)))


def test_a_cloud_that_ends_every_worker_is_told(address, wall, tmp_path):
    deadly = DeadlyCloud(str(wall), open_cloud(wall), tmp_path)
    with (
        dask_binner(address, most=COUNT) as count,
        pytest.raises(InputError, match=r"wall\.npy, part 1 of 1: 2 workers .* died"),
    ):
        count(cloud_of(deadly), POSE, Histogram(LAYOUT))
    assert len(deadly.noted("begun")) == 2


# --- every failure told --------------------------------------------------------------


def told(error: InputError) -> tuple[Any, ...]:
    return type(error), str(error), error.what, error.file, error.place, error.cure


def test_a_damaged_piece_is_told_as_if_it_were_read_here(
    address, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)  # where the workers are not
    path = Path("wall.las")
    WAYS["las 1.2"].write(path, some_points(50_000))
    cloud = cloud_of("wall.las")
    os.truncate(path, path.stat().st_size - 1000)
    last = cloud.source.pieces(10_000)[-1]
    with pytest.raises(InputError) as here:
        list(cloud.source.chunks(1_000_000, last))
    with dask_binner(address, most=10_000) as count, pytest.raises(InputError) as there:
        count(cloud, POSE, Histogram(LAYOUT))
    assert here.value.file == "wall.las"
    assert told(there.value) == told(here.value)


def test_a_cloud_without_points_is_told_as_by_one_process(address, tmp_path):
    path = tmp_path / "wall.npy"
    np.save(path, np.full((100, 3), np.nan))
    with pytest.raises(InputError) as here:
        bin_cloud(cloud_of(path), POSE, Histogram(LAYOUT))
    with dask_binner(address, most=30) as count, pytest.raises(InputError) as there:
        count(cloud_of(path), POSE, Histogram(LAYOUT))
    assert told(there.value) == told(here.value)


def other_content(path: Path) -> None:
    path.write_bytes(path.read_bytes() + b"\0")


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (Path.unlink, r"a worker on .* cannot read .*\(No such file or directory\)"),
        (other_content, r"it has \d+ bytes, but for a worker on .* it has \d+"),
    ],
)
def test_a_file_that_a_worker_does_not_have_is_told(address, tmp_path, change, what):
    path = tmp_path / "wall.npy"
    WAYS["npy float32"].write(path, some_points(20_000))

    def once(points: int) -> None:
        if not changed:
            changed.append(points)
            change(path)

    changed: list[int] = []
    with (
        dask_binner(address, most=1000) as count,
        pytest.raises(InputError, match=what) as fault,
    ):
        count(cloud_of(path), POSE, Histogram(LAYOUT), progress=once)
    assert fault.value.file == str(path)
    assert "under the same name" in str(fault.value)


def test_a_file_that_is_gone_is_told_at_once(address, tmp_path):
    path = tmp_path / "wall.npy"
    WAYS["npy float32"].write(path, some_points(100))
    cloud = cloud_of(path)
    path.unlink()
    with (
        dask_binner(address) as count,
        pytest.raises(InputError, match=r"wall\.npy: .*no such file"),
    ):
        count(cloud, POSE, Histogram(LAYOUT))


def test_another_version_of_the_program_is_told(wall):
    piece = next(chunks_of(cloud_of(wall), POSE, LAYOUT, most=COUNT))
    with pytest.raises(InputError, match=r"Install daubline 0\.0\.9 for"):
        bin_chunk(replace(piece, version="0.0.9"))


@pytest.mark.parametrize(
    "wrong", ["cupola", "", "tcp://127.0.0.1", "udp://127.0.0.1:8786", "Local"]
)
def test_what_is_no_address_is_told(wrong):
    with (
        pytest.raises(InputError, match=f'answers at "{wrong}".*tcp://host:8786'),
        dask_binner(wrong),
    ):
        raise AssertionError


@pytest.mark.parametrize("listens", [True, False])
def test_an_address_where_no_scheduler_answers_is_told(listens, monkeypatch):
    assert dask_cluster._PATIENCE < 10.0
    monkeypatch.setattr(dask_cluster, "_PATIENCE", 0.5)
    began = time.monotonic()
    with socket.create_server(("127.0.0.1", 0)) as server:
        where = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        if not listens:
            server.close()
        with (
            pytest.raises(InputError, match='"dask scheduler"') as fault,
            dask_binner(where),
        ):
            raise AssertionError
    assert where in str(fault.value)
    assert time.monotonic() - began < 5.0


def test_a_scheduler_without_workers_is_told(monkeypatch):
    from distributed import LocalCluster

    monkeypatch.setattr(dask_cluster, "_PATIENCE", 0.5)
    no_page = {"dashboard": False, "dashboard_address": "127.0.0.1:0"}
    with (
        LocalCluster(n_workers=0, scheduler_kwargs=no_page, protocol="tcp") as cluster,
        pytest.raises(InputError, match=r'has no workers.*"dask worker tcp://'),
        dask_binner(cluster.scheduler_address),
    ):
        raise AssertionError


def test_a_script_that_every_process_would_run_is_told(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        "from geom.surface.clouds.binning import dask_binner\n"
        "with dask_binner('local'):\n    print('counting')\n"
    )
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert "counting" not in done.stdout
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("geom.errors.InputError: processes of this machine")
    assert last.endswith('below if __name__ == "__main__".')


def test_without_dask_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(MissingExtra, match=r"daubline\[cluster\]"),
        dask_binner("local"),
    ):
        raise AssertionError


@pytest.mark.parametrize(
    "error",
    [
        InputError("it ends here.", file="a.las", place="record 7", cure="Copy it."),
        InputError("it ends here"),
        TooFewReadings("two are too few", cure="Measure more"),
    ],
)
def test_bad_input_is_the_same_in_another_process(error):
    assert told(pickle.loads(pickle.dumps(error))) == told(error)


def test_a_missing_extra_is_the_same_in_another_process():
    error = MissingExtra("pye57", "e57")
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is MissingExtra
    assert str(again) == str(error)
    assert (again.library, again.extra) == ("pye57", "e57")
