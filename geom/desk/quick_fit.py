"""The wall with one more reading, at once: hyperparameters held from the last fit.

What takes long in `geom.surface.reconstruct` is learning hyperparameters.  One more
reading hardly moves them; the wall itself, for given ones, is one Cholesky factor
off.

References
----------
Rasmussen and Williams (2006), eq. 2.25 and 2.26 (predictive mean and covariance).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geom.design import Design
from geom.parallel import on_one_thread_when_small
from geom.readings import RodReadings
from geom.readings.rod import pseudo_readings
from geom.surface import GPPosterior
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.observations import Noise, observe
from geom.surface.reconstruct import expected_prior
from geom.surface.rods.errors import rod_noise
from geom.surface.rods.fit import slopes_of
from geom.units import Float


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

    covariance: Covariance
    errors: dict[str, float] = field(default_factory=dict)
    posterior: GPPosterior | None = None

    @classmethod
    def of(cls, posterior: GPPosterior) -> FixedHyperparameters:
        """As a full fit learned them."""
        errors = {source.name: source.sd for source in posterior.noise.learned}
        return cls(posterior.best.covariance, errors, posterior)

    @classmethod
    def expected(cls, readings: RodReadings, design: Design) -> FixedHyperparameters:
        """As they are before anything is learned: the medians of the prior."""
        prior = expected_prior(readings, design)
        return cls(Covariance(prior, prior.median))

    def noise_with(self, noise: Noise) -> Noise:
        """Reading errors of a sheet, the learned ones as held."""
        sds = [self.errors.get(s.name, s.sd) for s in noise.learned]
        return noise.with_learned(np.array(sds, dtype=np.float64))


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
        mean, sd = self.gp.on_grid(height, azimuth)
        posterior = self.fixed.posterior
        if posterior is None or not posterior.samples:
            return mean, sd
        drift, ratio = posterior.hyperparameter_spread(height, azimuth)
        return mean + drift.mean(axis=0), np.sqrt(ratio * sd**2 + drift.var(axis=0))


@on_one_thread_when_small(lambda readings, *_: len(readings))
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
