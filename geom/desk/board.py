"""The board of stations: those of a blank rod sheet, and those read beside them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from geom.compare.climb import Climb, first_climb, onward_of
from geom.compare.reachable import widened
from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.readings import RodReadings
from geom.units import Float, Int

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
