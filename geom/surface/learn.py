"""Sizes and lengths from the readings: the most probable ones, from several starts."""

from __future__ import annotations

import numpy as np

from geom.surface.evidence import Evidence
from geom.units import Float

#: Starts of the search as shifts from the prior's median, in spreads: the middle, a
#: rougher wall and a smoother one.
_STARTS = ((0.0, 0.0), (0.5, -0.8), (-0.5, 0.8))

#: Readings from which more than one thread pays for linear algebra.
_LARGE = 600


def learn(evidence: Evidence) -> Float:
    """The most probable logs of sizes, lengths and repeatability.

    Returns
    -------
    array (p,)
        The best of all starts; the search keeps within four spreads of the medians.
    """
    from scipy.optimize import minimize
    from threadpoolctl import threadpool_limits

    median, spread = evidence.guess

    def downhill(logs: Float) -> tuple[float, Float]:
        value, gradient = evidence.log_posterior(logs)
        return -value, -gradient

    bounds = list(zip(median - 4.0 * spread, median + 4.0 * spread, strict=True))
    one_thread = 1 if len(evidence.observed) < _LARGE else None
    with threadpool_limits(one_thread, user_api="blas"):
        ends = [
            minimize(
                downhill,
                median + spread * _shift(evidence, *start),
                jac=True,
                method="L-BFGS-B",
                bounds=bounds,
                options={"maxiter": 60, "ftol": 1e-7},
            )
            for start in _STARTS
        ]
    return np.asarray(min(ends, key=lambda end: float(end.fun)).x, dtype=np.float64)


def _shift(evidence: Evidence, size: float, length: float) -> Float:
    parts = [[size] + [length] * (len(p.guesses) - 1) for p in evidence.prior.parts]
    shift = [step for part in parts for step in part]
    return np.array(shift + [0.0] * evidence.learns_noise)
