"""Past surveys laid over each other: their mean, and what they differ by.

References
----------
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed. CRC Press.  Section 2.6
(inverse chi-square prior of a variance) and 5.4 (normal hierarchy, shrinkage).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geom.readings import PastSurvey
from geom.surface.pattern import raised
from geom.units import Float

#: What is expected before any two surveys are compared, our own choices: how far the
#: melting zone rides up or down from heat to heat (mm), how much deeper or shallower
#: its ring is (share), how far places differ beside that (mm).
RIDE, SWELL, DIFFER = 20.0, 0.2, 5.0
#: How many surveys that expectation is worth.
WORTH = 4.0

#: The net the pattern is told on: rows at most this far apart, mm, and columns.
_ROW = 10.0
_COLUMNS = 120
#: Smoothing of the pattern, sd in mm: what is finer is of one heat, not of the furnace.
_BLUR = 40.0
#: Rides that are tried, mm.
RIDES = np.arange(-60.0, 60.5, 5.0)
#: Misfit of two rings of wear (mm) and the height over which it is much the same (mm).
_MISFIT, _ALIKE = 3.0, 200.0


def net_over(surveys: Sequence[PastSurvey]) -> Float:
    """Evenly spread heights over all that was surveyed, mm; shape (m,)."""
    low = min(float(survey.height[0]) for survey in surveys)
    high = max(float(survey.height[-1]) for survey in surveys)
    return np.linspace(low, high, 2 + int(np.ceil((high - low) / _ROW)))


def on_net(survey: PastSurvey, net: Float) -> tuple[Float, Float]:
    """Cut-back and its sd on the net; NaN where not surveyed; two arrays (m, k)."""
    inside = (net >= survey.height[0] - _ROW) & (net <= survey.height[-1] + _ROW)
    around = np.arange(_COLUMNS) * 360.0 / _COLUMNS
    fields = []
    for field in (survey.cutback, survey.cutback_sd):
        ringed = np.stack(
            [np.interp(around, survey.azimuth, row, period=360.0) for row in field]
        )
        told = np.stack([np.interp(net, survey.height, column) for column in ringed.T])
        fields.append(np.where(inside[:, None], told.T, np.nan))
    return fields[0], fields[1]


def shrunk(values: Float, expected: float) -> float:
    """A standard deviation from few values, shrunk towards the expected one.

    ``sqrt((WORTH * expected**2 + sum((v - mean)**2)) / (WORTH + n - 1))``; NaN is left
    out.
    """
    known = values[np.isfinite(values)]
    if known.size < 2:
        return expected
    scatter = float(np.sum((known - known.mean()) ** 2))
    weight = WORTH + known.size - 1
    return float(np.sqrt((WORTH * expected**2 + scatter) / weight))


def lay_over(value: Float, net: Float) -> Float:
    """How much higher than their mean each survey's ring of wear rides, mm; (n,).

    Each in turn is laid where its mean round the wall is most nearly a multiple of the
    mean of all, far moves being thought less likely.

    Parameters
    ----------
    value : array (n, m, k), mm
        NaN where not surveyed.
    net : array (m,), mm
    """
    rings = value.mean(axis=2)
    rides = np.zeros(len(rings))
    for _ in range(3 if len(rings) > 1 else 0):
        laid = [raised(ring, net, -up) for ring, up in zip(rings, rides, strict=True)]
        mean = _mean_where_known(np.stack(laid))
        rides = np.array([_best_ride(ring, mean, net) for ring in rings])
        rides -= rides.mean()
    return rides


def _best_ride(ring: Float, mean: Float, net: Float) -> float:
    costs = []
    for up in RIDES:
        model = raised(mean, net, float(up))
        known = np.isfinite(ring) & np.isfinite(model)
        own, like = ring[known], model[known]
        scale = float(own @ like) / max(float(like @ like), 1e-9)
        rows = max(1.0, known.mean() * (net[-1] - net[0]) / _ALIKE)
        misfit = float(np.mean((own - scale * like) ** 2)) if own.size else 0.0
        costs.append(rows * misfit / _MISFIT**2 + (up / RIDE) ** 2)
    return float(RIDES[int(np.argmin(costs))])


def _mean_where_known(value: Float) -> Float:
    """Mean over the first axis of what is not NaN; NaN where nothing is known."""
    known = np.isfinite(value)
    count = known.sum(axis=0)
    total = np.where(known, value, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def pooled(value: Float) -> float:
    """How much places differ between surveys, pooled over the wall and shrunk, mm."""
    count = np.isfinite(value).all(axis=2).sum(axis=0)
    both = count > 1
    if not both.any():
        return DIFFER
    off = value[:, both] - _mean_where_known(value)[both]
    scatter = np.nansum(off**2, axis=0) / np.maximum(count[both] - 1.0, 1.0)[:, None]
    free = float(count[both].mean() - 1.0)
    variance = (WORTH * DIFFER**2 + free * float(scatter.mean())) / (WORTH + free)
    return float(np.sqrt(variance))


def weighted(value: Float, sd: Float, differ: float) -> Float:
    """Mean of surveys by how well each knew a place, one at least everywhere; (m, k).

    Rows that no survey knew lie straight between their neighbours.
    """
    known = np.isfinite(value)
    weight = np.where(known, 1.0 / (np.where(known, sd, 0.0) ** 2 + differ**2), 0.0)
    total = (weight * np.where(known, value, 0.0)).sum(axis=0)
    mean = total / np.maximum(weight.sum(axis=0), 1e-12)
    rows = np.flatnonzero(np.all(known.any(axis=0), axis=1))
    every = np.arange(mean.shape[0])
    return np.stack(
        [np.interp(every, rows, mean[rows, k]) for k in range(mean.shape[1])], axis=1
    )


def depths(value: Float, mean: Float) -> Float:
    """How deep each survey's ring of wear is against the mean's; (n,)."""
    ring, found = mean.mean(axis=1), []
    for own in value.mean(axis=2):
        known = np.isfinite(own)
        size = float(ring[known] @ ring[known])
        found.append(float(own[known] @ ring[known]) / size if size > 0.0 else 1.0)
    return np.array(found)


def blurred(field: Float, net: Float, radius: float) -> Float:
    """Smoothed by a normal curve of `_BLUR` mm up and round the wall."""
    up = np.exp(-0.5 * ((net[:, None] - net[None, :]) / _BLUR) ** 2)
    turn = np.arange(_COLUMNS) * 360.0 / _COLUMNS
    gap = np.mod(turn[:, None] - turn[None, :] + 180.0, 360.0) - 180.0
    ring = np.exp(-0.5 * (np.deg2rad(gap) * radius / _BLUR) ** 2)
    up /= up.sum(axis=1, keepdims=True)
    ring /= ring.sum(axis=0, keepdims=True)
    return np.asarray(up @ field @ ring)
