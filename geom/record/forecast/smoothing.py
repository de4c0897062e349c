"""Rates of single panels, told with the help of their level, its neighbours and sides.

Rates of single panels are noisy, and the greatest of two hundred noisy rates is too
great.  So every level is drawn towards the straight line through those about it, and
every panel towards what its level and its side say, by as much as they do not differ
more than their errors let them (empirical Bayes).  What they differ by is taken to be a
share of the wear, the same all over the wall.  What lies so far out that chance does
not do it, one burnt-out place, is left as it is.

References
----------
Efron, B. and Morris, C. (1975). Data analysis using Stein's estimator and its
generalizations. J. Am. Stat. Assoc. 70, 311-319 (drawing many means together); (1972).
Limiting the risk of Bayes and empirical Bayes estimators, part II. J. Am. Stat. Assoc.
67, 130-139 (and not those far out).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geom.compare.panels import HOURS
from geom.record.forecast.variance_components import (
    VarianceComponents,
    variance_components,
)
from geom.record.regions import Regions
from geom.units import Bool, Float

#: A mean rate this many standard uncertainties from zero has sides told as parts of it.
_CLEAR = 3.0
#: Levels about a level that its line goes through: Gaussian, in levels.
_ABOUT = 1.5
#: From three standard deviations out a value is left more and more as it is, from four
#: altogether.
_FAR = 3.0
#: Parts of the wall's mean wear that a side has, at least and at most.
_LEAST, _MOST = 0.25, 4.0


@dataclass(frozen=True)
class ShrunkRates:
    """Rates of p panels.

    Attributes
    ----------
    value : array (p,)
        NaN where neither the panel nor its level is told.
    spread : Spread
    """

    value: Float
    spread: VarianceComponents

    @property
    def shared(self) -> ShrunkRates:
        """Without what panels err by by themselves."""
        return replace(self, spread=replace(self.spread, own=0.0 * self.spread.own))


def shrink_rates(
    value: Float, sd: Float, regions: Regions, *, by_share: bool = True
) -> ShrunkRates:
    """Rates of panels drawn towards what the wall about them says.

    Parameters
    ----------
    value, sd : array (s,)
        Of every piece; NaN where not told.
    pieces : Pieces
    by_share : bool
        Whether places differ by a share of the wear, levels near each other less; else
        all differ alike.

    Notes
    -----
    Level and side together say level * side / wall where the mean of the wall is
    clear of zero, else what the level says.
    """
    spread = variance_components(sd, regions)
    panel = value[list(regions.of_kind("panel"))]
    level, level_sd = _levels(value, spread, regions, by_share)
    part, part_sd = np.ones(HOURS), np.zeros(HOURS)
    if by_share:
        part, part_sd = _sides(value, sd, spread, regions)
    said = np.outer(level, part).ravel()
    side_sd = np.outer(np.abs(level), part_sd).ravel()
    own = spread.own**2 + (0.0 if part_sd.any() else spread.side**2)
    size = said if by_share else np.ones_like(said)
    # what is said of a panel holds a twelfth of the panel itself
    noise = own - spread.own**2 / HOURS
    kept, between = _kept(panel - said, noise, own, size)
    left = np.where(np.isnan(panel), between, kept * own)
    return ShrunkRates(
        value=said + kept * np.nan_to_num(panel - said),
        spread=VarianceComponents(
            wall=spread.wall,
            level=np.repeat(level_sd, HOURS),
            side=np.nan_to_num(side_sd),
            own=np.sqrt(np.nan_to_num(left)),
        ),
    )


def _levels(
    value: Float, spread: VarianceComponents, regions: Regions, by_share: bool
) -> tuple[Float, Float]:
    """Levels drawn towards the line through those about them, and their own sd."""
    level = value[list(regions.of_kind("level"))]
    own = (spread.level**2 + spread.own**2 / HOURS).reshape(-1, HOURS).mean(axis=1)
    about = _ABOUT if by_share else np.inf
    return _drawn(level, own, _lines(np.isfinite(level), about), by_share)


def _sides(
    value: Float, sd: Float, spread: VarianceComponents, regions: Regions
) -> tuple[Float, Float]:
    """What part of the wall's wear each side has, and its sd; (HOURS,).

    All have the same, of no uncertainty, where the wall's is not clear of zero.
    """
    wall, wall_sd = (float(of[regions.of_kind("wall")[0]]) for of in (value, sd))
    if not wall > _CLEAR * wall_sd:
        return np.ones(HOURS), np.zeros(HOURS)
    side = value[list(regions.of_kind("side"))]
    rows = spread.own.size // HOURS
    own = (spread.side**2 + spread.own**2 / rows).reshape(-1, HOURS).mean(axis=0)
    drawn, left = _drawn(side, own, _lines(np.isfinite(side), _ABOUT, ring=True), True)
    part = np.where(np.isnan(drawn), 1.0, drawn / wall)
    return np.clip(part, _LEAST, _MOST), left / wall


def _drawn(
    value: Float, own: Float, line: Float, by_share: bool
) -> tuple[Float, Float]:
    """Means drawn towards the line through those about them, and their sd."""
    said = np.where(line.any(axis=1), line @ np.nan_to_num(value), value)
    size = said if by_share else np.ones_like(said)
    beside = line**2 @ own
    kept, between = _kept(value - said, own + beside, own, size, beside)
    left = np.where(np.isnan(value), between + beside, kept * own)
    return said + kept * np.nan_to_num(value - said), np.sqrt(np.nan_to_num(left))


def _lines(told: Bool, about: float, *, ring: bool = False) -> Float:
    """Weights of means in the line through those about each, itself left out.

    Parameters
    ----------
    told : bool array (n,)
    about : float
        How far about each, Gaussian; inf: the mean of all others.
    ring : bool
        Whether the last stands beside the first.
    """
    size = told.size
    at = np.arange(size)
    weights = np.zeros((size, size))
    for i in range(size):
        away = at - i
        if ring:
            away = (away + size // 2) % size - size // 2
        near = np.exp(-0.5 * (away / about) ** 2) * (told & (away != 0))
        if np.count_nonzero(near) < 2:
            continue
        if not np.isfinite(about):
            weights[i] = near / near.sum()
            continue
        columns = np.stack([np.ones(size), away])
        weights[i] = np.linalg.solve((columns * near) @ columns.T, columns * near)[0]
    return weights


def _kept(
    away: Float, noise: Float, own: Float, size: Float, beside: Float | float = 0.0
) -> tuple[Float, Float]:
    """How much of what values lie away is kept, and what they truly differ by.

    Parameters
    ----------
    away : array (n,)
        Values less what is said of them; NaN where there is no value.
    noise : array (n,)
        Variance of that from errors alone.
    own : array (n,)
        Variances of the values.
    size : array (n,)
        What true values differ in proportion to.
    beside : array (n,)
        Variance of what is said of them by itself.

    Returns
    -------
    kept : array (n,), 0 to 1
    between : array (n,)
        Variance of true values about what is said of them.
    """
    told = np.isfinite(away) & np.isfinite(size)
    square = np.where(told, np.nan_to_num(size), 0.0) ** 2
    extra = np.where(told, np.nan_to_num(away) ** 2 - noise, 0.0)
    scale = float((square**2).sum())
    part = max(float((square * extra).sum()) / scale, 0.0) if scale > 0.0 else 0.0
    between = part * square
    whole = between + beside + own
    kept = np.divide(
        between + beside, whole, out=np.ones_like(whole), where=whole > 0.0
    )
    wide = np.sqrt(np.maximum(between + noise, 1e-30))
    out = np.clip(np.abs(np.nan_to_num(away)) / wide - _FAR, 0.0, 1.0)
    kept = kept + (1.0 - kept) * out
    return np.where(told, kept, 0.0), between
