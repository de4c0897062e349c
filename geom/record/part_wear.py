"""How much faster parts of a panel wear than its mean.

Limits count at the deepest place, rates are best known of means.  A limit is passed
where the wall is deep and where it wears fast, which need not be one place.  So every
part of a panel is followed where it stands: what it loses in a heat beyond the panel's
mean is

    extra = sum over spells of (wear of the part - wear of the panel) / heats.

A part's own is noisy, as noisy as spells differ, and is drawn towards that of all parts
of the level at the same height, since a ring burns all round, by as much as they do not
differ more than their errors let them.  What parts stray from that from heat to heat,
beyond the surveys' errors, is told as a share of their wear.

What lies between the stations is not seen in any heat, if the stations are the same:
the share of a survey's variance that comes back every heat does not average out.  It is
part of what wears, and so no more than a part of what the fastest level wears.

References
----------
DerSimonian, R. and Laird, N. (1986). Meta-analysis in clinical trials. Controlled Clin.
Trials 7, 177-188, eq. 8 (how much values differ besides their errors).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.panel_parts import ACROSS, PARTS, UP
from geom.compare.panels import HOURS, PanelState
from geom.record.occasion import Occasion
from geom.record.scatter import SHARE
from geom.record.series import WearSeries
from geom.record.spots import Spots, spots_of
from geom.units import Float

#: Standard uncertainties of its error that wear must come to, to tell how it strays.
_CLEAR = 5.0
#: Least share of the variance of a part's wear that is not the panel's own.
_LEAST = 0.05


#: What is missed every heat, at most, of what the fastest level wears: in whole
#: campaigns on invented walls (scripts/bench) what came back was 0.05 to 0.1 of it in
#: the mean of a panel, and single parts miss more.  Our own choice, no source.
_MISSED = 0.2


@dataclass(frozen=True)
class PartWear:
    """Wear of parts beyond that of their panel; p panels, k parts of each.

    Attributes
    ----------
    extra, sd : array (p, k), mm a heat
        And its error from what differs from spell to spell; NaN where a part is not
        told.
    back : array (p, k), mm a heat
        Standard uncertainty by what comes back every heat.
    mean : array (p,), mm a heat
        Mean wear of the panels in the same spells, and
    mean_sd : array (p,), mm a heat
        its error.
    stray : float
        Heat-to-heat sd of a part's wear about the panel's and extra, as a share of it.
    spots : Spots
        What fell out at once.
    """

    extra: Float
    sd: Float
    back: Float
    mean: Float
    mean_sd: Float
    stray: float
    spots: Spots


def part_wear(
    series: WearSeries, state_of: Callable[[Occasion], PanelState]
) -> PartWear:
    """Follow every part of every panel through the spells.

    Parameters
    ----------
    series : WearSeries
    state_of : callable
        The survey of an occasion, panel by panel.
    """
    panel = list(series.pieces.of_kind("panel"))
    heats = np.array([one.heats for one in series.spells], dtype=np.float64)
    mean, square = series.wear[:, panel], series.variance[:, panel]
    lost, variance, burnt = _lost(series, state_of, len(panel))
    read = np.array([state_of(one.end).read for one in series.spells])
    away = lost - mean[:, :, None]
    own = np.maximum(variance - square[:, :, None], _LEAST * variance)
    told = np.isfinite(away)
    gone = np.sum(told * heats[:, None, None], axis=0)
    extra = _over(np.where(told, away, 0.0).sum(axis=0), gone)
    rate = _over(np.where(told, lost, 0.0).sum(axis=0), gone)
    off = away - extra * heats[:, None, None]
    error = _over(_scattered(off, own, heats), gone)
    stray = _stray(off, own, rate, heats)
    drawn, left = _drawn(extra, error)
    back = SHARE * np.where(told, burnt, 0.0).sum(axis=0) * told.sum(axis=0)
    known = np.isfinite(mean)
    over = (known * heats[:, None]).sum(axis=0)
    return PartWear(
        extra=drawn,
        sd=np.sqrt(left),
        back=np.minimum(np.sqrt(_over(back, gone**2)), _MISSED * _fastest(rate)),
        mean=_over(np.where(known, mean, 0.0).sum(axis=0), over),
        mean_sd=np.sqrt(_over(np.where(known, square, 0.0).sum(axis=0), over**2)),
        stray=stray,
        spots=spots_of(lost, read.reshape(mean.shape), heats),
    )


def _lost(
    series: WearSeries, state_of: Callable[[Occasion], PanelState], count: int
) -> tuple[Float, Float, Float]:
    """Wear of every part in every spell; (n, p, k).

    Returns
    -------
    lost : array, mm
    variance, burnt : array, mm2
        Of its error from both surveys, and from that before the repair alone.
    """
    shape = (len(series.spells), count, PARTS)
    lost, variance, burnt = (np.full(shape, np.nan) for _ in range(3))
    for i, spell in enumerate(series.spells):
        one, other = state_of(spell.start), state_of(spell.end)
        lost[i] = other.part - one.part
        burnt[i] = other.part_sd**2
        variance[i] = one.part_sd**2 + burnt[i]
    return lost, variance, burnt


def _over(summed: Float, amount: Float) -> Float:
    """Per heat; NaN where there were none."""
    empty = np.full(summed.shape, np.nan)
    return np.asarray(np.divide(summed, amount, out=empty, where=amount > 0.0))


def _fastest(rate: Float) -> float:
    """Mean wear of the level that wears fastest, mm a heat; not below zero."""
    level = rate.reshape(-1, HOURS * PARTS)
    told = np.isfinite(level)
    mean = np.where(told, level, 0.0).sum(axis=1) / np.maximum(told.sum(axis=1), 1)
    return max(float(mean.max(initial=0.0)), 0.0)


def _scattered(off: Float, variance: Float, heats: Float) -> Float:
    """Variance of one heat of the parts, seen from spell to spell; (p, k), mm2.

    Pooled over each level; where a level has one spell alone, what the surveys say.
    """
    told = np.isfinite(off)
    length = heats[:, None, None]
    shape = (-1, HOURS * PARTS)
    spare = np.maximum(told.sum(axis=0) - 1, 0).reshape(shape).sum(axis=1)
    square = np.where(told, np.nan_to_num(off) ** 2 / length, 0.0).sum(axis=0)
    said = np.where(told, variance / length, 0.0).sum(axis=0).reshape(shape).sum(axis=1)
    said = said / np.maximum(told.sum(axis=0).reshape(shape).sum(axis=1), 1)
    seen = square.reshape(shape).sum(axis=1) / np.maximum(spare, 1)
    by_level = np.where(spare > 0, seen, said)
    return np.repeat(by_level, HOURS).repeat(PARTS).reshape(off.shape[1:])


def _stray(off: Float, variance: Float, rate: Float, heats: Float) -> float:
    """Share of a heat's wear by which parts stray.

    Pooled over parts whose wear is clear of its errors.

    Parameters
    ----------
    off : array (n, p, k), mm
        Wear of parts less what is expected of it; NaN where not told.
    variance : array (n, p, k), mm2
        Of that from the surveys.
    rate : array (p, k), mm a heat
    heats : array (n,)
    """
    told = np.isfinite(off)
    times = told.sum(axis=0)
    length = heats[:, None, None]
    gone = (told * length).sum(axis=0)
    error = np.sqrt(np.where(told, variance, 0.0).sum(axis=0))
    use = (times > 1) & (np.nan_to_num(rate) * gone > _CLEAR * error)
    if not use.any():
        return 0.0
    freedom = times / np.maximum(times - 1, 1)
    square = np.where(told, np.nan_to_num(off) ** 2 * freedom - variance, 0.0)
    due = np.where(told, np.nan_to_num(rate) ** 2 * length, 0.0)
    part = square[:, use].sum() / max(float(due[:, use].sum()), 1e-12)
    return float(np.sqrt(max(float(part), 0.0)))


def _drawn(extra: Float, error: Float) -> tuple[Float, Float]:
    """Extras drawn towards those of the level at the same height, and variances."""
    shape = (-1, HOURS, UP, ACROSS)
    own, noise = extra.reshape(shape), error.reshape(shape)
    told = np.isfinite(own)
    weight = np.where(told, 1.0 / np.maximum(np.nan_to_num(noise), 1e-9), 0.0)
    whole = weight.sum(axis=(1, 3), keepdims=True)
    said = (weight * np.nan_to_num(own)).sum(axis=(1, 3), keepdims=True)
    said = np.divide(said, whole, out=np.zeros_like(said), where=whole > 0.0)
    between = _between(own - said, weight)
    of_said = np.divide(1.0, whole, out=np.zeros_like(whole), where=whole > 0.0)
    kept = np.where(
        told, between / np.maximum(between + np.nan_to_num(noise), 1e-12), 0
    )
    drawn = said + kept * np.nan_to_num(own - said)
    left = kept * np.nan_to_num(noise) + (1.0 - kept) ** 2 * of_said
    empty = ~told
    drawn[empty], left[empty] = np.nan, np.nan
    return drawn.reshape(extra.shape), left.reshape(extra.shape)


def _between(away: Float, weight: Float) -> Float:
    """Variance of extras about what is said of them, besides errors, level by level."""
    axes = (1, 2, 3)
    count = (weight > 0.0).sum(axis=axes, keepdims=True)
    # each height of parts has a mean of its own
    spare = np.maximum(count - UP, 0)
    left = (weight * np.nan_to_num(away) ** 2).sum(axis=axes, keepdims=True) - spare
    whole = weight.sum(axis=axes, keepdims=True)
    scale = whole - np.divide(
        (weight**2).sum(axis=axes, keepdims=True),
        whole,
        out=np.zeros_like(whole),
        where=whole > 0.0,
    )
    part = np.divide(left, scale, out=np.zeros_like(left), where=scale > 0.0)
    return np.asarray(np.maximum(part, 0.0))
