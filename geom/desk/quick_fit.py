"""The wall with one more reading, at once: hyperparameters held from the last fit.

What takes long in `geom.surface.reconstruct` is learning hyperparameters.  One more
reading hardly moves them; the wall itself, for given ones, is one Cholesky factor
off, and the covariances that it needs are remembered from reading to reading.

References
----------
Rasmussen and Williams (2006), eq. 2.25 and 2.26 (predictive mean and covariance).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geom.design import Design
from geom.desk.remembered import RememberedCovariance
from geom.parallel import on_one_thread
from geom.readings import RodReadings
from geom.readings.rod import pseudo_readings
from geom.surface import GPPosterior
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.observations import Noise, observe
from geom.surface.reconstruct import expected_prior
from geom.surface.rods.errors import rod_noise
from geom.surface.rods.fit import slopes_of
from geom.units import Float

#: Nets on which the last full fit's spread is kept.
_NETS = 8
#: Readings from which a grid is worked out as in `ConditionalGP`, in parts.
_MOST_READINGS = 800


@dataclass(frozen=True)
class _Spread:
    """How the walls of other hyperparameters differ from the best's, on a net.

    Attributes
    ----------
    mean : array (m, k), mm
    variance : array (m, k), mm2
    ratio : array (m, k)
        Of their own variances to the best's.
    """

    mean: Float
    variance: Float
    ratio: Float


@dataclass(frozen=True)
class FixedHyperparameters:
    """Hyperparameters that are held while readings come.

    Attributes
    ----------
    errors : dict of float, mm
        Standard uncertainty of each learned source of reading error, by its name.
    posterior : GPPosterior or None
        The last full fit, for how much its other hyperparameters differ;
        None before there is one.
    """

    covariance: RememberedCovariance
    errors: dict[str, float] = field(default_factory=dict)
    posterior: GPPosterior | None = None
    _spreads: dict[bytes, _Spread] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @classmethod
    def of(cls, posterior: GPPosterior) -> FixedHyperparameters:
        """As a full fit learned them."""
        errors = {source.name: source.sd for source in posterior.noise.learned}
        best = posterior.best.covariance
        return cls(RememberedCovariance(best.prior, best.theta), errors, posterior)

    @classmethod
    def expected(cls, readings: RodReadings, design: Design) -> FixedHyperparameters:
        """As they are before anything is learned: the medians of the prior."""
        prior = expected_prior(readings, design)
        return cls(RememberedCovariance(prior, prior.median))

    def noise_with(self, noise: Noise) -> Noise:
        """Reading errors of a sheet, the learned ones as held."""
        sds = [self.errors.get(s.name, s.sd) for s in noise.learned]
        return noise.with_learned(np.array(sds, dtype=np.float64))

    def spread(self, height: Float, azimuth: Float) -> _Spread | None:
        """How much other hyperparameters of the last full fit differ, on a net.

        None where there are none.
        """
        posterior = self.posterior
        if posterior is None or not posterior.samples:
            return None
        key = height.tobytes() + b"|" + azimuth.tobytes()
        if key not in self._spreads:
            drift, ratio = posterior.hyperparameter_spread(height, azimuth)
            if len(self._spreads) >= _NETS:
                self._spreads.clear()
            self._spreads[key] = _Spread(drift.mean(axis=0), drift.var(axis=0), ratio)
        return self._spreads[key]


@dataclass(frozen=True)
class QuickFit:
    """Cut-back by the readings with hyperparameters held."""

    gp: ConditionalGP
    fixed: FixedHyperparameters

    def on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and standard deviation of cut-back on a grid, as `GPPosterior.on_grid`.

        How much the other choices of the last full fit differ from its best is added
        as it was then.
        """
        mean, sd = self._held_on_grid(height, azimuth)
        spread = self.fixed.spread(height, azimuth)
        if spread is None:
            return mean, sd
        return mean + spread.mean, np.sqrt(spread.ratio * sd**2 + spread.variance)

    def _held_on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """As `ConditionalGP.on_grid`, the covariances remembered."""
        observed = self.gp.observed
        if len(observed) > _MOST_READINGS:
            return self.gp.on_grid(height, azimuth)
        covariance = self.fixed.covariance
        cross = observed.apply(covariance.over_net(observed.places, height, azimuth))
        known = self.gp.whitened(cross)
        # Diagonal of C' S^-1 C: sum over readings i at each node j.
        explained = np.einsum("ij,ij->j", known, known).reshape(-1, azimuth.size)
        left = covariance.variance(height, azimuth) - explained
        mean = (self.gp.weights @ cross).reshape(-1, azimuth.size)
        return mean, np.sqrt(np.maximum(left, 0.0))


@on_one_thread
def quick_fit(
    readings: RodReadings, fixed: FixedHyperparameters, design: Design
) -> QuickFit:
    """The wall of some readings, hyperparameters held.

    Parameters
    ----------
    readings : RodReadings
        Radii.
    """
    sheet = readings.joined(pseudo_readings(design, readings))
    pseudo = np.arange(len(sheet)) >= len(readings)
    observed = observe(sheet, design)
    noise = fixed.noise_with(rod_noise(sheet, design, pseudo=pseudo))
    gp = ConditionalGP(fixed.covariance, noise, observed)
    if np.isnan(sheet.sd).any():
        slopes = slopes_of(gp, observed.places, sheet, design)
        noise = fixed.noise_with(rod_noise(sheet, design, pseudo=pseudo, slopes=slopes))
        gp = ConditionalGP(fixed.covariance, noise, observed)
    return QuickFit(gp, fixed)
