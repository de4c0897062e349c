"""Repeated readings: one station read more than once, and what does not agree there.

Readings within the rod's placement error of each other, in azimuth and in height, are
of one station.  Two that differ by more than chance allows cannot both be right, and
nothing on the sheet says which is: a slip of the pen, or a rod set down elsewhere.  To
believe both would make the whole sheet look badly read.  Of three or more, those that
most agree on are believed.  Else none is: all are left out and named, the wall there is
as uncertain as where nobody read, and one more reading decides.
"""

from __future__ import annotations

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.readings import RodReadings
from geom.readings.rod import cutback_of_each
from geom.surface.assumptions import ASSUMED
from geom.surface.radial import Contradicted, Rejected
from geom.units import Bool, Float, Int

_ROUNDING = 1e-6


def contradicting_repeats(
    readings: RodReadings, design: Design
) -> tuple[Bool, tuple[Rejected, ...]]:
    """Readings of stations read more than once that do not agree.

    Parameters
    ----------
    readings : RodReadings, n
    design : Design
        Its ``[rod]`` says how well a rod is placed and read.

    Returns
    -------
    kept : bool array (n,)
    rejected : tuple of Rejected
        One for each reading left out, with the others of its station.

    Raises
    ------
    InputError
        If most of many stations read twice disagree: not one state of the wall.
    """
    station = _stations(readings, design)
    cutback = cutback_of_each(readings, design)
    allowed = _variance(readings, design)
    kept = np.ones(len(readings), dtype=bool)
    rejected: list[Rejected] = []
    repeated = np.flatnonzero(np.bincount(station) > 1)
    doubted = 0
    for number in repeated:
        rows = np.flatnonzero(station == number)
        out = rows[~_majority(cutback[rows], allowed[rows])]
        doubted += bool(out.size)
        kept[out] = False
        rejected += [_rejected(readings, cutback, int(k), rows) for k in out]
    if (
        doubted >= ASSUMED.many_disagree
        and doubted > ASSUMED.share_disagree * repeated.size
    ):
        raise InputError(
            f"of {repeated.size} stations that were read twice, {doubted} disagree by "
            "more than chance allows",
            file=rejected[0].place.split(", ")[0],
            cure="Are these sheets of one survey? Survey the wall as it is now alone",
        )
    return kept, tuple(rejected)


def _stations(readings: RodReadings, design: Design) -> Int:
    """Number of the station of each reading; int array (n,)."""
    rod, across = design.rod, readings.is_kind("diameter")
    azimuth = np.where(across, readings.azimuth % 180.0, readings.azimuth)
    order = np.argsort(readings.height, kind="stable")
    height = readings.height[order]
    last = np.searchsorted(height, height + rod.height_sd + _ROUNDING, side="right")
    pairs: list[tuple[int, int]] = []
    for place, k in enumerate(order):
        near = order[place + 1 : last[place]]
        off = np.abs(turn(azimuth[near], azimuth[k]))
        off = np.where(across[near], np.minimum(off, 180.0 - off), off)
        same = (off <= rod.azimuth_sd + _ROUNDING) & (across[near] == across[k])
        pairs += [(int(k), int(other)) for other in near[same]]
    count = len(readings)
    if not pairs:
        return np.arange(count)
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    edges = np.array(pairs, dtype=np.int64).T
    graph = coo_array((np.ones(edges.shape[1]), edges), shape=(count, count))
    _, station = connected_components(graph, directed=False)
    return np.asarray(station, dtype=np.int64)


def _variance(readings: RodReadings, design: Design) -> Float:
    """Variance of each reading, for what repeats may differ by, mm2; (n,)."""
    rod = design.rod
    radius = design.profile.radius_at(readings.height)
    around = np.deg2rad(rod.azimuth_sd) * radius * ASSUMED.slope_round
    placed = np.hypot(around, rod.height_sd * ASSUMED.slope_up)
    step = readings.step if rod.step is None else rod.step
    read = (
        (ASSUMED.stated_repeatability_spread * rod.repeatability) ** 2
        + step**2 / 12.0
        + placed**2
    )
    variance = np.where(np.isnan(readings.sd), read, readings.sd**2)
    # a diameter's half is compared
    return np.asarray(np.where(readings.is_kind("diameter"), 0.25 * variance, variance))


def _majority(value: Float, variance: Float) -> Bool:
    """Readings of one station that more than half of them bear out; bool (k,)."""
    sd = np.sqrt(variance[:, None] + variance[None, :])
    agree = np.abs(value[:, None] - value) <= np.maximum(
        ASSUMED.repeats_differ * sd, ASSUMED.repeats_least
    )
    return np.asarray(agree.sum(axis=1) > 0.5 * value.size)


def _rejected(readings: RodReadings, cutback: Float, row: int, rows: Int) -> Rejected:
    others = rows[rows != row]
    factor = 2.0 if readings.kind[row] == "diameter" else 1.0
    value = float(readings.value[row])
    expected = value + factor * (cutback[others] - cutback[row])
    places = [readings.place[k] for k in others]
    return Rejected(
        readings.place[row],
        readings.kind[row],
        value,
        float(np.median(expected)),
        Contradicted(tuple(zip(places, expected.tolist(), strict=True))),
    )
