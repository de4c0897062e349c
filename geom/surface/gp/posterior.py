"""The posterior of cut-back, averaged over hyperparameters.

The readings do not fix standard deviations and length scales exactly, least of all when
they are few.  The most probable choice and several others, drawn as probable as the
readings leave them, each give a wall; their mean is the estimate, and how much they
differ adds to its uncertainty:

    mean = E[m(theta)],    covariance = E[C(theta)] + cov[m(theta)].

C(theta) is taken as the correlation of the most probable choice, scaled to the mean
variance of all.

References
----------
Rasmussen and Williams (2006), eq. 5.3 (the integral over hyperparameters).
Tierney, L. and Kadane, J. B. (1986). Accurate approximations for posterior moments and
marginal densities. JASA 81(393), 82-86 (the normal approximation about the mode).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np

from geom.shown import Shown
from geom.surface.cell_points import CellPoints
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import Noise
from geom.surface.gp.prior import Prior
from geom.surface.grid import interpolate_smoothly
from geom.units import Float, Int

#: Net on which the choices are compared; between its nodes their difference is smooth.
_NET_ROW = 60.0
_NET_COLUMNS = 48
#: Nodes at which variances are compared where the wall steps.
_STEPPED_NODES = 6000
#: Nodes of a net that is worked out whole, means and variances from one table.
_WHOLE = 3000
#: Rows of a covariance that are scaled at once.
_AT_ONCE = 64


@dataclass(frozen=True)
class VarianceShare:
    """What one source puts into the variance of a sum.

    Attributes
    ----------
    kind : {'A', 'B'}
    sd : float
        Standard uncertainty of the source itself, in ``unit``.
    variance : float
        In the unit of the sum, squared.
    """

    source: str
    kind: Literal["A", "B"]
    sd: float
    unit: str
    variance: float


class Posterior(Protocol):
    """The joint posterior of cut-back, from whatever the wall was read with."""

    @property
    def places(self) -> Points2D:
        """Where it was read."""

    @property
    def fitted(self) -> GPPosterior:
        """The Gaussian process fitted to the readings, or to blocks of laser points."""

    @property
    def cell_points(self) -> CellPoints | None:
        """What points of single cells say, where a laser saw the wall."""

    def joint(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
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

    def rings(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance of cut-back ring by ring; as `joint` of each alone.

        Parameters
        ----------
        height : array (m,), mm, rising
        azimuth : array (k,), degrees

        Returns
        -------
        mean : array (m, k), mm
        covariance : array (m, k, k), mm2
        """

    def holes_seen(self, least: float, deeper: float) -> tuple[int, int]:
        """Readings that stand in a hole, and readings in all; none where all is seen.

        Parameters
        ----------
        least : float
            Leave-one-out residual in its standard deviations.
        deeper : float, mm
        """

    def sources_of_sum(
        self, height: Float, azimuth: Float, weight: Float, typical: float
    ) -> list[VarianceShare]:
        """Where the variance of a weighted sum of cut-back over a net comes from.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees
        weight : array (m * k,)
            Azimuth runs fastest.
        typical : float, mm
            Standard uncertainty of cut-back over the wall, named next to its own line.

        Returns
        -------
        list of VarianceShare
            That of the wall between the readings first.
        """


@dataclass(frozen=True)
class GPPosterior(Shown):
    """The posterior of a wall known from rod readings, or from blocks of laser points.

    Attributes
    ----------
    best : ConditionalGP
        With the most probable hyperparameters.
    samples : tuple of ConditionalGP
        With equally probable draws about them; may be empty.
    """

    best: ConditionalGP
    samples: tuple[ConditionalGP, ...] = ()

    @property
    def noise(self) -> Noise:
        """Reading errors as the best choice has them."""
        return self.best.noise

    @property
    def fitted(self) -> GPPosterior:
        """Itself."""
        return self

    @property
    def places(self) -> Points2D:
        """Where it was read."""
        return self.best.observed.places

    @property
    def cell_points(self) -> CellPoints | None:
        """None: there are readings only."""
        return None

    def holes_seen(self, least: float, deeper: float) -> tuple[int, int]:
        """Readings that lie deeper than the others foretell, and readings in all.

        Leave-one-out residuals from the inverse covariance of the readings (Rasmussen
        and Williams 2006, eq. 5.12).
        """
        variance = 1.0 / np.sum(self.best.inverse_cholesky**2, axis=0)
        residual = self.best.weights * variance
        odd = (residual > least * np.sqrt(variance)) & (residual > deeper)
        return int(odd.sum()), int(residual.size)

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
        if not self.samples:
            return mean, sd
        drift, ratio = self.hyperparameter_spread(height, azimuth)
        variance = ratio * sd**2 + drift.var(axis=0)
        return mean + drift.mean(axis=0), np.sqrt(variance)

    def joint(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance of cut-back over a net; see `Posterior.joint`."""
        mean, covariance = self.best.on_net(height, azimuth)
        if not self.samples:
            return mean, covariance
        drift, ratio = self.hyperparameter_spread(height, azimuth)
        flat = drift.reshape(len(self.samples), -1)
        deviation = flat - flat.mean(axis=0)
        deviation /= np.sqrt(len(self.samples))
        root = np.sqrt(ratio).ravel()
        for start in range(0, root.size, _AT_ONCE):  # each piece stays in the cache
            rows = slice(start, start + _AT_ONCE)
            covariance[rows] *= root[rows, None] * root
        # (samples, q): covariance of the samples' means over the samples.
        covariance += deviation.T @ deviation
        return mean + flat.mean(axis=0), covariance

    def rings(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance of cut-back ring by ring; see `Posterior`."""
        mean, covariance = self.best.on_rings(height, azimuth)
        if not self.samples:
            return mean, covariance
        drift, ratio = self.hyperparameter_spread(height, azimuth)
        root = np.sqrt(ratio)
        covariance *= root[:, :, None] * root[:, None, :]
        # (samples, m, k) to (m, samples, k)
        deviation = (drift - drift.mean(axis=0)).swapaxes(0, 1)
        deviation /= np.sqrt(len(self.samples))
        covariance += deviation.swapaxes(1, 2) @ deviation
        return mean + drift.mean(axis=0), covariance

    def sources_of_sum(
        self, height: Float, azimuth: Float, weight: Float, typical: float
    ) -> list[VarianceShare]:
        """Where the variance of a weighted sum comes from; see `Posterior`.

        The error of a linear estimate splits exactly into what the readings did not
        see and what each source of reading error put in.
        """
        best = self.best.variance_of_sum(height, azimuth, weight)
        total = self._variance_of_sum(height, azimuth, weight)
        gain = self.best.gain(height, azimuth, weight)
        read = [
            VarianceShare(s.name, s.kind, s.sd, s.unit, s.variance_of(gain))
            for s in self.noise.sources
        ]
        learned = max(total - best, 0.0)
        unseen = max(total - learned - sum(s.variance for s in read), 0.0)
        whole = unseen + learned + sum(s.variance for s in read)
        spread = float(np.sqrt(learned / whole)) * typical if whole > 0.0 else 0.0
        return [
            VarianceShare("wall between the readings", "A", typical, "mm", unseen),
            VarianceShare("sizes and lengths learned", "A", spread, "mm", learned),
            *read,
        ]

    def _variance_of_sum(self, height: Float, azimuth: Float, weight: Float) -> float:
        """That of a weighted sum by `joint`, without its table."""
        if not self.samples:
            return self.best.variance_of_sum(height, azimuth, weight)
        drift, ratio = self.hyperparameter_spread(height, azimuth)
        root = np.sqrt(ratio).ravel()
        alone = self.best.variance_of_sum(height, azimuth, weight * root)
        return alone + float(np.var(drift.reshape(len(self.samples), -1) @ weight))

    def hyperparameter_spread(
        self, height: Float, azimuth: Float
    ) -> tuple[Float, Float]:
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
        if self.best.covariance.prior.unrepaired is not None:
            return self._stepped_spread(height, azimuth)
        net, drift, ratio = self._on_net
        coarse = np.concatenate([drift, np.log(ratio)[None]])
        fine = interpolate_smoothly(coarse, net, height, azimuth)
        return fine[:-1], np.exp(fine[-1])

    def _stepped_spread(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """`hyperparameter_spread` of a wall that steps at the edges of a repair.

        Means are worked out place by place; variances too, or, on a large net, at part
        of its nodes, of which each node takes the nearest that is in the same zone.
        """
        if height.size * azimuth.size <= _WHOLE:
            choices = self.best, *self.samples
            found = [gp.small_grid(height, azimuth) for gp in choices]
            (mean, *means), sds = (np.stack(each) for each in zip(*found, strict=True))
            return np.stack(means) - mean, _mean_ratio(sds[0], sds[1:])
        mean = self.best.mean_on(height, azimuth)
        drift = np.stack([s.mean_on(height, azimuth) - mean for s in self.samples])
        apart = max(1, round(float(np.sqrt(mean.size / _STEPPED_NODES))))
        rows, columns = (
            np.arange(0, height.size, apart),
            np.arange(0, azimuth.size, apart),
        )
        ratio = self._variance_ratio(height[rows], azimuth[columns])
        if apart == 1:
            return drift, ratio
        prior = self.best.covariance.prior
        return drift, _nearest_alike(_zone_on(prior, height, azimuth), ratio, apart)

    def _variance_ratio(self, height: Float, azimuth: Float) -> Float:
        """Mean of the samples' variances over the best's; (m, k)."""
        sd = self.best.sd_on(height, azimuth)
        sds = np.stack([s.sd_on(height, azimuth) for s in self.samples])
        return _mean_ratio(sd, sds)

    @cached_property
    def _on_net(self) -> tuple[Float, Float, Float]:
        height = self.best.observed.places.height
        low, high = float(height.min()), float(height.max())
        rows = max(2, int(np.ceil((high - low) / _NET_ROW)) + 1)
        net = np.linspace(low, high, rows)
        around = np.arange(_NET_COLUMNS) * 360.0 / _NET_COLUMNS
        mean = self.best.mean_on(net, around)
        drift = np.stack([s.mean_on(net, around) - mean for s in self.samples])
        return net, drift, self._variance_ratio(net, around)


def _mean_ratio(sd: Float, sds: Float) -> Float:
    """Mean of variances over another; sd (m, k) and (samples, m, k) to (m, k)."""
    return np.asarray(np.mean(sds**2, axis=0) / np.maximum(sd**2, 1e-12))


def _zone_on(prior: Prior, height: Float, azimuth: Float) -> Int:
    """Which repaired zone the nodes of a grid are in, from 1, 0 in none; (m, k)."""
    zone = np.zeros((height.size, azimuth.size), dtype=np.int64)
    each = max((p.patterns for p in prior.components if p.repaired), key=len)
    for number, pattern in enumerate(each, 1):
        zone[pattern.on_grid(height, azimuth) > 0.5] = number
    return zone


def _nearest_alike(zone: Int, ratio: Float, apart: int) -> Float:
    """A field that is known at every so many nodes, at all of a net.

    Parameters
    ----------
    zone : int array (m, k)
        Nodes take it from the nearest known one of the same number, by steps of the
        net; where there is none it is 1.
    ratio : array (rows, columns)
        At every ``apart``-th row and column.
    """
    from scipy.ndimage import distance_transform_edt

    known = np.zeros(zone.shape, dtype=bool)
    known[::apart, ::apart] = True
    fine, wide = np.ones(zone.shape), zone.shape[1]
    fine[::apart, ::apart] = ratio
    # thrice round, so that the nearest may lie across the seam
    round_known, round_zone = np.tile(known, 3), np.tile(zone, 3)
    found = np.ones(zone.shape)
    for number in np.unique(zone):
        here = round_known & (round_zone == number)
        if not here.any():
            continue
        row, column = distance_transform_edt(
            ~here, return_distances=False, return_indices=True
        )
        middle = slice(wide, 2 * wide)
        nearest = fine[row[:, middle], column[:, middle] % wide]
        found = np.where(zone == number, nearest, found)
    return found
