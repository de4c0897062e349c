"""The spells of a record summed: here, by processes of this machine, or by a cluster.

A record is cut into chunks of a fixed number of spells, whoever sums them, and the sums
of the chunks are added in the order of the record: so the result is the same, bit for
bit, whether one process does all of it, or several, or a cluster.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom._version import __version__
from geom.cluster import version_error
from geom.compare.panels import Panels, PanelState
from geom.errors import InputError
from geom.parallel import ProcessMap, SerialMap, TaskMap, processors
from geom.record.regions import Regions
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record, survey_path
from geom.record.store.survey_file import open_hdf5, read_panels
from geom.record.wear.cell_sums import CELL, add_cells, add_spells
from geom.record.wear.maps import CellSums, WearMaps, wear_maps
from geom.record.wear.series import (
    Exposure,
    Spell,
    WearSeries,
    concatenate,
    exposures,
    stated_exposures,
    wear_series,
)

Tick = Callable[[str], None]

#: Spells of a chunk, and those whose surveys are held at once.
CHUNK_SPELLS = 64
_HELD = 8
#: Spells from which it pays to start processes: two of them took 4.1 s where one took
#: 3.7 s for 200 surveys, and were the quicker only from some 400.
MANY = 400
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
        Of the chunk in the record, for messages.
    folder : str
        The same folder, under a name that does not depend on where one is.
    lead : Spell or None
        The one before them, where it ends with the survey that the first starts with.
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
    """What a chunk of spells adds up to.

    Attributes
    ----------
    cells : tuple of array (m * k,) of `kernels.CELL`
        One for each of what wear is summed against.
    series : WearSeries
        Of its spells.
    states : dict of PanelState
        Of each survey, without its covariance: those of thousands of surveys would not
        go into memory.
    """

    cells: tuple[CellSums, ...]
    series: WearSeries
    states: dict[Occasion, PanelState]


@dataclass(frozen=True)
class _Survey:
    """What is read of a survey's file; mm."""

    cutback: NDArray[np.float32]
    sd: NDArray[np.float32]
    state: PanelState


def cut_chunks(
    record: Record, spells: tuple[Spell, ...], regions: Regions
) -> tuple[Chunk, ...]:
    """Cut the spells of a record into chunks.

    Parameters
    ----------
    spells : tuple of Spell
        In order; at least one.
    regions : Regions
        That wear is summed of.
    """
    folder = record.folder.absolute()
    shape = record_grid(record.design).shape
    chunks = []
    for first in range(0, len(spells), CHUNK_SPELLS):
        some = spells[first : first + CHUNK_SPELLS]
        lead = _lead(spells[first - 1] if first else None, some)
        chunks.append(
            Chunk(
                name=str(record.folder),
                place=f"heats {some[0].first_heat} to {some[-1].last_heat}",
                folder=str(folder),
                spells=some,
                lead=lead[0] if lead else None,
                panels=record.panels,
                regions=regions,
                shape=shape,
                origin=0.5 * (spells[0].start.heat + spells[-1].end.heat),
                against=stated_exposures(spells),
            )
        )
    return tuple(chunks)


def _lead(before: Spell | None, spells: tuple[Spell, ...]) -> tuple[Spell, ...]:
    """The spell before, where it ends with the survey that these start with."""
    joined = before is not None and before.end == spells[0].start
    return (before,) if before is not None and joined else ()


def accumulate_chunk(chunk: Chunk) -> ChunkSums:
    """Read the surveys of a chunk, each once, and sum it, on one thread.

    Raises
    ------
    InputError
        If a survey cannot be read or is not as it was written, or if this is another
        version of the program than the one that asks.
    """
    from threadpoolctl import threadpool_limits

    if chunk.version != __version__:
        raise version_error(f"a worker runs version {__version__}", chunk.version)
    count = chunk.shape[0] * chunk.shape[1]
    cells = tuple(np.zeros(count, CELL) for _ in chunk.against)
    series: list[WearSeries] = []
    states: dict[Occasion, PanelState] = {}
    held: dict[Occasion, _Survey] = {}
    with threadpool_limits(1, user_api="blas"), _named_as_asked(chunk):
        for first in range(0, len(chunk.spells), _HELD):
            some = chunk.spells[first : first + _HELD]
            lead = _lead(chunk.spells[first - 1] if first else chunk.lead, some)
            held = _read(chunk, (*lead, *some), held)
            _add(cells, chunk, (*lead, *some), held, lead=len(lead))
            states_of = {occasion: survey.state for occasion, survey in held.items()}
            series.append(wear_series(some, chunk.regions, states_of.__getitem__))
            states |= {
                occasion: replace(state, covariance=np.empty((0, 0)))
                for occasion, state in states_of.items()
            }
    return ChunkSums(cells, concatenate(series), states)


def _add(
    cells: tuple[CellSums, ...],
    chunk: Chunk,
    spells: tuple[Spell, ...],
    held: dict[Occasion, _Survey],
    *,
    lead: int,
) -> None:
    """Count spells cell by cell."""
    number = {occasion: k for k, occasion in enumerate(held)}
    cutback = np.stack([survey.cutback.ravel() for survey in held.values()])
    sd = np.stack([survey.sd.ravel() for survey in held.values()])
    start = np.array([number[spell.start] for spell in spells])
    end = np.array([number[spell.end] for spell in spells])
    heat = np.array([0.5 * (s.first_heat + s.last_heat) for s in spells])
    for against, sums in zip(chunk.against, cells, strict=True):
        amount = exposures(spells, against)
        about = heat - chunk.origin
        add_spells(sums, cutback, sd, start, end, amount, about, lead=lead)


def _read(
    chunk: Chunk, spells: tuple[Spell, ...], held: dict[Occasion, _Survey]
) -> dict[Occasion, _Survey]:
    """The surveys of some spells; those that are held are not read again."""
    needed = dict.fromkeys(o for spell in spells for o in (spell.start, spell.end))
    return {o: held[o] if o in held else _survey(chunk, o) for o in needed}


def _survey(chunk: Chunk, occasion: Occasion) -> _Survey:
    with open_hdf5(survey_path(Path(chunk.folder), occasion)) as file:
        return _Survey(
            cutback=_field(file, "cutback", chunk.shape),
            sd=_field(file, "cutback_sd", chunk.shape),
            state=read_panels(file, chunk.panels),
        )


def _field(file: Any, name: str, shape: tuple[int, int]) -> NDArray[np.float32]:
    there = file[name]
    if there.shape != shape:
        raise InputError("is not on the rows of the drawing", place=name)
    return np.asarray(there[()], dtype=np.float32)


@contextmanager
def _named_as_asked(chunk: Chunk) -> Iterator[None]:
    """Name files in errors as the caller did, and say what to do."""
    try:
        yield
    except InputError as fault:
        file = fault.file
        if file is not None and file.startswith(chunk.folder):
            file = chunk.name + file[len(chunk.folder) :]
        kind = type(fault)
        raise kind(
            fault.what, file=file, place=fault.place, cure=fault.cure or _CURE
        ) from fault


@dataclass(frozen=True)
class Accumulated:
    """What the spells of a record add up to.

    Attributes
    ----------
    states : dict of PanelState
        Of each survey of a spell, without its covariance.
    """

    series: WearSeries
    maps: WearMaps
    states: dict[Occasion, PanelState]


def accumulate(
    record: Record,
    spells: tuple[Spell, ...],
    regions: Regions,
    *,
    cluster: str | None = None,
    processes: int | None = None,
    tick: Tick | None = None,
) -> Accumulated:
    """Wear of every piece in every spell, and of every cell over all of them.

    Parameters
    ----------
    spells : tuple of Spell
        Of the record, in order; at least one.
    cluster : str, optional
        Address of a Dask scheduler, or ``local``; see `dask_backend`.
    processes : int, optional
        Of this machine, where there is no cluster; default one for each processor, and
        none but this one for fewer than `MANY` spells.
    tick : callable, optional
        Called with words on how far it is.

    Raises
    ------
    InputError
        If a survey cannot be read, or the cluster cannot be reached or is lost.
    MissingExtra
        If Dask is asked for and not installed.
    """
    chunks = cut_chunks(record, spells, regions)
    cells: tuple[CellSums, ...] = ()
    series: list[WearSeries] = []
    states: dict[Occasion, PanelState] = {}
    done = 0
    with (
        _task_map(len(spells), len(chunks), cluster, processes) as task_map,
        closing(task_map.map(accumulate_chunk, chunks)) as results,
    ):
        for sums in results:
            for whole, more in zip(cells, sums.cells, strict=bool(cells)):
                add_cells(whole, more)
            cells = cells or sums.cells
            series.append(sums.series)
            states |= sums.states
            done += len(sums.series.spells)
            if tick is not None:
                tick(f"{done:,} of {len(spells):,} spells")
    sums_by = dict(zip(chunks[0].against, cells, strict=True))
    maps = wear_maps(sums_by, record.design)
    joined = replace(concatenate(series), spells=spells, regions=regions)
    return Accumulated(joined, maps, states)


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
