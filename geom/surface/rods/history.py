"""The prior with history: what past surveys of the same furnace teach.

A furnace wears after its own fashion: the melting zone lies where it lies, blast and
charging burn the same side, each tuyere leaves its mark.  From heat to heat the whole
is deeper or shallower, and somewhat higher or lower.  `learn_prior` aligns the surveys
of earlier heats by a vertical **shift** each and learns

- the **pattern**: their mean, each place weighted by how well it was known, smoothed;
- the standard deviations of shift, of **scale** (depth of the ring of wear against the
  pattern's) and of the **residual** of places after that.  Two or three surveys tell a
  variance badly, so each is shrunk towards a value of our own that counts as much as
  `history_surveys` surveys (posterior mean of a scaled inverse chi-square prior).

The pattern enters as further components of the prior covariance, in which it appears
times itself: the wall is so many times the pattern, and how many times is learned from
the present readings, for the ring and for the rest of it.  Whether the past is used at
all is decided by the readings too, by the Bayes factor (`prior_with_history`).

References
----------
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed. CRC Press.  Section 2.6
(inverse chi-square prior of a variance) and 5.4 (normal hierarchy, shrinkage).
Kass, R. E. and Raftery, A. E. (1995). Bayes factors. JASA 90(430), 773-795.  Section
3.2: a Bayes factor of 20 is strong evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.readings import PastSurvey, RodReadings
from geom.shown import Shown
from geom.surface.assumptions import ASSUMED
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.fields import Pattern, shifted_rows
from geom.surface.gp.hyperparameters import (
    MarginalLikelihood,
    log_evidence,
    random_subset,
)
from geom.surface.gp.observations import observe
from geom.surface.gp.prior import Component, LogNormal, Prior
from geom.surface.grid import interpolate_columns, interpolate_rows, row_index
from geom.surface.radial import RadialSurface
from geom.surface.rods.errors import rod_noise
from geom.surface.rods.outliers import outlier_candidates
from geom.units import Float

#: The net the pattern is stated on: rows at most this far apart, mm, and columns.
_ROW = 10.0
_COLUMNS = 120

#: Rides that are tried, mm.
SHIFTS = np.arange(-60.0, 60.5, 5.0)


def net_over(surveys: Sequence[PastSurvey]) -> Float:
    """Evenly spread heights over all that was surveyed, mm; shape (m,)."""
    low = min(float(survey.height[0]) for survey in surveys)
    high = max(float(survey.height[-1]) for survey in surveys)
    return np.linspace(low, high, 2 + int(np.ceil((high - low) / _ROW)))


def on_net(survey: PastSurvey, net: Float) -> tuple[Float, Float]:
    """Cut-back and its sd on the net; NaN where not surveyed; two arrays (m, k)."""
    inside = (net >= survey.height[0] - _ROW) & (net <= survey.height[-1] + _ROW)
    azimuth = np.arange(_COLUMNS) * 360.0 / _COLUMNS
    row = row_index(survey.height, net)

    def laid(field: Float) -> Float:
        on_rows = interpolate_rows(interpolate_columns(field, azimuth), row)
        return np.where(inside[:, None], on_rows, np.nan)

    return laid(survey.cutback), laid(survey.cutback_sd)


def shrunk_sd(values: Float, expected: float) -> float:
    """A standard deviation from few values, shrunk towards the expected one.

    ``sqrt((WORTH * expected**2 + sum((v - mean)**2)) / (WORTH + n - 1))``; NaN is left
    out.
    """
    known = values[np.isfinite(values)]
    if known.size < 2:
        return expected
    scatter = float(np.sum((known - known.mean()) ** 2))
    weight = ASSUMED.history_surveys + known.size - 1
    return float(np.sqrt((ASSUMED.history_surveys * expected**2 + scatter) / weight))


def align(value: Float, net: Float) -> Float:
    """How much higher than their mean each survey's ring of wear rides, mm; (n,).

    Each in turn is laid where its mean round the wall is most nearly a multiple of the
    mean of all, far moves being thought less likely.

    Parameters
    ----------
    value : array (n, m, k), mm
        NaN where not surveyed.
    net : array (m,), mm
    """
    rings = value.mean(axis=2)
    shifts = np.zeros(len(rings))
    for _ in range(3 if len(rings) > 1 else 0):
        laid = [
            shifted_rows(ring, net, -up) for ring, up in zip(rings, shifts, strict=True)
        ]
        mean = _mean_where_known(np.stack(laid))
        shifts = np.array([_best_shift(ring, mean, net) for ring in rings])
        shifts -= shifts.mean()
    return shifts


def _best_shift(ring: Float, mean: Float, net: Float) -> float:
    costs = []
    for up in SHIFTS:
        model = shifted_rows(mean, net, float(up))
        known = np.isfinite(ring) & np.isfinite(model)
        own, like = ring[known], model[known]
        scale = float(own @ like) / max(float(like @ like), 1e-9)
        rows = max(1.0, known.mean() * (net[-1] - net[0]) / ASSUMED.history_alike)
        misfit = float(np.mean((own - scale * like) ** 2)) if own.size else 0.0
        costs.append(
            rows * misfit / ASSUMED.history_misfit**2
            + (up / ASSUMED.history_shift_sd) ** 2
        )
    return float(SHIFTS[int(np.argmin(costs))])


def _mean_where_known(value: Float) -> Float:
    """Mean over the first axis of what is not NaN; NaN where nothing is known."""
    known = np.isfinite(value)
    count = known.sum(axis=0)
    total = np.where(known, value, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def pooled_residual_sd(value: Float) -> float:
    """How much places differ between surveys, pooled over the wall and shrunk, mm."""
    count = np.isfinite(value).all(axis=2).sum(axis=0)
    both = count > 1
    if not both.any():
        return ASSUMED.history_residual_sd
    off = value[:, both] - _mean_where_known(value)[both]
    scatter = np.nansum(off**2, axis=0) / np.maximum(count[both] - 1.0, 1.0)[:, None]
    free = float(count[both].mean() - 1.0)
    variance = (
        ASSUMED.history_surveys * ASSUMED.history_residual_sd**2
        + free * float(scatter.mean())
    ) / (ASSUMED.history_surveys + free)
    return float(np.sqrt(variance))


def weighted_mean(value: Float, sd: Float, residual_sd: float) -> Float:
    """Mean of surveys by how well each knew a place, one at least everywhere; (m, k).

    Rows that no survey knew lie straight between their neighbours.
    """
    known = np.isfinite(value)
    weight = np.where(
        known, 1.0 / (np.where(known, sd, 0.0) ** 2 + residual_sd**2), 0.0
    )
    total = (weight * np.where(known, value, 0.0)).sum(axis=0)
    mean = total / np.maximum(weight.sum(axis=0), 1e-12)
    rows = np.flatnonzero(np.all(known.any(axis=0), axis=1))
    every = np.arange(mean.shape[0])
    return np.stack(
        [np.interp(every, rows, mean[rows, k]) for k in range(mean.shape[1])], axis=1
    )


def scales_of(value: Float, mean: Float) -> Float:
    """How deep each survey's ring of wear is against the mean's; (n,)."""
    ring, found = mean.mean(axis=1), []
    for own in value.mean(axis=2):
        known = np.isfinite(own)
        size = float(ring[known] @ ring[known])
        found.append(float(own[known] @ ring[known]) / size if size > 0.0 else 1.0)
    return np.array(found)


def smoothed(field: Float, net: Float, radius: float) -> Float:
    """Smoothed by a normal curve of `history_blur` mm up and round the wall."""
    up = np.exp(-0.5 * ((net[:, None] - net[None, :]) / ASSUMED.history_blur) ** 2)
    turn = np.arange(_COLUMNS) * 360.0 / _COLUMNS
    gap = np.mod(turn[:, None] - turn[None, :] + 180.0, 360.0) - 180.0
    ring = np.exp(-0.5 * (np.deg2rad(gap) * radius / ASSUMED.history_blur) ** 2)
    up /= up.sum(axis=1, keepdims=True)
    ring /= ring.sum(axis=0, keepdims=True)
    return np.asarray(up @ field @ ring)


@dataclass(frozen=True)
class PastPrior(Shown):
    """What was learned from past surveys of a furnace.

    Attributes
    ----------
    count : int
        How many surveys.
    mean : Pattern, mm
        Their mean cut-back, laid over each other.
    shift : float, mm
        How far the pattern moves up or down from heat to heat, sd.
    scale_sd : float
        How much the ring of wear differs in depth, sd as a share of it.
    residual_sd : float, mm
        How much places differ between surveys, sd: weighs a survey against the others.
    """

    count: int
    mean: Pattern
    shift: float
    scale_sd: float
    residual_sd: float

    def moved(self, up: float) -> PastPrior:
        """The same with the pattern that much higher on the wall, mm."""
        return PastPrior(
            self.count, self.mean.moved(up), self.shift, self.scale_sd, self.residual_sd
        )

    def components(self, radius: float) -> tuple[Component, ...]:
        """The parts by which the pattern enters the prior; sizes are shares of it.

        Parameters
        ----------
        radius : float, mm
            Mean design radius.
        """
        ring, rest = self.mean.ring, self.mean.rest
        return (
            Component(
                "ring as before",
                LogNormal(1.0, 0.5),
                patterns=(ring,),
                scaled_by_height=False,
            ),
            Component(
                "rest as before",
                LogNormal(0.8, 1.0),
                patterns=(rest,),
                scaled_by_height=False,
            ),
            Component(
                "ring deeper or shallower",
                sd=LogNormal(self.scale_sd, 0.5),
                kernel_height="matern52",
                length_scale_height=LogNormal(160.0, 0.3),
                patterns=(ring,),
                scaled_by_height=False,
            ),
            Component(
                "rest deeper or shallower",
                sd=LogNormal(1.25 * self.scale_sd, 0.5),
                kernel_azimuth="matern52",
                kernel_height="matern52",
                length_scale_azimuth=LogNormal(radius, 0.5),
                length_scale_height=LogNormal(160.0, 0.3),
                patterns=(rest,),
                scaled_by_height=False,
            ),
            Component(
                "ring higher or lower",
                sd=LogNormal(0.75 * self.shift, 0.5),
                patterns=(ring.slope,),
                scaled_by_height=False,
            ),
        )


def learn_prior(
    surveys: Sequence[RadialSurface | PastSurvey], design: Design
) -> PastPrior:
    """What earlier surveys of the same furnace teach about its wear.

    Parameters
    ----------
    surveys : sequence of RadialSurface or PastSurvey
        In any order; those made without the help of others teach most.
    design : Design
        The drawing that all of them were compared with.

    Returns
    -------
    PastPrior
        For `reconstruct`.

    Raises
    ------
    InputError
        If there is no survey, or one was compared with another drawing.
    """
    if not surveys:
        raise InputError(
            "there is no past survey to learn from", cure="Give one or more"
        )
    past = [_as_past_survey(survey, design) for survey in surveys]
    net = net_over(past)
    pairs = [on_net(survey, net) for survey in past]
    value = np.stack([cutback for cutback, _ in pairs])
    sd = np.stack([spread for _, spread in pairs])
    shifts = align(value, net)
    value = np.stack(
        [shifted_rows(v, net, -r) for v, r in zip(value, shifts, strict=True)]
    )
    sd = np.stack([shifted_rows(s, net, -r) for s, r in zip(sd, shifts, strict=True)])
    residual_sd = pooled_residual_sd(value)
    mean = weighted_mean(value, sd, residual_sd)
    mean = smoothed(mean, net, design.profile.mean_radius)
    return PastPrior(
        count=len(past),
        mean=Pattern(net, mean),
        shift=shrunk_sd(shifts, ASSUMED.history_shift_sd),
        scale_sd=shrunk_sd(scales_of(value, mean), ASSUMED.history_scale_sd),
        residual_sd=residual_sd,
    )


def _as_past_survey(survey: RadialSurface | PastSurvey, design: Design) -> PastSurvey:
    if isinstance(survey, PastSurvey):
        return survey
    rows = survey.grid.surveyed.all(axis=1)
    height, radius = survey.height[rows], survey.grid.design_radius[rows]
    if design.profile.row_that_differs(height, radius) is not None:
        raise InputError("a past survey was compared with another drawing")
    return PastSurvey(
        survey.height[rows],
        survey.azimuth,
        survey.cutback[rows],
        survey.radius_sd[rows],
    )


def prior_with_history(
    prior: Prior, past: PastPrior, readings: RodReadings, design: Design
) -> tuple[Prior, bool]:
    """The prior with the past pattern laid over the readings, if they bear it out.

    How much higher or lower than before the pattern rides this time is chosen from
    steps of 5 mm by the marginal likelihood of the readings; finer moves, and how deep
    the pattern is now, are learned with the other sizes.  Readings that look like slips
    are not asked.

    Returns
    -------
    prior : Prior
        The one given, where the past is not used.
    used : bool
        Whether strong evidence speaks for the past.
    """
    likelihood = _likelihood_without_outliers(_held_down(prior, past), readings, design)
    scores = [_score(likelihood, prior, past, float(up)) for up in SHIFTS]
    here = past.moved(float(SHIFTS[int(np.argmax(scores))]))
    taught = replace(
        prior, components=here.components(prior.radius) + _without_patterns(prior)
    )
    gain = log_evidence(replace(likelihood, prior=taught))
    gain -= log_evidence(replace(likelihood, prior=prior))
    used = bool(gain > np.log(ASSUMED.history_strong))
    return (taught if used else prior), used


def _likelihood_without_outliers(
    prior: Prior, readings: RodReadings, design: Design
) -> MarginalLikelihood:
    """The evidence of the readings, of many of them a part, without likely slips."""
    pseudo = np.zeros(len(readings), dtype=bool)
    noise = rod_noise(readings, design, pseudo=pseudo)
    likelihood = random_subset(
        MarginalLikelihood.of(observe(readings, design), noise, prior),
        ASSUMED.map_points,
    )
    gp = ConditionalGP(
        *likelihood.filled(likelihood.theta_prior[0]), likelihood.observed
    )
    candidates = outlier_candidates(gp, np.ones(len(likelihood.observed), dtype=bool))
    return likelihood.subset(~candidates)


def _score(
    likelihood: MarginalLikelihood, prior: Prior, past: PastPrior, up: float
) -> float:
    """Log probability of a ride and the readings, sizes and lengths as expected."""
    tried = replace(likelihood, prior=_held_down(prior, past.moved(up)))
    value, _ = tried.log_marginal_likelihood(tried.theta_prior[0])
    return float(value - 0.5 * (up / past.shift) ** 2)


def _held_down(prior: Prior, past: PastPrior) -> Prior:
    whole = tuple(
        _scaled_down(
            part,
            ASSUMED.history_local if part.scaled_by_height else ASSUMED.history_ring,
        )
        for part in _without_patterns(prior)
    )
    *fixed, slope = past.components(prior.radius)
    return replace(
        prior, components=(*fixed, _scaled_down(slope, ASSUMED.history_slope), *whole)
    )


def _without_patterns(prior: Prior) -> tuple[Component, ...]:
    """What comes on top of the past pattern, which has the melting zone in it."""
    return tuple(part for part in prior.components if not part.patterns)


def _scaled_down(part: Component, share: float) -> Component:
    return replace(part, sd=LogNormal(share * part.sd.median, part.sd.spread))
