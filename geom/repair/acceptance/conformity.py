"""Whether a deviation is within tolerance: accept, reject, or cannot tell.

The true deviation is taken to be normal about the measured mean m with standard
uncertainty s.  The chance that it lies within -T to T is

    P = Phi((T - m) / s) - Phi((-T - m) / s)

and the decision follows from it:

accept
    P is at least 0.95;
reject
    P is at most 0.05;
cannot tell
    everything between: the readings settle it neither way, so measure again.

A poor measurement is thus never accepted: with s above T / 1.96 no mean is good enough.
A guard band of 1.645 s says nearly the same in millimetres; the two rules part only
where s is so large that both ends of the tolerance count, and there the chance is the
stricter one to accept by.

References
----------
JCGM 106:2012, 7.2 to 7.4 (conformance probability of a normal measurand) and 8.3
(guard bands).  ISO 14253-1:2017 takes 95 % and so 1.65 s by default (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.units import Float

Decision = Literal["accept", "reject", "cannot tell"]


@dataclass(frozen=True)
class Conformity:
    """One deviation judged.

    Attributes
    ----------
    deviation : Quantity, mm
    chance : float
        That it is within tolerance.
    decision : {'accept', 'reject', 'cannot tell'}
    """

    deviation: Quantity
    chance: float
    decision: Decision


def judge(deviation: Quantity, tolerance: float) -> Conformity:
    """Judge a normal deviation by its chance of being within +-tolerance, mm.

    Examples
    --------
    >>> judge(Quantity.normal(2.0, 1.0), 6.0).decision
    'accept'
    >>> judge(Quantity.normal(15.0, 2.0), 6.0).decision
    'reject'
    >>> judge(Quantity.normal(2.0, 8.0), 6.0).decision
    'cannot tell'
    """
    chance = float(
        conformance_probability(deviation.value, deviation.sd, -tolerance, tolerance)
    )
    return Conformity(deviation, chance, decide(chance))


def conformance_probability(
    mean: Float | float, sd: Float | float, low: float, high: float
) -> Float:
    """Conformance probability of normal values.

    Parameters
    ----------
    mean, sd : array
        Broadcast; ``sd`` may be zero.
    low, high : float
        Tolerance limits, in the unit of ``mean``; either may be infinite.

    Returns
    -------
    array, 0 to 1
        NaN where ``mean`` is NaN.
    """
    from scipy.special import ndtr

    mean, sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(sd, float))
    known = sd > 0.0
    spread = np.where(known, sd, 1.0)
    soft = ndtr((high - mean) / spread) - ndtr((low - mean) / spread)
    sharp = ((mean >= low) & (mean <= high)).astype(np.float64)
    chance = np.where(known, soft, sharp)
    return np.where(np.isnan(mean), np.nan, chance)


def decide(chance: float, *, sure: float = ASSUMED.sure) -> Decision:
    """Decide by the chance of being within tolerance.

    Parameters
    ----------
    sure : float, between 0.5 and 1
        Accept from there on; reject at its rest to one or less.
    """
    if chance >= sure:
        return "accept"
    return "reject" if chance <= 1.0 - sure else "cannot tell"
