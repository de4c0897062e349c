"""Where the rod goes on one climb: the rows and columns of a sheet to write on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.reachable import widened
from geom.compare.rows import Rows
from geom.compare.stations import Advice
from geom.design import Design
from geom.errors import InputError
from geom.frame import wrap
from geom.units import Bool, Float, Int

#: Between columns, degrees.  Our own choice, no source.
_APART = 30.0


@dataclass(frozen=True)
class Climb:
    """The stations of one climb, as m rows and k columns of a sheet.

    Attributes
    ----------
    height : array (m,), mm
        Highest first, as the wall stands.
    azimuth : array (k,), degrees
        From azimuth 0 the way the hands of a clock turn, seen from above: as the wall
        is seen from inside, turning to the right.
    asked : bool array (m, k)
        Stations to read.
    opening : int array (m, k)
        Which of the design's openings is there or too near, else -1.
    rank : tuple of int, length m
        Of a second climb, how much the station of each row tells: 1 most.  Empty of a
        first one.
    again : tuple of bool, length m
        Of a second climb, whether the station was read before, or is another row too.
    """

    height: Float
    azimuth: Float
    asked: Bool
    opening: Int
    rank: tuple[int, ...] = ()
    again: tuple[bool, ...] = ()

    @property
    def second(self) -> bool:
        """Whether each row is one chosen station."""
        return bool(self.rank)

    @property
    def count(self) -> int:
        """Stations to read."""
        return int(self.asked.sum())


def first_climb(
    design: Design, *, azimuths: int | None = None, heights: int | None = None
) -> Climb:
    """Spread stations over a whole wall.

    Parameters
    ----------
    design : Design
    azimuths : int, optional
        Columns, evenly round from azimuth 0.  Default: on the rod's steps, about every
        30 degrees.
    heights : int, optional
        Rows, twice as close over the melting zone as elsewhere.  Default: as
        `Rows.usual` has them.

    Returns
    -------
    Climb

    Raises
    ------
    InputError
        If the steps of the rod leave no such rows.
    """
    across = _azimuths(design, azimuths)
    rows = Rows.of(design, across)
    up = rows.usual() if heights is None else rows.spread(heights)
    down = up[::-1].copy()
    opening = _openings(design, down, across)
    return Climb(down, across, opening < 0, opening)


def second_climb(design: Design, advice: Advice) -> Climb:
    """One row for each station that would tell most.

    Parameters
    ----------
    design : Design
    advice : Advice

    Returns
    -------
    Climb

    Raises
    ------
    InputError
        If no station is expected to help.
    """
    if not advice.stations:
        raise InputError(
            "no further single reading is expected to help",
            cure="Leave out --from for a sheet of the whole wall",
        )
    onward = [onward_of(design, station.azimuth) for station in advice.stations]
    order = sorted(
        range(len(onward)), key=lambda k: (-advice.stations[k].height, onward[k], k)
    )
    chosen = [advice.stations[k] for k in order]
    height = np.array([station.height for station in chosen])
    across = np.array(sorted({s.azimuth for s in chosen}, key=_by_clock(design)))
    asked = np.array([[s.azimuth == a for a in across] for s in chosen])
    return Climb(
        height,
        across,
        asked,
        _openings(design, height, across),
        rank=tuple(k + 1 for k in order),
        again=tuple(station.again for station in chosen),
    )


def onward_of(design: Design, azimuth: float) -> float:
    """How far round the way the hands of a clock turn, degrees."""
    return float(wrap(azimuth if design.azimuth_sense == "clockwise" else -azimuth))


def _by_clock(design: Design) -> Callable[[float], float]:
    return lambda azimuth: onward_of(design, azimuth)


def _azimuths(design: Design, count: int | None) -> Float:
    step = design.rod.azimuth_step
    if count is None:
        places = np.arange(0.0, 360.0 - 1e-6, step * max(1.0, round(_APART / step)))
    else:
        # To a hundredth: a seventh part of the circle is no finer on a rod.
        places = np.round(np.arange(count) * 360.0 / count, 2)
    return np.array(sorted(places.tolist(), key=_by_clock(design)))


def _openings(design: Design, height: Float, azimuth: Float) -> Int:
    found = np.full((height.size, azimuth.size), -1, dtype=np.int64)
    for index, hole in enumerate(design.openings):
        radius = design.radius_at_opening(hole)
        here = widened(hole).holds(azimuth, height[:, None], radius)
        found[here & (found < 0)] = index
    return found
