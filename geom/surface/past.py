"""What past surveys of the same furnace teach.

A furnace wears after its own fashion: the melting zone lies where it lies, blast and
charging burn the same side, each tuyere leaves its mark.  From heat to heat the whole
is deeper or shallower, and rides somewhat higher or lower.  `learn_prior` takes the
surveys of earlier heats, lays them over each other and learns

- the **pattern**: their mean, each place weighted by how well it was known, smoothed;
- how much they **differ**: place by place, in the depth of the ring of wear and in the
  height it rides at.  Two or three surveys tell a variance badly, so each is shrunk
  towards a value of our own that counts as much as `WORTH` surveys (the posterior mean
  of a scaled inverse chi-square prior).

The pattern enters as further parts of the prior covariance, in which it appears times
itself: the wall is so many times the pattern, and how many times is learned from the
present readings, for the ring and for the rest of it.  Whether the past is used at all
is decided by the readings too (`geom.surface.informed`).

References
----------
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed. CRC Press.  Section 2.6
(inverse chi-square prior of a variance) and 5.4 (normal hierarchy, shrinkage).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.readings import PastSurvey
from geom.surface.heats import (
    RIDE,
    SWELL,
    blurred,
    depths,
    lay_over,
    net_over,
    on_net,
    pooled,
    shrunk,
    weighted,
)
from geom.surface.pattern import Pattern, raised
from geom.surface.prior import Guess, Part
from geom.surface.radial import RadialSurface


@dataclass(frozen=True)
class PastPrior:
    """What was learned from past surveys of a furnace.

    Attributes
    ----------
    count : int
        How many surveys.
    mean : Pattern, mm
        Their mean cut-back, laid over each other.
    ride : float, mm
        How far the pattern moves up or down from heat to heat, sd.
    swell : float
        How much the ring of wear differs in depth, sd as a share of it.
    differ : float, mm
        How much places differ between surveys, sd: weighs a survey against the others.
    """

    count: int
    mean: Pattern
    ride: float
    swell: float
    differ: float

    def moved(self, up: float) -> PastPrior:
        """The same with the pattern that much higher on the wall, mm."""
        return PastPrior(
            self.count, self.mean.moved(up), self.ride, self.swell, self.differ
        )

    def parts(self, radius: float) -> tuple[Part, ...]:
        """The parts by which the pattern enters the prior; sizes are shares of it.

        Parameters
        ----------
        radius : float, mm
            Mean design radius.
        """
        ring, rest = self.mean.ring, self.mean.rest
        return (
            Part("ring as before", Guess(1.0, 0.5), patterns=(ring,), lively=False),
            Part("rest as before", Guess(0.8, 1.0), patterns=(rest,), lively=False),
            Part(
                "ring deeper or shallower",
                size=Guess(self.swell, 0.5),
                along="matern52",
                rise=Guess(160.0, 0.3),
                patterns=(ring,),
                lively=False,
            ),
            Part(
                "rest deeper or shallower",
                size=Guess(1.25 * self.swell, 0.5),
                around="matern52",
                along="matern52",
                arc=Guess(radius, 0.5),
                rise=Guess(160.0, 0.3),
                patterns=(rest,),
                lively=False,
            ),
            Part(
                "ring higher or lower",
                size=Guess(0.75 * self.ride, 0.5),
                patterns=(ring.slope,),
                lively=False,
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
    told = [_told(survey, design) for survey in surveys]
    net = net_over(told)
    pairs = [on_net(survey, net) for survey in told]
    value = np.stack([cutback for cutback, _ in pairs])
    sd = np.stack([spread for _, spread in pairs])
    rides = lay_over(value, net)
    value = np.stack([raised(v, net, -r) for v, r in zip(value, rides, strict=True)])
    sd = np.stack([raised(s, net, -r) for s, r in zip(sd, rides, strict=True)])
    differ = pooled(value)
    mean = weighted(value, sd, differ)
    mean = blurred(mean, net, design.profile.mean_radius)
    return PastPrior(
        count=len(told),
        mean=Pattern(net, mean),
        ride=shrunk(rides, RIDE),
        swell=shrunk(depths(value, mean), SWELL),
        differ=differ,
    )


def _told(survey: RadialSurface | PastSurvey, design: Design) -> PastSurvey:
    if isinstance(survey, PastSurvey):
        return survey
    rows = survey.grid.surveyed
    drawn = design.profile.radius_at(survey.height[rows])
    if np.abs(drawn - survey.grid.design_radius[rows]).max() > 0.1:
        raise InputError("a past survey was compared with another drawing")
    return PastSurvey(
        survey.height[rows],
        survey.azimuth,
        survey.cutback[rows],
        survey.radius_sd[rows],
    )
