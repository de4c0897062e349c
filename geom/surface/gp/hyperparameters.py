"""Sizes and lengths from the readings: the most probable, and others as likely.

How well sizes, lengths and repeatability explain the readings.

References
----------
Rasmussen and Williams (2006), eq. 2.30 (log marginal likelihood) and 5.9 (its
gradient).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, lapack

from geom.parallel import on_one_thread_when_small
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.kernels import Separation
from geom.surface.gp.observations import Noise, Observed
from geom.surface.gp.prior import Prior
from geom.units import Bool, Float


@dataclass(frozen=True)
class Evidence:
    """The log posterior of the logs, up to a constant, with its gradient.

    ``logs`` are those of the prior, then those of the learned sources of noise.
    """

    observed: Observed
    noise: Noise
    prior: Prior
    apart: Separation

    @classmethod
    def of(cls, observed: Observed, noise: Noise, prior: Prior) -> Evidence:
        """Of readings, with the distances worked out once."""
        apart = Separation(observed.places, observed.places)
        return cls(observed, noise, prior, apart)

    def taken(self, rows: Bool) -> Evidence:
        """Of some of the readings; ``rows`` is a mask (n,)."""
        return Evidence.of(
            self.observed.taken(rows), self.noise.taken(rows), self.prior
        )

    @property
    def guess(self) -> tuple[Float, Float]:
        """Medians and spreads of the logs; two arrays (p,)."""
        learned = self.noise.learned
        median = np.append(self.prior.median, np.log([s.sd for s in learned]))
        return median, np.append(self.prior.spread, [s.spread for s in learned])

    def filled(self, logs: Float) -> tuple[Covariance, Noise]:
        """Covariance and noise with these logs."""
        count = self.prior.median.size
        noise = self.noise.with_learned(np.exp(logs[count:]))
        return Covariance(self.prior, logs[:count]), noise

    def log_likelihood(self, logs: Float) -> tuple[float, Float]:
        """Log marginal likelihood of the readings and its gradient.

        Parameters
        ----------
        logs : array (p,)

        Returns
        -------
        float, array (p,)
        """
        covariance, noise = self.filled(logs)
        table, by_logs = covariance.with_gradient(self.apart)
        seen = self.observed.both(table) + noise.matrix
        factor = cholesky(seen, lower=True, check_finite=False)
        inverse = _inverse(factor)
        alpha = inverse @ self.observed.value
        value = -0.5 * float(self.observed.value @ alpha)
        value -= float(np.log(np.diag(factor)).sum())
        value -= 0.5 * len(self.observed) * np.log(2.0 * np.pi)
        pull = 0.5 * (np.outer(alpha, alpha) - inverse)
        gradient = by_logs(self.observed.back(pull))
        return value, np.append(gradient, [s.slope(pull) for s in noise.learned])

    def log_posterior(self, logs: Float) -> tuple[float, Float]:
        """Log likelihood plus log prior of the logs, and its gradient."""
        value, gradient = self.log_likelihood(logs)
        median, spread = self.guess
        off = (logs - median) / spread
        return value - 0.5 * float(off @ off), gradient - off / spread


def _inverse(factor: Float) -> Float:
    """Inverse of a matrix from its lower Cholesky factor."""
    lower, _ = lapack.dpotri(factor, lower=1)
    return np.asarray(np.tril(lower) + np.tril(lower, -1).T)


#: Starts of the search as shifts from the prior's median, in spreads: the middle, a
#: rougher wall and a smoother one.
_STARTS = ((0.0, 0.0), (0.5, -0.8), (-0.5, 0.8))

#: Readings that tell the tops of the evidence apart well enough, and readings that tell
#: sizes and lengths well enough.
ENOUGH, _PLENTY = 140, 600

#: Step of the differences, in the prior's spreads.
_STEP = 1e-3


@on_one_thread_when_small(lambda *_, **__: _PLENTY)
def learn(evidence: Evidence, *, start: Float | None = None) -> Float:
    """The most probable logs of sizes, lengths and learned errors.

    Parameters
    ----------
    evidence : Evidence
    start : array (p,), optional
        Search from here alone, when the most probable of a like sheet is known.

    Returns
    -------
    array (p,)
        The search keeps within four spreads of the medians.  Of many readings a part
        is searched from every start, and all of them (or 600, evenly) from the best of
        its ends.
    """
    whole = spread_out(evidence, _PLENTY)
    if start is not None:
        return _uphill(whole, start)[0]
    median, spread = evidence.guess
    some = spread_out(evidence, ENOUGH)
    starts = [median + spread * _shift(evidence, *shift) for shift in _STARTS]
    ends = [_uphill(some, begin) for begin in starts]
    best = max(ends, key=lambda end: end[1])[0]
    return best if some is whole else _uphill(whole, best)[0]


def _uphill(evidence: Evidence, start: Float) -> tuple[Float, float]:
    """The logs at the top reached from a start, and the log posterior there."""
    from scipy.optimize import minimize

    median, spread = evidence.guess

    def downhill(logs: Float) -> tuple[float, Float]:
        value, gradient = evidence.log_posterior(logs)
        return -value, -gradient

    bounds = list(zip(median - 4.0 * spread, median + 4.0 * spread, strict=True))
    found = minimize(
        downhill,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"maxiter": 60, "ftol": 3e-6},
    )
    return np.asarray(found.x, dtype=np.float64), -float(found.fun)


def spread_out(evidence: Evidence, most: int) -> Evidence:
    """All readings, or when there are more than ``most`` an even part of them."""
    count = len(evidence.observed)
    if count <= most:
        return evidence
    order = np.random.default_rng(0).permutation(count)
    kept = np.zeros(count, dtype=bool)
    kept[order[:most]] = True
    return evidence.taken(kept)


def _shift(evidence: Evidence, size: float, length: float) -> Float:
    parts = [[size] + [length] * (len(p.guesses) - 1) for p in evidence.prior.parts]
    shift = [step for part in parts for step in part]
    return np.append(shift, np.zeros(evidence.guess[0].size - len(shift)))


@on_one_thread_when_small(lambda *_, **__: _PLENTY)
def others(evidence: Evidence, logs: Float, *, count: int, seed: int) -> Float:
    """Draws of the logs about the most probable ones.

    Normal, with the curvature of the log posterior there (by differences of its
    gradient); in no direction wider than before the readings came.  Drawn in pairs on
    opposite sides.

    Parameters
    ----------
    evidence : Evidence
    logs : array (p,)
        The most probable.
    count : int, even
    seed : int

    Returns
    -------
    array (count, p)
    """
    if count == 0:
        return np.zeros((0, logs.size))
    _, spread = evidence.guess
    curvature = _curvature(evidence, logs, spread)
    strength, axes = np.linalg.eigh(curvature)
    half = np.random.default_rng(seed).standard_normal((count // 2, logs.size))
    steps = np.concatenate([half, -half]) / np.sqrt(np.maximum(strength, 1.0))
    return np.asarray(logs + spread * (steps @ axes.T))


def log_evidence(evidence: Evidence) -> float:
    """Log probability of the readings, sizes and lengths integrated out.

    By Laplace's method about the most probable logs (Tierney and Kadane 1986, eq. 2.1),
    in no direction wider than before the readings came; up to a constant that is the
    same for every prior of the same readings.
    """
    best = learn(evidence)
    value, _ = evidence.log_posterior(best)
    strength = np.linalg.eigvalsh(_curvature(evidence, best, evidence.guess[1]))
    return value - 0.5 * float(np.log(np.maximum(strength, 1.0)).sum())


def _curvature(evidence: Evidence, logs: Float, spread: Float) -> Float:
    """Minus the second derivatives by the logs, each told in its prior's spread."""
    _, here = evidence.log_posterior(logs)
    rows = []
    for k in range(logs.size):
        ahead = logs.copy()
        ahead[k] += _STEP * spread[k]
        _, there = evidence.log_posterior(ahead)
        rows.append((here - there) * spread / _STEP)
    table = np.array(rows)
    return 0.5 * (table + table.T)
