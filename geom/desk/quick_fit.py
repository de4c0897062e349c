"""The wall with one more reading, at once: sizes and lengths held from the last fit.

What takes long in `geom.surface.reconstruct` is learning sizes and lengths.  One more
reading hardly moves them; the wall itself, for given sizes and lengths, is one
Cholesky factor away.

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
from geom.surface import Belief
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.observations import Noise, observe
from geom.surface.gp.posterior import Process
from geom.surface.reconstruct import expected_prior
from geom.surface.rods.datum_bands import sound_wall
from geom.surface.rods.errors import rod_noise
from geom.surface.rods.fit import slopes_of
from geom.units import Float


@dataclass(frozen=True)
class Held:
    """Sizes and lengths that are held while readings come.

    Attributes
    ----------
    covariance : Covariance
    errors : dict of float, mm
        Standard uncertainty of each learned source of reading error, by its name.
    belief : Belief or None
        The last full fit, for how much its other choices of sizes and lengths differ;
        None before there is one.
    """

    covariance: Covariance
    errors: dict[str, float] = field(default_factory=dict)
    belief: Belief | None = None

    @classmethod
    def of(cls, belief: Belief) -> Held:
        """As a full fit learned them."""
        errors = {source.name: source.sd for source in belief.noise.learned}
        return cls(belief.best.covariance, errors, belief)

    @classmethod
    def expected(cls, readings: RodReadings, design: Design) -> Held:
        """As they are before anything is learned: the medians of the prior."""
        prior = expected_prior(readings, design)
        return cls(Covariance(prior, prior.median))

    def filled(self, noise: Noise) -> Noise:
        """Reading errors of a sheet, the learned ones as held."""
        sds = [self.errors.get(s.name, s.sd) for s in noise.learned]
        return noise.with_learned(np.array(sds, dtype=np.float64))


@dataclass(frozen=True)
class QuickWall:
    """What the readings say of cut-back with sizes and lengths held."""

    process: Process
    held: Held

    def on_grid(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and standard deviation of cut-back on a grid.

        How much the other choices of the last full fit differ from its best is added
        as it was then.

        Parameters
        ----------
        height : array (m,), mm, rising
        azimuth : array (k,), degrees

        Returns
        -------
        mean, sd : array (m, k), mm
        """
        mean, sd = self.process.on_grid(height, azimuth)
        belief = self.held.belief
        if belief is None or not belief.others:
            return mean, sd
        drift, ratio = belief.spread(height, azimuth)
        return mean + drift.mean(axis=0), np.sqrt(ratio * sd**2 + drift.var(axis=0))


@on_one_thread_when_small(lambda readings, *_: len(readings))
def quick_wall(readings: RodReadings, held: Held, design: Design) -> QuickWall:
    """The wall of some readings, sizes and lengths held.

    Parameters
    ----------
    readings : RodReadings
        Radii.
    held : Held
    design : Design
    """
    sheet = readings.joined(sound_wall(design, readings))
    sound = np.arange(len(sheet)) >= len(readings)
    observed = observe(sheet, design)
    noise = held.filled(rod_noise(sheet, design, sound=sound))
    process = Process(held.covariance, noise, observed)
    if np.isnan(sheet.sd).any():
        slopes = slopes_of(process, observed.places, sheet, design)
        noise = held.filled(rod_noise(sheet, design, sound=sound, slopes=slopes))
        process = Process(held.covariance, noise, observed)
    return QuickWall(process, held)
