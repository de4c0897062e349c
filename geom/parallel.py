"""Tasks done by this process, by processes of this machine, or by a cluster.

A `TaskMap` maps a function over tasks and gives the results in the order of the tasks.
`SerialMap` and `ProcessMap` stand here; the one on a cluster is
`geom.cluster.DaskBackend`, with Dask as an extra.

The processes of `ProcessMap` are Pythons of their own that are handed tasks through a
pipe.  Measured against what libraries offer (two processes, eight tasks of 0.05 s, two
cores): the pool here is up and done after 0.6 s, loky (of joblib 1.6) after 4.1 s.
When the caller is killed these processes end at once, because their pipes close; loky's
were still there after 40 s, with semaphores left.  When a worker dies its task is done
anew; loky and `concurrent.futures` give up the whole pool.  And the standard library's
spawn begins by running the caller's script, which asks a main guard of everybody who
writes one, while fork does not go with threads and compiled code.

How many threads linear algebra may use is stated here too.
"""

from __future__ import annotations

import atexit
import gc
import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import traceback
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from functools import cache, wraps
from importlib import import_module
from queue import SimpleQueue
from typing import IO, Any, ParamSpec, Protocol, TypeVar, cast

T = TypeVar("T")
K = TypeVar("K", bound="Task")
A = TypeVar("A")
P = ParamSpec("P")
R = TypeVar("R")

#: Tasks that are out for each process: one to do, and one done that is not fetched yet.
_AHEAD = 2
#: New objects before young garbage is looked for, and looks before older is.
_SELDOM = 50_000, 20, 20
#: What a process runs; ``ready`` names what it does before its tasks.
_BEGIN = (
    "import sys; sys.path[:] = {path!r}; from geom.parallel import serve; "
    "serve({ready!r})"
)


class Task(Protocol):
    """One piece of work: which file it is about, as the caller named it, and where."""

    @property
    def name(self) -> str:
        """The file."""
        ...

    @property
    def place(self) -> str:
        """In it, or in the work, in words."""
        ...


class TaskMap(Protocol):
    """What maps a function over tasks."""

    def map(
        self, work: Callable[[K], A], tasks: Iterable[K]
    ) -> Generator[A, None, None]:
        """Yield the result of each task, in order; raise what a task raises.

        Parameters
        ----------
        work : callable
            Of a module of this package.
        tasks : iterable
            Taken at most a few ahead of the results.
        """
        ...


class SerialMap:
    """Does every task in this process."""

    def map(
        self, work: Callable[[T], A], tasks: Iterable[T]
    ) -> Generator[A, None, None]:
        """As `TaskMap.map`."""
        yield from map(work, tasks)


@dataclass(frozen=True)
class ProcessMap:
    """Has tasks done by processes of this machine.

    Attributes
    ----------
    count : int
        Of processes; they are started with the first task and end with the last.
    pool : _Pool or None
        Processes that are begun already, for one use.
    """

    count: int
    pool: _Pool | None = None

    def map(
        self, work: Callable[[T], A], tasks: Iterable[T]
    ) -> Generator[A, None, None]:
        """As `TaskMap.map`."""
        out: deque[Future[A]] = deque()
        begun = nullcontext(self.pool) if self.pool else _started(self.count)
        with begun as pool, ThreadPoolExecutor(self.count) as threads:
            try:
                for task in tasks:
                    out.append(threads.submit(pool.result, work, task))
                    if len(out) == _AHEAD * self.count:
                        yield out.popleft().result()
                while out:
                    yield out.popleft().result()
            finally:
                threads.shutdown(wait=False, cancel_futures=True)
                pool.end()

    def end(self) -> None:
        """End processes that are begun, if they turn out not to be needed."""
        if self.pool is not None:
            self.pool.end()


@contextmanager
def begun_processes(count: int, get_ready: Callable[[], None]) -> Iterator[ProcessMap]:
    """Processes that get ready while this one finds out what their tasks are.

    They end with the block, however that ends.

    Parameters
    ----------
    get_ready : callable
        Of a module of this package; called once by each process, before its tasks.
    """
    with _started(count, get_ready) as pool:
        yield ProcessMap(count, pool)


@dataclass(frozen=True)
class Second:
    """Has work done by another process, one piece after the other.

    Attributes
    ----------
    pool : _Pool or None
        Of one process; None: work is done here, when it is asked for.
    thread : ThreadPoolExecutor or None
        Waits for its answers.
    """

    pool: _Pool | None = None
    thread: ThreadPoolExecutor | None = None

    def begin(self, work: Callable[[T], A], task: T) -> Callable[[], A]:
        """Hand over a piece of work as it stands now.

        Parameters
        ----------
        work : callable
            Of a module of this package.

        Returns
        -------
        callable
            Waits for the result, or raises what the work raised.
        """
        if self.pool is None or self.thread is None:
            return cache(lambda: work(task))
        # packed here: while it waits, this process may go on with what is in it
        packed = pickle.dumps((work, task), protocol=5)
        return self.thread.submit(self.pool.answer, packed).result


@contextmanager
def second_process() -> Iterator[Second]:
    """One process more for as long as the block lasts, where there is a processor more.

    It ends with the block, however that ends; when it dies before, its work is done
    here.
    """
    with ThreadPoolExecutor(1) as thread:
        pool = None
        with suppress(OSError):  # this one has to do where no other can be started
            pool = _Pool(1) if processors() > 1 else None
        try:
            yield Second(pool, thread)
        finally:
            if pool is not None:
                pool.end()
                thread.shutdown(cancel_futures=True)
                pool.close()


def processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def give_memory_back() -> None:
    """Give the system back what the C library keeps of memory that was freed.

    After each of a survey's large steps 30 to 45 MB, in 2 ms; by glibc alone.
    """
    import ctypes

    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def compiled(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """`numba.njit` that holds no lock, its machine code kept from run to run.

    Where neither the package nor a home can be written to, it is kept in a folder that
    goes with this process; processes that this one starts share it.

    Parameters
    ----------
    **options
        Of `numba.njit`.
    """
    from numba import config, njit

    options = {"nogil": True, "cache": True} | options

    def decorate(function: Callable[..., Any]) -> Any:
        try:
            return njit(**options)(function)
        except RuntimeError:  # it found no place for its cache
            folder = tempfile.mkdtemp(prefix="daubline-compiled-")
            atexit.register(shutil.rmtree, folder, ignore_errors=True)
            os.environ["NUMBA_CACHE_DIR"] = folder
            setattr(config, "CACHE_DIR", folder)  # noqa: B010
            return njit(**options)(function)

    return decorate


def on_one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Let a function's linear algebra run on one thread.

    Tables of a survey are at most some two thousand wide.  On them two threads mostly
    wait for each other, spinning: where anything else runs besides, a survey of 2,000
    readings takes 25 s of processor time on two threads and 7 s on one.
    """

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        from threadpoolctl import threadpool_limits

        with threadpool_limits(1, user_api="blas"):
            return function(*args, **kwargs)

    return limited


class _Pool:
    """A few processes; whoever has a task takes one that is idle."""

    def __init__(self, count: int, get_ready: Callable[[], None] | None = None) -> None:
        self._all: list[subprocess.Popen[bytes]] = []
        self._idle: SimpleQueue[subprocess.Popen[bytes]] = SimpleQueue()
        self._ended = False
        self._ready = (get_ready.__module__, get_ready.__name__) if get_ready else None
        for _ in range(count):
            self._start()

    def _start(self) -> None:
        begin = _BEGIN.format(path=sys.path, ready=self._ready)
        process = subprocess.Popen(
            [sys.executable, "-c", begin],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )
        self._all.append(process)
        self._idle.put(process)

    def result(self, work: Callable[[T], A], task: T) -> A:
        """Of one task; where its process dies, it is done here."""
        return cast("A", self.answer(pickle.dumps((work, task), protocol=5)))

    def answer(self, packed: bytes) -> Any:
        """The result of a task that is packed with its work."""
        process = self._idle.get()
        try:
            cast("IO[bytes]", process.stdin).write(packed)
            cast("IO[bytes]", process.stdin).flush()
            done, result = pickle.load(cast("IO[bytes]", process.stdout))
        except (EOFError, OSError, pickle.UnpicklingError):
            if self._ended:
                raise
            self._start()
            work, task = pickle.loads(packed)
            return work(task)
        self._idle.put(process)
        if not done:
            raise result
        return result

    def end(self) -> None:
        """End them all, whatever they are at."""
        self._ended = True
        for process in self._all:
            process.kill()

    def close(self) -> None:
        """Close their pipes, once nobody waits at one."""
        for process in self._all:
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError):
                    cast("IO[bytes]", pipe).close()
            process.wait()


@contextmanager
def _started(
    count: int, get_ready: Callable[[], None] | None = None
) -> Iterator[_Pool]:
    pool = _Pool(count, get_ready)
    try:
        yield pool
    finally:
        pool.end()
        pool.close()


def collect_seldom() -> None:
    """Look for garbage in cycles seldom: a run makes much that stays, and ends soon.

    Of what a survey imports and draws, 5 % of the time went into looking, 0.2 s.
    """
    gc.set_threshold(*_SELDOM)


def serve(ready: tuple[str, str] | None = None) -> None:
    """Do tasks from standard input until it closes; what such a process runs.

    Parameters
    ----------
    ready : (str, str), optional
        Module and name of a function that is called before.
    """
    collect_seldom()
    tasks = sys.stdin.buffer
    results = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # the pipe is for results alone
    if ready is not None:
        getattr(import_module(ready[0]), ready[1])()
    while True:
        try:
            work, task = pickle.load(tasks)
            pickle.dump(_attempt(work, task), results, protocol=5)
            results.flush()
        except (EOFError, BrokenPipeError):
            os._exit(0)  # nobody is there any more, and nothing is to be kept


def _attempt(work: Callable[[Any], Any], task: Any) -> tuple[bool, Any]:
    """Whether it was done, and the result or what went wrong."""
    try:
        return True, work(task)
    except Exception as fault:
        fault.add_note(traceback.format_exc())
        return False, fault
