"""Rates of single panels, valid with the help of their level, its neighbours and sides.

Rates of single panels are noisy, and the greatest of two hundred noisy rates is too
great.  So every level is shrunk towards the straight line through those about it, and
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
from geom.record.assumptions import ASSUMED
from geom.record.forecast.variance_components import (
    VarianceComponents,
    variance_components,
)
from geom.record.regions import Regions
from geom.units import Bool, Float

#: From three standard deviations out a value is left more and more as it is, from four
#: altogether (limited translation, Efron and Morris 1972).
_FAR = 3.0


@dataclass(frozen=True)
class ShrunkRates:
    """Rates of p panels.

    Attributes
    ----------
    value : array (p,)
        NaN where neither the panel nor its level is known.
    """

    value: Float
    errors: VarianceComponents

    @property
    def shared(self) -> ShrunkRates:
        """Without what panels err by by themselves."""
        return replace(self, errors=replace(self.errors, own=0.0 * self.errors.own))


def shrink_rates(
    value: Float, sd: Float, regions: Regions, *, proportional: bool = True
) -> ShrunkRates:
    """Rates of panels shrunk towards what the wall about them says.

    Parameters
    ----------
    value, sd : array (s,)
        Of every piece; NaN where not known.
    proportional : bool
        Whether places differ by a share of the wear, levels near each other less; else
        all differ alike.

    Notes
    -----
    Level and side together say level * side / wall where the mean of the wall is
    clear of zero, else what the level says.
    """
    components = variance_components(sd, regions)
    panel = value[regions.of_kind("panel")]
    level, level_sd = _levels(value, components, regions, proportional)
    part, part_sd = np.ones(HOURS), np.zeros(HOURS)
    if proportional:
        part, part_sd = _sides(value, sd, components, regions)
    fitted = np.outer(level, part).ravel()
    side_sd = np.outer(np.abs(level), part_sd).ravel()
    own = components.own**2 + (0.0 if part_sd.any() else components.side**2)
    size = fitted if proportional else np.ones_like(fitted)
    # the fit of a panel holds a twelfth of the panel itself
    noise = own - components.own**2 / HOURS
    kept, between = _weights(panel - fitted, noise, own, size)
    left = np.where(np.isnan(panel), between, kept * own)
    return ShrunkRates(
        value=fitted + kept * np.nan_to_num(panel - fitted),
        errors=VarianceComponents(
            wall=components.wall,
            level=np.repeat(level_sd, HOURS),
            side=np.nan_to_num(side_sd),
            own=np.sqrt(np.nan_to_num(left)),
        ),
    )


def _levels(
    value: Float, components: VarianceComponents, regions: Regions, proportional: bool
) -> tuple[Float, Float]:
    """Levels shrunk towards the line through those about them, and their own sd."""
    level = value[regions.of_kind("level")]
    own = (
        (components.level**2 + components.own**2 / HOURS)
        .reshape(-1, HOURS)
        .mean(axis=1)
    )
    about = ASSUMED.levels_about if proportional else np.inf
    return _shrink(level, own, _lines(np.isfinite(level), about), proportional)


def _sides(
    value: Float, sd: Float, components: VarianceComponents, regions: Regions
) -> tuple[Float, Float]:
    """What part of the wall's wear each side has, and its sd; (HOURS,).

    All have the same, of no uncertainty, where the wall's is not clear of zero.
    """
    wall, wall_sd = (float(of[regions.of_kind("wall")[0]]) for of in (value, sd))
    if not wall > ASSUMED.clear_rate * wall_sd:
        return np.ones(HOURS), np.zeros(HOURS)
    side = value[regions.of_kind("side")]
    rows = components.own.size // HOURS
    own = (
        (components.side**2 + components.own**2 / rows).reshape(-1, HOURS).mean(axis=0)
    )
    shrunk, left = _shrink(
        side, own, _lines(np.isfinite(side), ASSUMED.levels_about, ring=True), True
    )
    part = np.where(np.isnan(shrunk), 1.0, shrunk / wall)
    return np.clip(part, ASSUMED.least_side, ASSUMED.greatest_side), left / wall


def _shrink(
    value: Float, own: Float, line: Float, proportional: bool
) -> tuple[Float, Float]:
    """Means shrunk towards the line through those about them, and their sd."""
    fitted = np.where(line.any(axis=1), line @ np.nan_to_num(value), value)
    size = fitted if proportional else np.ones_like(fitted)
    of_fitted = line**2 @ own
    kept, between = _weights(value - fitted, own + of_fitted, own, size, of_fitted)
    left = np.where(np.isnan(value), between + of_fitted, kept * own)
    return fitted + kept * np.nan_to_num(value - fitted), np.sqrt(np.nan_to_num(left))


def _lines(valid: Bool, about: float, *, ring: bool = False) -> Float:
    """Weights of means in the line through those about each, itself left out.

    Parameters
    ----------
    valid : bool array (n,)
    about : float
        How far about each, Gaussian; inf: the mean of all others.
    ring : bool
        Whether the last stands next to the first.
    """
    size = valid.size
    at = np.arange(size)
    weights = np.zeros((size, size))
    for i in range(size):
        distance = at - i
        if ring:
            distance = (distance + size // 2) % size - size // 2
        near = np.exp(-0.5 * (distance / about) ** 2) * (valid & (distance != 0))
        if np.count_nonzero(near) < 2:
            continue
        if not np.isfinite(about):
            weights[i] = near / near.sum()
            continue
        columns = np.stack([np.ones(size), distance])
        # row 0 of the normal equations: the line's value at the place itself
        weights[i] = np.linalg.solve((columns * near) @ columns.T, columns * near)[0]
    return weights


def _weights(
    deviation: Float,
    noise: Float,
    own: Float,
    size: Float,
    of_fitted: Float | float = 0.0,
) -> tuple[Float, Float]:
    """How much of a deviation is kept, and what true values differ by.

    Parameters
    ----------
    deviation : array (n,)
        Values less their fit; NaN where there is no value.
    noise : array (n,)
        Variance of that from errors alone.
    own : array (n,)
        Variances of the values.
    size : array (n,)
        What true values differ in proportion to.
    of_fitted : array (n,)
        Variance of the fit by itself.

    Returns
    -------
    kept : array (n,), 0 to 1
    between : array (n,)
        Variance of true values about the fit.
    """
    valid = np.isfinite(deviation) & np.isfinite(size)
    square = np.where(valid, np.nan_to_num(size), 0.0) ** 2
    extra = np.where(valid, np.nan_to_num(deviation) ** 2 - noise, 0.0)
    scale = float((square**2).sum())
    part = max(float((square * extra).sum()) / scale, 0.0) if scale > 0.0 else 0.0
    between = part * square
    whole = between + of_fitted + own
    kept = np.divide(
        between + of_fitted, whole, out=np.ones_like(whole), where=whole > 0.0
    )
    wide = np.sqrt(np.maximum(between + noise, 1e-30))
    out = np.clip(np.abs(np.nan_to_num(deviation)) / wide - _FAR, 0.0, 1.0)
    kept = kept + (1.0 - kept) * out
    return np.where(valid, kept, 0.0), between
