"""One state-space model of wear over a campaign: filter, sizes, draws of the past.

The model, over the p panels that the surveys cover and heats k = 1 ... n:

    left wall    c_k, known only by its survey: a repair renews it
    rate         r_k = r_{k-1} + drift,                  drift ~ N(0, (w u)^2 K)
    worn wall    d_k = c_k + r_k + heat scatter + spall  heat scatter ~ N(0, Q)
    surveys      y_k = c_k + e,  z_k = d_k + e'          e, e' ~ N(0, f Sigma_k)

with u the wear of a panel's row, K a correlation that fades over panels and Sigma_k the
joint posterior covariance that a survey states.  Q is a share of u that all the wall
has in common, a ring that moves up and down, a share of u that fades over panels, and
texture.  c_k cancels in the wear z_k - y_k, so the filter carries r alone.  The sizes
are found by maximum posterior density of the innovations and drawn from its Laplace
approximation.

A survey is itself the posterior mean of a smooth process and varies less than the wall
does: the likelihood therefore finds f far below 1, and what surveys miss is independent
of what they say.  So it is added to the rates afterwards (`StateSpace.missed`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import minimize

from geom.compare.panels import HOURS
from geom.units import Bool, Float

#: Sizes of the model, and the middle and logarithmic sd of what is held of each before:
#: what all share, a ring's move (rows), what fades, texture (mm), surveys' variance f,
#: drift w.
SIZES = ("common", "move", "local", "texture", "survey", "drift")
MIDDLE = np.log([0.08, 0.10, 0.15, 0.2, 0.3, 0.02])
_SPREAD = np.array([0.4, 0.7, 0.5, 0.5, 0.4, 0.5])
#: What of a survey's variance repeats every heat, of rings and of the rest: the numbers
#: of `geom.record.assumptions`.
_RING, _REST = 0.05, 0.16
#: Panels over which things fade: rows, sides.
_UP, _ROUND = 1.0, 1.5
#: Of the variance that surveys state, in a mean of wear at least.
STATED = 0.25
#: How large a step can be, sd, mm a heat.
_JUMP = 4.0


@dataclass(frozen=True)
class StateSpace:
    """Surveys of one campaign, and the model of them.

    Attributes
    ----------
    left, worn : array (n, p), mm
        Cut-back of each heat as it was left to it and as it left the wall.
    left_covariance, worn_covariance : array (n, p, p), mm2
    row, side : int array (p,)
        Where the panels lie.
    spall : bool array (n, p)
        Panels whose wear of that heat is not believed.
    step : (int, array (p,)), optional
        The heat, from 0, before which the rate jumped, and the shape of the jump, 1 mm.
    """

    left: Float
    worn: Float
    left_covariance: Float
    worn_covariance: Float
    row: Float
    side: Float
    spall: Bool
    step: tuple[int, Float] | None = None

    @cached_property
    def u(self) -> Float:
        """Wear of each panel's row, mm a heat; (p,)."""
        wear = np.median(self.worn - self.left, axis=0)
        return np.maximum(self._rows @ wear, 0.3)

    @cached_property
    def _rows(self) -> Float:
        """Projects on means of rows; (p, p)."""
        same = (self.row[:, None] == self.row).astype(float)
        return same / same.sum(axis=1, keepdims=True)

    @cached_property
    def fading(self) -> Float:
        """Correlation that fades over panels; (p, p)."""
        apart = np.abs(self.side[:, None] - self.side)
        apart = np.minimum(apart, HOURS - apart) / _ROUND
        tall = np.abs(self.row[:, None] - self.row) / _UP
        return np.exp(-tall - apart)

    @cached_property
    def shared_miss(self) -> Float:
        """Covariance of what all surveys of worn wall miss alike; (p, p), mm2."""
        mean = self.worn_covariance.mean(axis=0)
        speed = np.sqrt(np.clip(self.u / self.u.mean(), 0.3, 4.0))
        rest = np.eye(len(mean)) - self._rows
        ring = _RING * self._rows @ mean @ self._rows.T
        return (ring + _REST * rest @ mean @ rest.T) * np.outer(speed, speed)

    def heat_covariance(self, size: dict[str, float]) -> Float:
        """Q, of what a heat wears more or less than its rate; (p, p)."""
        u, slope = self.u, self._slope
        q = size["common"] ** 2 * np.outer(u, u)
        q += size["move"] ** 2 * np.outer(slope, slope)
        q += size["local"] ** 2 * np.outer(u, u) * self.fading
        return q + size["texture"] ** 2 * np.eye(u.size)

    @cached_property
    def _slope(self) -> Float:
        rows, first = np.unique(self.row, return_index=True)
        at = np.searchsorted(rows, self.row)
        return (np.gradient(self.u[first]) if rows.size > 1 else np.zeros(1))[at]

    def prior(self, size: dict[str, float]) -> tuple[Float, Float, Float]:
        """Mean and covariance of r before any heat, and covariance of drift."""
        u = self.u
        same = (self.row[:, None] == self.row).astype(float)
        spread = np.outer(u, u)
        rate = spread * self.fading + same * (1.0 + spread) + 0.1 * np.eye(u.size)
        return u, rate, size["drift"] ** 2 * spread * self.fading

    def missed(self, rng: np.random.Generator, count: int) -> Float:
        """Draws of what surveys err by in a mean wear; (count, p)."""
        stated = (self.left_covariance + self.worn_covariance).mean(axis=0)
        whole = self.shared_miss + STATED * stated / len(self.left)
        return normal(rng, np.zeros(self.u.size), whole, count)

    def filter(self, theta: Float) -> Filtered:
        """Kalman filter over heats."""
        size = sizes(theta)
        heat, density, wear = self.heat_covariance(size), 0.0, self.worn - self.left
        stated = self.left_covariance + self.worn_covariance
        doubt = 400.0 * self.spall[:, :, None] * np.eye(self.u.size)
        covariance = size["survey"] * stated + heat + doubt
        mean, p_, small = self.prior(size)
        drift = np.repeat(small[None], len(wear), axis=0)
        if self.step is not None:
            first, shape = self.step
            drift[first] += _JUMP**2 * np.outer(shape, shape)
        means, tables = list[Float](), list[Float]()
        for k, seen in enumerate(wear):
            p_ = p_ + drift[k] if k else p_
            root = np.linalg.cholesky(p_ + covariance[k])
            off = solve_triangular(root, seen - mean, lower=True)
            gain = solve_triangular(root, p_, lower=True)
            density -= 0.5 * off @ off + np.log(np.diag(root)).sum()
            mean, p_ = mean + gain.T @ off, p_ - gain.T @ gain
            means.append(mean)
            tables.append(p_)
        density -= 0.5 * np.sum(((theta - MIDDLE) / _SPREAD) ** 2)
        return Filtered(float(density), means, tables, drift, covariance, wear)

    def fit(self, start: Float) -> tuple[Float, Float]:
        """Sizes of greatest posterior density, and their covariance (BFGS)."""
        best = minimize(
            lambda theta: -self.filter(theta).density,
            start,
            method="BFGS",
            options={"maxiter": 10, "eps": 1e-3, "gtol": 0.3},
        )
        return best.x, best.hess_inv


@dataclass(frozen=True)
class Filtered:
    """What the filter left of every heat.

    Attributes
    ----------
    density : float
        Of the innovations and sizes, logarithmic.
    mean, covariance : list of array
        Of the rate after each heat.
    drift : array (n, p, p)
        Of the rate, into each heat.
    noise : array (n, p, p)
        Covariance of each heat's wear about its rate.
    wear : array (n, p), mm
    """

    density: float
    mean: list[Float]
    covariance: list[Float]
    drift: Float
    noise: Float
    wear: Float

    def draws(self, rng: np.random.Generator, count: int) -> Float:
        """Rates of every heat by backward sampling; (count, n, p)."""
        n, p = self.wear.shape
        rates = [normal(rng, self.mean[-1], self.covariance[-1], count)]
        for k in range(n - 2, -1, -1):
            here = self.covariance[k]
            ahead = here + self.drift[k + 1] + 1e-9 * np.eye(p)
            gain = np.linalg.solve(ahead, here).T
            middle = self.mean[k] + (rates[-1] - self.mean[k]) @ gain.T
            spread = here - gain @ here
            rates.append(middle + normal(rng, np.zeros(p), spread, count))
        return np.stack(rates[::-1], axis=1)


def sizes(theta: Float) -> dict[str, float]:
    """The sizes by name."""
    return dict(zip(SIZES, np.exp(theta).tolist(), strict=True))


def normal(
    rng: np.random.Generator, mean: Float, covariance: Float, count: int
) -> Float:
    value, vector = np.linalg.eigh(covariance)
    root = vector * np.sqrt(np.maximum(value, 0.0))
    return mean + rng.standard_normal((count, mean.size)) @ root.T
