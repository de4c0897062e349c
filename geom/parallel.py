"""Processes of this machine that do tasks, wherever they are called from.

Each is a Python of its own that is told its tasks through a pipe.  It does not begin by
running the caller's script, as those of the standard library do, so nothing depends on
how that script is written; and it is not forked, which threads and compiled code do not
bear.  When the caller ends, however it ends, the pipes close and so do the processes.

How many threads linear algebra may use.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from functools import wraps
from queue import SimpleQueue
from typing import IO, Any, ParamSpec, TypeVar, cast

T = TypeVar("T")
A = TypeVar("A")

#: Tasks that are out for each process: one to do, and one done that is not fetched yet.
_AHEAD = 2
_BEGIN = "import sys; sys.path[:] = {path!r}; from geom.parallel import serve; serve()"


def processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def answers_of_processes(
    work: Callable[[T], A], tasks: Iterable[T], *, count: int
) -> Iterator[A]:
    """What a function says to each task, in order.

    Parameters
    ----------
    work : callable
        Of a module of this package.
    tasks : iterable
        Taken a few ahead of the answers.
    count : int
        Of processes.

    Raises
    ------
    Exception
        What a task raises.
    """
    out: deque[Future[A]] = deque()
    with _started(count) as processes, ThreadPoolExecutor(count) as threads:
        try:
            for task in tasks:
                out.append(threads.submit(processes.answer, work, task))
                if len(out) == _AHEAD * count:
                    yield out.popleft().result()
            while out:
                yield out.popleft().result()
        finally:
            threads.shutdown(wait=False, cancel_futures=True)
            processes.end()


class _Processes:
    """A few processes; whoever has a task takes one that is idle."""

    def __init__(self, count: int) -> None:
        self._all: list[subprocess.Popen[bytes]] = []
        self._idle: SimpleQueue[subprocess.Popen[bytes]] = SimpleQueue()
        self._ended = False
        for _ in range(count):
            self._start()

    def _start(self) -> None:
        begin = _BEGIN.format(path=sys.path)
        process = subprocess.Popen(
            [sys.executable, "-c", begin],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )
        self._all.append(process)
        self._idle.put(process)

    def answer(self, work: Callable[[T], A], task: T) -> A:
        """What it says to one task; where its process dies, it is done here."""
        process = self._idle.get()
        try:
            pickle.dump((work, task), cast("IO[bytes]", process.stdin), protocol=5)
            cast("IO[bytes]", process.stdin).flush()
            done, said = pickle.load(cast("IO[bytes]", process.stdout))
        except (EOFError, OSError, pickle.UnpicklingError):
            if self._ended:
                raise
            self._start()
            return work(task)
        self._idle.put(process)
        if not done:
            raise said
        return cast("A", said)

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
def _started(count: int) -> Iterator[_Processes]:
    processes = _Processes(count)
    try:
        yield processes
    finally:
        processes.end()
        processes.close()


def serve() -> None:
    """Do tasks from standard input until it closes; what such a process runs."""
    given = sys.stdin.buffer
    told = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # the pipe is for answers alone
    while True:
        try:
            work, task = pickle.load(given)
            pickle.dump(_answer(work, task), told, protocol=5)
            told.flush()
        except (EOFError, BrokenPipeError):
            os._exit(0)  # nobody is there any more, and nothing is to be kept


def _answer(work: Callable[[Any], Any], task: Any) -> tuple[bool, Any]:
    """Whether it was done, and the answer or what went wrong."""
    try:
        return True, work(task)
    except Exception as fault:
        fault.add_note(traceback.format_exc())
        return False, fault


#: Readings from which more than one thread pays: below it threads mostly wait for each
#: other, and on a busy machine take several times as long.
LARGE = 601

P = ParamSpec("P")
R = TypeVar("R")


def on_one_thread_when_small(
    size: Callable[P, int],
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Let a function's linear algebra run on one thread for a small survey.

    Parameters
    ----------
    size : callable
        From the function's arguments, the number of readings.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        @wraps(function)
        def limited(*args: P.args, **kwargs: P.kwargs) -> R:
            from threadpoolctl import threadpool_limits

            threads = 1 if size(*args, **kwargs) < LARGE else None
            with threadpool_limits(threads, user_api="blas"):
                return function(*args, **kwargs)

        return limited

    return decorate


#: Entries of a table from which its matrix products pay for more than one thread.
BIG = 4_000_000


@contextmanager
def all_threads_for(entries: int) -> Iterator[None]:
    """Let linear algebra use every processor within, if the table is a big one."""
    from threadpoolctl import threadpool_limits

    if entries < BIG:
        yield
        return
    with threadpool_limits(os.cpu_count(), user_api="blas"):
        yield
