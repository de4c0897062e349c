"""A piece of face known jointly: its mean deviation and its share in tolerance.

Neither the mean nor the worst place alone says whether a face is back on its drawing:
a hollow and a hump average out, and the worst place of a large face is hardly ever
settled.  So both are asked: that the mean deviation lies within tolerance, and that at
least nine tenths of the face does.  The nine tenths are our own choice, no source.

How errors hang together decides both, so the joint posterior is drawn from; a cell
moves with the node it belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.nodes import Nodes
from geom.quantity import Quantity
from geom.repair.conformity import Decision, decide
from geom.surface import RadialSurface
from geom.units import Bool, Float

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
