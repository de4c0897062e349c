"""Where repairs leave the deepest places, and how that drifts from repair to repair.

A repair puts the wall back about as the one before did: a little deeper here, a little
less there.  What is left after every repair is laid a straight line through, panel by
panel, over the heats; it goes on as that line does, each repair as far off it as
repairs have been.  A heat goes deeper than that by what it wears, which the forecast of
the wall left alone watches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.quantity import K95
from geom.record.course import DRAWS, Course, StateOf
from geom.record.occasion import Occasion
from geom.record.pieces import Pieces
from geom.record.series import WearSeries
from geom.record.settled import settled
from geom.record.shares import spread_of
from geom.record.straight_line import UNKNOWNS, StraightLine, fit_lines
from geom.units import Float

#: Fewest surveys after a repair that a drift is told from.
FEWEST = 4


@dataclass(frozen=True)
class _Lines:
    """Straight lines through every piece; s pieces, n repairs.

    Attributes
    ----------
    line : StraightLine
    unit : array (s,), mm2
        Variance of what one repair is off its line, pooled over pieces of a kind.
    wide : float
        How much wider than a normal interval one from so few is.
    """

    line: StraightLine
    unit: Float
    wide: float


def as_repaired(
    series: WearSeries,
    last: Occasion,
    *,
    state_of: StateOf,
    rng: np.random.Generator,
) -> Course | None:
    """The wall as repairs leave it, going on as repairs went so far.

    Parameters
    ----------
    series : WearSeries
        Of one campaign.
    last : Occasion
    state_of : callable
        The survey of an occasion, panel by panel.
    rng : Generator

    Returns
    -------
    Course or None
        None with fewer than `FEWEST` surveys after a repair.
    """
    pieces = series.pieces
    left = {one.start for one in series.spells} | {last}
    left = {one for one in left if one.stage == "after repair"}
    repairs = sorted(left, key=lambda one: one.place)
    if len(repairs) < FEWEST:
        return None
    states = [state_of(one) for one in repairs]
    heat = np.array([one.heat for one in repairs], dtype=np.float64)
    depth = np.stack([one.deepest for one in states])
    errors = np.stack([one.deepest_sd**2 for one in states])
    lines = _lines(heat, depth, pieces)
    panel = list(pieces.of_kind("panel"))
    line, unit = lines.line, lines.unit
    drift = settled(
        line.slope,
        lines.wide * np.sqrt(unit * line.slope_variance),
        pieces,
        by_share=False,
    )
    middle = settled(
        line.level,
        lines.wide * np.sqrt(unit * line.level_variance),
        pieces,
        by_share=False,
    )
    beyond = unit.copy()
    told = np.isfinite(errors)
    mean = np.nansum(errors, axis=0) / np.maximum(told.sum(axis=0), 1)
    beyond[panel] = np.maximum(beyond[panel] - mean, 0.0)
    off = spread_of(np.sqrt(beyond), pieces)
    gone = last.heat - line.middle[panel]
    drifts, slower = (
        one.value[:, None] + one.spread.draws(rng, DRAWS)
        for one in (drift, drift.shared)
    )
    here = middle.value[:, None] + middle.spread.draws(rng, DRAWS)
    here += off.draws(rng, DRAWS)
    depth_now = middle.value + drift.value * gone
    told = np.flatnonzero(np.isfinite(depth_now))
    depths = here + drifts * gone[:, None]
    return Course(
        panel=told,
        depth=depth_now[told],
        depths=depths[told],
        rate=drift.value[told],
        governing=drifts[told],
        lesser=slower[told],
        scatter=np.zeros((1, 1)),
        spot_after=np.full((1, 1), np.inf),
        spot_depth=np.zeros((1, 1)),
        short=np.zeros(told.size, dtype=np.bool_),
        since=np.zeros(told.size, dtype=np.int64),
    )


def _lines(heat: Float, depth: Float, pieces: Pieces) -> _Lines:
    """Lines through the deepest places of panels, and through their means over pieces.

    A panel counts where every repair tells it.
    """
    from scipy.special import stdtrit

    told = np.isfinite(depth).all(axis=0)
    member = pieces.member * told
    share = member / np.maximum(member.sum(axis=1, keepdims=True), 1.0)
    some = member.sum(axis=1) > 0.0
    mean = np.where(some, np.where(told, depth, 0.0) @ share.T, np.nan)
    line = fit_lines(heat, mean, variance=np.ones_like(mean))
    freedom = heat.size - UNKNOWNS
    unit = np.full(some.size, np.nan)
    for kind in {one.kind for one in pieces.pieces}:
        its = [i for i in pieces.of_kind(kind) if some[i]]
        unit[its] = line.chi_square[its].mean() / freedom if its else np.nan
    wide = float(stdtrit(freedom, 0.975)) / K95
    return _Lines(line, unit, wide)
