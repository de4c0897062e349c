"""The points of clouds counted by many processes, of this machine or of a cluster.

A cloud is cut into pieces that can be read by themselves.  Each piece is one task: a
worker counts it into a tally of its own and hands that back without its empty bins.

The sum is exactly what one process would count, however many workers there are and
whichever is first:

- every point lies in one piece, and its bin depends on the point alone;
- counts are whole numbers, so the order of adding does not matter;
- the sum is kept here and nowhere else.  A piece is added when its answer has arrived,
  and then struck off.  Where a worker dies with a piece, or with an answer that is not
  fetched yet, the scheduler has the same piece counted again from the file by another
  worker, and only the answer that arrives is added.

No more than two tasks for each thread of a worker are out at a time, and answers are
fetched one by one: memory here does not grow with the cloud, and answers do not pile up
on the workers.
"""

from __future__ import annotations

import logging
from collections.abc import Generator, Iterator
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, field
from importlib import import_module
from itertools import islice
from tempfile import TemporaryDirectory
from typing import Any

from geom.datum import Pose
from geom.errors import DaublineError, InputError, MissingExtra
from geom.readings.cloud_readings import Cloud
from geom.readings.clouds.source import no_points
from geom.surface.count_piece import (
    PieceOfCloud,
    count_piece,
    other_version,
    pieces_of,
)
from geom.surface.sort_points import Counter, Progress
from geom.surface.tally import Packed, Tally

#: Address that stands for the processors of this machine.
LOCAL = "local"
#: Points of a task: enough that counting them takes longer than sending the answer.
PIECE = 4_000_000
#: Tasks that are out for each thread of a worker: one to do, one to do next.
_AHEAD = 2
#: How long a scheduler, or the first worker, is waited for; and how long answers are
#: before it is looked whether there still are workers; seconds.
_PATIENCE, _LONG = 8.0, 30.0


@contextmanager
def counting_on(address: str, *, most: int = PIECE) -> Iterator[Counter]:
    """Have clouds counted by other processes; gives what stands in for `count_cloud`.

    With `LOCAL`, a script must call this below ``if __name__ == "__main__":``, since
    each of the processes begins by importing the script.

    Parameters
    ----------
    address : str
        `LOCAL` for processes of this machine, one for each processor and at least
        two, ended afterwards; else where a Dask scheduler listens, such as
        ``tcp://host:8786``.  Its workers must find the clouds under the same names.
    most : int
        Points of a task, about.

    Raises
    ------
    InputError
        If there is no scheduler or no worker; and, while counting, if a cloud cannot
        be read or the cluster is lost.
    MissingExtra
        If Dask is not installed.
    """
    dask = _dask()
    with ExitStack() as stack:
        stack.enter_context(_quiet())
        if address == LOCAL:
            address = stack.enter_context(_own_workers(dask))
        client = stack.enter_context(_connected(dask, address))
        yield _Cluster(dask, client, address, most)


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
        _await_greeting(dask, address)
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
        _refuse_lacking_workers(client)
        yield client


def _await_greeting(dask: Any, address: str) -> None:
    """Wait until what listens there says what it is.

    The client itself would wait for ever where something listens but says nothing.
    """
    import asyncio

    async def greeting() -> None:
        options = dask.Security().get_connection_args("client")
        met = dask.comm.connect(address, timeout=_PATIENCE, **options)
        await (await asyncio.wait_for(met, _PATIENCE)).close()

    with ThreadPoolExecutor(1) as aside:  # a notebook has a loop of its own here
        aside.submit(asyncio.run, greeting()).result()


def _refuse_lacking_workers(client: Any) -> None:
    """Refuse workers without this program: a task would end them without a word."""
    said = client.run(import_module, count_piece.__module__, on_error="return")
    for answer in said.values():
        if isinstance(answer, ImportError):
            raise other_version(f"a worker lacks what it needs ({answer})")


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


def _no_workers(address: str) -> InputError:
    what = f'the Dask scheduler at "{address}" has no workers'
    return InputError(what, cure=f'Start some with "dask worker {address}"')


@dataclass(frozen=True)
class _Cluster:
    """A `Counter` that has others count.

    Attributes
    ----------
    dask : module
    client : Client
    address : str
        Of its scheduler.
    most : int
        Points of a task, about.
    """

    dask: Any
    client: Any
    address: str
    most: int

    def __call__(
        self,
        cloud: Cloud,
        pose: Pose,
        tally: Tally,
        *,
        progress: Progress | None = None,
    ) -> None:
        """Count all points of a cloud, as `count_cloud` does."""
        pieces = pieces_of(cloud, pose, tally.layout, most=self.most)
        total = 0
        with closing(_Round(self, pieces).answers()) as answers:
            for packed in answers:
                tally.add_packed(packed)
                points = int(packed.counts.sum(dtype="i8") + packed.missed.sum())
                total += points
                if progress is not None:
                    progress(points)
        if not total:
            raise no_points(cloud.name)


@dataclass(frozen=True)
class _Round:
    """One cloud on its way through a cluster.

    Attributes
    ----------
    cluster : _Cluster
    waiting : iterator of PieceOfCloud
    out : dict
        The pieces that workers have, by their futures.
    """

    cluster: _Cluster
    waiting: Iterator[PieceOfCloud]
    out: dict[Any, PieceOfCloud] = field(default_factory=dict)

    def answers(self) -> Generator[Packed, None, None]:
        """The answer for each piece, once, as they come."""
        with self._losses_told():
            try:
                while self._hand_out():
                    for future in self._done():
                        answer = self._fetched(future)
                        del self.out[future]
                        future.release()
                        yield answer
            finally:
                with suppress(CancelledError, OSError):
                    self.cluster.client.cancel(list(self.out))

    def _hand_out(self) -> bool:
        """Hand out as many pieces as there is room for; tell whether any are out."""
        client = self.cluster.client
        room = max(1, _AHEAD * sum(client.nthreads().values())) - len(self.out)
        for piece in islice(self.waiting, max(0, room)):
            self.out[client.submit(count_piece, piece, pure=False)] = piece
        return bool(self.out)

    def _done(self) -> list[Any]:
        """Wait until a piece or more are done, as long as there are workers."""
        dask, client = self.cluster.dask, self.cluster.client
        with client.as_current():
            while True:
                try:
                    found = dask.wait(
                        list(self.out), _LONG, return_when="FIRST_COMPLETED"
                    )
                    return list(found.done)
                except TimeoutError as fault:
                    if not client.nthreads():
                        raise _no_workers(self.cluster.address) from fault

    def _fetched(self, future: Any) -> Packed:
        try:
            answer: Packed = future.result()
        except self.cluster.dask.KilledWorker as fault:
            piece, died = self.out[future], fault.allowed_failures + 1
            what = f"{died} workers of the cluster died while they counted this"
            cure = "See that workers have memory enough, and look into their logs"
            raise InputError(
                what, file=piece.name, place=piece.place, cure=cure
            ) from fault
        except DaublineError:
            raise
        except Exception as fault:
            # What a worker lacks is told plainly, what the scheduler lacks is a cause.
            lack = fault if isinstance(fault, ImportError) else fault.__cause__
            if not isinstance(lack, ImportError):
                raise
            raise other_version(f"the cluster lacks what it needs ({lack})") from fault
        return answer

    @contextmanager
    def _losses_told(self) -> Iterator[None]:
        """Tell the loss of the scheduler as bad input."""
        try:
            yield
        except (CancelledError, OSError) as fault:
            where = self.cluster.address
            what = f'the Dask scheduler at "{where}" was lost before all was counted'
            cure = "Start it again, with its workers, and repeat the survey"
            raise InputError(what, cure=cure) from fault
