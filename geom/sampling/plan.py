"""Sampling plans: the stations of one climb as rows and columns of a sheet.

`initial_plan` spreads them over a whole wall: closely where it burns, wider elsewhere.
`follow_up_plan` has one row for each station that would tell most, as
`geom.sampling.stations` chose them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.frame import wrap
from geom.sampling.feasible import (
    MARGIN,
    clear_of_steps,
    height_step,
    widened,
)
from geom.sampling.stations import Advice
from geom.units import Bool, Float, Int

#: Distance between rows from the tuyeres to this far above them, and elsewhere, mm.
#: Our own choices, no source.
CLOSE, WIDE, ZONE = 150.0, 300.0, 600.0
#: A corner needs no row of its own where one is as near as this, mm.
_NEAR = 60.0
#: What a row beside a corner, and one all of whose stations are in openings, is put
#: behind others, in steps of the rod.
_CORNER, _BLOCKED = 1.5, 2.0
#: Between columns, degrees.  Our own choice, no source.
_APART = 30.0
_STEPS = "[rod], key height_step"


@dataclass(frozen=True)
class CandidateRows:
    """Heights that a rod can be set at, c of them.

    Attributes
    ----------
    design : Design
    height : array (c,), mm, rising
        On the rod's steps, clear of steps of the profile and of its ends.
    worse : array (c,), mm
        How much farther off a height may be and still be the better one: for corners
        of the profile that are near, and openings in the way.
    step : float, mm
    """

    design: Design
    height: Float
    worse: Float
    step: float

    @classmethod
    def of(cls, design: Design, azimuth: Float) -> CandidateRows:
        """Of a design read in some directions, degrees.

        Raises
        ------
        InputError
            If the steps of the rod leave none, or only one.
        """
        profile = design.profile
        step = height_step(design, profile.top - profile.bottom)
        low, high = profile.bottom + MARGIN, profile.top - MARGIN
        first, last = np.ceil(low / step - 1e-6), np.floor(high / step + 1e-6)
        height = np.arange(first, last + 1.0) * step
        blocked = _blocked(design, height, azimuth)
        kept = clear_of_steps(design, height) & (blocked < 1.0)
        if kept.sum() < 2:
            raise InputError(
                "the steps leave less than two heights on the wall to read",
                place=_STEPS,
                cure="Make the step smaller",
            )
        height, blocked = height[kept], blocked[kept]
        off = np.abs(height[:, None] - profile.corners)
        at_corner = np.any(off < MARGIN - 1e-6, axis=1)
        worse = step * (_CORNER * at_corner + _BLOCKED * blocked)
        return cls(design, height, worse, step)

    @property
    def zone(self) -> tuple[float, float]:
        """Between which heights rows are close, mm: all where there is no tuyere."""
        at = [tuyere.height for tuyere in self.design.tuyeres]
        if not at:
            return float(self.height[0]), float(self.height[-1])
        return min(at), max(at) + ZONE

    def usual(self) -> Float:
        """Rows beside corners, every 150 mm over the melting zone, 300 mm elsewhere."""
        chosen = {0, self.height.size - 1}
        for target, low, high in self._wanted():
            there = [h for h in self.height[list(chosen)] if low < h < high]
            if any(abs(h - target) <= _NEAR for h in there):
                continue
            if (pick := self._pick(target, low, high)) is not None:
                chosen.add(pick)
        for below, above in list(pairwise(sorted(chosen))):
            ends = float(self.height[below]), float(self.height[above])
            chosen |= self._between(*ends)
        return self.height[sorted(chosen)]

    def spread(self, count: int) -> Float:
        """So many rows, twice as close over the melting zone as elsewhere.

        Raises
        ------
        InputError
            If there are not so many heights to choose from.
        """
        most = self.height.size
        if count > most:
            raise InputError(
                f"{count} heights are asked for, the rod can be set at {most}",
                place=_STEPS,
                cure=f"Ask for at most {most}, or make the step smaller",
            )
        low, high = self.zone
        share = np.interp(self.height, [low, high], [0.0, high - low]) + self.height
        even = np.linspace(share[0], share[-1], count)
        wanted = np.interp(even, share, self.height)
        chosen: list[int] = []
        for k, target in enumerate(wanted):
            first = chosen[-1] + 1 if chosen else 0
            last = most - (count - k)
            off = np.abs(self.height - target) + self.worse
            chosen.append(first + int(np.argmin(off[first : last + 1])))
        chosen[0], chosen[-1] = 0, most - 1
        return self.height[chosen]

    def _wanted(self) -> list[tuple[float, float, float]]:
        """Heights that want a row, each with the wall it may stand on, mm."""
        profile, (low, high) = self.design.profile, self.zone
        ends = profile.bottom, profile.top
        wanted = [(at, *ends) for at in (low, high)]
        for corner in profile.corners[1:-1].tolist():
            if corner in profile.steps:
                wanted += [(corner, ends[0], corner), (corner, corner, ends[1])]
            else:
                wanted.append((corner, *ends))
        return wanted

    def _pick(self, target: float, low: float, high: float) -> int | None:
        """The best row near a height, on the wall between two others."""
        allowed = (self.height > low) & (self.height < high)
        if not allowed.any():
            return None
        off = np.abs(self.height - target) + self.worse
        return int(np.argmin(np.where(allowed, off, np.inf)))

    def _between(self, below: float, above: float) -> set[int]:
        """Rows that fill the gap between two others."""
        low, high = self.zone
        close = low < 0.5 * (below + above) < high
        usual = CLOSE if close else WIDE
        apart = self.step * max(1.0, round(usual / self.step))
        parts = int(np.ceil((above - below) / apart - 0.01))
        targets = np.linspace(below, above, parts + 1)[1:-1]
        picks = [self._pick(float(target), below, above) for target in targets]
        return {pick for pick in picks if pick is not None}


def _blocked(design: Design, height: Float, azimuth: Float) -> Float:
    """Share of each row that lies in openings; array (c,)."""
    inside = np.zeros((height.size, azimuth.size), dtype=bool)
    for hole in design.openings:
        radius = design.radius_at_opening(hole)
        inside |= widened(hole).holds(azimuth, height[:, None], radius)
    return np.asarray(inside.mean(axis=1))


@dataclass(frozen=True)
class SamplingPlan:
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


def initial_plan(
    design: Design, *, azimuths: int | None = None, heights: int | None = None
) -> SamplingPlan:
    """Spread stations over a whole wall.

    Parameters
    ----------
    design : Design
    azimuths : int, optional
        Columns, evenly round from azimuth 0.  Default: on the rod's steps, about every
        30 degrees.
    heights : int, optional
        CandidateRows, twice as close over the melting zone as elsewhere.  Default: as
        `CandidateRows.usual` has them.

    Returns
    -------
    SamplingPlan

    Raises
    ------
    InputError
        If the steps of the rod leave no such rows.
    """
    across = _azimuths(design, azimuths)
    rows = CandidateRows.of(design, across)
    up = rows.usual() if heights is None else rows.spread(heights)
    down = up[::-1].copy()
    opening = _openings(design, down, across)
    return SamplingPlan(down, across, opening < 0, opening)


def follow_up_plan(design: Design, advice: Advice) -> SamplingPlan:
    """One row for each station that would tell most.

    Parameters
    ----------
    design : Design
    advice : Advice

    Returns
    -------
    SamplingPlan

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
    return SamplingPlan(
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
