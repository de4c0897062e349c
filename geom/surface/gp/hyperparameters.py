"""Hyperparameters from the readings: marginal likelihood, its mode, draws about it.

theta holds the logarithms of all standard deviations and length scales, of the
amplitudes at the knots, and of the learned reading errors.  With S(theta) the
covariance of n readings y (`geom.surface.gp.conditional`),

    log p(y | theta) = -1/2 y' S^-1 y - 1/2 log |S| - n/2 log 2 pi,
    d/dtheta_i       =  1/2 tr((a a' - S^-1) dS/dtheta_i),    a = S^-1 y.

The log posterior adds the log-normal hyperpriors.  Its mode is found by L-BFGS-B from
three starts; about the mode it is taken as normal (Laplace).

References
----------
Rasmussen and Williams (2006), eq. 2.30 (log marginal likelihood) and 5.9 (its
gradient).
Tierney, L. and Kadane, J. B. (1986). Accurate approximations for posterior moments and
marginal densities. JASA 81(393), 82-86, eq. 2.1 (Laplace's method).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.surface.assumptions import ASSUMED
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.kernels import PairDistances
from geom.surface.gp.observations import Noise, ObservationOperator
from geom.surface.gp.prior import Prior
from geom.units import Bool, Float

#: Starts of the search as shifts from the prior's median, in spreads: the middle, a
#: rougher wall and a smoother one.
_STARTS = ((0.0, 0.0), (0.5, -0.8), (-0.5, 0.8))


#: Step of the differences, in the prior's spreads.
_STEP = 1e-3


@dataclass(frozen=True)
class MarginalLikelihood:
    """The log posterior of the logs, up to a constant, with its gradient.

    ``theta`` are those of the prior, then those of the learned sources of noise.
    """

    observed: ObservationOperator
    noise: Noise
    prior: Prior
    distances: PairDistances

    @classmethod
    def of(
        cls, observed: ObservationOperator, noise: Noise, prior: Prior
    ) -> MarginalLikelihood:
        """Of readings, with the distances worked out once."""
        distances = PairDistances(observed.places, observed.places)
        return cls(observed, noise, prior, distances)

    def subset(self, rows: Bool) -> MarginalLikelihood:
        """Of some of the readings; ``rows`` is a mask (n,)."""
        return MarginalLikelihood.of(
            self.observed.subset(rows), self.noise.subset(rows), self.prior
        )

    @property
    def theta_prior(self) -> tuple[Float, Float]:
        """Medians and spreads of the logs; two arrays (p,)."""
        learned = self.noise.learned
        median = np.append(self.prior.median, np.log([s.sd for s in learned]))
        return median, np.append(self.prior.spread, [s.spread for s in learned])

    def filled(self, theta: Float) -> tuple[Covariance, Noise]:
        """Covariance and noise with these logs."""
        count = self.prior.median.size
        noise = self.noise.with_learned(np.exp(theta[count:]))
        return Covariance(self.prior, theta[:count]), noise

    def log_marginal_likelihood(self, theta: Float) -> tuple[float, Float]:
        """Log marginal likelihood of the readings and its gradient.

        Parameters
        ----------
        theta : array (p,)

        Returns
        -------
        float, array (p,)
        """
        value, gradient = self._evaluated(theta)
        return value, gradient()

    def _evaluated(self, theta: Float) -> tuple[float, Callable[[], Float]]:
        """The log marginal likelihood, and a way to ask for its gradient."""
        from scipy.linalg import cholesky, lapack

        covariance, noise = self.filled(theta)
        table, by_theta = covariance.with_gradient(self.distances)
        seen = self.observed.sandwich(table)
        seen += self._errors(noise)
        # it is symmetric: turned, it is laid out as the factor is
        factor = cholesky(seen.T, lower=True, overwrite_a=True, check_finite=False)
        alpha, _ = lapack.dpotrs(factor, self.observed.value, lower=1)
        value = -0.5 * float(self.observed.value @ alpha)
        value -= float(np.log(np.diag(factor)).sum())
        value -= 0.5 * len(self.observed) * np.log(2.0 * np.pi)

        def gradient() -> Float:
            # Derivatives by each entry of the readings' covariance, (n, n).  What is
            # summed with them is symmetric: of the inverse the lower half does, twice.
            inverse, _ = lapack.dpotri(factor, lower=1)
            by_entry = np.outer(0.5 * alpha, alpha)
            by_entry -= inverse
            by_entry.flat[:: len(inverse) + 1] += 0.5 * np.diag(inverse)
            slopes = by_theta(self.observed.adjoint(by_entry))
            return np.append(slopes, [s.slope(by_entry) for s in noise.learned])

        return value, gradient

    @cached_property
    def _known_errors(self) -> Float:
        """Covariance of the errors whose size is not learned, mm2; (n, n)."""
        known = tuple(s for s in self.noise.sources if s.spread == 0)
        count = len(self.observed)
        return Noise(known).matrix if known else np.zeros((count, count))

    def _errors(self, noise: Noise) -> Float:
        """`Noise.matrix`, of which the known part is worked out once."""
        if not noise.learned:
            return self._known_errors
        return self._known_errors + Noise(noise.learned).matrix

    def log_posterior(self, theta: Float) -> tuple[float, Float]:
        """Log likelihood plus log prior of the logs, and its gradient."""
        value, gradient = self.log_marginal_likelihood(theta)
        off, spread = self._off(theta)
        return value - 0.5 * float(off @ off), gradient - off / spread

    def log_posterior_value(self, theta: Float) -> float:
        """The same without the gradient, in half the time."""
        off, _ = self._off(theta)
        return self._evaluated(theta)[0] - 0.5 * float(off @ off)

    def _off(self, theta: Float) -> tuple[Float, Float]:
        """How far logs are from their medians, in spreads; and the spreads."""
        median, spread = self.theta_prior
        return (theta - median) / spread, spread


def fit_map(likelihood: MarginalLikelihood, *, start: Float | None = None) -> Float:
    """The most probable logs of sizes, lengths and learned errors.

    Parameters
    ----------
    start : array (p,), optional
        Search from here alone, when the most probable of a like sheet is known.

    Returns
    -------
    array (p,)
        The search keeps within four spreads of the medians.  Of many readings a part
        is searched from every start, and all of them (or 600, evenly) from the best of
        its ends.
    """
    whole = random_subset(likelihood, ASSUMED.evidence_points)
    if start is not None:
        return _uphill(whole, start)[0]
    median, spread = likelihood.theta_prior
    some = random_subset(likelihood, ASSUMED.map_points)
    starts = [median + spread * _shift(likelihood, *shift) for shift in _STARTS]
    ends = [_uphill(some, begin) for begin in starts]
    best = max(ends, key=lambda end: end[1])[0]
    return best if some is whole else _uphill(whole, best)[0]


def _uphill(likelihood: MarginalLikelihood, start: Float) -> tuple[Float, float]:
    """The logs at the top reached from a start, and the log posterior there."""
    from scipy.optimize import minimize

    median, spread = likelihood.theta_prior

    def downhill(theta: Float) -> tuple[float, Float]:
        value, gradient = likelihood.log_posterior(theta)
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


def random_subset(likelihood: MarginalLikelihood, most: int) -> MarginalLikelihood:
    """All readings, or when there are more than ``most`` an even part of them."""
    count = len(likelihood.observed)
    if count <= most:
        return likelihood
    order = np.random.default_rng(0).permutation(count)
    kept = np.zeros(count, dtype=bool)
    kept[order[:most]] = True
    return likelihood.subset(kept)


def _shift(likelihood: MarginalLikelihood, size: float, length: float) -> Float:
    components = [
        [size] + [length] * (len(p.hyperpriors) - 1)
        for p in likelihood.prior.components
    ]
    shift = [step for part in components for step in part]
    return np.append(shift, np.zeros(likelihood.theta_prior[0].size - len(shift)))


def laplace_draws(
    likelihood: MarginalLikelihood, theta: Float, *, count: int, seed: int
) -> Float:
    """Draws of the logs about the most probable ones.

    Normal, with the curvature of the log posterior there (by differences of its
    gradient); in no direction wider than before the readings came.  Drawn in pairs on
    opposite sides, by the symmetric root of the covariance: it changes smoothly with
    the readings, where the signs of eigenvectors do not.  Pairs stand at right angles
    to each other, a random rotation of them all, each as far out as a normal draw is
    in the mean: 2 p draws have the very covariance, whatever the seed, and fewer are
    the first of them.

    Parameters
    ----------
    theta : array (p,)
        The most probable.
    count : int, even

    Returns
    -------
    array (count, p)

    References
    ----------
    Genz, A. and Monahan, J. (1999). A stochastic algorithm for high-dimensional
    integrals over unbounded regions with Gaussian weight. Journal of Computational and
    Applied Mathematics 112, 71-81 (spherical rules, randomly rotated; from memory).
    """
    if count == 0:
        return np.zeros((0, theta.size))
    _, spread = likelihood.theta_prior
    curvature = _curvature(likelihood, theta, spread)
    strength, axes = np.linalg.eigh(curvature)
    half = orthogonal_normals(count // 2, theta.size, seed=seed)
    root = (axes / np.sqrt(np.maximum(strength, 1.0))) @ axes.T
    standard = np.concatenate([half, -half])
    steps = spread * (standard @ root)
    top = likelihood.log_posterior_value(theta)
    depths = 0.5 * np.sum(standard**2, axis=1)
    parts = [
        _pull(likelihood, theta, step, top, float(depth))
        for step, depth in zip(steps, depths, strict=True)
    ]
    return np.asarray(theta + np.array(parts)[:, None] * steps)


def orthogonal_normals(count: int, size: int, *, seed: int) -> Float:
    """Vectors of length sqrt(size), at right angles to each other as far as they go.

    Returns
    -------
    array (count, size)
        Past ``size`` of them a new rotation begins.
    """
    rng = np.random.default_rng(seed)
    parts = []
    for _ in range(0, count, size):
        table, upper = np.linalg.qr(rng.standard_normal((size, size)))
        # signs that make the rotation evenly likely
        parts.append((table * np.sign(np.diag(upper))).T)
    return np.asarray(np.sqrt(size) * np.concatenate(parts)[:count])


def _pull(
    likelihood: MarginalLikelihood, theta: Float, step: Float, top: float, depth: float
) -> float:
    """By how much to shorten a step that leads below the depth a normal one has.

    Away from the mode the log posterior falls faster in places than its curvature
    there says: such a draw is far less likely than it was drawn, and one of them is
    enough to move a whole survey from seed to seed.  It is brought back along its own
    direction to about the depth, below ``top``, that it was drawn at.
    """
    part = 1.0
    for _ in range(ASSUMED.deeper_pulls):
        fall = top - likelihood.log_posterior_value(theta + part * step)
        if fall <= depth + ASSUMED.deeper_by:
            break
        part *= max(float(np.sqrt(depth / fall)), ASSUMED.deeper_least_pull)
    return part


def log_evidence(likelihood: MarginalLikelihood) -> float:
    """Log probability of the readings, sizes and lengths integrated out.

    By Laplace's method about the most probable logs (Tierney and Kadane 1986, eq. 2.1),
    in no direction wider than before the readings came; up to a constant that is the
    same for every prior of the same readings.
    """
    best = fit_map(likelihood)
    value, _ = likelihood.log_posterior(best)
    strength = np.linalg.eigvalsh(
        _curvature(likelihood, best, likelihood.theta_prior[1])
    )
    return value - 0.5 * float(np.log(np.maximum(strength, 1.0)).sum())


def _curvature(likelihood: MarginalLikelihood, theta: Float, spread: Float) -> Float:
    """Minus the second derivatives by the logs, each given in its prior's spread."""
    _, here = likelihood.log_posterior(theta)
    rows = []
    for k in range(theta.size):
        ahead = theta.copy()
        ahead[k] += _STEP * spread[k]
        _, there = likelihood.log_posterior(ahead)
        rows.append((here - there) * spread / _STEP)
    table = np.array(rows)
    return 0.5 * (table + table.T)
