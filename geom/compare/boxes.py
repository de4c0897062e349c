"""The wall in boxes, an hour of the clock face wide and a step of height tall.

What a crew can find again inside: twelve hours round, heights in whole steps of the
shop's unit, and in every box the depth that counts there and the zones that it holds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.assumptions import ASSUMED
from geom.compare.findings import ACTIONS, NO_CALL, Action, Findings
from geom.design import Design
from geom.frame import wrap
from geom.surface import Grid
from geom.units import MM_PER, Float, Int

#: Hours of the clock face.
HOURS = 12
#: Steps of height that a crew counts in, in the design's unit.  Common practice to
#: count in half feet; the others are our own choice.
STEPS = {
    "in": (6.0, 12.0, 18.0, 24.0, 36.0),
    "mm": (150.0, 200.0, 250.0, 300.0, 500.0, 1000.0),
    "cm": (15.0, 20.0, 25.0, 30.0, 50.0, 100.0),
    "m": (0.15, 0.2, 0.25, 0.3, 0.5, 1.0),
}


#: Calls in the order in which they decide over a box.
_FIRST: tuple[Action, ...] = ("brick", "measure again", "daub", "chip")


@dataclass(frozen=True)
class WallBoxes:
    """The wall box by box; rows bottom up, columns by hour, 1 to 12 o'clock.

    Attributes
    ----------
    edge : array (m + 1,), mm
        Heights between the rows.
    depth : array (m, 12), mm
        Of the best surface: the greatest cut-back in the box; where chipping is all
        that is called, the least.  NaN where nothing was read or no wall is.
    action : int array (m, 12)
        Index into `ACTIONS` of the call that decides, `NO_CALL` where not surveyed.
    zones : tuple of tuple of tuple of int
        Ids of the zones in each box, in the order in which they decide.
    """

    edge: Float
    depth: Float
    action: Int
    zones: tuple[tuple[tuple[int, ...], ...], ...]


def box_edges(design: Design) -> Float:
    """Heights between rows of boxes, whole steps of the shop's unit, mm.

    Examples
    --------
    >>> from geom.design import Profile
    >>> wall = Profile(np.array([0.0, 1219.2]), np.array([450.0, 450.0]))
    >>> tall = Design("", "in", "", "clockwise", "", wall, shell_radius=600.0)
    >>> (box_edges(tall) / 25.4).round().tolist()
    [0.0, 6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0]
    """
    low, high = design.profile.bottom, design.profile.top
    for step in STEPS[design.length_unit]:
        size = step * float(MM_PER[design.length_unit])
        first = np.floor(low / size + 1e-6)
        last = np.ceil(high / size - 1e-6)
        if last - first <= ASSUMED.box_rows:
            break
    return np.asarray(np.arange(first, last + 1.0) * size)


def hour_of(azimuth: Float, design: Design) -> Int:
    """Which hour's column an azimuth lies in, 0 for 1 o'clock to 11 for 12; (k,).

    Half an hour to either side of an hour is its own.
    """
    onward = azimuth if design.azimuth_sense == "clockwise" else -azimuth
    hour = np.floor(wrap(onward + 15.0) / 30.0).astype(np.int64)
    return np.asarray((hour - 1) % HOURS)


def wall_boxes(findings: Findings, grid: Grid, design: Design) -> WallBoxes:
    """The findings box by box.

    Parameters
    ----------
    grid : Grid
        That they are on.
    """
    edge, maps = box_edges(design), findings.maps
    row = np.clip(np.searchsorted(edge, grid.height) - 1, 0, edge.size - 2)
    column = hour_of(grid.azimuth, design)
    box = row[:, None] * HOURS + column[None, :]
    shape = (edge.size - 1, HOURS)
    wall = np.where(grid.opening, 0.0, grid.whole_face)
    count = edge.size * HOURS
    area = _sums(box, wall, count)
    held = _held(findings, box, wall, area)
    depth = np.full(shape, np.nan)
    action = np.full(shape, NO_CALL, dtype=np.int64)
    known = maps.surveyed & ~grid.opening & np.isfinite(maps.cutback)
    calls = {zone.id: zone.action for zone in findings.zones}
    for number in range(shape[0] * HOURS):
        inside = known & (box == number)
        if not inside.any():
            continue
        at = divmod(number, HOURS)
        zones = held.get(number, ())
        call: Action = calls[zones[0]] if zones else "leave"
        cutback = maps.cutback[inside]
        depth[at] = cutback.min() if call == "chip" else cutback.max()
        action[at] = ACTIONS.index(call)
    return WallBoxes(
        edge=edge,
        depth=depth,
        action=action,
        zones=tuple(
            tuple(held.get(r * HOURS + c, ()) for c in range(HOURS))
            for r in range(shape[0])
        ),
    )


def _sums(box: Int, field: Float, count: int) -> Float:
    """Of a field over each box; (count,)."""
    return np.bincount(box.ravel(), field.ravel(), count).astype(np.float64)


def _held(
    findings: Findings, box: Int, wall: Float, area: Float
) -> dict[int, tuple[int, ...]]:
    """Ids of the zones in each box, those first that decide."""
    held: dict[int, list[tuple[int, float, int]]] = {}
    for zone in findings.zones:
        if zone.action not in _FIRST:
            continue
        inside = np.where(findings.maps.zone == zone.id, wall, 0.0)
        each = _sums(box, inside, area.size)
        named = set(
            np.flatnonzero(each >= ASSUMED.box_share * np.maximum(area, 1e-9)).tolist()
        )
        named.add(int(np.argmax(each)))
        for number in named:
            held.setdefault(number, []).append(
                (_FIRST.index(zone.action), -float(each[number]), zone.id)
            )
    return {
        number: tuple(zone for *_, zone in sorted(zones))
        for number, zones in held.items()
    }
