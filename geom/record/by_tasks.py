"""The spells of a record summed: here, by processes of this machine, or by a cluster.

Runs of spells are the same whoever sums them, and their sums are added here in the
order of the record: so is the result, to the last bit.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import Panels, PanelState
from geom.record.occasion import Occasion
from geom.record.own_processes import answers_of_processes, processors
from geom.record.pieces import Pieces
from geom.record.run_of_spells import RunOfSpells, RunSums, runs_of, sum_run
from geom.record.series import WearSeries
from geom.record.spells import Spell
from geom.record.store import Record
from geom.record.wear_map import WearMaps, maps_of
from geom.units import Float

#: Spells from which it pays to start processes of one's own.
MANY = 100

Tick = Callable[[str], None]


@dataclass(frozen=True)
class Summed:
    """What the spells of a record add up to.

    Attributes
    ----------
    series : WearSeries
    maps : WearMaps
    panels : Panels
    states : dict of array (5 + 2 * PARTS, p)
        See `RunSums`.
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


def wear_by_tasks(
    record: Record,
    spells: tuple[Spell, ...],
    pieces: Pieces,
    *,
    cluster: str | None = None,
    processes: int | None = None,
    tick: Tick | None = None,
) -> tuple[WearSeries, WearMaps]:
    """Wear of every piece in every spell, and of every cell over all of them.

    Parameters and errors are those of `sum_by_tasks`.
    """
    summed = sum_by_tasks(
        record, spells, pieces, cluster=cluster, processes=processes, tick=tick
    )
    return summed.series, summed.maps


def sum_by_tasks(
    record: Record,
    spells: tuple[Spell, ...],
    pieces: Pieces,
    *,
    cluster: str | None = None,
    processes: int | None = None,
    tick: Tick | None = None,
) -> Summed:
    """Sum the spells of a record.

    Parameters
    ----------
    record : Record
    spells : tuple of Spell
        Of the record, in order; at least one.
    pieces : Pieces
    cluster : str, optional
        Address of a Dask scheduler, or ``local``; see `workers_on`.
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
    from geom.record.spell_kernels import add_table

    runs = runs_of(record, spells, pieces)
    tables: tuple[Float, ...] = ()
    rows: list[Float] = []
    sides: list[Float] = []
    states: dict[Occasion, Float] = {}
    done = 0
    with closing(_answers(runs, len(spells), cluster, processes)) as answers:
        for sums in answers:
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
    series = WearSeries(spells, pieces, start, end, before, after, round_it)
    tables_by = dict(zip(runs[0].against, tables, strict=True))
    maps = maps_of(tables_by, record.design)
    return Summed(series, maps, record.panels, states)


def _answers(
    runs: tuple[RunOfSpells, ...],
    spells: int,
    cluster: str | None,
    processes: int | None,
) -> Generator[RunSums, None, None]:
    """The sums of each run, in order."""
    if cluster is not None:
        from geom.surface.on_cluster import workers_on

        with workers_on(cluster) as workers:
            yield from workers.answers(sum_run, runs, in_order=True)
        return
    if processes is None:
        alone = spells < MANY or not sys.executable
        processes = 1 if alone else processors()
    count = min(processes, len(runs))
    if count > 1:
        yield from answers_of_processes(sum_run, runs, count=count)
    else:
        yield from map(sum_run, runs)
