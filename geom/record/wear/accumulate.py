"""The spells of a record summed: here, by processes of this machine, or by a cluster.

Runs of spells are the same whoever sums them, and their sums are added here in the
order of the record: so is the result, to the last bit.

A run of spells: what one task reads of a record, and the sums that it gives back.

A record is summed in runs of a fixed number of spells, whoever does them, and the runs
are added in order: so the sums are the same, bit for bit, whether one process does all
of it, or several, or a cluster.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom._version import __version__
from geom.cluster import version_error
from geom.compare.panels import Panels, PanelState
from geom.errors import InputError
from geom.parallel import ProcessMap, SerialMap, TaskMap, processors
from geom.record.regions import Regions
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record
from geom.record.store.survey_file import open_hdf5, read_panels
from geom.record.wear.maps import WearMaps, wear_maps
from geom.record.wear.series import WearSeries, wear_series
from geom.record.wear.spells import (
    EXPOSURES,
    Exposure,
    Spell,
    exposures,
)
from geom.units import Float

if TYPE_CHECKING:
    from geom.record.store.store import Record


#: Spells of a run, and those whose surveys are held at once.
RUN = 64
_HELD = 8
_CURE = (
    "See what 'daubline record check' says; the workers of a cluster must find the "
    "record under the same name"
)


@dataclass(frozen=True)
class Chunk:
    """Consecutive spells with all that a worker must know to sum them.

    Attributes
    ----------
    name : str
        The record's folder as the caller named it.
    place : str
        Of the run in the record, in words.
    folder : str
        The same folder, under a name that does not depend on where one is.
    files : dict
        The file of each survey, from the folder.
    spells : tuple of Spell
    lead : Spell or None
        The one before them, where it ends with the survey that the first starts with.
    panels : Panels
    pieces : Pieces
    shape : (m, k)
        Of the record's grid.
    origin : float
        Heat that heats are counted from.
    against : tuple of str
        What wear is to be summed against.
    version : str
        Of the program that asks.
    """

    name: str
    place: str
    folder: str
    files: dict[Occasion, str]
    spells: tuple[Spell, ...]
    lead: Spell | None
    panels: Panels
    regions: Regions
    shape: tuple[int, int]
    origin: float
    against: tuple[Exposure, ...]
    version: str = __version__


@dataclass(frozen=True)
class ChunkSums:
    """What a run of n spells adds up to.

    Attributes
    ----------
    tables : tuple of array (m * k, KEPT)
        One for each of what wear is summed against; see `spell_kernels`.
    rows : array (4, n, s)
        Of the wear series: start, end and their variances.
    sides : array (n, z, HOURS, HOURS)
        And how surveys err round the wall; see `WearSeries`.
    states : dict of array (5 + 2 * PARTS, p)
        Of each survey, panel by panel: cut-back, deepest, its sd, area and what was
        read, then parts and their sds.
    """

    tables: tuple[Float, ...]
    rows: Float
    sides: Float
    states: dict[Occasion, Float]


@dataclass(frozen=True)
class _Survey:
    """What is read of a survey's file; mm."""

    cutback: NDArray[np.float32]
    sd: NDArray[np.float32]
    state: PanelState


def cut_chunks(
    record: Record, spells: tuple[Spell, ...], regions: Regions
) -> tuple[Chunk, ...]:
    """Cut the spells of a record into runs.

    Parameters
    ----------
    record : Record
    spells : tuple of Spell
        In order; at least one.
    pieces : Pieces
        That wear is told of.
    """
    from geom.record.store.grid import record_grid

    told = tuple(one for one in EXPOSURES if np.nansum(exposures(spells, one)) > 0.0)
    folder = record.folder.absolute()
    shape = record_grid(record.design).shape
    return tuple(
        _run(record, folder, spells, first, regions, shape, told)
        for first in range(0, len(spells), RUN)
    )


def _run(  # noqa: PLR0917
    record: Record,
    folder: Path,
    spells: tuple[Spell, ...],
    first: int,
    regions: Regions,
    shape: tuple[int, int],
    told: tuple[Exposure, ...],
) -> Chunk:
    mine = spells[first : first + RUN]
    before = spells[first - 1] if first else None
    joined = before is not None and before.end == mine[0].start
    lead = before if joined else None
    needed = {
        o for one in (lead, *mine) if one is not None for o in (one.start, one.end)
    }
    return Chunk(
        name=str(record.folder),
        place=f"{mine[0].words} to {mine[-1].words}",
        folder=str(folder),
        files={o: str(record.path(o).absolute().relative_to(folder)) for o in needed},
        spells=mine,
        lead=lead,
        panels=record.panels,
        regions=regions,
        shape=shape,
        origin=0.5 * (spells[0].start.heat + spells[-1].end.heat),
        against=told,
    )


def accumulate_chunk(run: Chunk) -> ChunkSums:
    """Read the surveys of a run, each once, and sum it, on one thread.

    Raises
    ------
    InputError
        If a survey cannot be read or is not as it was written, or if this is another
        version of the program than the one that asks.
    """
    from threadpoolctl import threadpool_limits

    from geom.record.wear.kernels import KEPT

    if run.version != __version__:
        raise version_error(f"a worker runs version {__version__}", run.version)
    cells = run.shape[0] * run.shape[1]
    tables = tuple(np.zeros((cells, KEPT)) for _ in run.against)
    told: list[WearSeries] = []
    states: dict[Occasion, Float] = {}
    held: dict[Occasion, _Survey] = {}
    with threadpool_limits(1, user_api="blas"), _named_as_asked(run):
        for first in range(0, len(run.spells), _HELD):
            some = run.spells[first : first + _HELD]
            before = run.spells[first - 1] if first else run.lead
            joined = before is not None and before.end == some[0].start
            seen = (before, *some) if before is not None and joined else some
            held = _read(run, seen, held)
            _add(tables, run, seen, held, lead=len(seen) - len(some))
            told.append(_series(run, some, held))
            states |= {o: _lean(one.state) for o, one in held.items()}
    rows = [[s.start, s.end, s.start_variance, s.end_variance] for s in told]
    sides = np.concatenate([one.sides for one in told])
    return ChunkSums(tables, np.concatenate(rows, axis=1), sides, states)


def _lean(state: PanelState) -> Float:
    rows = state.cutback, state.deepest, state.deepest_sd, state.area, state.read
    return np.vstack([*rows, state.part.T, state.part_sd.T])


def _add(
    tables: tuple[Float, ...],
    run: Chunk,
    spells: tuple[Spell, ...],
    held: dict[Occasion, _Survey],
    *,
    lead: int,
) -> None:
    """Count spells cell by cell."""
    from geom.record.wear.kernels import add_spells

    number = {occasion: k for k, occasion in enumerate(held)}
    cutback = np.stack([one.cutback.ravel() for one in held.values()])
    sd = np.stack([one.sd.ravel() for one in held.values()])
    start = np.array([number[one.start] for one in spells])
    end = np.array([number[one.end] for one in spells])
    heat = np.array([0.5 * (s.start.heat + 1 + s.end.heat) for s in spells])
    for against, table in zip(run.against, tables, strict=True):
        amount = exposures(spells, against)
        add_spells(table, cutback, sd, start, end, amount, heat - run.origin, lead)


def _series(
    run: Chunk, spells: tuple[Spell, ...], held: dict[Occasion, _Survey]
) -> WearSeries:
    return wear_series(spells, run.regions, lambda occasion: held[occasion].state)


def _read(
    run: Chunk, spells: tuple[Spell, ...], held: dict[Occasion, _Survey]
) -> dict[Occasion, _Survey]:
    """The surveys of some spells; those that are held are not read again."""
    needed = dict.fromkeys(o for one in spells for o in (one.start, one.end))
    return {o: held[o] if o in held else _survey(run, o) for o in needed}


def _survey(run: Chunk, occasion: Occasion) -> _Survey:
    with open_hdf5(Path(run.folder) / run.files[occasion]) as file:
        return _Survey(
            cutback=_field(file, "cutback", run.shape),
            sd=_field(file, "cutback_sd", run.shape),
            state=read_panels(file, run.panels),
        )


def _field(file: Any, name: str, shape: tuple[int, int]) -> NDArray[np.float32]:
    there = file[name]
    if there.shape != shape:
        raise InputError("is not on the rows of the drawing", place=name)
    return np.asarray(there[()], dtype=np.float32)


@contextmanager
def _named_as_asked(run: Chunk) -> Iterator[None]:
    """Name files in errors as the caller did, and say what to do."""
    try:
        yield
    except InputError as fault:
        file = fault.file
        if file is not None and file.startswith(run.folder):
            file = run.name + file[len(run.folder) :]
        kind = type(fault)
        raise kind(
            fault.what, file=file, place=fault.place, cure=fault.cure or _CURE
        ) from fault


#: Spells from which it pays to start processes: two of them took 4.1 s where one took
#: 3.7 s for 200 surveys, and were the quicker only from some 400.
MANY = 400

Tick = Callable[[str], None]


@dataclass(frozen=True)
class Accumulated:
    """What the spells of a record add up to.

    Attributes
    ----------
    series : WearSeries
    maps : WearMaps
    panels : Panels
    states : dict of array (5 + 2 * PARTS, p)
        See `ChunkSums`.
    """

    series: WearSeries
    maps: WearMaps
    panels: Panels
    states: dict[Occasion, Float]

    def state(self, occasion: Occasion) -> PanelState:
        """A survey of a spell, panel by panel, but the covariance: that is NaN.

        Of thousands of surveys it would not go into memory.
        """
        cutback, deepest, deepest_sd, area, read, *parts = self.states[occasion]
        none = np.broadcast_to(np.nan, (cutback.size, cutback.size))
        part, part_sd = np.split(np.stack(parts, axis=1), 2, axis=1)
        return PanelState(
            self.panels, cutback, none, deepest, deepest_sd, part, part_sd, area, read
        )


def accumulate(
    record: Record,
    spells: tuple[Spell, ...],
    regions: Regions,
    *,
    cluster: str | None = None,
    processes: int | None = None,
    tick: Tick | None = None,
) -> Accumulated:
    """Sum the spells of a record.

    Parameters
    ----------
    record : Record
    spells : tuple of Spell
        Of the record, in order; at least one.
    pieces : Pieces
    cluster : str, optional
        Address of a Dask scheduler, or ``local``; see `dask_backend`.
    processes : int, optional
        Of this machine, where there is no cluster; default one for each processor, and
        none but this one for fewer than `MANY` spells.
    tick : callable, optional
        Told in words how far it is.

    Raises
    ------
    InputError
        If a survey cannot be read, or the cluster cannot be reached or is lost.
    MissingExtra
        If Dask is asked for and not installed.
    """
    from geom.record.wear.kernels import add_table

    runs = cut_chunks(record, spells, regions)
    tables: tuple[Float, ...] = ()
    rows: list[Float] = []
    sides: list[Float] = []
    states: dict[Occasion, Float] = {}
    done = 0
    with (
        _task_map(len(spells), len(runs), cluster, processes) as task_map,
        closing(task_map.map(accumulate_chunk, runs)) as results,
    ):
        for sums in results:
            tables = tables or tuple(np.zeros_like(one) for one in sums.tables)
            for table, more in zip(tables, sums.tables, strict=True):
                add_table(table, more)
            rows.append(sums.rows)
            sides.append(sums.sides)
            states |= sums.states
            done += sums.rows.shape[1]
            if tick is not None:
                tick(f"{done:,} of {len(spells):,} spells")
    start, end, before, after = np.concatenate(rows, axis=1)
    round_it = np.concatenate(sides)
    series = WearSeries(spells, regions, start, end, before, after, round_it)
    tables_by = dict(zip(runs[0].against, tables, strict=True))
    maps = wear_maps(tables_by, record.design)
    return Accumulated(series, maps, record.panels, states)


@contextmanager
def _task_map(
    spells: int, chunks: int, cluster: str | None, processes: int | None
) -> Iterator[TaskMap]:
    """What sums the chunks."""
    if cluster is not None:
        from geom.cluster import dask_backend

        with dask_backend(cluster) as workers:
            yield workers
        return
    if processes is None:
        alone = spells < MANY or not sys.executable
        processes = 1 if alone else processors()
    count = min(processes, chunks)
    yield ProcessMap(count) if count > 1 else SerialMap()
