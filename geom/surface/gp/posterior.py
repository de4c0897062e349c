"""The process given the readings: mean, covariance and gain at any places.

References
----------
Rasmussen and Williams (2006), eq. 2.25 and 2.26 (predictive mean and covariance).

What the readings say of the wall, sizes and lengths being uncertain too.

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

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from geom.parallel import all_threads_for
from geom.surface.gp.covariance import Covariance, TowardGrid
from geom.surface.gp.kernels import Places
from geom.surface.gp.observations import Noise, Observed
from geom.surface.grid import interpolate_smoothly
from geom.units import Bool, Float

_CHUNK_BYTES = 8e6
#: Readings from which the sd on a grid is worked out from the nearest alone, and how
#: many those are.
_MANY, _NEAR = 900, 600


@dataclass(frozen=True)
class Process:
    """What the readings say of cut-back for one choice of sizes and lengths.

    Attributes
    ----------
    covariance : Covariance
        The prior with its sizes and lengths filled in.
    noise : Noise
    observed : Observed
    """

    covariance: Covariance
    noise: Noise
    observed: Observed

    @cached_property
    def unfactor(self) -> Float:
        """Inverse of the lower Cholesky factor of the readings' covariance; (n, n)."""
        places = self.observed.places
        seen = self.observed.both(self.covariance.between(places, places))
        seen += self.noise.matrix
        factor = cholesky(seen, lower=True, check_finite=False)
        eye = np.eye(len(self.observed))
        return np.asarray(solve_triangular(factor, eye, lower=True, check_finite=False))

    @cached_property
    def weights(self) -> Float:
        """Inverse covariance of the readings times their values; shape (n,)."""
        return self.unfactor.T @ (self.unfactor @ self.observed.value)

    def mean_on(self, height: Float, azimuth: Float) -> Float:
        """Mean of cut-back on a grid, mm; (m, k)."""
        weight = self.observed.at_places(self.weights)
        return self._toward(azimuth).pulled(weight, height)

    def on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and standard deviation of cut-back on a grid.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees

        Returns
        -------
        mean, sd : array (m, k), mm
        """
        mean = self.mean_on(height, azimuth)
        left = self.covariance.variance(height, azimuth)
        with all_threads_for(len(self.observed) * left.size):
            for block, process in self._blocks(height):
                toward = process._toward(azimuth)
                for part in process._small(block, azimuth.size):
                    cross = process._seen_from(toward, height[part])
                    known = process.unfactor @ cross
                    told = np.einsum("ij,ij->j", known, known)
                    left[part] -= told.reshape(-1, azimuth.size)
        return mean, np.sqrt(np.maximum(left, 0.0))

    def _blocks(self, height: Float) -> Iterator[tuple[slice, Process]]:
        """Rows of a grid, and the readings that bear on each.

        Of very many readings only the nearest in height are taken for the variance:
        fewer readings can only leave more of it, so the sd is never too small.
        """
        count = len(self.observed)
        if count <= _MANY:
            yield slice(0, height.size), self
            return
        block = max(1, height.size * _NEAR // (4 * count))
        for start in range(0, height.size, block):
            rows = slice(start, min(start + block, height.size))
            yield rows, self.taken(self._nearest(height[rows].mean(), _NEAR))

    def _small(self, rows: slice, columns: int) -> Iterator[slice]:
        """Rows in pieces whose tables fit into the processor's cache or nearly so."""
        step = max(1, int(_CHUNK_BYTES / (8.0 * len(self.observed) * columns)))
        for start in range(rows.start, rows.stop, step):
            yield slice(start, min(start + step, rows.stop))

    def _nearest(self, height: float, count: int) -> Bool:
        """The readings nearest to a height; mask (n,)."""
        away = np.abs(self.observed.places.height[: len(self.observed)] - height)
        kept = np.zeros(away.size, dtype=bool)
        kept[np.argsort(away, kind="stable")[:count]] = True
        return kept

    def jointly(self, places: Places) -> tuple[Float, Float]:
        """Mean and covariance of cut-back at places.

        Returns
        -------
        mean : array (q,), mm
        covariance : array (q, q), mm2
        """
        cross = self.seen_from(places)
        known = self.unfactor @ cross
        alone = self.covariance.between(places, places)
        return self.weights @ cross, alone - known.T @ known

    def taken(self, rows: Bool) -> Process:
        """The same sizes and lengths with some of the readings; a mask (n,)."""
        return Process(
            self.covariance, self.noise.taken(rows), self.observed.taken(rows)
        )

    def foretell(self, observed: Observed, noise: Noise) -> tuple[Float, Float]:
        """Mean and variance of readings yet to be taken, their own errors included.

        Returns
        -------
        mean : array (r,), mm
            Cut-back, or sum of two.
        variance : array (r,), mm2
        """
        mean, covariance = self.jointly(observed.places)
        spread = np.diag(observed.both(covariance)) + noise.variance
        return observed.gather(mean), spread

    def change(self, start: Places, end: Places) -> Float:
        """Mean cut-back at some places less that at others, mm; shape (q,)."""
        return self.weights @ (self.seen_from(end) - self.seen_from(start))

    def on_net(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance at every node of a net; as `jointly`, only faster.

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
        places = net_places(height, azimuth)
        cross = self._seen_from(self._toward(azimuth), height)
        known = self.unfactor @ cross
        alone = TowardGrid(self.covariance, places, azimuth).rows(height)
        alone = alone.reshape(len(places), len(places))
        alone -= known.T @ known
        return self.weights @ cross, alone

    def gain(self, height: Float, azimuth: Float, weight: Float) -> Float:
        """How a weighted sum of cut-back over a net follows each reading.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees
        weight : array (m * k,)
            Azimuth runs fastest.

        Returns
        -------
        array (n,)
            Change of the sum per change of a reading.
        """
        pulled = self.seen_from_net(height, azimuth) @ weight
        return np.asarray(self.unfactor.T @ (self.unfactor @ pulled))

    def variance_of_sum(self, height: Float, azimuth: Float, weight: Float) -> float:
        """Variance of a weighted sum of cut-back over the nodes of a net.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees
        weight : array (m * k,)
            Azimuth runs fastest.
        """
        toward = TowardGrid(self.covariance, net_places(height, azimuth), azimuth)
        alone = float(toward.pulled(weight, height).ravel() @ weight)
        known = self.unfactor @ (self.seen_from_net(height, azimuth) @ weight)
        return alone - float(known @ known)

    def seen_from(self, places: Places) -> Float:
        """Covariance of the readings with cut-back at places, mm2; (n, q)."""
        return self.observed.gather(
            self.covariance.between(self.observed.places, places)
        )

    def seen_from_net(self, height: Float, azimuth: Float) -> Float:
        """The same with every node of a net, azimuth running fastest; (n, m * k)."""
        return self._seen_from(self._toward(azimuth), height)

    def _toward(self, azimuth: Float) -> TowardGrid:
        return TowardGrid(self.covariance, self.observed.places, azimuth)

    def _seen_from(self, toward: TowardGrid, height: Float) -> Float:
        table = toward.rows(height)
        return self.observed.gather(table.reshape(table.shape[0], -1))


def net_places(height: Float, azimuth: Float) -> Places:
    """Every node of a net as a place; azimuth runs fastest."""
    return Places(np.tile(azimuth, height.size), np.repeat(height, azimuth.size))


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

        def finer(field: Float) -> Float:
            return interpolate_smoothly(field, net, height, azimuth)

        return np.stack([finer(mean) for mean in drift]), np.exp(finer(np.log(ratio)))

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
