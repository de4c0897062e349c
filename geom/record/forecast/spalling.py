"""Spalling: spots that fall out at once, how often and how deep the record shows.

Wear goes on evenly, heat by heat; a spall takes an inch at once.  What every part of a
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
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed., section 2.6 (how often, from
how many were counted, part of an event being held beforehand).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.assumptions import ASSUMED
from geom.units import Bool, Float

#: Spells that a part must have for its usual wear.
_MIN_SPELLS = 3
#: How hard a spell can have been, at least and at most, of a usual one.
_SEVERITY = 0.5, 2.0
#: Of normal values, their sd over their median absolute deviation.
_MAD_TO_SD = 1.4826


@dataclass(frozen=True)
class Spalls:
    """Spalls that a record shows.

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


def find_spalls(lost: Float, read: Float, heats: Float) -> Spalls:
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
    return Spalls(watched, found)


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
    enough = np.isfinite(rate).sum(axis=0) >= _MIN_SPELLS
    if enough.any():
        usual[enough] = np.nanmedian(rate[:, enough], axis=0)
        worn = enough & (usual > max(float(np.nanmedian(usual)), 0.0))
        some = np.isfinite(rate[:, worn]).any(axis=1)
        if some.any():
            part = np.nanmedian(rate[some][:, worn] / usual[worn], axis=1)
            severity[some] = np.clip(part, *_SEVERITY)
    return usual, severity * heats
