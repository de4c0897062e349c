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

from geom.surface.covariance import Covariance
from geom.surface.noise import Noise
from geom.surface.observed import Observed
from geom.surface.prior import Prior
from geom.surface.separation import Separation
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
