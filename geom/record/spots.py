"""Spots that fall out: how often, and how deep, as the record shows.

Wear goes on evenly, heat by heat; a spot that falls out takes an inch at once.  What
every part of a panel lost in a spell is set against what it usually loses (the median
of its spells) times how hard that spell was on all of the wall (the median of its
parts).  Where a part is off on the deep side by more than `_FAR` robust standard
deviations of that spell, the panel lost a spot, unless it is off in the spell before or
after as well: that is a step.  A spot is deeper than it is read, since its bottom lies
between stations, and one in a panel that nothing was read in is not seen at all: such
panels were not watched.  In future heats every panel loses one as often as those that
were watched did, and as deep.  Before anything is seen a fifth of a spot is held, an
inch deep: few heats without one do not say that none will ever fall.

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

from geom.units import Bool, Float

#: Robust standard deviations that a spot is off by at least.  In whole campaigns on
#: invented walls (scripts/bench) 67 panels were found to have lost one where 33 spots,
#: each over one to two panels, had fallen out.  Our own choice, no source.
_FAR = 5.5
#: Share of its depth that a spot is read at, in the same trials: of 38 spots found, in
#: the mean 14.0 of 21.4 mm.
_READ = 0.65
#: Spots held beforehand.  With none, walls read at 48 stations passed sooner in 15 of
#: 100 cases; with a half, every wall of a short record was called to a stop.
_HELD = 0.2
#: Depth of a spot where none was seen, mm: an inch.  Common practice, no source.
_INCH = 25.4
#: Spells that a part must have for its usual wear.
_FEWEST = 3
#: How hard a spell can have been, at least and at most, of a usual one.
_HARD = 0.5, 2.0
#: Of normal values, their sd over their median absolute deviation.
_NORMAL = 1.4826


@dataclass(frozen=True)
class Spots:
    """Spots that fell out.

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
        """Heats until the next spot of a panel, inf where none falls, and its depth."""
        if not self.watched:
            return np.full(shape, np.inf), np.zeros(shape)
        depths = self.depths if self.depths.size else np.array([_INCH])
        often = rng.gamma(self.depths.size + _HELD, 1.0 / self.watched, shape[1])
        return rng.exponential(1.0 / often, shape), rng.choice(depths, size=shape)


def spots_of(lost: Float, read: Float, heats: Float) -> Spots:
    """Spots that a record shows.

    Parameters
    ----------
    lost : array (n, p, k), mm
        Wear of each part of each panel in each spell; NaN where not told.
    read : array (n, p), 0 or 1
        Whether anything was read in the panel at the end of the spell.
    heats : array (n,)
        Of each spell.
    """
    known = np.isfinite(lost).any(axis=2)
    watched = float((known * read * heats[:, None]).sum())
    usual, hard = _usual(lost, heats)
    beyond = lost - hard[:, None, None] * usual
    told = np.isfinite(beyond)
    deep = np.where(told, beyond, -np.inf)
    alone = _alone(np.any(deep > _FAR * _scale(beyond)[:, None, None], axis=2))
    found = deep.max(axis=2)[alone] / _READ
    return Spots(watched, found)


def _scale(beyond: Float) -> Float:
    """How far parts are off in each spell, survey errors and all; robust sd, (n,)."""
    flat = np.abs(beyond).reshape(len(beyond), -1)
    some = np.isfinite(flat).any(axis=1)
    scale = np.full(len(beyond), np.inf)
    scale[some] = _NORMAL * np.nanmedian(flat[some], axis=1)
    return scale


def _alone(out: Bool) -> Bool:
    """Spells of a panel that are out while those before and after are not; (n, p)."""
    beside = np.pad(out, ((1, 1), (0, 0)))
    return np.asarray(out & ~beside[:-2] & ~beside[2:])


def _usual(lost: Float, heats: Float) -> tuple[Float, Float]:
    """What parts usually lose in a heat, mm, and how many such heats spells were.

    Returns
    -------
    usual : array (p, k)
        NaN where too few spells tell.
    hard : array (n,)
    """
    rate = lost / heats[:, None, None]
    usual, hard = np.full(rate.shape[1:], np.nan), np.ones(heats.size)
    enough = np.isfinite(rate).sum(axis=0) >= _FEWEST
    if enough.any():
        usual[enough] = np.nanmedian(rate[:, enough], axis=0)
        worn = enough & (usual > max(float(np.nanmedian(usual)), 0.0))
        some = np.isfinite(rate[:, worn]).any(axis=1)
        if some.any():
            part = np.nanmedian(rate[some][:, worn] / usual[worn], axis=1)
            hard[some] = np.clip(part, *_HARD)
    return usual, hard * heats
