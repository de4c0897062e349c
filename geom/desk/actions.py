"""What to do at each station, and where to set the rod next, in words.

The board of stations: those of a blank rod sheet, and those read beside them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from geom.compare.findings import ACTIONS, NO_CALL, Action
from geom.compare.zones import call_actions
from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.parallel import on_one_thread_when_small
from geom.quantity import Quantity
from geom.readings import RodReadings
from geom.sampling.feasible import widened
from geom.sampling.plan import Climb, first_climb, onward_of
from geom.surface import Belief, Grid, RadialSurface, make_grid
from geom.surface.reconstruct import LEAST_AZIMUTHS, LEAST_HEIGHTS, LEAST_READINGS
from geom.units import Float, Int

#: The coarse net that is worked out while readings come: mm and columns round.
NET_ROW, NET_COLUMNS = 40.0, 72

Codes = NDArray[np.int8]


class OnGrid(Protocol):
    """Anything that knows cut-back on a grid."""

    def on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and standard deviation, mm; (m, k) each."""


@dataclass(frozen=True)
class Called:
    """The wall with its calls, at the stations of a board and on a coarse net.

    Attributes
    ----------
    fit : {'quick', 'full'}
        Whether sizes and lengths were held, or learned from these readings.
    count : int
        Readings in it.
    net : Grid
    cutback, sd : array (rows of the net, columns), mm
        NaN where not surveyed.
    action : int8 array, the same shape
    at, at_sd : array (m, k), mm
        At the stations; NaN above the highest and below the lowest reading.
    call : int8 array (m, k)
        Index into `ACTIONS`; `NO_CALL` where there is none.
    """

    fit: Literal["quick", "full"]
    count: int
    net: Grid
    cutback: Float
    sd: Float
    action: Codes
    at: Float
    at_sd: Float
    call: Codes

    def station(self, row: int, column: int) -> tuple[Action, Quantity] | None:
        """Call and cut-back of a station, mm; None where there is none."""
        code = int(self.call[row, column])
        if code == NO_CALL:
            return None
        value, sd = self.at[row, column], self.at_sd[row, column]
        return ACTIONS[code], Quantity.normal(float(value), float(sd))


@on_one_thread_when_small(lambda readings, *_: len(readings))
def call_quick(
    readings: RodReadings, wall: OnGrid, board: Climb, design: Design
) -> Called:
    """Calls from a coarse net, each station's own cut-back put into its cell.

    Parameters
    ----------
    readings : RodReadings
    wall : OnGrid
        Of these readings.
    board : Climb
    design : Design
    """
    net = coarse_net(readings, design)
    at, at_sd = _at_stations(wall, readings, board)
    cutback, sd = _on_net(wall, net)
    finer, finer_sd = cutback.copy(), sd.copy()
    cells = _cells(net, board)
    known = ~np.isnan(at)
    finer[cells[0][known], cells[1][known]] = at[known]
    finer_sd[cells[0][known], cells[1][known]] = at_sd[known]
    action = call_actions(net, finer, finer_sd, design.repair)
    return Called(
        fit="quick",
        count=len(readings),
        net=net,
        cutback=cutback,
        sd=sd,
        action=action,
        at=at,
        at_sd=at_sd,
        call=np.where(known & board.asked, action[cells], NO_CALL).astype(np.int8),
    )


@on_one_thread_when_small(lambda readings, *_: len(readings))
def call_full(readings: RodReadings, surface: RadialSurface, board: Climb) -> Called:
    """Calls as the report of a survey has them, and cut-back at the stations.

    Parameters
    ----------
    readings : RodReadings
    surface : RadialSurface
        Of these readings.
    board : Climb
    """
    design, belief = surface.design, rod_belief(surface)
    net = coarse_net(readings, design)
    at, at_sd = _at_stations(belief, readings, board)
    cutback, sd = _on_net(belief, net)
    fine = call_actions(surface.grid, surface.cutback, surface.radius_sd, design.repair)
    call = fine[_cells(surface.grid, board)]
    known = ~np.isnan(at)
    return Called(
        fit="full",
        count=len(readings),
        net=net,
        cutback=cutback,
        sd=sd,
        action=call_actions(net, cutback, sd, design.repair),
        at=at,
        at_sd=at_sd,
        call=np.where(known & board.asked, call, NO_CALL).astype(np.int8),
    )


def rod_belief(surface: RadialSurface) -> Belief:
    """The belief of a surface that was made from rod readings."""
    if not isinstance(surface.belief, Belief):
        raise TypeError("the surface was made from a point cloud")
    return surface.belief


def coarse_net(readings: RodReadings | None, design: Design) -> Grid:
    """The net of a survey so far; nothing of it is surveyed without readings."""
    low = high = design.profile.bottom
    if readings is not None:
        low, high = float(readings.height.min()), float(readings.height.max())
    return make_grid(design, surveyed=(low, high), spacing=NET_ROW, columns=NET_COLUMNS)


def lacking(readings: RodReadings | None) -> str:
    """What is wanting until the wall can be worked out; empty of enough.

    Examples
    --------
    >>> lacking(None)
    '8 more readings, 3 more azimuths and 2 more heights'
    """
    counts = (0, 0, 0)
    if readings is not None:
        counts = (
            len(readings),
            np.unique(readings.azimuth).size,
            np.unique(readings.height).size,
        )
    least = (LEAST_READINGS, LEAST_AZIMUTHS, LEAST_HEIGHTS)
    words = [
        f"{need - got} more {word}{'' if need - got == 1 else 's'}"
        for got, need, word in zip(
            counts, least, ("reading", "azimuth", "height"), strict=True
        )
        if got < need
    ]
    return " and ".join([", ".join(words[:-1]), words[-1]] if words[1:] else words)


def _at_stations(
    wall: OnGrid, readings: RodReadings, board: Climb
) -> tuple[Float, Float]:
    """Cut-back at the stations between the lowest and the highest reading."""
    low, high = float(readings.height.min()), float(readings.height.max())
    at = np.full(board.asked.shape, np.nan)
    at_sd = at.copy()
    rows = np.flatnonzero((board.height >= low) & (board.height <= high))[::-1]
    if rows.size:
        at[rows], at_sd[rows] = wall.on_grid(board.height[rows], board.azimuth)
    return at, at_sd


def _on_net(wall: OnGrid, net: Grid) -> tuple[Float, Float]:
    cutback = np.full(net.shape, np.nan)
    sd = cutback.copy()
    rows = net.surveyed
    if rows.any():
        cutback[rows], sd[rows] = wall.on_grid(net.height[rows], net.azimuth)
    return cutback, sd


def _cells(grid: Grid, board: Climb) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column of the surveyed cell of each station; two arrays (m, k)."""
    surveyed = np.flatnonzero(grid.surveyed)
    row = np.searchsorted(grid.edge, board.height, side="right") - 1
    row = np.clip(row, surveyed[0], surveyed[-1])
    columns = grid.azimuth.size
    column = np.rint(board.azimuth * columns / 360.0).astype(np.intp) % columns
    both = np.broadcast_arrays(row[:, None], column[None, :])
    return both[0].astype(np.intp), both[1].astype(np.intp)


#: Readings closer than this are of one station, degrees and mm.
SAME_AZIMUTH, SAME_HEIGHT = 0.5, 5.0
#: Rows and columns past which what lies beside the sheet is not shown on the board.
_MOST_ROWS, _MOST_COLUMNS = 60, 48


def planned(design: Design, file: Path) -> Climb:
    """The stations of a blank rod sheet, as ``daubline sheet`` chooses them.

    Raises
    ------
    InputError
        If the steps of the rod leave none.
    """
    try:
        return first_climb(design)
    except InputError as fault:
        raise fault.at(file=file) from fault


def board_of(design: Design, plan: Climb, readings: RodReadings | None) -> Climb:
    """The planned stations with rows and columns for those read elsewhere.

    A planned row or column that nobody read, and that a read one lies nearer to than
    half way to the next, is left out for it.

    Parameters
    ----------
    design : Design
    plan : Climb
    readings : RodReadings or None

    Returns
    -------
    Climb
    """
    if readings is None:
        return plan
    up = _merged(plan.height, readings.height, SAME_HEIGHT, _rise)
    across = _merged(plan.azimuth, readings.azimuth, SAME_AZIMUTH, _apart)
    if up.size > _MOST_ROWS or across.size > _MOST_COLUMNS:
        return plan
    down = np.sort(up)[::-1].copy()
    clock = np.array(sorted(across.tolist(), key=lambda a: onward_of(design, a)))
    opening = _openings(design, down, clock)
    return Climb(down, clock, opening < 0, opening)


def station_of(board: Climb, azimuth: float, height: float) -> tuple[int, int] | None:
    """Row and column of a station; None if it is not on the board."""
    rise = np.abs(board.height - height)
    apart = np.abs(turn(board.azimuth, azimuth))
    row, column = int(np.argmin(rise)), int(np.argmin(apart))
    if rise[row] >= SAME_HEIGHT or apart[column] >= SAME_AZIMUTH:
        return None
    return row, column


def _merged(
    plan: Float, read: Float, same: float, apart: Callable[[Float, float], Float]
) -> Float:
    """Places of a plan and those read, each once."""
    places: list[float] = []
    for one in read.tolist():
        if not places or float(np.min(apart(np.array(places), one))) >= same:
            places.append(one)
    kept = []
    for one in plan.tolist():
        near = float(np.min(apart(np.array(places), one)))
        gaps = apart(plan, one)
        gap = float(np.min(gaps[gaps > 0.0], initial=np.inf))
        if same <= near and near >= 0.5 * gap:
            kept.append(one)
    return np.array([*places, *kept])


def _rise(places: Float, one: float) -> Float:
    return np.abs(places - one)


def _apart(places: Float, one: float) -> Float:
    return np.abs(turn(places, one))


def _openings(design: Design, height: Float, azimuth: Float) -> Int:
    found = np.full((height.size, azimuth.size), -1, dtype=np.int64)
    for index, hole in enumerate(design.openings):
        radius = design.radius_at_opening(hole)
        here = widened(hole).holds(azimuth, height[:, None], radius)
        found[here & (found < 0)] = index
    return found
