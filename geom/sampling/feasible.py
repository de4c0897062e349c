"""Where a rod can be set to the wall: the net of stations that may be proposed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from geom.design import Design, Opening
from geom.errors import InputError
from geom.frame import turn
from geom.readings import RodReadings
from geom.sampling.assumptions import ASSUMED
from geom.units import Bool, Float, Int

#: Steps of height where the design file names none, mm: 3 in for a shop that works in
#: inches, else 75 mm; a whole multiple of it where that would make more than
#: `_MOST_HEIGHTS` heights.  Our own choice, no source.
HEIGHT_STEP = {"in": 76.2}

_MOST_HEIGHTS = 60
_MOST_STATIONS = 4000
_ROUNDING = 1e-6
_STEPS = "[rod], keys height_step and azimuth_step"


@dataclass(frozen=True)
class FeasibleStations:
    """Stations on a net of heights and azimuths; C of them can be reached.

    Attributes
    ----------
    height : array (m,), mm, rising
    azimuth : array (k,), degrees
    free : bool array (m, k)
        Wall that a rod can be set to; C are true.
    """

    height: Float
    azimuth: Float
    free: Bool

    def each(self) -> tuple[Float, Float]:
        """Height and azimuth of every station that can be reached; two arrays (C,)."""
        row, column = np.nonzero(self.free)
        return self.height[row], self.azimuth[column]


def feasible_stations(design: Design, low: float, high: float) -> FeasibleStations:
    """Every station of a design between two heights.

    Parameters
    ----------
    design : Design
        Its ``[rod]`` table has the steps, or the defaults hold.
    low, high : float, mm
        Heights surveyed: beyond them the wall is not counted, so a reading there
        would tell of another wall.

    Returns
    -------
    FeasibleStations
        Whole steps from height zero and from azimuth 0, clear of openings and of
        steps of the profile.

    Raises
    ------
    InputError
        If the steps leave no station, or make more than can be weighed.
    """
    up = height_step(design, high - low)
    azimuth = np.arange(0.0, 360.0 - 1e-6, design.rod.azimuth_step)
    if (high - low) / up * azimuth.size > _MOST_STATIONS:
        raise InputError(
            f"the steps make more than the {_MOST_STATIONS} stations that can be "
            "weighed",
            place=_STEPS,
            cure="Make the steps larger",
        )
    rows = np.arange(np.ceil(low / up - 1e-6), np.floor(high / up + 1e-6) + 1.0)
    height = np.clip(rows * up, low, high)
    free = clear_of_steps(design, height)[:, None]
    free = free & (opening_at(design, height, azimuth) < 0)
    if not free.any():
        raise InputError(
            "no station on the steps lies on wall between the lowest and the highest "
            "reading",
            place=_STEPS,
            cure="Make the steps smaller, or read more heights first",
        )
    return FeasibleStations(height, azimuth, free)


def height_step(design: Design, tall: float) -> float:
    """Step between the heights a rod is set at on so tall a wall, mm."""
    if design.rod.height_step is not None:
        return design.rod.height_step
    usual = HEIGHT_STEP.get(design.length_unit, ASSUMED.other_height_step)
    return usual * max(1.0, float(np.ceil(tall / usual / _MOST_HEIGHTS)))


def clear_of_steps(design: Design, height: Float) -> Bool:
    """Heights that keep the margin from every step of the profile; same shape."""
    off = np.abs(height[:, None] - design.profile.steps)
    return np.asarray(np.all(off >= ASSUMED.margin, axis=1))


def opening_at(design: Design, height: Float, azimuth: Float) -> Int:
    """Which of the design's openings each station is in or too near, else -1; (m, k).

    Parameters
    ----------
    height : array (m,), mm
    azimuth : array (k,), or (m, k) where rows are turned, degrees
    """
    found = np.full((height.size, azimuth.shape[-1]), -1, dtype=np.int64)
    for index, hole in enumerate(design.openings):
        radius = design.radius_at_opening(hole)
        here = _widened(hole).holds(azimuth, height[:, None], radius)
        found[here & (found < 0)] = index
    return found


def _widened(hole: Opening) -> Opening:
    """An opening with the margin round it; what keeps just the margin is clear."""
    more = 2.0 * (ASSUMED.margin - _ROUNDING)
    wide, tall = hole.width + more, hole.tall + more
    return replace(hole, width=wide, tall=tall)


def out_of_reach(
    readings: RodReadings, azimuth: ArrayLike, height: ArrayLike, design: Design
) -> Bool:
    """Whether places hang with a station that the readings mark as out of reach.

    Parameters
    ----------
    azimuth, height : array, degrees and mm
        Broadcast.

    Returns
    -------
    bool array
    """
    radius, shut = design.profile.mean_radius, readings.no_access
    azimuth, height = np.broadcast_arrays(np.asarray(azimuth), np.asarray(height))
    near = np.zeros(azimuth.shape, dtype=bool)
    for at, up in zip(shut.azimuth, shut.height, strict=True):
        around = 2.0 * radius * np.sin(0.5 * np.deg2rad(turn(azimuth, at)))
        near |= np.hypot(height - up, around) <= ASSUMED.no_access_reach
    return near
