"""What holds the stack up while brick is set: how much wall is open, and in what order.

The stack above stands on the wall that is opened.  So brick is set in segments, no more
of the wall open at once than the shop allows, each set before the next is opened, and
neighbours never one after the other where that can be helped.  Where brick is set round
more than half of the wall at one height, or the wall is burnt back all round or may be,
no order of work makes it safe by itself: there is a `Stop`, and a competent person
decides.

Measured is the arc on which brick is set at a height, not how far a zone reaches.  That
half of the wall is the limit, that three quarters past the brick line count as all
round, and that a chance of one in ten is enough for "may be", as it is for zones, are
our own choices, no source; so are the shop's defaults of 60 degrees and 24 in.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from geom.design import Brickwork
from geom.document import OMITTED
from geom.frame import wrap
from geom.repair.assumptions import ASSUMED
from geom.units import Bool, Float

_EXACT = 1e-6


@dataclass(frozen=True)
class Seat:
    """The place of one brick in the wall.

    Attributes
    ----------
    azimuth_from, azimuth_to : float, degrees
        Of the brick, the way azimuth grows.
    height_from, height_to : float, mm
    back : float, mm
        Greatest radius that is sound lining no more: of the brick's back, or of the
        wall where that is gone deeper.
    """

    zone: int
    azimuth_from: float
    azimuth_to: float
    height_from: float
    height_to: float
    back: float

    @property
    def arc(self) -> float:
        """How far round it reaches, degrees."""
        return float(wrap(self.azimuth_to - self.azimuth_from))

    @property
    def middle(self) -> float:
        """Azimuth of its middle, degrees."""
        return float(wrap(self.azimuth_from + 0.5 * self.arc))


@dataclass(frozen=True)
class Segment:
    """Wall that is opened, bricked and left to set before the next.

    Attributes
    ----------
    step : int
        When it is opened, from 1 on.
    azimuth_from, azimuth_to : float, degrees
    height_from, height_to : float, mm
    bricks : int
        Set in it, cut ones too.
    members : tuple of int
        Which of the zone's bricks, in the order of its brickwork.
    """

    step: int
    zone: int
    azimuth_from: float
    azimuth_to: float
    height_from: float
    height_to: float
    bricks: int
    members: tuple[int, ...] = field(default=(), metadata=OMITTED)


StopReason = Literal["opened", "burnt", "possible"]


@dataclass(frozen=True)
class Stop:
    """Where the stack above needs support before any wall is opened.

    Attributes
    ----------
    reason : {'opened', 'burnt', 'possible'}
        Brick is set round more than half of the wall, or the wall is past the brick
        line all round, or may be.
    height_from, height_to : float, mm
    share : float, 0 to 1
        Of the wall round, where that is greatest.
    """

    reason: StopReason
    height_from: float
    height_to: float
    share: float


@dataclass(frozen=True)
class LeastBehind:
    """The least sound lining behind a seat.

    Attributes
    ----------
    lining : float, mm
    azimuth : float, degrees
    height : float, mm
    wanted : float or None, mm
        What the shop wants at least (``[shell] least_lining``).
    kept : bool
        Whether that is there; some lining, where the shop says nothing.
    """

    lining: float
    azimuth: float
    height: float
    wanted: float | None
    kept: bool


@dataclass(frozen=True)
class Support:
    """What brickwork opens of the wall, and in what order.

    Attributes
    ----------
    open_arc : float, degrees
        The longest stretch on which brick is set at one height, had it all been open.
    open_share : float, 0 to 1
        Of the wall round, on which brick is set at the height where that is most.
    open_height : float, mm
        The tallest stretch of brick at one azimuth.
    arc_most, height_most : float, degrees and mm
        What the shop allows to be open at once.
    behind : LeastBehind or None
        None where no brick is set or no shell is drawn.
    segments : tuple of Segment
        In order of work.
    stops : tuple of Stop
        Bottom up.
    """

    open_arc: float
    open_share: float
    open_height: float
    arc_most: float
    height_most: float
    behind: LeastBehind | None
    segments: tuple[Segment, ...]
    stops: tuple[Stop, ...]


def support_of(
    seats: Sequence[Seat],
    work: Brickwork,
    *,
    shell_radius: float | None = None,
    least_lining: float | None = None,
    burnt: Sequence[tuple[float, float, float]] = (),
    possible: Sequence[tuple[float, float, float]] = (),
) -> Support:
    """Work out what is opened, the segments, and whether there is a stop.

    Parameters
    ----------
    seats : sequence of Seat
        Zone by zone, in order of work.
    work : Brickwork
        How much may be open at once.
    shell_radius, least_lining : float or None, mm
    burnt : sequence of (low, high, share)
        Heights between which the wall is past the brick line, and round how much of
        it; `burnt_rows` finds them.
    possible : sequence of (low, high, share)
        The same where it may be.
    """
    levels = _levels(seats)
    return Support(
        open_arc=max((level.longest for level in levels), default=0.0),
        open_share=max((level.total for level in levels), default=0.0) / 360.0,
        open_height=_tallest(seats),
        arc_most=work.open_arc,
        height_most=work.open_height,
        behind=_least_behind(seats, shell_radius, least_lining),
        segments=segments_of(seats, work),
        stops=(*_opened(levels), *_burnt(burnt, possible)),
    )


def burnt_rows(
    past: Bool, counted: Float, edge: Float
) -> list[tuple[float, float, float]]:
    """Heights at which the wall is past the brick line, and round how much of it.

    Parameters
    ----------
    past : bool array (m, k)
        Cells that are called for brick.
    counted : array (m, k), 0 to 1
        Share of each cell that is wall and not opening.
    edge : array (m + 1,), mm

    Returns
    -------
    list of (low, high, share)
        Row by row, where there is wall.
    """
    whole = counted.sum(axis=1)
    share = np.divide(
        (past * counted).sum(axis=1), whole, out=np.zeros(whole.size), where=whole > 0.0
    )
    return [
        (float(edge[row]), float(edge[row + 1]), float(share[row]))
        for row in np.flatnonzero(share > 0.0)
    ]


@dataclass(frozen=True)
class _Level:
    """Heights between which the same bricks are met; degrees of arc."""

    low: float
    high: float
    total: float
    longest: float


def _levels(seats: Sequence[Seat]) -> list[_Level]:
    ends = np.unique([[seat.height_from, seat.height_to] for seat in seats])
    levels = []
    for low, high in itertools.pairwise(ends):
        met = [
            s
            for s in seats
            if s.height_from < high - _EXACT and s.height_to > low + _EXACT
        ]
        if met and high - low > _EXACT:
            arcs = union_of_arcs([(s.azimuth_from, s.arc) for s in met])
            lengths = [length for _, length in arcs]
            levels.append(_Level(float(low), float(high), sum(lengths), max(lengths)))
    return levels


def union_of_arcs(
    arcs: Iterable[tuple[float, float]], *, gap: float = ASSUMED.same_opening
) -> list[tuple[float, float]]:
    """Arcs on the ring put together; gaps no wider than ``gap`` count as open.

    Parameters
    ----------
    arcs : iterable of (azimuth, length), degrees
    gap : float, degrees

    Returns
    -------
    list of (azimuth, length), degrees
        By azimuth; one of 360 where they go all round.

    Examples
    --------
    >>> union_of_arcs([(350.0, 20.0), (5.0, 10.0), (90.0, 30.0)], gap=0.0)
    [(90.0, 30.0), (350.0, 25.0)]
    """
    rest = sorted((float(wrap(start)), float(length)) for start, length in arcs)
    if not rest:
        return []
    merged = [rest[0]]
    for start, length in rest[1:]:
        first, reach = merged[-1]
        if start <= first + reach + gap:
            merged[-1] = (first, max(reach, start + length - first))
        else:
            merged.append((start, length))
    while len(merged) > 1 and sum(merged[-1]) + gap >= merged[0][0] + 360.0:
        (start, length), (first, reach) = merged[-1], merged.pop(0)
        merged[-1] = (start, max(length, first + 360.0 + reach - start))
    if len(merged) == 1 and merged[0][1] + gap >= 360.0:
        return [(merged[0][0], 360.0)]
    return merged


def _tallest(seats: Sequence[Seat]) -> float:
    """The tallest stretch of brick at one azimuth, mm; joints between courses count."""
    tallest = 0.0
    for azimuth in {seat.middle for seat in seats}:
        met = sorted(
            (seat.height_from, seat.height_to)
            for seat in seats
            if wrap(azimuth - seat.azimuth_from) <= seat.arc
        )
        low, top = met[0]
        for start, end in met[1:]:
            if start > top + _COURSE_GAP:
                low, top = start, end
            top = max(top, end)
            tallest = max(tallest, top - low)
        tallest = max(tallest, top - low)
    return float(tallest)


#: Courses no farther apart than this are one opening, mm.
_COURSE_GAP = 25.4


def _least_behind(
    seats: Sequence[Seat], shell: float | None, wanted: float | None
) -> LeastBehind | None:
    if shell is None or not seats:
        return None
    deepest = max(seats, key=lambda seat: seat.back)
    lining = shell - deepest.back
    return LeastBehind(
        lining=float(lining),
        azimuth=deepest.middle,
        height=0.5 * (deepest.height_from + deepest.height_to),
        wanted=wanted,
        kept=bool(lining >= (wanted or 0.0) - _EXACT and lining > 0.0),
    )


def _opened(levels: Sequence[_Level]) -> tuple[Stop, ...]:
    """One stop for each stretch of heights at which more than half is opened."""
    over = [
        (level.low, level.high, level.total / 360.0)
        for level in levels
        if level.total / 360.0 > ASSUMED.least_standing + _EXACT
    ]
    return _stops("opened", over)


def _burnt(
    burnt: Sequence[tuple[float, float, float]],
    possible: Sequence[tuple[float, float, float]],
) -> tuple[Stop, ...]:
    """Where the wall is burnt all round, and where it may be and is not called so."""
    sure = _all_round("burnt", burnt)
    maybe = _all_round("possible", possible)
    return *sure, *(stop for stop in maybe if not _met(stop, sure))


def _all_round(
    reason: StopReason, rows: Sequence[tuple[float, float, float]]
) -> tuple[Stop, ...]:
    return _stops(
        reason, [row for row in rows if row[2] >= ASSUMED.burnt_ring - _EXACT]
    )


def _met(stop: Stop, others: Sequence[Stop]) -> bool:
    return any(
        stop.height_from < other.height_to and other.height_from < stop.height_to
        for other in others
    )


def _stops(
    reason: StopReason, over: Sequence[tuple[float, float, float]]
) -> tuple[Stop, ...]:
    stops: list[Stop] = []
    for low, high, share in sorted(over):
        if stops and low <= stops[-1].height_to + _COURSE_GAP:
            last = stops.pop()
            most = max(last.share, share)
            stops.append(Stop(reason, last.height_from, high, most))
        else:
            stops.append(Stop(reason, low, high, share))
    return tuple(stops)


def segments_of(seats: Sequence[Seat], work: Brickwork) -> tuple[Segment, ...]:
    """The segments that brick is set in, in order of work.

    Zone by zone; in a zone tier by tier from the bottom, in a tier every second segment
    and then those in between.  A brick belongs to the segment that its middle lies in,
    so a segment's edge is toothed.  Where one brick reaches farther than may be open,
    it is a segment by itself.
    """
    segments: list[Segment] = []
    for zone in dict.fromkeys(seat.zone for seat in seats):
        own = [seat for seat in seats if seat.zone == zone]
        number = {id(seat): k for k, seat in enumerate(own)}
        for tier in _split_up(own, work.open_height, _height_of, _height):
            parts = _split_up(
                tier,
                work.open_arc,
                _arc_of,
                _from(_start(tier)),
                ring=_arc_of(tier) >= 360.0,
            )
            for part in (*parts[::2], *parts[1::2]):
                members = tuple(number[id(seat)] for seat in part)
                segments.append(_segment(len(segments) + 1, zone, part, members))
    return tuple(segments)


def _segment(
    step: int, zone: int, part: Sequence[Seat], members: tuple[int, ...]
) -> Segment:
    first, arc = _start(part), _arc_of(part)
    return Segment(
        step=step,
        zone=zone,
        azimuth_from=first,
        azimuth_to=float(wrap(first + arc)),
        height_from=min(seat.height_from for seat in part),
        height_to=max(seat.height_to for seat in part),
        bricks=len(part),
        members=members,
    )


def _arcs(part: Sequence[Seat]) -> list[tuple[float, float]]:
    return union_of_arcs([(seat.azimuth_from, seat.arc) for seat in part])


def _start(part: Sequence[Seat]) -> float:
    """Where the seats begin, going round: after the widest gap between them."""
    arcs = _arcs(part)
    gaps = [
        (wrap(arcs[k][0] - sum(arcs[k - 1])) if len(arcs) > 1 else 0.0, arcs[k][0])
        for k in range(len(arcs))
    ]
    return float(max(gaps)[1])


def _arc_of(part: Sequence[Seat]) -> float:
    """How far round the seats reach, gaps between them included; degrees."""
    arcs = _arcs(part)
    if len(arcs) == 1:
        return arcs[0][1]
    start = _start(part)
    return float(max(wrap(first - start) + length for first, length in arcs))


def _height_of(part: Sequence[Seat]) -> float:
    low = min(seat.height_from for seat in part)
    return max(seat.height_to for seat in part) - low


def _height(seat: Seat) -> float:
    return 0.5 * (seat.height_from + seat.height_to)


def _from(start: float) -> Callable[[Seat], float]:
    return lambda seat: float(wrap(seat.middle - start))


def _split_up(
    seats: Sequence[Seat],
    most: float,
    size_of: Callable[[Sequence[Seat]], float],
    place_of: Callable[[Seat], float],
    *,
    ring: bool = False,
) -> list[list[Seat]]:
    """Part seats evenly along their places, until no part is larger than it may be."""
    places = [round(place_of(seat), 3) for seat in seats]
    rank = {place: k for k, place in enumerate(sorted(set(places)))}
    count = max(int(np.ceil(size_of(seats) / most - _EXACT)), 1)
    while True:
        count += ring and count % 2  # every second one of a ring: an even number
        parts: list[list[Seat]] = [[] for _ in range(count)]
        for seat, place in zip(seats, places, strict=True):
            parts[min(rank[place] * count // len(rank), count - 1)].append(seat)
        parts = [part for part in parts if part]
        if count >= len(rank) or all(size_of(part) <= most + _EXACT for part in parts):
            return parts
        count += 1
