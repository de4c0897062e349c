"""How parts of a panel wear beyond its mean, evenly and at once.

Limits count at the deepest place, rates are best known of means.  A limit is passed
where the wall is deep and where it wears fast, which need not be one place.  So every
part of a panel is followed where it stands: what it loses in a heat beyond the panel's
mean is

    extra = sum over spells of (wear of the part - wear of the panel) / heats.

A part's own is noisy, as noisy as spells differ, and is shrunk towards that of all
parts of the level at the same height, since a ring burns all round, by as much as they
do not differ more than their errors let them.  What parts stray from that from heat to
heat, beyond the surveys' errors, is a share of their wear.

What lies between the stations is not seen in any heat, if the stations are the same:
the share of a survey's variance that repeats every heat does not average out.  It is
part of what wears, and so no more than a part of what the fastest level wears.

Wear goes on evenly, heat by heat; spalling takes an inch at once.  What every part of a
panel lost in a spell is set against what it usually loses (the median of its spells)
times how hard that spell was on all of the wall (the median of its parts).  Where a
part is off on the deep side by more than `spall_limit` robust standard deviations of
that spell, the panel spalled, unless it is off in the spell before or after as well:
that is a step.  A spall is deeper than it is read, since its bottom lies between
stations, and one in a panel that nothing was read in is not seen at all: such panels
were not watched.  In future heats every panel spalls as often as those that were
watched did, and as deep: a compound Poisson process.  Before anything is seen a fifth
of an event is held, an inch deep: few heats without one do not say that none will fall.
Only the end of an interval that must not come too late counts them: a panel may be
spared as well.

References
----------
DerSimonian, R. and Laird, N. (1986). Meta-analysis in clinical trials. Controlled Clin.
Trials 7, 177-188, eq. 8 (how much values differ besides their errors).
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed., section 2.6 (how often, from
how many were counted, part of an event being held beforehand).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import ACROSS, HOURS, PARTS, UP, PanelState
from geom.record.assumptions import ASSUMED
from geom.record.store.occasion import Occasion
from geom.record.wear.series import WearSeries
from geom.units import Bool, Float

#: Of normal values, their sd over their median absolute deviation.
_MAD_TO_SD = 1.4826


@dataclass(frozen=True)
class Spalling:
    """Spalling that a record shows.

    Attributes
    ----------
    watched : float
        Heats times panels that something was read in.
    depths : array (n,), mm
        How deep they were.
    """

    watched: float
    depths: Float

    def draws(
        self, rng: np.random.Generator, shape: tuple[int, int]
    ) -> tuple[Float, Float]:
        """Heats until a panel's next spall, inf where there is none, and its depth."""
        if not self.watched:
            return np.full(shape, np.inf), np.zeros(shape)
        depths = self.depths if self.depths.size else np.array([ASSUMED.spall_depth])
        intensity = rng.gamma(
            self.depths.size + ASSUMED.spalls_before, 1.0 / self.watched, shape[1]
        )
        return rng.exponential(1.0 / intensity, shape), rng.choice(depths, size=shape)


def find_spalls(lost: Float, read: Float, heats: Float) -> Spalling:
    """Find the spalls of a record.

    Parameters
    ----------
    lost : array (n, p, k), mm
        Wear of each part of each panel in each spell; NaN where not known.
    read : array (n, p), 0 or 1
        Whether anything was read in the panel at the end of the spell.
    heats : array (n,)
        Of each spell.
    """
    known = np.isfinite(lost).any(axis=2)
    watched = float((known * read * heats[:, None]).sum())
    usual, severity = _usual(lost, heats)
    beyond = lost - severity[:, None, None] * usual
    deep = np.where(np.isfinite(beyond), beyond, -np.inf)
    isolated = _isolated(
        np.any(deep > ASSUMED.spall_limit * _scale(beyond)[:, None, None], axis=2)
    )
    found = deep.max(axis=2)[isolated] / ASSUMED.spall_read
    return Spalling(watched, found)


def _scale(beyond: Float) -> Float:
    """How far parts are off in each spell, survey errors and all; robust sd, (n,)."""
    flat = np.abs(beyond).reshape(len(beyond), -1)
    some = np.isfinite(flat).any(axis=1)
    scale = np.full(len(beyond), np.inf)
    scale[some] = _MAD_TO_SD * np.nanmedian(flat[some], axis=1)
    return scale


def _isolated(out: Bool) -> Bool:
    """Spells of a panel that are out while those before and after are not; (n, p)."""
    padded = np.pad(out, ((1, 1), (0, 0)))
    return np.asarray(out & ~padded[:-2] & ~padded[2:])


def _usual(lost: Float, heats: Float) -> tuple[Float, Float]:
    """What parts usually lose in a heat, mm, and how many such heats each spell was.

    Returns
    -------
    usual : array (p, k)
        NaN where too few spells tell.
    severity : array (n,)
    """
    rate = lost / heats[:, None, None]
    usual, severity = np.full(rate.shape[1:], np.nan), np.ones(heats.size)
    enough = np.isfinite(rate).sum(axis=0) >= ASSUMED.part_spells
    if enough.any():
        usual[enough] = np.nanmedian(rate[:, enough], axis=0)
        worn = enough & (usual > max(float(np.nanmedian(usual)), 0.0))
        some = np.isfinite(rate[:, worn]).any(axis=1)
        if some.any():
            part = np.nanmedian(rate[some][:, worn] / usual[worn], axis=1)
            severity[some] = np.clip(part, *ASSUMED.spell_severity)
    return usual, severity * heats


@dataclass(frozen=True)
class SubpanelWear:
    """Wear of parts beyond that of their panel; p panels, k parts of each.

    Attributes
    ----------
    extra, sd : array (p, k), mm a heat
        And its error from what differs from spell to spell; NaN where a part is not
        known.
    systematic : array (p, k), mm a heat
        Standard uncertainty by what repeats every heat.
    mean : array (p,), mm a heat
        Mean wear of the panels in the same spells, and
    mean_sd : array (p,), mm a heat
        its error.
    stray : float
        Heat-to-heat sd of a part's wear about the panel's and extra, as a share of it.
    spalls : Spalling
        What fell out at once.
    """

    extra: Float
    sd: Float
    systematic: Float
    mean: Float
    mean_sd: Float
    stray: float
    spalls: Spalling


def subpanel_wear(
    series: WearSeries, state_of: Callable[[Occasion], PanelState]
) -> SubpanelWear:
    """Follow every part of every panel through the spells.

    Parameters
    ----------
    state_of : callable
        The survey of an occasion, panel by panel.
    """
    panel = series.regions.of_kind("panel")
    heats = np.array([spell.heats for spell in series.spells], dtype=np.float64)
    mean, square = series.wear[:, panel], series.variance[:, panel]
    lost, variance, end_variance = _lost(series, state_of, len(panel))
    read = np.array([state_of(spell.end).read for spell in series.spells])
    difference = lost - mean[:, :, None]
    own = np.maximum(variance - square[:, :, None], ASSUMED.least_own_share * variance)
    valid = np.isfinite(difference)
    gone = np.sum(valid * heats[:, None, None], axis=0)
    extra = _over(np.where(valid, difference, 0.0).sum(axis=0), gone)
    rate = _over(np.where(valid, lost, 0.0).sum(axis=0), gone)
    off = difference - extra * heats[:, None, None]
    error = _over(_heat_variance(off, own, heats), gone)
    stray = _stray(off, own, rate, heats)
    shrunk, left = _shrink(extra, error)
    repeating = np.where(valid, end_variance, 0.0).sum(axis=0)
    systematic = ASSUMED.systematic_share * repeating * valid.sum(axis=0)
    known = np.isfinite(mean)
    over = (known * heats[:, None]).sum(axis=0)
    return SubpanelWear(
        extra=shrunk,
        sd=np.sqrt(left),
        systematic=np.minimum(
            np.sqrt(_over(systematic, gone**2)), ASSUMED.missed_share * _fastest(rate)
        ),
        mean=_over(np.where(known, mean, 0.0).sum(axis=0), over),
        mean_sd=np.sqrt(_over(np.where(known, square, 0.0).sum(axis=0), over**2)),
        stray=stray,
        spalls=find_spalls(lost, read.reshape(mean.shape), heats),
    )


def _lost(
    series: WearSeries, state_of: Callable[[Occasion], PanelState], count: int
) -> tuple[Float, Float, Float]:
    """Wear of every part in every spell; (n, p, k).

    Returns
    -------
    lost : array, mm
    variance, end_variance : array, mm2
        Of its error from both surveys, and from that before the repair alone.
    """
    shape = (len(series.spells), count, PARTS)
    lost, variance, end_variance = (np.full(shape, np.nan) for _ in range(3))
    for i, spell in enumerate(series.spells):
        start, end = state_of(spell.start), state_of(spell.end)
        lost[i] = end.part - start.part
        end_variance[i] = end.part_sd**2
        variance[i] = start.part_sd**2 + end_variance[i]
    return lost, variance, end_variance


def _over(summed: Float, amount: Float) -> Float:
    """Per heat; NaN where there were none."""
    empty = np.full(summed.shape, np.nan)
    return np.asarray(np.divide(summed, amount, out=empty, where=amount > 0.0))


def _fastest(rate: Float) -> float:
    """Mean wear of the level that wears fastest, mm a heat; not below zero."""
    level = rate.reshape(-1, HOURS * PARTS)
    valid = np.isfinite(level)
    mean = np.where(valid, level, 0.0).sum(axis=1) / np.maximum(valid.sum(axis=1), 1)
    return max(float(mean.max(initial=0.0)), 0.0)


def _heat_variance(off: Float, variance: Float, heats: Float) -> Float:
    """Variance of one heat of the parts, seen from spell to spell; (p, k), mm2.

    Pooled over each level; where a level has one spell alone, what the surveys say.
    """
    valid = np.isfinite(off)
    length = heats[:, None, None]
    shape = (-1, HOURS * PARTS)
    spare = np.maximum(valid.sum(axis=0) - 1, 0).reshape(shape).sum(axis=1)
    square = np.where(valid, np.nan_to_num(off) ** 2 / length, 0.0).sum(axis=0)
    level_mean = (
        np.where(valid, variance / length, 0.0).sum(axis=0).reshape(shape).sum(axis=1)
    )
    level_mean = level_mean / np.maximum(
        valid.sum(axis=0).reshape(shape).sum(axis=1), 1
    )
    seen = square.reshape(shape).sum(axis=1) / np.maximum(spare, 1)
    by_level = np.where(spare > 0, seen, level_mean)
    return np.repeat(by_level, HOURS).repeat(PARTS).reshape(off.shape[1:])


def _stray(off: Float, variance: Float, rate: Float, heats: Float) -> float:
    """Share of a heat's wear by which parts stray.

    Pooled over parts whose wear is clear of its errors.

    Parameters
    ----------
    off : array (n, p, k), mm
        Wear of parts less what is expected of it; NaN where not known.
    variance : array (n, p, k), mm2
        Of that from the surveys.
    rate : array (p, k), mm a heat
    heats : array (n,)
    """
    valid = np.isfinite(off)
    times = valid.sum(axis=0)
    length = heats[:, None, None]
    gone = (valid * length).sum(axis=0)
    error = np.sqrt(np.where(valid, variance, 0.0).sum(axis=0))
    use = (times > 1) & (np.nan_to_num(rate) * gone > ASSUMED.clear_wear * error)
    if not use.any():
        return 0.0
    freedom = times / np.maximum(times - 1, 1)
    square = np.where(valid, np.nan_to_num(off) ** 2 * freedom - variance, 0.0)
    due = np.where(valid, np.nan_to_num(rate) ** 2 * length, 0.0)
    part = square[:, use].sum() / max(float(due[:, use].sum()), 1e-12)
    return float(np.sqrt(max(float(part), 0.0)))


def _shrink(extra: Float, error: Float) -> tuple[Float, Float]:
    """Extras shrunk towards those of the level at the same height, and variances."""
    shape = (-1, HOURS, UP, ACROSS)
    own, noise = extra.reshape(shape), error.reshape(shape)
    valid = np.isfinite(own)
    weight = np.where(valid, 1.0 / np.maximum(np.nan_to_num(noise), 1e-9), 0.0)
    whole = weight.sum(axis=(1, 3), keepdims=True)
    level_mean = (weight * np.nan_to_num(own)).sum(axis=(1, 3), keepdims=True)
    level_mean = np.divide(
        level_mean, whole, out=np.zeros_like(level_mean), where=whole > 0.0
    )
    between = _between(own - level_mean, weight)
    level_variance = np.divide(1.0, whole, out=np.zeros_like(whole), where=whole > 0.0)
    kept = np.where(
        valid, between / np.maximum(between + np.nan_to_num(noise), 1e-12), 0
    )
    shrunk = level_mean + kept * np.nan_to_num(own - level_mean)
    left = kept * np.nan_to_num(noise) + (1.0 - kept) ** 2 * level_variance
    empty = ~valid
    shrunk[empty], left[empty] = np.nan, np.nan
    return shrunk.reshape(extra.shape), left.reshape(extra.shape)


def _between(difference: Float, weight: Float) -> Float:
    """Variance of extras about their level mean, besides errors, level by level."""
    axes = (1, 2, 3)
    count = (weight > 0.0).sum(axis=axes, keepdims=True)
    # each height of parts has a mean of its own
    spare = np.maximum(count - UP, 0)
    left = (weight * np.nan_to_num(difference) ** 2).sum(
        axis=axes, keepdims=True
    ) - spare
    whole = weight.sum(axis=axes, keepdims=True)
    scale = whole - np.divide(
        (weight**2).sum(axis=axes, keepdims=True),
        whole,
        out=np.zeros_like(whole),
        where=whole > 0.0,
    )
    part = np.divide(left, scale, out=np.zeros_like(left), where=scale > 0.0)
    return np.asarray(np.maximum(part, 0.0))
