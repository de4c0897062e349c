"""What the readings say of the wall, sizes and lengths being uncertain too.

The readings do not tell sizes and lengths exactly, least of all when they are few.  The
best choice and several others, drawn as probable as the readings leave them, each give
a wall; their mean is the estimate, and how much they differ adds to its uncertainty.

References
----------
Rasmussen and Williams (2006), eq. 5.3 (the integral over hyperparameters).
Tierney, L. and Kadane, J. B. (1986). Accurate approximations for posterior moments and
marginal densities. JASA 81(393), 82-86 (the normal approximation about the mode).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.surface.grid import stretched
from geom.surface.noise import Noise
from geom.surface.process import Process, net_places
from geom.units import Float

#: Net on which the choices are compared; between its nodes their difference is smooth.
_NET_ROW = 60.0
_NET_COLUMNS = 48


@dataclass(frozen=True)
class Belief:
    """The joint posterior of cut-back.

    Attributes
    ----------
    best : Process
        With the most probable sizes and lengths.
    others : tuple of Process
        Equally probable draws about them; may be empty.
    """

    best: Process
    others: tuple[Process, ...] = ()

    @property
    def noise(self) -> Noise:
        """Reading errors as the best choice has them."""
        return self.best.noise

    def on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and standard deviation of cut-back on a grid.

        Parameters
        ----------
        height : array (m,), mm, rising
        azimuth : array (k,), degrees

        Returns
        -------
        mean, sd : array (m, k), mm
        """
        mean, sd = self.best.on_grid(height, azimuth)
        rows = max(2, int(np.ceil((height[-1] - height[0]) / _NET_ROW)) + 1)
        if not self.others or height.size <= rows:
            drift, swell = self._spread(height, azimuth)
            return mean + drift.mean(axis=0), sd * swell
        net = np.linspace(height[0], height[-1], rows)
        around = np.arange(_NET_COLUMNS) * 360.0 / _NET_COLUMNS
        drift, swell = self._spread(net, around)
        shift = stretched(drift.mean(axis=0), net, height, azimuth)
        wider = stretched(np.log(swell), net, height, azimuth)
        return mean + shift, sd * np.exp(wider)

    def jointly(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance of cut-back at every node of a net.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees

        Returns
        -------
        mean : array (m * k,), mm
            Azimuth runs fastest.
        covariance : array (m * k, m * k), mm2
        """
        mean, covariance = self.best.on_net(height, azimuth)
        if not self.others:
            return mean, covariance
        drift, ratio = self._drift_and_ratio(height, azimuth)
        flat = drift.reshape(len(self.others), -1)
        away = flat - flat.mean(axis=0)
        root = np.sqrt(ratio).ravel()
        covariance *= root[:, None] * root[None, :]
        covariance += away.T @ away / len(self.others)
        return mean + flat.mean(axis=0), covariance

    def gain(self, height: Float, azimuth: Float, weight: Float) -> Float:
        """How a weighted sum of cut-back follows each reading.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees
        weight : array (m * k,)

        Returns
        -------
        array (n,)
            Change of the sum per change of a reading.
        """
        return self.best.gain(net_places(height, azimuth), weight)

    def _spread(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Drift of each choice from the best, and the whole sd over the best's."""
        if not self.others:
            still = np.zeros((1, height.size, azimuth.size))
            return still, np.ones_like(still[0])
        drift, ratio = self._drift_and_ratio(height, azimuth)
        _, sd = self.best.on_grid(height, azimuth)
        spread = drift.var(axis=0) / np.maximum(sd**2, 1e-12)
        return drift, np.sqrt(ratio + spread)

    def _drift_and_ratio(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        mean, sd = self.best.on_grid(height, azimuth)
        told = [other.on_grid(height, azimuth) for other in self.others]
        drift = np.stack([m for m, _ in told]) - mean
        variance = np.mean([s**2 for _, s in told], axis=0)
        return drift, variance / np.maximum(sd**2, 1e-12)
