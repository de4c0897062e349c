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
A guard band says nearly the same in millimetres: accept where the mean lies within
T less 1.645 s, reject where it lies beyond T plus 1.645 s.  The two rules part only
where s is so large that both ends of the tolerance count; the chance is then the
stricter one to accept by, and is what is decided by unless the guard band is asked for.

References
----------
JCGM 106:2012, 7.2 to 7.4 (conformance probability of a normal measurand) and 8.3
(guard bands).  ISO 14253-1:2017 takes 95 % and so 1.65 s by default (from memory).

A piece of face known jointly: its mean deviation and its share in tolerance.

Neither the mean nor the worst place alone says whether a face is back on its drawing:
a hollow and a hump average out, and the worst place of a large face is hardly ever
settled.  So both are asked: that the mean deviation lies within tolerance, and that at
least nine tenths of the face does.  The nine tenths are our own choice, no source.

How errors hang together decides both, so the joint posterior is drawn from; a cell
moves with the node it belongs to.

How far every place of the wall is from the nearest reading.

Between readings the wall is inferred, and that it changes slowly is learned from the
readings themselves.  A patch put on by hand need not: one left short between two
readings shows in neither.  So a place counts as measured again only within 200 mm of a
reading, or of wall that a laser saw.  Twelve readings round, every 12 in of height,
reach all of a cupola of 3 ft.  The 200 mm are our own choice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import ndtr, ndtri

from geom.compare.nodes import Nodes
from geom.frame import to_cartesian
from geom.quantity import Quantity
from geom.surface import RadialSurface
from geom.units import Bool, Float

Decision = Literal["accept", "reject", "cannot tell"]

#: Accept from this chance on; reject from its rest to one down.
SURE = 0.95


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
    chance = float(chance_within(deviation.value, deviation.sd, -tolerance, tolerance))
    return Conformity(deviation, chance, decide(chance))


def chance_within(
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
    mean, sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(sd, float))
    known = sd > 0.0
    spread = np.where(known, sd, 1.0)
    soft = ndtr((high - mean) / spread) - ndtr((low - mean) / spread)
    sharp = ((mean >= low) & (mean <= high)).astype(np.float64)
    chance = np.where(known, soft, sharp)
    return np.where(np.isnan(mean), np.nan, chance)


def decide(chance: float, *, sure: float = SURE) -> Decision:
    """Decide by the chance of being within tolerance.

    Parameters
    ----------
    chance : float
    sure : float, between 0.5 and 1
        Accept from there on; reject at its rest to one or less.
    """
    if chance >= sure:
        return "accept"
    return "reject" if chance <= 1.0 - sure else "cannot tell"


def guard_band(sd: float, *, sure: float = SURE) -> float:
    """How far inside a limit the mean must lie to be so sure of that limit.

    Examples
    --------
    >>> round(guard_band(2.0), 3)
    3.29
    """
    return float(ndtri(sure)) * sd


def decide_by_guard_band(
    mean: float, sd: float, tolerance: float, *, sure: float = SURE
) -> Decision:
    """Decide by where the mean lies, a guard band inside or outside the tolerance."""
    band = guard_band(sd, sure=sure)
    if abs(mean) <= tolerance - band:
        return "accept"
    return "reject" if abs(mean) >= tolerance + band else "cannot tell"


def greatest_sd(tolerance: float, *, sure: float = SURE) -> float:
    """The uncertainty past which nothing can be accepted, even dead on the drawing.

    Examples
    --------
    >>> round(greatest_sd(6.35), 2)
    3.24
    """
    return tolerance / float(ndtri(0.5 * (1.0 + sure)))


#: Share of a face that has to lie within tolerance.
FACE = 0.9
DRAWS = 4000


@dataclass(frozen=True)
class FaceState:
    """How a piece of face lies to the drawing.

    Attributes
    ----------
    mean : Quantity, mm
        Of the deviation over the face, cut-back positive.
    share : Quantity, 0 to 1
        Of the face within tolerance.
    chance : float
        That the mean lies within tolerance and enough of the face does.
    means, shares : array (DRAWS,)
        Draws of both, jointly.
    tolerance : float, mm
    """

    mean: Quantity
    share: Quantity
    chance: float
    means: Float
    shares: Float
    tolerance: float


def face_state(
    surface: RadialSurface, nodes: Nodes, mask: Bool, tolerance: float, *, seed: int = 0
) -> FaceState:
    """Mean deviation and share in tolerance of a piece of surveyed face.

    Parameters
    ----------
    surface : RadialSurface
    nodes : Nodes
        Of the surface.
    mask : bool array (m, k)
        Which cells; some of it must be surveyed wall.
    tolerance : float, mm
    seed : int
        Of the draws.

    Returns
    -------
    FaceState
        4,000 draws give a chance of 0.95 to 0.003.
    """
    area = np.where(mask, surface.grid.face_area, 0.0)
    held = area > 0.0
    part = area / area.sum()
    cutback, owner = surface.cutback[held], nodes.owner[held]
    weight = part[held]
    mean = float(np.sum(weight * cutback))
    some, place = np.unique(owner, return_inverse=True)
    away = nodes.draws(some, DRAWS, seed=seed)
    lent = np.bincount(place, weights=weight)
    means = mean + lent @ away
    inside = np.zeros(DRAWS)
    for k in range(some.size):
        own = place == k
        inside += _share(cutback[own], weight[own], away[k], tolerance)
    inside = np.minimum(inside, 1.0)
    good = (np.abs(means) <= tolerance) & (inside >= FACE)
    return FaceState(
        mean=Quantity.normal(mean, nodes.sd_of_sum(nodes.gather(part))),
        share=Quantity.of_samples(inside),
        chance=float(good.mean()),
        means=means,
        shares=inside,
        tolerance=tolerance,
    )


def decide_face(state: FaceState, measured: float) -> Decision:
    """Decide on a face of which only a share was measured.

    Parameters
    ----------
    state : FaceState
        Of what was measured.
    measured : float, 0 to 1
        Share of the face.

    Returns
    -------
    {'accept', 'reject', 'cannot tell'}
        Accepted if it is back though all the rest were out of tolerance, rejected if
        it is not though all the rest were in it.  The mean of what was measured stands
        for that of the whole once enough of it was.
    """
    mean = np.abs(state.means) <= state.tolerance
    seen = measured * state.shares
    least = float(np.mean(mean & (seen >= FACE)))
    most = (mean | (measured < FACE)) & (seen + 1.0 - measured >= FACE)
    if decide(float(most.mean())) == "reject":
        return "reject"
    return "accept" if decide(least) == "accept" else "cannot tell"


def _share(cutback: Float, weight: Float, away: Float, tolerance: float) -> Float:
    """Weight of one node's cells within tolerance, for each of its draws."""
    order = np.argsort(cutback)
    risen = np.concatenate([[0.0], np.cumsum(weight[order])])
    upto = np.searchsorted(cutback[order], tolerance - away, side="right")
    below = np.searchsorted(cutback[order], -tolerance - away, side="left")
    return np.asarray(risen[upto] - risen[below])


#: A place further from every reading is not measured, mm.
REACH = 200.0


def to_nearest_reading(surface: RadialSurface) -> Float:
    """Distance across the drawn wall to the nearest reading, mm.

    Parameters
    ----------
    surface : RadialSurface
        Readings left out of its fit do not count, nor do datum bands by themselves;
        beside a cloud, only what the laser saw does.

    Returns
    -------
    array (m, k), mm
    """
    grid, design = surface.grid, surface.design
    azimuth, height = surface.read_at
    drawn = design.profile.radius_at(height)
    read = to_cartesian(azimuth, drawn, height, design.azimuth_sense)
    cells = to_cartesian(
        grid.azimuth[None, :],
        grid.design_radius[:, None],
        grid.height[:, None],
        design.azimuth_sense,
    )
    away, _ = cKDTree(read).query(cells)
    return np.asarray(away, dtype=np.float64)
