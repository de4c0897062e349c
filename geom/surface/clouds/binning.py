"""The points of clouds sorted into the cells of the wall: here, or by many processes.

All points are binned in one pass over the files.  For a cluster a cloud is cut into
chunks that can be read by themselves.  Each is one task: a worker bins it into a
histogram of its own and hands that back without its empty bins.

The sum is exactly what one process would count, however many workers there are and
whichever is first: every point lies in one chunk, and its bin depends on the point
alone; counts are whole numbers, so the order of adding does not matter; and the sum is
kept here and nowhere else.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, Protocol, cast

import numpy as np

from geom._version import __version__
from geom.cluster import DaskBackend, dask_backend, version_error
from geom.datum import Pose
from geom.errors import InputError
from geom.readings.cloud import Cloud
from geom.readings.clouds.binary import file_length
from geom.readings.clouds.source import CloudSource, Piece, no_points_error
from geom.surface.clouds.histogram import BinLayout, Histogram, SparseHistogram
from geom.units import Float

if TYPE_CHECKING:
    from geom.readings.clouds import Points


#: Points read at a time, and points and places of a file that a sample is made of.
RUN = 1_000_000
SAMPLE, PLACES = 150_000, 75
#: Points that a worker reads at a time: what many have in hand at once stays near their
#: processors (16 cores, 4e8 points: 406 million a second, 360 in runs of a million).
_SHORT_RUN = 262_144
#: Pieces that a long file is cut into, to take some of.
_PIECES = 2_000
#: Points of a task, at least: enough that binning them takes longer than sending the
#: result.  A larger cloud is cut into one for each thread of a cluster.
CHUNK = 4_000_000
#: Threads that count, at most: more wait for memory (16 cores, 1e9 points from NPY: 154
#: million a second with 8 threads, 70 with 16).
_MOST_THREADS = 8
#: Held by the thread that runs compiled loops where they cannot be run twice at once.
_ONE_AT_A_TIME = Lock()

#: mm, along each axis.
FARTHEST = 1e12

Progress = Callable[[int], None]


class CloudBinner(Protocol):
    """What adds all points of a cloud to a tally: here, or spread over a cluster."""

    def __call__(
        self,
        cloud: Cloud,
        pose: Pose,
        histogram: Histogram,
        *,
        progress: Progress | None = None,
    ) -> None:
        """Count; ``progress`` is called with the number of points after each run."""


def sample(cloud: Cloud) -> Float:
    """Some of a cloud's points from all over its file, mm; (n, 3).

    A scan is written as the head turned, so a sample must not be its beginning.
    """
    count, each = cloud.source.count, SAMPLE // PLACES
    pieces = cloud.source.pieces(max(each, (count or 0) // _PIECES))
    if len(pieces) >= PLACES:
        step = np.linspace(0, len(pieces) - 1, PLACES).round().astype(int)
        begun = [next(cloud.source.chunks(each, pieces[k]), None) for k in step]
        runs = [run.coordinates()[:each] for run in begun if run is not None]
    else:
        thinned = max(1, (count or 0) // SAMPLE)
        runs = [run.coordinates()[::thinned] for run in cloud.source.chunks(RUN)]
    found = np.concatenate(runs) if runs else np.zeros((0, 3))
    # Farther off than the frame of any cloud begins nothing is wall; squares of what a
    # spoiled file holds would be more than a number can be.
    far = FARTHEST / cloud.millimetres
    return np.clip(found, -far, far) * cloud.millimetres


def bin_cloud(
    cloud: Cloud, pose: Pose, histogram: Histogram, *, progress: Progress | None = None
) -> None:
    """Bin all points of a cloud, reading the next run while one is counted.

    Parameters
    ----------
    histogram : Histogram
        Added to.
    progress : callable, optional
        Called with the number of points after each run.
    """
    with _threads(_MOST_THREADS):
        for run in read_ahead(cloud.source.chunks(RUN)):
            histogram.count(run, pose, cloud.millimetres)
            if progress is not None:
                progress(len(run))


def read_ahead(runs: Iterator[Points]) -> Iterator[Points]:
    """The same runs, each read while the one before it is in use."""
    with ThreadPoolExecutor(1) as reader:
        coming = reader.submit(next, runs, None)
        while (run := coming.result()) is not None:
            coming = reader.submit(next, runs, None)
            yield run


@contextmanager
def cloud_binner(cluster: str | None) -> Iterator[CloudBinner]:
    """What bins clouds: this process, or a cluster where one is named."""
    if cluster is None:
        yield bin_cloud
        return
    with dask_binner(cluster) as binner:
        yield binner


@contextmanager
def dask_binner(address: str, *, most: int | None = None) -> Iterator[CloudBinner]:
    """Have clouds binned by other processes; gives what stands in for `bin_cloud`.

    Parameters
    ----------
    address : str
        As for `dask_backend`.
    most : int, optional
        Points of a task, about; else as the cloud and the workers have it.

    Raises
    ------
    InputError
        If there is no scheduler or no worker; and, while binning, if a cloud cannot
        be read or the cluster is lost.
    MissingExtra
        If Dask is not installed.
    """
    with dask_backend(address) as workers:
        yield _DaskBinner(workers, most)


@dataclass(frozen=True)
class _DaskBinner:
    """A `CloudBinner` that has workers count.

    Attributes
    ----------
    most : int or None
        Points of a task, about.
    """

    workers: DaskBackend
    most: int | None

    def __call__(
        self,
        cloud: Cloud,
        pose: Pose,
        histogram: Histogram,
        *,
        progress: Progress | None = None,
    ) -> None:
        """Count all points of a cloud, as `bin_cloud` does."""
        count = cloud.source.count or 0
        most = self.most or max(CHUNK, -(-count // max(1, self.workers.threads)))
        chunks = chunks_of(cloud, pose, histogram.layout, most=most)
        done = progress or (lambda _: None)
        total = 0
        for part in self.workers.join(
            bin_chunk, joined, chunks, size=points_of, done=done
        ):
            histogram.add_sparse(part)
            total += part.total
        if not total:
            raise no_points_error(cloud.name)


@dataclass(frozen=True)
class CloudChunk:
    """A piece of a cloud, with all that a worker must know to bin it.

    Attributes
    ----------
    source : CloudSource
        Under a name that does not depend on the folder one is in.
    name : str
        The file as the caller named it.
    size : int
        Of the file, bytes.
    place : str
        Of the piece in the file, in words.
    millimetres : float
        In the file's unit.
    version : str
        Of the program that asks.
    """

    source: CloudSource
    name: str
    size: int
    piece: Piece
    place: str
    millimetres: float
    pose: Pose
    layout: BinLayout
    version: str = __version__


def chunks_of(
    cloud: Cloud, pose: Pose, layout: BinLayout, *, most: int
) -> Iterator[CloudChunk]:
    """Cut a cloud into chunks of at most about ``most`` points.

    Parameters
    ----------
    pose : Pose
        Of the cloud.
    layout : BinLayout
        Cells that its points are sorted into.

    Raises
    ------
    InputError
        If the file is not there.
    """
    size = file_length(cloud.name)
    # Every source is a dataclass that knows its file by this name.
    source = replace(cast("Any", cloud.source), name=str(Path(cloud.name).absolute()))
    pieces = source.pieces(most)
    for number, piece in enumerate(pieces, 1):
        yield CloudChunk(
            source=source,
            name=cloud.name,
            size=size,
            piece=piece,
            place=f"part {number} of {len(pieces)}",
            millimetres=cloud.millimetres,
            pose=pose,
            layout=layout,
        )


def bin_chunk(chunk: CloudChunk) -> SparseHistogram:
    """Bin a chunk, on one thread.

    Raises
    ------
    InputError
        If the file cannot be read here or is another one, if this is another version
        of the program than the one that asks, or where the chunk is damaged.
    """
    if chunk.version != __version__:
        raise version_error(f"a worker runs version {__version__}", chunk.version)
    _refuse_other_file(chunk)
    histogram = Histogram(chunk.layout)
    try:
        with _file_named_by_caller(chunk):
            for run in read_ahead(chunk.source.chunks(_SHORT_RUN, chunk.piece)):
                with _alone(), _threads(1):
                    histogram.count(run, chunk.pose, chunk.millimetres)
    except InputError:
        _refuse_other_file(chunk)  # it may have gone, or changed, meanwhile
        raise
    return histogram.sparse()


def joined(one: SparseHistogram, other: SparseHistogram) -> SparseHistogram:
    """Two packed tallies of the same cells as one."""
    return one.joined(other)


def points_of(tally: SparseHistogram) -> int:
    """All points that came to a packed tally."""
    return tally.total


def _refuse_other_file(chunk: CloudChunk) -> None:
    """Refuse a file that cannot be read here, or that is not the one meant."""
    here = f"a worker on {socket.gethostname()}"
    cure = "Put the clouds where every worker finds them under the same name"
    try:
        with Path(chunk.source.name).open("rb") as file:
            size = os.fstat(file.fileno()).st_size
    except OSError as fault:
        why = fault.strerror or str(fault)
        what = f"{here} cannot read {chunk.source.name} ({why})"
        raise InputError(what, file=chunk.name, cure=cure) from fault
    if size != chunk.size:
        what = f"it has {chunk.size} bytes, but for {here} it has {size}"
        raise InputError(what, file=chunk.name, cure=cure)


@contextmanager
def _file_named_by_caller(chunk: CloudChunk) -> Iterator[None]:
    """Name the file in errors as the caller did."""
    try:
        yield
    except InputError as fault:
        if fault.file != chunk.source.name:
            raise
        kind, what, place = type(fault), fault.what, fault.place
        raise kind(what, file=chunk.name, place=place, cure=fault.cure) from fault


@contextmanager
def _alone() -> Iterator[None]:
    """Let the threads of a worker take turns, if their compiled loops must.

    What may lie under the loops would end the program if two called at once.
    """
    import numba

    numba.get_num_threads()  # what lies under the loops is chosen with that
    alone = numba.threading_layer() == "workqueue"  # type: ignore[attr-defined]
    with _ONE_AT_A_TIME if alone else nullcontext():
        yield


@contextmanager
def _threads(most: int) -> Iterator[None]:
    """Let the compiled loops that this thread calls run on so many threads at most."""
    import numba

    before = numba.get_num_threads()
    numba.set_num_threads(min(before, most))
    try:
        yield
    finally:
        numba.set_num_threads(before)
