"""All points of clouds counted in the cells of the wall, in one pass over the files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol

import numpy as np

from geom.datum import Pose
from geom.readings.cloud_readings import Cloud
from geom.surface.tally import Tally
from geom.units import Float

if TYPE_CHECKING:
    from geom.readings.clouds import Points

#: Points read at a time, and points and places of a file that a sample is made of.
RUN = 1_000_000
SAMPLE, PLACES = 150_000, 75
#: Pieces that a long file is cut into, to take some of.
_PIECES = 2_000

Progress = Callable[[int], None]


class Counter(Protocol):
    """What adds all points of a cloud to a tally: here, or spread over a cluster."""

    def __call__(
        self,
        cloud: Cloud,
        pose: Pose,
        tally: Tally,
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
    return found * cloud.millimetres


def count_cloud(
    cloud: Cloud, pose: Pose, tally: Tally, *, progress: Progress | None = None
) -> None:
    """Count all points of a cloud, reading the next run while one is counted.

    Parameters
    ----------
    cloud : Cloud
    pose : Pose
    tally : Tally
        Added to.
    progress : callable, optional
        Called with the number of points after each run.
    """
    for run in read_ahead(cloud.source.chunks(RUN)):
        tally.count(run, pose, cloud.millimetres)
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
def counting(cluster: str | None) -> Iterator[Counter]:
    """What counts clouds: this process, or a cluster where one is named."""
    if cluster is None:
        yield count_cloud
        return
    from geom.surface.on_cluster import counting_on

    with counting_on(cluster) as counter:
        yield counter
