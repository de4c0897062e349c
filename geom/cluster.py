"""Tasks done by the workers of a Dask cluster, or by Dask's processes of this machine.

`DaskBackend` is a `geom.parallel.TaskMap`.  Work is one function and many tasks, given
apart by file and place (`geom.parallel.Task`).

No more than two tasks for each thread of a worker are out at a time, and results are
fetched one by one: memory here does not grow with the work, and results do not pile up
on the workers.  A task is struck off when its result has arrived.  Where a worker dies
with a task, or with a result that is not fetched yet, the scheduler has the same task
done again by another worker, and only the result that arrives counts.

Results that add up (`DaskBackend.join`) do not all come here: workers put them together
two by two until few are left, and hand over those.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from importlib import import_module
from itertools import islice
from tempfile import TemporaryDirectory
from typing import Any, Generic, TypeVar, cast

from geom._version import __version__
from geom.errors import DaublineError, InputError, MissingExtra
from geom.parallel import Task

#: Address that stands for the processors of this machine.
LOCAL = "local"
#: Tasks that are out for each thread of a worker: one to do, one to do next.
_AHEAD = 2
#: Results that are not put together any further: past this few workers put together the
#: longest while the others wait, no sooner than these have come.
_FEW = 4
#: How long a scheduler, or the first worker, is waited for; and how long results are
#: before it is looked whether there still are workers; seconds.
_PATIENCE, _LONG = 8.0, 30.0


T = TypeVar("T", bound=Task)
A = TypeVar("A")


@dataclass(frozen=True)
class DaskBackend:
    """Processes that do what they are asked.

    Attributes
    ----------
    address : str
        Of its scheduler.
    """

    dask: Any
    client: Any
    address: str

    @property
    def threads(self) -> int:
        """Threads of all workers that there are now."""
        return sum(self.client.nthreads().values())

    def map(
        self, work: Callable[[T], A], tasks: Iterable[T], *, in_order: bool = True
    ) -> Generator[A, None, None]:
        """The result of each task, once; as `geom.parallel.TaskMap.map`.

        Parameters
        ----------
        work : callable
            Of a module that workers have as well.
        tasks : iterable of Task
            Taken as they are handed out.
        in_order : bool
            Give the results in the order of the tasks; else as they come.

        Raises
        ------
        InputError
            What a task raises; if workers lack the program or the cluster is lost.
        """
        self._refuse_lacking(work)
        yield from _Run(self, work, iter(tasks), in_order).results()

    def join(
        self,
        work: Callable[[T], A],
        pair: Callable[[A, A], A],
        tasks: Iterable[T],
        *,
        size: Callable[[A], int],
        done: Callable[[int], None],
    ) -> Generator[A, None, None]:
        """The results of all tasks as a few, put together in pairs by the workers.

        Parameters
        ----------
        work : callable
            Of a module that workers have as well.
        pair : callable
            Two results as one; of the same module, in whatever order they come.
        tasks : iterable of Task
            Taken as they are handed out.
        size : callable
            Of a result of a task; of the same module.
        done : callable
            Called with the size of each result, when it is there.

        Yields
        ------
        results
            Not more than `_FEW`; none if there was no task.

        Raises
        ------
        InputError
            What a task raises; if workers lack the program or the cluster is lost.
        """
        self._refuse_lacking(work)
        run = _Run(self, work, iter(tasks), in_order=False)
        yield from run.joined(pair, size, done)

    def _refuse_lacking(self, work: Callable[[T], A]) -> None:
        """Refuse workers without this program: a task would end them without a word."""
        found = self.client.run(import_module, work.__module__, on_error="return")
        for module in found.values():
            if isinstance(module, ImportError):
                raise version_error(f"a worker lacks what it needs ({module})")


@contextmanager
def dask_backend(address: str) -> Iterator[DaskBackend]:
    """Processes to give work to.

    With `LOCAL`, a script must call this below ``if __name__ == "__main__":``, since
    each of the processes begins by importing the script.

    Parameters
    ----------
    address : str
        `LOCAL` for processes of this machine, one for each processor and at least
        two, ended afterwards; else where a Dask scheduler listens, such as
        ``tcp://host:8786``.  Its workers must find files under the same names.

    Raises
    ------
    InputError
        If there is no scheduler or no worker.
    MissingExtra
        If Dask is not installed.
    """
    dask = _dask()
    with ExitStack() as stack:
        stack.enter_context(_quiet())
        if address == LOCAL:
            address = stack.enter_context(_own_workers(dask))
        client = stack.enter_context(_connected(dask, address))
        yield DaskBackend(dask, client, address)


def _dask() -> Any:
    try:
        import distributed
    except ImportError as fault:
        raise MissingExtra("distributed", "cluster") from fault
    return distributed


@contextmanager
def _own_workers(dask: Any) -> Iterator[str]:
    """Start a process for each processor; gives the address of their scheduler.

    They are started afresh, not forked, which threads and compiled code do not bear.
    No bound is set on their memory: it is that of a tally and of a few runs.
    """
    from dask.config import set as set_config
    from dask.system import CPU_COUNT

    no_page = {"dashboard": False, "dashboard_address": "127.0.0.1:0"}
    afresh = {"distributed.worker.multiprocessing-method": "spawn"}
    with TemporaryDirectory() as folder, set_config(afresh):
        try:
            cluster = dask.LocalCluster(
                n_workers=max(2, CPU_COUNT),
                threads_per_worker=1,
                scheduler_kwargs=no_page,
                memory_limit=0,
                local_directory=folder,
                silence_logs="CRITICAL",
            )
        except RuntimeError as fault:
            what = "processes of this machine cannot be started"
            cure = 'In a script, put what counts below if __name__ == "__main__"'
            raise InputError(what, cure=cure) from fault
        with cluster:
            yield cluster.scheduler_address


@contextmanager
def _connected(dask: Any, address: str) -> Iterator[Any]:
    """A client of a scheduler that has workers."""
    try:
        _await_scheduler(dask, address)
        client = dask.Client(address, timeout=_PATIENCE, set_as_default=False)
    except Exception as fault:
        what = f'no Dask scheduler answers at "{address}"'
        cure = (
            'Start one with "dask scheduler" and give the address that it shows, such '
            f'as "tcp://host:8786"; or give "{LOCAL}" to use this machine'
        )
        raise InputError(what, cure=cure) from fault
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE)
        except TimeoutError as fault:
            raise _no_workers(address) from fault
        yield client


def _await_scheduler(dask: Any, address: str) -> None:
    """Wait until what listens there says what it is.

    The client itself would wait for ever where something listens but says nothing.
    """
    import asyncio

    async def greeting() -> None:
        options = dask.Security().get_connection_args("client")
        met = dask.comm.connect(address, timeout=_PATIENCE, **options)
        await (await asyncio.wait_for(met, _PATIENCE)).close()

    with ThreadPoolExecutor(1) as thread:  # a notebook has a loop of its own here
        thread.submit(asyncio.run, greeting()).result()


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the library would log off the screen: it is raised as well."""
    log = logging.getLogger("distributed.client")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        log.setLevel(before)


def version_error(what: str, wanted: str = __version__) -> InputError:
    """Make the error for a worker that has not the same program installed."""
    cure = f"Install daubline {wanted} for the scheduler and for every worker"
    return InputError(what, cure=cure)


def _no_workers(address: str) -> InputError:
    what = f'the Dask scheduler at "{address}" has no workers'
    return InputError(what, cure=f'Start some with "dask worker {address}"')


@dataclass(frozen=True)
class _Run(Generic[T, A]):
    """One piece of work on its way through a cluster.

    Attributes
    ----------
    out : dict
        The tasks that workers have, by their futures, as handed out.
    """

    workers: DaskBackend
    work: Callable[[T], A]
    waiting: Iterator[T]
    in_order: bool
    out: dict[Any, T] = field(default_factory=dict)

    def results(self) -> Generator[A, None, None]:
        """The result of each task, once, as they come or in order."""
        with self._losses_raised():
            try:
                while self._hand_out():
                    for future in self._done():
                        result = self._fetched(future)
                        del self.out[future]
                        future.release()
                        yield result
            finally:
                with suppress(CancelledError, OSError):
                    self.workers.client.cancel(list(self.out))

    def joined(
        self,
        pair: Callable[[A, A], A],
        size: Callable[[A], int],
        done: Callable[[int], None],
    ) -> Generator[A, None, None]:
        """All results as a few: what is there is put together two by two, on workers.

        Sizes and the last results come here, nothing else.  Parts are held until what
        they are put together to is there; where a worker dies with that, they are
        worked out anew.
        """
        client = self.workers.client
        ready: deque[tuple[Any, T]] = deque()
        parts: dict[Any, tuple[Any, Any]] = {}
        sizes: set[Any] = set()
        with self._losses_raised():
            try:
                while self._hand_out() or len(ready) > _FEW:
                    # of parts that are ready and those that are being worked out
                    while len(ready) > 1 and (
                        len(ready) + len(self.out) - len(sizes) > _FEW
                    ):
                        (one, task), (other, _) = ready.popleft(), ready.popleft()
                        whole = client.submit(pair, one, other, pure=False)
                        self.out[whole], parts[whole] = task, (one, other)
                    for future in self._done():
                        if future in sizes or future.status == "error":
                            done(cast("int", self._fetched(future)))
                            del self.out[future]
                            sizes.discard(future)
                            continue
                        task = self.out.pop(future)
                        for part in parts.get(future, ()):
                            part.release()
                        if future not in parts:
                            sized = client.submit(size, future, pure=False)
                            self.out[sized] = task
                            sizes.add(sized)
                        ready.append((future, task))
                self.out.update(ready)
                for future, _ in ready:
                    result = self._fetched(future)
                    del self.out[future]
                    future.release()
                    yield result
            finally:
                with suppress(CancelledError, OSError):
                    client.cancel(list(self.out))

    def _hand_out(self) -> bool:
        """Hand out as many tasks as there is room for; tell whether any are out."""
        client = self.workers.client
        room = max(1, _AHEAD * self.workers.threads) - len(self.out)
        for task in islice(self.waiting, max(0, room)):
            self.out[client.submit(self.work, task, pure=False)] = task
        return bool(self.out)

    def _done(self) -> list[Any]:
        """Wait until a task or more are done, as long as there are workers."""
        dask, client = self.workers.dask, self.workers.client
        wanted = list(self.out)[: 1 if self.in_order else None]
        with client.as_current():
            while True:
                try:
                    found = dask.wait(wanted, _LONG, return_when="FIRST_COMPLETED")
                    return list(found.done)
                except TimeoutError as fault:
                    if not client.nthreads():
                        raise _no_workers(self.workers.address) from fault

    def _fetched(self, future: Any) -> A:
        try:
            return cast("A", future.result())
        except self.workers.dask.KilledWorker as fault:
            task, died = self.out[future], fault.allowed_failures + 1
            what = f"{died} workers of the cluster died while they worked on this"
            cure = "See that workers have memory enough, and look into their logs"
            raise InputError(
                what, file=task.name, place=task.place, cure=cure
            ) from fault
        except DaublineError:
            raise
        except Exception as fault:
            # What a worker lacks is stated, what the scheduler lacks is a cause.
            lack = fault if isinstance(fault, ImportError) else fault.__cause__
            if not isinstance(lack, ImportError):
                raise
            raise version_error(f"the cluster lacks what it needs ({lack})") from fault

    @contextmanager
    def _losses_raised(self) -> Iterator[None]:
        """Raise the loss of the scheduler as bad input."""
        try:
            yield
        except (CancelledError, OSError) as fault:
            where = self.workers.address
            what = f'the Dask scheduler at "{where}" was lost before all was done'
            cure = "Start it again, with its workers, and repeat the command"
            raise InputError(what, cure=cure) from fault
