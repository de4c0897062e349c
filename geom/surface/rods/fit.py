"""The wall fitted to its readings: errors, outliers, hyperparameters, posterior."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.readings.rod import pseudo_readings
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.hyperparameters import MarginalLikelihood, fit_map, laplace_draws
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import ObservationOperator, observe
from geom.surface.gp.posterior import GPPosterior
from geom.surface.gp.prior import Prior
from geom.surface.radial import Outlying, Rejected
from geom.surface.rods.errors import Slopes, rod_noise
from geom.surface.rods.outliers import Outlier, confirmed_outliers, outlier_candidates
from geom.units import Bool, Float

#: Choices of sizes and lengths besides the best: this many by the number of readings,
#: within limits, for of few readings they differ more and cost less.  Rebuild from seed
#: to seed: 8 x 6 with 32, 0.4 to 0.6 %; 12 x 10 with 16, 0.1 to 1.3 %.
_SAMPLES, _LEAST_SAMPLES, _MOST_SAMPLES = 2000, 8, 32
#: Readings past which the choices differ by less than matters, and none are drawn.
MAX_POINTS = 900

#: Step of the differences that tell the wall's slope at a reading, mm.
_STEP = 5.0

#: A reading further off than this is a slip whatever is written next to it, mm.
_GROSS = 50.8


@dataclass(frozen=True)
class Fit:
    """What the readings say, and which of them were left out.

    Attributes
    ----------
    posterior : GPPosterior
    rejected : tuple of Rejected
    n_readings : int
        Readings that it rests on, stand-ins of datum bands, which follow them, apart.
    """

    posterior: GPPosterior
    rejected: tuple[Rejected, ...]
    n_readings: int


def fit_wall(
    readings: RodReadings,
    design: Design,
    prior: Prior,
    *,
    seed: int = 0,
    may_be_outlier: Bool | None = None,
    n_samples: int | None = None,
) -> Fit:
    """Fit the wall to its readings.

    Parameters
    ----------
    readings : RodReadings
    design : Design
        Its datum bands are taken as sound wall unless the readings belie them.
    prior : Prior
    seed : int
        Of the draws of sizes and lengths.
    may_be_outlier : bool array (n,), optional
        Which readings may be slips of the pen; default all.
    n_samples : int, even
        Choices of sizes and lengths other than the best.
    """
    stand_ins = pseudo_readings(design, readings)
    sheet = readings.joined(stand_ins)
    pseudo = np.arange(len(sheet)) >= len(readings)
    observed = observe(sheet, design)
    likelihood = MarginalLikelihood.of(
        observed, rod_noise(sheet, design, pseudo=pseudo), prior
    )
    best = fit_map(likelihood)
    outliers = [
        outlier
        for outlier in _outliers(
            likelihood, best, _may_be_outlier(may_be_outlier, pseudo)
        )
        if not _looked_at(outlier, sheet, observed)
    ]
    kept = np.ones(len(sheet), dtype=bool)
    kept[[outlier.row for outlier in outliers]] = False
    if outliers:
        likelihood = likelihood.subset(kept)
        best = fit_map(likelihood)
    if np.isnan(sheet.sd).any():
        gp = ConditionalGP(*likelihood.filled(best), likelihood.observed)
        slopes = slopes_of(gp, observed.places, sheet, design)
        noise = rod_noise(sheet, design, pseudo=pseudo, slopes=slopes).subset(kept)
        likelihood = MarginalLikelihood.of(likelihood.observed, noise, prior)
        best = fit_map(likelihood, start=best)
    rejected = tuple(_rejected(outlier, sheet, observed) for outlier in outliers)
    return Fit(
        sample_posterior(likelihood, best, seed=seed, n_samples=n_samples),
        rejected,
        int((kept & ~pseudo).sum()),
    )


def _looked_at(
    outlier: Outlier, sheet: RodReadings, observed: ObservationOperator
) -> bool:
    """Whether somebody wrote a remark next to a reading that is not grossly off.

    Who writes "slag hanging" has looked at the wall there: what stands proud or lies
    back by a mark of the rod is then more likely the wall than a slip.
    """
    off = float(observed.value[outlier.row]) - outlier.expected
    return bool(sheet.note[outlier.row].strip()) and abs(off) < _GROSS


def _may_be_outlier(named: Bool | None, pseudo: Bool) -> Bool:
    if named is None:
        return ~pseudo
    return np.append(named, np.zeros(pseudo.size - named.size, dtype=bool))


def _outliers(
    likelihood: MarginalLikelihood, best: Float, eligible: Bool
) -> list[Outlier]:
    """The readings to leave out."""
    if not eligible.any():
        return []
    whole = ConditionalGP(*likelihood.filled(best), likelihood.observed)
    candidates = outlier_candidates(whole, eligible)
    if not candidates.any():
        return []
    calm = likelihood.subset(~candidates)
    rest = ConditionalGP(*calm.filled(fit_map(calm, start=best)), calm.observed)
    return confirmed_outliers(whole, rest, candidates)


def sample_posterior(
    likelihood: MarginalLikelihood,
    best: Float,
    *,
    seed: int = 0,
    n_samples: int | None = None,
) -> GPPosterior:
    """The wall with the most probable sizes and lengths, and with others as likely."""
    count = len(likelihood.observed)
    if n_samples is None:
        wanted = int(np.clip(_SAMPLES // count, _LEAST_SAMPLES, _MOST_SAMPLES))
        n_samples = 2 * (wanted // 2)
    many = n_samples if count <= MAX_POINTS else 0
    draws = laplace_draws(likelihood, best, count=many, seed=seed)
    processes = [
        ConditionalGP(*likelihood.filled(theta), likelihood.observed)
        for theta in (best, *draws)
    ]
    return GPPosterior(processes[0], tuple(processes[1:]))


def slopes_of(
    gp: ConditionalGP, places: Points2D, sheet: RodReadings, design: Design
) -> Slopes:
    """How what is read changes with azimuth and height, from the wall as first fitted.

    Cut-back is read against the drawing at its own place, a radius is not: there the
    taper of the drawing counts too.  Of a diameter both ends count.
    """
    turn = np.rad2deg(_STEP / design.profile.mean_radius)
    around = gp.change(places, Points2D(places.azimuth + turn, places.height)) / turn
    up = gp.change(places, Points2D(places.azimuth, places.height + _STEP)) / _STEP
    taper = design.profile.slope_at(places.height)
    n = len(sheet)
    far = sheet.is_kind("diameter")
    total_up = up[:n] + np.where(sheet.is_kind("cutback"), 0.0, taper[:n])
    total_up[far] += up[n:] + taper[n:]
    total_around = around[:n].copy()
    total_around[far] += around[n:]
    return Slopes(total_around, total_up)


def _rejected(
    outlier: Outlier, sheet: RodReadings, observed: ObservationOperator
) -> Rejected:
    value = float(sheet.value[outlier.row])
    expected = value - float(observed.value[outlier.row]) + outlier.expected
    return Rejected(
        sheet.place[outlier.row],
        sheet.kind[outlier.row],
        value,
        expected,
        Outlying(outlier.sd),
    )
