"""The Gaussian process given the readings, for one choice of hyperparameters.

With K the prior covariance of cut-back at the places read, A the observation operator
(a diameter sees the sum of two places), N the covariance of the reading errors and y
the readings, the covariance of the readings is ``S = A K A' + N`` and at other places,
with ``C = A K_places,other``,

    mean = C' S^-1 y,    covariance = K_other,other - C' S^-1 C.

S is factored once, ``S = L L'``; ``inverse_cholesky`` holds ``L^-1``.

References
----------
Rasmussen and Williams (2006), eq. 2.25 and 2.26 (predictive mean and covariance).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from geom.surface.gp.covariance import Covariance, GridCrossCovariance
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import Noise, ObservationOperator
from geom.units import Bool, Float

_CHUNK_BYTES = 8e6
#: Readings from which the sd on a grid is worked out from the nearest alone, and how
#: many those are.
_MANY, _NEAR = 900, 600


@dataclass(frozen=True)
class ConditionalGP:
    """What the readings say of cut-back for one choice of sizes and lengths.

    Attributes
    ----------
    covariance : Covariance
        The prior with its sizes and lengths filled in.
    seen : Covariance, optional
        That of the part of the wall which readings follow; default all of it.  Of
        means of readings the rest is among their errors.
    """

    covariance: Covariance
    noise: Noise
    observed: ObservationOperator
    seen: Covariance | None = None

    @property
    def _seen(self) -> Covariance:
        return self.covariance if self.seen is None else self.seen

    @cached_property
    def inverse_cholesky(self) -> Float:
        """Inverse of the lower Cholesky factor of the readings' covariance; (n, n)."""
        return _inverse_factor(self._covariance_of_readings())

    def _covariance_of_readings(self) -> Float:
        places = self.observed.places
        seen = self.observed.sandwich(self._seen.between(places, places))
        seen += self.noise.matrix
        return seen

    @cached_property
    def inverse(self) -> Float:
        """Inverse of the readings' covariance; (n, n)."""
        return np.asarray(self.inverse_cholesky.T @ self.inverse_cholesky)

    @cached_property
    def weights(self) -> Float:
        """Inverse covariance of the readings times their values; shape (n,)."""
        return self.inverse_cholesky.T @ (self.inverse_cholesky @ self.observed.value)

    @property
    def mean_of_readings(self) -> Float:
        """Mean of what was read, without its errors; (n,)."""
        # A K A' S^-1 y with A K A' = S - N
        return np.asarray(self.observed.value - self.noise.times(self.weights))

    @property
    def variance_by_noise(self) -> Float:
        """Variance of that mean by the errors of the readings, mm2; (n,)."""
        return self.noise.variances_of(
            np.eye(len(self.observed)) - self.noise.times(self.inverse)
        )

    def reading(self, value: Float) -> ConditionalGP:
        """The same had other values (n,) been read."""
        other = replace(self, observed=replace(self.observed, value=value))
        # it does not go by the values
        other.__dict__["inverse_cholesky"] = self.inverse_cholesky
        return other

    def whitened(self, cross: Float, *, spoiled: bool = False) -> Float:
        """Covariances of the readings, divided by their Cholesky factor; (n, q).

        Parameters
        ----------
        spoiled : bool
            Whether ``cross`` may be written over.
        """
        from scipy.linalg.blas import dtrmm

        # L^-1 is triangular: half the work of a full product
        inverse = self.inverse_cholesky.T
        return np.asarray(
            dtrmm(1.0, inverse, cross.T, side=1, overwrite_b=int(spoiled)).T
        )

    def mean_on(self, height: Float, azimuth: Float) -> Float:
        """Mean of cut-back on a grid, mm; (m, k)."""
        weight = self.observed.spread_to_places(self.weights)
        return self._cross_covariance(azimuth).weighted_sum(weight, height)

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
        return self.mean_on(height, azimuth), self.sd_on(height, azimuth)

    def small_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """As `on_grid`, of a grid so small that one table serves for both."""
        if len(self.observed) > _MANY:
            return self.on_grid(height, azimuth)
        cross = self._cross_of_readings(self._cross_covariance(azimuth), height)
        mean = self.weights @ cross
        known = self.whitened(cross, spoiled=True)
        left = self.covariance.variance(height, azimuth)
        left -= np.einsum("ij,ij->j", known, known).reshape(left.shape)
        return mean.reshape(left.shape), np.sqrt(np.maximum(left, 0.0))

    def sd_on(self, height: Float, azimuth: Float) -> Float:
        """Standard deviation of cut-back on a grid, mm; (m, k)."""
        left = self.covariance.variance(height, azimuth)
        for block, gp in self._blocks(height):
            to_grid = gp._cross_covariance(azimuth)
            for part in gp._small(block, azimuth.size):
                cross = gp._cross_of_readings(to_grid, height[part])
                known = gp.whitened(cross, spoiled=True)
                # Diagonal of C' S^-1 C: sum over readings i at each node j.
                explained = np.einsum("ij,ij->j", known, known)
                left[part] -= explained.reshape(-1, azimuth.size)
        return np.asarray(np.sqrt(np.maximum(left, 0.0)))

    def _blocks(self, height: Float) -> Iterator[tuple[slice, ConditionalGP]]:
        """Rows of a grid, and the readings that bear on each.

        Of very many readings only the nearest in height are taken for the variance:
        fewer readings can only leave more of it, so the sd is never too small.
        """
        count = len(self.observed)
        if count <= _MANY:
            yield slice(0, height.size), self
            return
        block = max(1, height.size * _NEAR // (4 * count))
        whole = self._covariance_of_readings()
        for start in range(0, height.size, block):
            rows = slice(start, min(start + block, height.size))
            near = self._nearest(height[rows].mean(), _NEAR)
            some = self.subset(near)
            some.__dict__["inverse_cholesky"] = _inverse_factor(
                whole[np.ix_(near, near)]
            )
            yield rows, some

    def _small(self, rows: slice, columns: int) -> Iterator[slice]:
        """Rows in pieces whose tables fit into the processor's cache or nearly so."""
        step = max(1, int(_CHUNK_BYTES / (8.0 * len(self.observed) * columns)))
        for start in range(rows.start, rows.stop, step):
            yield slice(start, min(start + step, rows.stop))

    def _nearest(self, height: float, count: int) -> Bool:
        """The readings nearest to a height; mask (n,)."""
        distance = np.abs(self.observed.places.height[: len(self.observed)] - height)
        kept = np.zeros(distance.size, dtype=bool)
        kept[np.argsort(distance, kind="stable")[:count]] = True
        return kept

    def joint(self, places: Points2D) -> tuple[Float, Float]:
        """Mean and covariance of cut-back at places.

        Returns
        -------
        mean : array (q,), mm
        covariance : array (q, q), mm2
        """
        cross = self.cross_covariance(places)
        known = self.whitened(cross)
        alone = self.covariance.between(places, places)
        return self.weights @ cross, alone - known.T @ known

    def subset(self, rows: Bool) -> ConditionalGP:
        """The same sizes and lengths with some of the readings; a mask (n,)."""
        return ConditionalGP(
            self.covariance,
            self.noise.subset(rows),
            self.observed.subset(rows),
            self.seen,
        )

    def predict(
        self, observed: ObservationOperator, noise: Noise
    ) -> tuple[Float, Float]:
        """Mean and variance of readings yet to be taken, their own errors included.

        Returns
        -------
        mean : array (r,), mm
            Cut-back, or sum of two.
        variance : array (r,), mm2
        """
        mean, covariance = self.joint(observed.places)
        spread = np.diag(observed.sandwich(covariance)) + noise.variance
        return observed.apply(mean), spread

    def change(self, start: Points2D, end: Points2D) -> Float:
        """Mean cut-back at some places less that at others, mm; shape (q,)."""
        return self.weights @ (
            self.cross_covariance(end) - self.cross_covariance(start)
        )

    def on_net(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance at every node of a net; as `joint`, only faster.

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
        places = net_points(height, azimuth)
        cross = self._cross_of_readings(self._cross_covariance(azimuth), height)
        known = self.whitened(cross)
        alone = GridCrossCovariance(self.covariance, places, azimuth).rows(height)
        alone = alone.reshape(len(places), len(places))
        alone -= known.T @ known
        return self.weights @ cross, alone

    def on_rings(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """As `on_net`, ring by ring: no covariance of one ring with another.

        Returns
        -------
        mean : array (m, k), mm
        covariance : array (m, k, k), mm2
        """
        cross = self._cross_of_readings(self._cross_covariance(azimuth), height)
        shape = height.size, azimuth.size
        # (readings, m, k) to (m, readings, k)
        known = self.whitened(cross).reshape(-1, *shape).swapaxes(0, 1)
        rings = []
        for here, read in zip(height, known, strict=True):
            ring = np.array([here])
            places = net_points(ring, azimuth)
            alone = GridCrossCovariance(self.covariance, places, azimuth).rows(ring)
            rings.append(alone[:, 0] - read.T @ read)
        return (self.weights @ cross).reshape(shape), np.stack(rings)

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
        pulled = self.cross_covariance_with_net(height, azimuth) @ weight
        return np.asarray(self.inverse_cholesky.T @ (self.inverse_cholesky @ pulled))

    def gains(self, known: Float) -> Float:
        """How the mean at every node of a net follows each reading; (q, n).

        Parameters
        ----------
        known : array (n, q)
            Of the nodes, from `whitened`.
        """
        from scipy.linalg.blas import dtrmm

        inverse = self.inverse_cholesky.T
        return np.asarray(dtrmm(1.0, inverse, known.T, side=1, trans_a=1))

    def variance_of_sum(self, height: Float, azimuth: Float, weight: Float) -> float:
        """Variance of a weighted sum of cut-back over the nodes of a net.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees
        weight : array (m * k,)
            Azimuth runs fastest.
        """
        to_grid = GridCrossCovariance(
            self.covariance, net_points(height, azimuth), azimuth
        )
        alone = float(to_grid.weighted_sum(weight, height).ravel() @ weight)
        known = self.inverse_cholesky @ (
            self.cross_covariance_with_net(height, azimuth) @ weight
        )
        return alone - float(known @ known)

    def cross_covariance(self, places: Points2D) -> Float:
        """Covariance of the readings with cut-back at places, mm2; (n, q)."""
        return self.observed.apply(self._seen.between(self.observed.places, places))

    def cross_covariance_with_net(self, height: Float, azimuth: Float) -> Float:
        """The same with every node of a net, azimuth running fastest; (n, m * k)."""
        return self._cross_of_readings(self._cross_covariance(azimuth), height)

    def _cross_covariance(self, azimuth: Float) -> GridCrossCovariance:
        return GridCrossCovariance(self._seen, self.observed.places, azimuth)

    def _cross_of_readings(self, to_grid: GridCrossCovariance, height: Float) -> Float:
        table = to_grid.rows(height)
        return self.observed.apply(table.reshape(table.shape[0], -1))


def _inverse_factor(covariance: Float) -> Float:
    """Inverse of the lower Cholesky factor; (n, n)."""
    from scipy.linalg import cholesky, lapack

    factor = cholesky(covariance, lower=True, check_finite=False)
    # laid out as the products with it want it
    return np.ascontiguousarray(lapack.dtrtri(factor, lower=1)[0])


def net_points(height: Float, azimuth: Float) -> Points2D:
    """Every node of a net as a place; azimuth runs fastest."""
    return Points2D(np.tile(azimuth, height.size), np.repeat(height, azimuth.size))
