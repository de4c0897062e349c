"""The board of stations, and what to do at each, quick or after a full fit.

The board is the stations of a blank rod sheet with those read elsewhere.  A quick call
comes from the wall on a coarse grid; a full one is the call of a survey's report.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from geom.compare.findings import ACTIONS, NO_CALL, Action
from geom.compare.zones import call_actions
from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.parallel import on_one_thread
from geom.quantity import Quantity
from geom.readings import RodReadings
from geom.sampling.feasible import opening_at
from geom.sampling.plan import SamplingPlan, onward_of, plan_stations
from geom.surface import GPPosterior, Grid, RadialSurface, make_grid
from geom.surface.assumptions import ASSUMED as SURFACE
from geom.surface.coverage import OnGrid, on_surveyed, surveyed_by
from geom.units import Float

#: The coarse grid that is worked out while readings come: mm and columns round.
GRID_ROW, GRID_COLUMNS = 40.0, 72

#: Readings closer than this are of one station, degrees and mm.
_SAME_AZIMUTH, _SAME_HEIGHT = 0.5, 5.0
#: Rows and columns past which what lies next to the sheet is not shown on the board.
_MOST_ROWS, _MOST_COLUMNS = 60, 48

Codes = NDArray[np.int8]


@dataclass(frozen=True)
class StationActions:
    """The wall with its calls, at the stations of a board and on a coarse grid.

    Attributes
    ----------
    fit : {'quick', 'full'}
        Whether sizes and lengths were held, or learned from these readings.
    count : int
        Readings in it.
    cutback, sd : array (rows of the grid, columns), mm
        NaN where not surveyed.
    action : int8 array, the same shape
    station_cutback, station_sd : array (m, k), mm
        At the stations; NaN above the highest and below the lowest reading.
    station_action : int8 array (m, k)
        Index into `ACTIONS`; `NO_CALL` where there is none.
    """

    fit: Literal["quick", "full"]
    count: int
    grid: Grid
    cutback: Float
    sd: Float
    action: Codes
    station_cutback: Float
    station_sd: Float
    station_action: Codes

    def station(self, row: int, column: int) -> tuple[Action, Quantity] | None:
        """Call and cut-back of a station, mm; None where there is none."""
        code = int(self.station_action[row, column])
        if code == NO_CALL:
            return None
        value, sd = self.station_cutback[row, column], self.station_sd[row, column]
        return ACTIONS[code], Quantity.normal(float(value), float(sd))


@on_one_thread
def quick_actions(
    readings: RodReadings, wall: OnGrid, board: SamplingPlan, design: Design
) -> StationActions:
    """Calls from a coarse grid, each station's own cut-back put into its cell.

    Parameters
    ----------
    wall : OnGrid
        Of these readings.
    """
    found = _without_actions("quick", readings, wall, board, design)
    known = ~np.isnan(found.station_cutback)
    row, column = cells = _station_cells(found.grid, board)
    finer, finer_sd = found.cutback.copy(), found.sd.copy()
    finer[row[known], column[known]] = found.station_cutback[known]
    finer_sd[row[known], column[known]] = found.station_sd[known]
    action = call_actions(found.grid, finer, finer_sd, design.repair)
    station_action = np.where(known & board.requested, action[cells], NO_CALL)
    return replace(found, action=action, station_action=station_action.astype(np.int8))


@on_one_thread
def full_actions(
    readings: RodReadings, surface: RadialSurface, board: SamplingPlan
) -> StationActions:
    """Calls as the report of a survey has them, and cut-back at the stations.

    Parameters
    ----------
    surface : RadialSurface
        Of these readings.
    """
    design = surface.design
    found = _without_actions("full", readings, rod_posterior(surface), board, design)
    action = call_actions(found.grid, found.cutback, found.sd, design.repair)
    fine = call_actions(surface.grid, surface.cutback, surface.radius_sd, design.repair)
    known = ~np.isnan(found.station_cutback) & board.requested
    station_action = np.where(known, fine[_station_cells(surface.grid, board)], NO_CALL)
    return replace(found, action=action, station_action=station_action.astype(np.int8))


def _without_actions(
    fit: Literal["quick", "full"],
    readings: RodReadings,
    wall: OnGrid,
    board: SamplingPlan,
    design: Design,
) -> StationActions:
    """Cut-back on the coarse grid and at the stations, nothing called yet."""
    grid = coarse_grid(readings, design)
    cutback, sd = on_surveyed(wall, grid)
    none, station_none = (
        np.full(shape, NO_CALL, dtype=np.int8)
        for shape in (grid.shape, board.requested.shape)
    )
    at_stations = _cutback_at_stations(wall, readings, board)
    return StationActions(
        fit, len(readings), grid, cutback, sd, none, *at_stations, station_none
    )


def rod_posterior(surface: RadialSurface) -> GPPosterior:
    """The posterior of a surface that was made from rod readings."""
    if surface.seen is not None:
        raise TypeError("the surface was made from a point cloud")
    return surface.posterior.fitted


def coarse_grid(readings: RodReadings | None, design: Design) -> Grid:
    """The grid of a survey so far; nothing of it is surveyed without readings."""
    low = high = design.profile.bottom
    if readings is not None:
        low, high = float(readings.height.min()), float(readings.height.max())
    grid = make_grid(
        design, surveyed=(low, high), spacing=GRID_ROW, columns=GRID_COLUMNS
    )
    if readings is None:
        return grid
    return replace(grid, surveyed=grid.surveyed & surveyed_by(grid, *readings.stations))


def missing_readings(readings: RodReadings | None) -> str:
    """What is wanting until the wall can be worked out; empty of enough.

    Examples
    --------
    >>> missing_readings(None)
    '8 more readings, 3 more azimuths and 2 more heights'
    """
    counts = (0, 0, 0)
    if readings is not None:
        counts = (
            len(readings),
            np.unique(readings.azimuth).size,
            np.unique(readings.height).size,
        )
    least = (
        SURFACE.least_readings,
        SURFACE.least_azimuths,
        SURFACE.least_heights,
    )
    words = [
        f"{need - got} more {word}{'' if need - got == 1 else 's'}"
        for got, need, word in zip(
            counts, least, ("reading", "azimuth", "height"), strict=True
        )
        if got < need
    ]
    return " and ".join([", ".join(words[:-1]), words[-1]] if words[1:] else words)


def _cutback_at_stations(
    wall: OnGrid, readings: RodReadings, board: SamplingPlan
) -> tuple[Float, Float]:
    """Cut-back at the stations between the lowest and the highest reading."""
    low, high = float(readings.height.min()), float(readings.height.max())
    cutback = np.full(board.requested.shape, np.nan)
    sd = cutback.copy()
    rows = np.flatnonzero((board.height >= low) & (board.height <= high))[::-1]
    if rows.size:
        cutback[rows], sd[rows] = wall.on_grid(board.height[rows], board.azimuth)
    return cutback, sd


def _station_cells(
    grid: Grid, board: SamplingPlan
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column of the surveyed cell of each station; two arrays (m, k)."""
    surveyed = np.flatnonzero(grid.surveyed_rows)
    row = np.searchsorted(grid.edge, board.height, side="right") - 1
    row = np.clip(row, surveyed[0], surveyed[-1])
    columns = grid.azimuth.size
    column = np.rint(board.azimuth * columns / 360.0).astype(np.intp) % columns
    both = np.broadcast_arrays(row[:, None], column[None, :])
    return both[0].astype(np.intp), both[1].astype(np.intp)


def planned_stations(design: Design, file: Path) -> SamplingPlan:
    """The stations of a blank rod sheet, as ``daubline sheet`` chooses them.

    Rows are turned against each other: the board has a column for each azimuth.

    Raises
    ------
    InputError
        If the steps of the rod leave none.
    """
    try:
        return plan_stations(design).on_columns(design)
    except InputError as fault:
        raise fault.at(file=file) from fault


def station_board(
    design: Design, plan: SamplingPlan, readings: RodReadings | None
) -> SamplingPlan:
    """The planned stations with rows and columns for those read elsewhere.

    A planned row or column that nobody read, and that a read one lies nearer to than
    half way to the next, is left out for it.  A row read elsewhere asks for what the
    planned one nearest to it does, a column read elsewhere for all its stations.
    """
    if readings is None:
        return plan
    heights = _merge_places(plan.height, readings.height, _SAME_HEIGHT, np.subtract)
    own = plan.requested | (plan.opening >= 0)
    apart = 360.0 / max(1, int(own.sum(axis=1).max()))
    azimuths = _merge_places(plan.azimuth, readings.azimuth, _SAME_AZIMUTH, turn, apart)
    if heights.size > _MOST_ROWS or azimuths.size > _MOST_COLUMNS:
        return plan
    down = np.sort(heights)[::-1].copy()
    onward = np.array(sorted(azimuths.tolist(), key=lambda a: onward_of(design, a)))
    opening = opening_at(design, down, onward)
    rise = np.abs(down[:, None] - plan.height)
    off = np.abs(turn(plan.azimuth, onward[:, None]))
    wanted = own[np.ix_(np.argmin(rise, axis=1), np.argmin(off, axis=1))]
    wanted |= off.min(axis=1) >= _SAME_AZIMUTH
    board = SamplingPlan(down, onward, wanted, opening, np.zeros(down.size))
    for place in find_stations(board, readings.azimuth, readings.height):
        if place is not None:
            wanted[place] = True
    return replace(board, requested=wanted & (opening < 0))


def find_station(
    board: SamplingPlan, azimuth: float, height: float
) -> tuple[int, int] | None:
    """Row and column of a station; None if it is not on the board."""
    return find_stations(board, np.array([azimuth]), np.array([height]))[0]


def find_stations(
    board: SamplingPlan, azimuth: Float, height: Float
) -> list[tuple[int, int] | None]:
    """Row and column of the station of each place; None of one that is off the board.

    Parameters
    ----------
    azimuth : array (n,), degrees
    height : array (n,), mm
    """
    rise = np.abs(board.height - height[:, None])
    apart = np.abs(turn(board.azimuth, azimuth[:, None]))
    row, column = np.argmin(rise, axis=1), np.argmin(apart, axis=1)
    on = (rise.min(axis=1) < _SAME_HEIGHT) & (apart.min(axis=1) < _SAME_AZIMUTH)
    found = zip(row.tolist(), column.tolist(), on.tolist(), strict=True)
    return [(i, j) if there else None for i, j, there in found]


def _merge_places(
    plan: Float,
    read: Float,
    same: float,
    difference: Callable[[Float, float], Float],
    apart: float = 0.0,
) -> Float:
    """Places of a plan, at least so far apart in a row, and those read; each once."""
    places: list[float] = []
    for place in read.tolist():
        if not places or np.abs(difference(np.array(places), place)).min() >= same:
            places.append(place)
    kept = []
    for place in plan.tolist():
        near = float(np.abs(difference(np.array(places), place)).min())
        gaps = np.abs(difference(plan, place))
        gap = max(apart, float(np.min(gaps[gaps > 0.0], initial=np.inf)))
        if same <= near and near >= 0.5 * gap:
            kept.append(place)
    return np.array([*places, *kept])
