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
from functools import cached_property
from typing import Literal

import numpy as np

from geom.surface.grid import stretched
from geom.surface.noise import Noise
from geom.surface.process import Process
from geom.surface.separation import Places
from geom.units import Float

#: Net on which the choices are compared; between its nodes their difference is smooth.
_NET_ROW = 60.0
_NET_COLUMNS = 48


@dataclass(frozen=True)
class Share:
    """What one source puts into the variance of a sum.

    Attributes
    ----------
    source : str
    kind : {'A', 'B'}
    sd : float
        Standard uncertainty of the source itself, in ``unit``.
    unit : str
    variance : float
        In the unit of the sum, squared.
    """

    source: str
    kind: Literal["A", "B"]
    sd: float
    unit: str
    variance: float


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

    @property
    def places(self) -> Places:
        """Where it was read."""
        return self.best.observed.places

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
        if not self.others:
            return mean, sd
        drift, ratio = self.spread(height, azimuth)
        variance = ratio * sd**2 + drift.var(axis=0)
        return mean + drift.mean(axis=0), np.sqrt(variance)

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
        drift, ratio = self.spread(height, azimuth)
        flat = drift.reshape(len(self.others), -1)
        away = flat - flat.mean(axis=0)
        root = np.sqrt(ratio).ravel()
        covariance *= root[:, None] * root[None, :]
        covariance += away.T @ away / len(self.others)
        return mean + flat.mean(axis=0), covariance

    def sources_of_sum(
        self, height: Float, azimuth: Float, weight: Float, typical: float
    ) -> list[Share]:
        """Where the variance of a weighted sum of cut-back over a net comes from.

        The error of a linear estimate splits exactly into what the readings did not
        see and what each source of reading error put in.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees
        weight : array (m * k,)
            Azimuth runs fastest.
        typical : float, mm
            Standard uncertainty of cut-back over the wall, told beside its own line.

        Returns
        -------
        list of Share
            That of the wall between the readings first.
        """
        _, covariance = self.jointly(height, azimuth)
        total = float(weight @ covariance @ weight)
        gain = self.best.gain(height, azimuth, weight)
        read = [
            Share(s.name, s.kind, s.sd, s.unit, s.variance_of(gain))
            for s in self.noise.sources
        ]
        best = self.best.variance_of_sum(height, azimuth, weight)
        learned = max(total - best, 0.0)
        unseen = max(total - learned - sum(s.variance for s in read), 0.0)
        whole = unseen + learned + sum(s.variance for s in read)
        spread = float(np.sqrt(learned / whole)) * typical if whole > 0.0 else 0.0
        return [
            Share("wall between the readings", "A", typical, "mm", unseen),
            Share("sizes and lengths learned", "A", spread, "mm", learned),
            *read,
        ]

    def spread(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """What the other choices make of the wall against the best.

        Worked out on a net over all readings once, smooth in between.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees

        Returns
        -------
        drift : array (choices, m, k), mm
            Their means less that of the best.
        ratio : array (m, k)
            Mean of their variances over the best's.
        """
        net, drift, ratio = self._on_net
        told = [stretched(one, net, height, azimuth) for one in drift]
        return np.stack(told), np.exp(stretched(np.log(ratio), net, height, azimuth))

    @cached_property
    def _on_net(self) -> tuple[Float, Float, Float]:
        height = self.best.observed.places.height
        low, high = float(height.min()), float(height.max())
        rows = max(2, int(np.ceil((high - low) / _NET_ROW)) + 1)
        net = np.linspace(low, high, rows)
        around = np.arange(_NET_COLUMNS) * 360.0 / _NET_COLUMNS
        mean, sd = self.best.on_grid(net, around)
        told = [other.on_grid(net, around) for other in self.others]
        drift = np.stack([m for m, _ in told]) - mean
        variance = np.mean([s**2 for _, s in told], axis=0)
        return net, drift, variance / np.maximum(sd**2, 1e-12)
