"""Wear of invented campaigns, spell by spell, many at once, with the true rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.wear.survey_errors import SpellWear
from geom.units import Float, Int


@dataclass(frozen=True)
class Draws:
    """Campaigns drawn alike; each is a kind of its own, of so many ``regions``.

    Attributes
    ----------
    spells, regions, campaigns : int
    scatter : float, mm
        Of a heat's wear.
    together : float
        Share of its variance that all pieces of a campaign have in common.
    survey : float, mm2
        Variance of each survey's error.
    share : float
        Correlation of the errors of surveys of the worn wall.
    shared : bool
        Whether most spells start with the survey that ended the one before.
    lopsided : bool
        Whether scatter is skewed (gamma of shape 4: skewness 1).
    out_of_line : float
        Share of the pieces that have one spell six standard deviations out.
    with_rate : bool
        Whether rates differ widely and scatter is in proportion.
    """

    spells: int
    regions: int = 1
    campaigns: int = 800
    scatter: float = 1.0
    together: float = 0.5
    survey: float = 0.02
    share: float = ASSUMED.systematic_share
    shared: bool = False
    lopsided: bool = False
    out_of_line: float = 0.0
    with_rate: bool = False


def drawn(how: Draws, *, seed: int) -> tuple[SpellWear, Int, Float]:
    """Wear, kinds and true rates of the pieces of all campaigns."""
    rng = np.random.default_rng(seed)
    n, s = how.spells, how.regions * how.campaigns
    kind = np.repeat(np.arange(how.campaigns), how.regions)
    rate = rng.gamma(2.0, 2.5, s) if how.with_rate else rng.normal(5.0, 0.5, s)
    own = how.scatter * (rate / 5.0 if how.with_rate else np.ones(s))
    heat = np.sqrt(how.together) * _chance(rng, how, (n, how.campaigns))[:, kind]
    heat = heat + np.sqrt(1.0 - how.together) * _chance(rng, how, (n, s))
    wear = rate + own * heat
    bad = np.flatnonzero(rng.random(s) < how.out_of_line)
    wear[rng.integers(0, n, bad.size), bad] += 6.0 * np.hypot(
        own[bad], np.sqrt(2.0 * how.survey)
    )
    sd = np.sqrt(how.survey)
    start = sd * rng.normal(size=(n, s))
    again, once = rng.normal(size=s), rng.normal(size=(n, s))
    end = sd * (np.sqrt(how.share) * again + np.sqrt(1.0 - how.share) * once)
    follows = np.zeros(n, dtype=np.bool_)
    if how.shared:
        follows[1:] = np.arange(1, n) % 3 > 0
        start[1:][follows[1:]] = end[:-1][follows[1:]]
    variance = np.full((n, s), how.survey)
    heats = np.ones(n)
    total = np.arange(n) + 0.5
    seen = SpellWear(
        wear + end - start,
        heats,
        total,
        follows,
        variance,
        variance,
        heats,
        ("side",) * s,
    )
    return seen, kind, rate


def _chance(rng: np.random.Generator, how: Draws, shape: tuple[int, int]) -> Float:
    """Of mean 0 and variance 1."""
    if how.lopsided:
        return (rng.gamma(4.0, 1.0, shape) - 4.0) / 2.0
    return rng.normal(size=shape)


def holds(told: tuple[Quantity | None, ...], true: Float) -> float:
    """Share of the intervals that hold the truth; all must be told."""
    low, high = (
        np.array([getattr(q, end) for q in told]) for end in ("low95", "high95")
    )
    assert np.isfinite(low).all()
    return float(np.mean((low < true) & (true < high)))
