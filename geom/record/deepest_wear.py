"""How much faster the deepest place of a panel wears than its mean.

Limits count at the deepest place, rates are best known of means.  So what the deepest
place of a panel lost in a spell is set against what its mean lost in the same:

    ratio = sum of (deepest at the end - deepest at the start) / sum of mean wear,

over the spells that both surveys tell.  The deepest place need not be the same one at
both ends: what is followed is how deep the deepest is, wherever.  A panel's own ratio
is noisy, most of all where little wore, and is drawn towards its level's, and that
towards the whole wall's, by as much as they do not differ more than their errors let
them.  What the deepest place strays from ratio times mean, from spell to spell and
beyond the surveys' errors, is told as a share of the wear.

References
----------
DerSimonian, R. and Laird, N. (1986). Meta-analysis in clinical trials. Controlled Clin.
Trials 7, 177-188, eq. 8 (how much values differ besides their errors).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS, PanelState
from geom.record.occasion import Occasion
from geom.record.series import WearSeries
from geom.units import Float

#: What is held of a ratio before any survey, and how surely (sd): our own choice, no
#: source.  Two or three spells of a worn panel outweigh it.
_BEFORE, _BEFORE_SD = 1.2, 0.3
#: Standard uncertainties of its error that wear must come to for that.
_CLEAR = 5.0


@dataclass(frozen=True)
class DeepestWear:
    """Wear of the deepest place over wear of the mean; p panels.

    Attributes
    ----------
    ratio, sd : array (p,)
    stray : float
        Heat-to-heat sd of the deepest place's wear about ratio times mean, as a share
        of the mean wear.
    """

    ratio: Float
    sd: Float
    stray: float

    def draws(self, rng: np.random.Generator, count: int) -> Float:
        """Draws of the ratios, not below zero; (p, count)."""
        chance = rng.standard_normal((self.sd.size, count))
        return np.maximum(self.ratio[:, None] + self.sd[:, None] * chance, 0.0)


def deepest_wear(
    series: WearSeries, state_of: Callable[[Occasion], PanelState]
) -> DeepestWear:
    """Follow the deepest place of every panel through the spells.

    Parameters
    ----------
    series : WearSeries
    state_of : callable
        The survey of an occasion, panel by panel.
    """
    count = len(series.pieces.of_kind("panel"))
    heats = np.array([one.heats for one in series.spells], dtype=np.float64)
    mean, gained, variance = _told(series, state_of, count)
    panel = list(series.pieces.of_kind("panel"))
    clear = np.sqrt(np.nansum(series.variance[:, panel], axis=0)) * _CLEAR
    stray = _stray(mean, gained, variance, heats, clear)
    worn = np.nansum(mean, axis=0)
    errors = np.nansum(variance, axis=0)
    strays = stray**2 * np.nansum(mean**2 / np.maximum(heats, 1.0)[:, None], axis=0)
    return _drawn(worn, np.nansum(gained, axis=0), errors + strays, stray)


def _told(
    series: WearSeries, state_of: Callable[[Occasion], PanelState], count: int
) -> tuple[Float, Float, Float]:
    """Wear of mean and deepest place and the variance of what they differ by; (n, p).

    Errors of one place and of the mean over its panel hang together: averaged over
    places, their covariance is the mean's own variance.  NaN where not told.
    """
    panel = list(series.pieces.of_kind("panel"))
    shape = (len(series.spells), count)
    gained, variance = np.full(shape, np.nan), np.full(shape, np.nan)
    for i, spell in enumerate(series.spells):
        one, other = state_of(spell.start), state_of(spell.end)
        gained[i] = other.deepest - one.deepest
        square = one.deepest_sd**2 + other.deepest_sd**2
        variance[i] = np.maximum(square - series.variance[i, panel], 0.05 * square)
    told = np.isfinite(gained) & np.isfinite(series.wear[:, panel])
    parts = series.wear[:, panel], gained, variance
    mean, gained, variance = (np.where(told, part, np.nan) for part in parts)
    return mean, gained, variance


def _stray(
    mean: Float, gained: Float, variance: Float, heats: Float, clear: Float
) -> float:
    """Share of a heat's mean wear by which the deepest place strays.

    Pooled over panels whose wear is clear of its errors.
    """
    told = np.isfinite(mean)
    times = told.sum(axis=0)
    worn = np.nansum(mean, axis=0)
    ratio = np.divide(
        np.nansum(gained, axis=0), worn, out=np.ones_like(worn), where=worn > 0.0
    )
    use = told & (times > 1) & (worn > clear)
    if not use.any():
        return 0.0
    freedom = (times / np.maximum(times - 1, 1))[None, :]
    square = (gained - ratio * mean) ** 2 * freedom - variance
    length = np.maximum(heats, 1.0)[:, None]
    scale = float((mean**2 / length)[use].sum())
    return float(np.sqrt(max(float(square[use].sum()) / scale, 0.0)))


def _drawn(worn: Float, gained: Float, variance: Float, stray: float) -> DeepestWear:
    """Ratios of panels drawn to their level's, and those to the wall's."""
    table = [part.reshape(-1, HOURS) for part in (worn, gained, variance)]
    lost, deeper, square = (part.sum(axis=1) for part in table)
    wall, wall_variance = _weighed(
        np.array([lost.sum()]),
        np.array([deeper.sum()]),
        np.array([square.sum()]),
        np.array([_BEFORE]),
        _BEFORE_SD**2,
    )
    spread = _between(lost, deeper, square, np.full(lost.shape, wall))
    row, row_variance = _weighed(lost, deeper, square, wall, spread + wall_variance)
    said = np.repeat(row, HOURS)
    spread = _between(worn, gained, variance, said)
    ratio, own = _weighed(
        worn, gained, variance, said, spread + np.repeat(row_variance, HOURS)
    )
    return DeepestWear(ratio, np.sqrt(own), stray)


def _weighed(
    worn: Float, gained: Float, variance: Float, said: Float, spread: Float | float
) -> tuple[Float, Float]:
    """Ratios and their variances, what was held before taken in."""
    told = np.divide(worn**2, variance, out=np.zeros_like(worn), where=variance > 0.0)
    before = 1.0 / np.maximum(spread, 1e-6)
    own = np.divide(gained, worn, out=np.zeros_like(worn), where=worn != 0.0)
    both = told + before
    return (told * own + before * said) / both, 1.0 / both


def _between(worn: Float, gained: Float, variance: Float, said: Float) -> float:
    """Variance of ratios about what is said of them, besides their errors."""
    use = (worn > 0.0) & (variance > 0.0)
    weight = worn[use] ** 2 / variance[use]
    if weight.size < 2:
        return _BEFORE_SD**2
    away = gained[use] / worn[use] - said[use]
    left = float((weight * away**2).sum()) - (weight.size - 1)
    scale = float(weight.sum() - (weight**2).sum() / weight.sum())
    return max(left / scale, 0.0) if scale > 0.0 else 0.0
