"""How well sizes, lengths and repeatability explain the readings.

References
----------
Rasmussen and Williams (2006), eq. 2.30 (log marginal likelihood) and 5.9 (its
gradient).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, lapack

from geom.surface.covariance import Covariance, Separation
from geom.surface.noise import Noise
from geom.surface.observed import Observed
from geom.surface.prior import Guess, Prior
from geom.units import Float

#: How far the learned repeatability may lie from the stated one: a factor of 1.5 either
#: way at one standard deviation.
_REPEATABILITY_SPREAD = 0.4


@dataclass(frozen=True)
class Evidence:
    """The log posterior of the logs, up to a constant, with its gradient.

    ``logs`` are those of the prior's sizes and lengths, then that of the repeatability
    when any reading needs it.
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

    @property
    def learns_noise(self) -> bool:
        """Whether the last of the logs is a repeatability."""
        return bool(np.any(self.noise.repeated > 0))

    @property
    def guess(self) -> tuple[Float, Float]:
        """Medians and spreads of the logs; two arrays (p,)."""
        median, spread = self.prior.median, self.prior.spread
        if self.learns_noise:
            rod = Guess(self.noise.repeatability, _REPEATABILITY_SPREAD)
            median = np.append(median, np.log(rod.median))
            spread = np.append(spread, rod.spread)
        return median, spread

    def filled(self, logs: Float) -> tuple[Covariance, Noise]:
        """Covariance and noise with these logs."""
        count = self.prior.median.size
        noise = self.noise
        if self.learns_noise:
            noise = noise.with_repeatability(np.exp(logs[count]))
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
        seen = self.observed.both(table) + np.diag(noise.variance)
        factor = cholesky(seen, lower=True, check_finite=False)
        inverse = _inverse(factor)
        alpha = inverse @ self.observed.value
        value = -0.5 * float(self.observed.value @ alpha)
        value -= float(np.log(np.diag(factor)).sum())
        value -= 0.5 * len(self.observed) * np.log(2.0 * np.pi)
        pull = 0.5 * (np.outer(alpha, alpha) - inverse)
        gradient = by_logs(self.observed.back(pull))
        if self.learns_noise:
            felt = 2.0 * float(np.diag(pull) @ noise.learned_variance)
            gradient = np.append(gradient, felt)
        return value, gradient

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
