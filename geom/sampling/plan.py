"""Sampling plans: the stations of one climb as rows and columns of a sheet.

`plan_stations` spreads them over a whole wall: closely where it burns, wider elsewhere,
and each row turned against the next, so that no upright streak hides between columns.
`plan_next_stations` has one row for each station that would tell most, as
`geom.sampling.stations` chose them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geom.design import Design, Opening
from geom.errors import InputError
from geom.frame import turn as turn_between
from geom.frame import wrap
from geom.sampling.assumptions import ASSUMED
from geom.sampling.feasible import clear_of_steps, height_step, opening_at
from geom.sampling.stations import Advice
from geom.shown import Shown
from geom.surface.coverage import rows_apart
from geom.surface.radial import RowsApart
from geom.units import Bool, Float, Int

#: Columns and turns of rows make at most so many azimuths: a board can show them.
_MOST_AZIMUTHS = 48
#: Golden section: turns of rows that never fall into step, where a rod has so many.
_GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)
_FEW_TURNS = 3
_STEPS = "[rod], key height_step"


@dataclass(frozen=True)
class CandidateRows:
    """Heights that a rod can be set at, c of them.

    Attributes
    ----------
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
    def of(cls, design: Design, azimuth: Float, turns: Float) -> CandidateRows:
        """Of a design read in some directions, rows turned by one of some; degrees.

        Raises
        ------
        InputError
            If the steps of the rod leave none, or only one.
        """
        profile = design.profile
        step = height_step(design, profile.top - profile.bottom)
        low, high = profile.bottom + ASSUMED.margin, profile.top - ASSUMED.margin
        first, last = np.ceil(low / step - 1e-6), np.floor(high / step + 1e-6)
        height = np.arange(first, last + 1.0) * step
        blocked = np.min(
            [_blocked(design, height, wrap(azimuth + turned)) for turned in turns],
            axis=0,
        )
        kept = clear_of_steps(design, height) & (blocked < 1.0)
        if kept.sum() < 2:
            raise InputError(
                "the steps leave less than two heights on the wall to read",
                place=_STEPS,
                cure="Make the step smaller",
            )
        height, blocked = height[kept], blocked[kept]
        off = np.abs(height[:, None] - profile.corners)
        at_corner = np.any(off < ASSUMED.margin - 1e-6, axis=1)
        worse = step * (
            ASSUMED.corner_penalty * at_corner + ASSUMED.opening_penalty * blocked
        )
        return cls(design, height, worse, step)

    @property
    def zone(self) -> tuple[float, float]:
        """Between which heights rows are close, mm: all where there is no tuyere."""
        at = [tuyere.height for tuyere in self.design.tuyeres]
        if not at:
            return float(self.height[0]), float(self.height[-1])
        return min(at), max(at) + ASSUMED.close_rows_reach

    def usual(self, *, mouths: bool = False) -> Float:
        """Rows at corners, every 150 mm over the melting zone, 300 mm elsewhere.

        Parameters
        ----------
        mouths : bool
            Also rows close below the sills of the tuyeres and above their lips.
        """
        chosen = {0, self.height.size - 1}
        wanted = [(*place, ASSUMED.corner_near) for place in self._wanted()]
        wanted += [(*place, ASSUMED.margin) for place in self._at_mouths() if mouths]
        for target, low, high, near in wanted:
            there = [h for h in self.height[list(chosen)] if low < h < high]
            if any(abs(h - target) <= near for h in there):
                continue
            if (pick := self._pick(target, low, high)) is not None:
                chosen.add(pick)
        for below, above in list(pairwise(sorted(chosen))):
            ends = float(self.height[below]), float(self.height[above])
            chosen |= self._between(*ends)
        return self.height[sorted(chosen)]

    def spread(self, count: int) -> Float:
        """So many rows, twice as close over the melting zone as elsewhere.

        Rows are put elsewhere where that closes a gap in which a burnt ring may lie.

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
        return self.height[self._closed(chosen)]

    def rows_to_close(self, count: int) -> int | None:
        """The fewest rows, more than so many, that leave no burnt ring between them."""
        for more in range(count + 1, self.height.size + 1):
            if not rows_apart(self.spread(more), self.design):
                return more
        return None

    def _closed(self, chosen: list[int]) -> list[int]:
        """The same rows, one after another moved a little, if that closes all gaps."""

        def open_between(rows: list[int]) -> float:
            gaps = rows_apart(self.height[rows], self.design)
            return sum(gap.high - gap.low for gap in gaps)

        now, left = chosen, open_between(chosen)
        while left > 0.0:
            moves = [
                (abs(self.height[to] - self.height[now[k]]) + self.worse[to], k, to)
                for k in range(1, len(now) - 1)
                for to in range(now[k - 1] + 1, now[k + 1])
            ]
            for _, k, to in sorted(moves):
                moved = [*now[:k], to, *now[k + 1 :]]
                if (still := open_between(moved)) < left - 1e-6:
                    now, left = moved, still
                    break
            else:
                return chosen
        return now

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

    def _at_mouths(self) -> list[tuple[float, float, float]]:
        """Sills and lips of the tuyeres, each with the wall below or above it, mm.

        The taper audit compares the wall there: a row farther off tells little of it.
        """
        profile = self.design.profile
        edges = [
            (
                t.height - 0.5 * t.tall - ASSUMED.margin,
                t.height + 0.5 * t.tall + ASSUMED.margin,
            )
            for t in self.design.tuyeres
        ]
        sills, lips = sorted({a for a, _ in edges}), sorted({b for _, b in edges})
        more = 1e-6
        return [
            *((sill, profile.bottom, sill + more) for sill in sills),
            *((lip, lip - more, profile.top) for lip in lips),
        ]

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
        usual = ASSUMED.rows_close if close else ASSUMED.rows_wide
        apart = self.step * max(1.0, round(usual / self.step))
        parts = int(np.ceil((above - below) / apart - 0.01))
        targets = np.linspace(below, above, parts + 1)[1:-1]
        picks = [self._pick(float(target), below, above) for target in targets]
        return {pick for pick in picks if pick is not None}


def _blocked(design: Design, height: Float, azimuth: Float) -> Float:
    """Share of each row that lies in openings; array (c,)."""
    return np.asarray((opening_at(design, height, azimuth) >= 0).mean(axis=1))


@dataclass(frozen=True)
class RowsShort:
    """That rows asked for leave a gap in which a burnt ring may lie.

    Attributes
    ----------
    gap : RowsApart
    enough : int or None
        The fewest rows that leave none; None where the rod's steps allow no such.
    """

    gap: RowsApart
    enough: int | None


@dataclass(frozen=True)
class SamplingPlan(Shown):
    """The stations of one climb, as m rows and k columns of a sheet.

    Attributes
    ----------
    height : array (m,), mm
        Highest first, as the wall stands.
    azimuth : array (k,), degrees
        From azimuth 0 the way the hands of a clock turn, seen from above: as the wall
        is seen from inside, turning to the right.
    requested : bool array (m, k)
        Stations to read.
    opening : int array (m, k)
        Which of the design's openings is there or too near, else -1.
    turned : array (m,), degrees
        By how much more the stations of each row stand than ``azimuth``.
    rank : tuple of int, length m
        Of a second climb, how much the station of each row tells: 1 most.  Empty of a
        first one.
    is_repeat : tuple of bool, length m
        Of a second climb, whether the station was read before, or is another row too.
    """

    height: Float
    azimuth: Float
    requested: Bool
    opening: Int
    turned: Float
    rank: tuple[int, ...] = ()
    is_repeat: tuple[bool, ...] = ()

    @property
    def station_azimuth(self) -> Float:
        """Azimuth of every station, degrees; shape (m, k)."""
        return wrap(self.azimuth + self.turned[:, None])

    @property
    def staggered(self) -> bool:
        """Whether rows are turned against each other."""
        return bool(np.any(self.turned != 0.0))

    def on_columns(self, design: Design) -> SamplingPlan:
        """The same stations with a column for each of their azimuths, none turned.

        What is not a row's own is not asked for.
        """
        if not self.staggered:
            return self
        each = np.round(self.station_azimuth, 6)
        across = np.array(sorted(set(each.ravel().tolist()), key=_by_clock(design)))
        requested = np.zeros((self.height.size, across.size), dtype=bool)
        opening = np.full(requested.shape, -1, dtype=np.int64)
        for row, azimuths in enumerate(each):
            place = [int(np.flatnonzero(across == a)[0]) for a in azimuths]
            requested[row, place] = self.requested[row]
            opening[row, place] = self.opening[row]
        straight = np.zeros(self.height.size)
        return SamplingPlan(self.height, across, requested, opening, straight)

    @property
    def second(self) -> bool:
        """Whether each row is one chosen station."""
        return bool(self.rank)

    @property
    def count(self) -> int:
        """Stations to read."""
        return int(self.requested.sum())


def plan_stations(
    design: Design,
    *,
    azimuths: int | None = None,
    heights: int | None = None,
    columns: bool = False,
) -> SamplingPlan:
    """Spread stations over a whole wall.

    Parameters
    ----------
    azimuths : int, optional
        Columns, evenly round from azimuth 0.  Default: on the rod's steps, about every
        30 degrees.
    heights : int, optional
        CandidateRows, twice as close over the melting zone as elsewhere.  Default: as
        `CandidateRows.usual` has them.
    columns : bool
        Whether all rows have the same azimuths.  Default: rows are turned against each
        other on the rod's steps of azimuth, where these are finer than the columns; and
        there are rows close to the sills and lips of the tuyeres.

    Raises
    ------
    InputError
        If the steps of the rod leave no such rows.
    """
    across = _azimuths(design, azimuths)
    turns = np.zeros(1) if columns else _turns(design, across.size)
    rows = CandidateRows.of(design, across, turns)
    up = rows.usual(mouths=not columns) if heights is None else rows.spread(heights)
    turned = _turn_of_each(design, up, across, turns)[::-1].copy()
    down = up[::-1].copy()
    opening = opening_at(design, down, wrap(across + turned[:, None]))
    return SamplingPlan(down, across, opening < 0, opening, turned)


def rows_short(design: Design, plan: SamplingPlan) -> RowsShort | None:
    """Whether a burnt ring may lie between rows of a plan, and how many rows close it.

    Of a first climb; of a second one, which adds to what is read, None.
    """
    if plan.second:
        return None
    for gap in rows_apart(plan.height, design):
        turns = np.unique(plan.turned)
        rows = CandidateRows.of(design, plan.azimuth, turns)
        return RowsShort(gap, rows.rows_to_close(plan.height.size))
    return None


def _turns(design: Design, count: int) -> Float:
    """Turns that a row of so many columns may have, degrees of azimuth; 0 the first.

    Whole steps of the rod, less than from one column to the next.
    """
    apart, step = 360.0 / count, design.rod.azimuth_step
    steps = max(1, int(apart / step + 1e-6))
    most = max(1, min(steps, _MOST_AZIMUTHS // count))
    onward = np.floor(np.arange(most) * steps / most) * step
    return onward if design.azimuth_sense == "clockwise" else -onward


def _turn_of_each(design: Design, up: Float, across: Float, turns: Float) -> Float:
    """Which turn each row has, degrees; (m,).

    Rows next to the tuyeres stand under and over them as nearly as can be.  Any other
    has a turn that no neighbour has, or one with fewer stations in openings.
    """
    row, count = np.arange(up.size), turns.size
    first = row % count if count <= _FEW_TURNS else (row * _GOLDEN % 1.0 * count)
    chosen = turns[first.astype(np.int64)].copy()
    mouths = [t for t in design.tuyeres if count > 1]
    for k, height in enumerate(up.tolist()):
        stations = wrap(across + turns[:, None])
        blocked = np.array([_blocked(design, up[[k]], line)[0] for line in stations])
        here = [t for t in mouths if _beside_mouth(t, height)]
        off = [np.abs(turn_between(stations, t.azimuth)).min(axis=1) for t in here]
        wanted = np.mean(off, axis=0) if off else (turns != chosen[k]).astype(float)
        best = np.lexsort((wanted, np.round(blocked, 9)))[0]
        chosen[k] = turns[best]
    return chosen


def _beside_mouth(tuyere: Opening, height: float) -> bool:
    """Whether a row is one of those that tell of a tuyere's sill or lip."""
    off = abs(height - tuyere.height) - 0.5 * tuyere.tall
    return 0.0 < off <= ASSUMED.margin + ASSUMED.corner_near


def plan_next_stations(design: Design, advice: Advice) -> SamplingPlan:
    """One row for each station that would tell most.

    Raises
    ------
    InputError
        If no station is expected to help.
    """
    if not advice.stations:
        raise InputError(
            "no further single reading is expected to help",
            cure="Leave out --readings for a sheet of the whole wall",
        )
    onward = [onward_of(design, station.azimuth) for station in advice.stations]
    order = sorted(
        range(len(onward)), key=lambda k: (-advice.stations[k].height, onward[k], k)
    )
    chosen = [advice.stations[k] for k in order]
    height = np.array([station.height for station in chosen])
    across = np.array(sorted({s.azimuth for s in chosen}, key=_by_clock(design)))
    requested = np.array([[s.azimuth == a for a in across] for s in chosen])
    return SamplingPlan(
        height,
        across,
        requested,
        opening_at(design, height, across),
        np.zeros(height.size),
        rank=tuple(k + 1 for k in order),
        is_repeat=tuple(station.is_repeat for station in chosen),
    )


def onward_of(design: Design, azimuth: float) -> float:
    """How far round the way the hands of a clock turn, degrees."""
    return float(wrap(azimuth if design.azimuth_sense == "clockwise" else -azimuth))


def _by_clock(design: Design) -> Callable[[float], float]:
    return lambda azimuth: onward_of(design, azimuth)


def _azimuths(design: Design, count: int | None) -> Float:
    step = design.rod.azimuth_step
    if count is None:
        places = np.arange(
            0.0, 360.0 - 1e-6, step * max(1.0, round(ASSUMED.columns_apart / step))
        )
    else:
        # To a hundredth: a seventh part of the circle is no finer on a rod.
        places = np.round(np.arange(count) * 360.0 / count, 2)
    return np.array(sorted(places.tolist(), key=_by_clock(design)))
