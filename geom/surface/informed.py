"""The prior of the present wall, with what past surveys taught put in.

References
----------
Kass, R. E. and Raftery, A. E. (1995). Bayes factors. JASA 90(430), 773-795.  Section
3.2: a Bayes factor of 20 is strong evidence.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.surface.evidence import Evidence
from geom.surface.heats import RIDES
from geom.surface.learn import ENOUGH, log_evidence, spread_out
from geom.surface.observed import observe
from geom.surface.past import PastPrior
from geom.surface.prior import Guess, Part, Prior
from geom.surface.process import Process
from geom.surface.rod_errors import rod_noise
from geom.surface.slips import suspects

#: The past is used if with it the readings are this many times as probable.
STRONG = 20.0

#: While the pattern is laid over the readings, the parts that know nothing of the past,
#: and the one for finer moves, are held to these shares of their usual sizes, or they
#: would take its place.
_RING, _LOCAL, _SLOPE = 0.3, 0.6, 0.3


def informed(
    prior: Prior, past: PastPrior, readings: RodReadings, design: Design
) -> tuple[Prior, bool]:
    """The prior with the past pattern laid over the readings, if they bear it out.

    How much higher or lower than before the pattern rides this time is chosen from
    steps of 5 mm by the marginal likelihood of the readings; finer moves, and how deep
    the pattern is now, are learned with the other sizes.  Readings that look like slips
    are not asked.

    Parameters
    ----------
    prior : Prior
    past : PastPrior
    readings : RodReadings
    design : Design

    Returns
    -------
    prior : Prior
        The one given, where the past is not used.
    used : bool
        Whether strong evidence speaks for the past.
    """
    evidence = _to_be_asked(_held(prior, past), readings, design)
    scores = [_score(evidence, prior, past, float(up)) for up in RIDES]
    here = past.moved(float(RIDES[int(np.argmax(scores))]))
    taught = replace(prior, parts=here.parts(prior.radius) + _beside(prior))
    gain = log_evidence(replace(evidence, prior=taught))
    gain -= log_evidence(replace(evidence, prior=prior))
    used = bool(gain > np.log(STRONG))
    return (taught if used else prior), used


def _to_be_asked(prior: Prior, readings: RodReadings, design: Design) -> Evidence:
    """The evidence of the readings, of many of them a part, without likely slips."""
    sound = np.zeros(len(readings), dtype=bool)
    noise = rod_noise(readings, design, sound=sound)
    evidence = spread_out(Evidence.of(observe(readings, design), noise, prior), ENOUGH)
    process = Process(*evidence.filled(evidence.guess[0]), evidence.observed)
    odd = suspects(process, np.ones(len(evidence.observed), dtype=bool))
    return evidence.taken(~odd)


def _score(evidence: Evidence, prior: Prior, past: PastPrior, up: float) -> float:
    """Log probability of a ride and the readings, sizes and lengths as expected."""
    tried = replace(evidence, prior=_held(prior, past.moved(up)))
    likelihood, _ = tried.log_likelihood(tried.guess[0])
    return float(likelihood - 0.5 * (up / past.ride) ** 2)


def _held(prior: Prior, past: PastPrior) -> Prior:
    whole = tuple(
        _smaller(part, _LOCAL if part.lively else _RING) for part in _beside(prior)
    )
    *fixed, slope = past.parts(prior.radius)
    return replace(prior, parts=(*fixed, _smaller(slope, _SLOPE), *whole))


def _beside(prior: Prior) -> tuple[Part, ...]:
    """What stands beside the past pattern, which has the melting zone in it."""
    return tuple(part for part in prior.parts if not part.patterns)


def _smaller(part: Part, share: float) -> Part:
    return replace(part, size=Guess(share * part.size.median, part.size.spread))
