"""Fits that one observation out of line cannot drag along.

Huber's M-estimate: what lies within 1.345 standard deviations of the fit pulls as in
least squares, what lies beyond pulls no harder than from there.  The scale is found
along with the fit, by Huber's proposal 2: with three observations or fewer to one
unknown nothing is ever out of line, because there is nothing to tell it by.

Observations are then **pulled in** to where least squares finds the same fit, so that
whatever is built on least squares can go on from there.

References
----------
Huber (1964), Robust estimation of a location parameter, Ann. Math. Statist. 35, 73-101:
proposal 2.
Huber (1981), Robust Statistics, sections 7.6 (covariance, equation 6.6, with the factor
K) and 7.8 (modified residuals).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from geom.units import Bool, Float, Int

#: From here on an observation pulls no harder, in standard deviations: 95 % of the
#: efficiency of least squares where errors are normal (Huber 1981).
TUNING = 1.345

#: 75 % point of the normal distribution: the median of absolute deviations over the
#: standard deviation.
_QUARTILE = 0.6744897501960817
_ROUNDS, _EXACT, _LEAST = 200, 1e-11, 1e-300

Scale = Literal["proposal 2", "median"]


@dataclass(frozen=True)
class RobustFit:
    """Robust fits to s series of n observations with p unknowns.

    Attributes
    ----------
    unknowns : array (p, s)
    scale : array (s,)
        Standard deviation of a whitened observation.
    weight : array (n, s)
        How much each observation counts, 0 to 1; 0 where not told.
    pulled : array (n, s)
        Observations pulled in: least squares on them finds ``unknowns``.
    loss : array (s,)
        By what to multiply the variance that least squares finds from ``pulled``
        because some were pulled in (Huber's K squared); 1 where none was.
    covariance : array (s, p, p)
        Of the unknowns, from the scatter.
    """

    unknowns: Float
    scale: Float
    weight: Float
    pulled: Float
    loss: Float
    covariance: Float


def robust_fit(
    columns: Float, y: Float, told: Bool, *, scale: Scale | Float = "proposal 2"
) -> RobustFit:
    """Huber's M-estimate on whitened observations.

    Parameters
    ----------
    columns : array (p, n, s)
        What each unknown does to each observation, whitened.
    y : array (n, s)
        Observations, whitened.
    told : bool array (n, s)
        Which of them there are.
    scale : {'proposal 2', 'median'} or array (s,)
        How the scale is found, or the scale.
    """
    columns, y = np.where(told, columns, 0.0), np.where(told, y, 0.0)
    unknowns = _least_squares(columns, y, told.astype(np.float64))
    left = y - _on_line(columns, unknowns)
    spread = np.full(y.shape[1], np.nan)
    going = np.arange(y.shape[1])
    for _ in range(_ROUNDS):
        some, its, away = columns[:, :, going], told[:, going], left[:, going]
        if isinstance(scale, str):
            spread[going] = _scale(away, its, len(columns), scale)
        else:
            spread[going] = scale[going]
        better = _least_squares(some, y[:, going], _weights(away, spread[going], its))
        left[:, going] = y[:, going] - _on_line(some, better)
        unknowns[:, going] = better
        moved = np.abs(left[:, going] - away).max(axis=0, initial=0.0)
        going = going[moved > _EXACT * spread[going]]
        if going.size == 0:
            break
    weight = _weights(left, spread, told)
    count = np.maximum(told.sum(axis=0), 1.0)
    within = np.maximum(np.sum(told & (weight >= 1.0), axis=0), 1.0) / count
    pulled = weight * left / within
    loss = (1.0 + len(columns) / count * (1.0 - within) / within) ** 2
    return RobustFit(
        unknowns=unknowns,
        scale=spread,
        weight=weight,
        pulled=_on_line(columns, unknowns) + pulled,
        loss=loss,
        covariance=_covariance(columns, pulled, loss, told),
    )


def _covariance(columns: Float, pulled: Float, loss: Float, told: Bool) -> Float:
    """Of the unknowns, from what is left of the observations pulled in."""
    freedom = told.sum(axis=0) - float(len(columns))
    square = loss * np.sum(pulled**2, axis=0)
    unit = np.full_like(square, np.nan)
    np.divide(square, freedom, out=unit, where=freedom > 0.0)
    normal = np.einsum("pns,qns->spq", columns, columns)
    return np.asarray(unit[:, None, None] * _inverse(normal))


def _on_line(columns: Float, unknowns: Float) -> Float:
    return np.asarray(np.einsum("pns,ps->ns", columns, unknowns))


def _weights(left: Float, spread: Float, told: Bool) -> Float:
    far = np.abs(left) / np.maximum(np.nan_to_num(spread), _LEAST)
    far = np.where(np.isfinite(spread), far, 0.0)
    return np.where(told, TUNING / np.maximum(far, TUNING), 0.0)


def _scale(left: Float, told: Bool, p: int, how: Scale) -> Float:
    """Standard deviation of what is left over; NaN where that does not tell; (s,)."""
    count = told.sum(axis=0)
    away = np.sort(np.where(told, np.abs(left), np.inf), axis=0)
    if how == "median":
        middle = np.stack([(count - 1) // 2, count // 2]).clip(0)
        return np.asarray(np.take_along_axis(away, middle, 0).mean(axis=0) / _QUARTILE)
    return _proposal_2(np.where(np.isfinite(away), away, 0.0), count, count - p)


def _proposal_2(away: Float, count: Int, freedom: Int) -> Float:
    """Scale at which clipped squares add up to what they should; (s,).

    With the j smallest within bounds and the others clipped, the sum is linear in the
    square of the scale, so each j has its own answer; the one that clips just those is
    right, and it is the least of those that are above zero.
    """
    within = np.cumsum(away**2, axis=0)
    j = np.arange(1, len(away) + 1)[:, None]
    due = freedom * _clipped_variance() - np.maximum(count - j, 0) * TUNING**2
    ok = (due > 0.0) & (j <= count) & (freedom > 0)
    square = np.divide(within, due, out=np.full_like(within, np.inf), where=ok)
    found = square.min(axis=0, initial=np.inf)
    return np.sqrt(np.where(np.isfinite(found), found, np.nan))


def _clipped_variance() -> float:
    """Of a standard normal variable clipped at `TUNING`."""
    from scipy.special import ndtr

    density = np.exp(-0.5 * TUNING**2) / np.sqrt(2.0 * np.pi)
    beyond = 1.0 - float(ndtr(TUNING))
    return float(1.0 - 2.0 * (beyond + TUNING * density) + 2.0 * TUNING**2 * beyond)


def _least_squares(columns: Float, y: Float, weight: Float) -> Float:
    """Weighted; (p, s), NaN where the observations do not tell."""
    weighted = columns * weight
    normal = np.einsum("pns,qns->spq", weighted, columns)
    pull = np.einsum("pns,ns->sp", weighted, y)
    return np.asarray(np.einsum("spq,sq->ps", _inverse(normal), pull))


def _inverse(table: Float) -> Float:
    """Inverses of (s, p, p) tables; NaN for those that have none."""
    size = np.sqrt(np.einsum("spp->sp", table))
    with np.errstate(divide="ignore", invalid="ignore"):
        alike = table / size[:, :, None] / size[:, None, :]
    bad = ~np.isfinite(alike).all(axis=(1, 2))
    alike[bad] = np.eye(table.shape[1])
    flat = np.linalg.det(alike) < 1e-13
    alike[flat] = np.eye(table.shape[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.linalg.inv(alike) / size[:, :, None] / size[:, None, :]
    found[bad | flat] = np.nan
    return np.asarray(found)
