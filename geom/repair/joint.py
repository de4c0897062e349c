"""Standard deviation of volumes beyond some depth, summed over zones jointly."""

from __future__ import annotations

import numpy as np

from geom.compare.excess import hermite_excess
from geom.compare.nodes import Nodes
from geom.units import Float

_FACTORIAL = (1.0, 2.0, 6.0, 24.0)
#: Less than this is none, mm3.
_NONE = 1e-3


def pull_beyond(nodes: Nodes, patch: Float, depth: float) -> Float:
    """What each node pulls at the volume deeper than ``depth``.

    Parameters
    ----------
    nodes : Nodes
    patch : array (m, k), radian mm
        Wall that counts in each cell.
    depth : float, mm

    Returns
    -------
    array (4, q), mm3
        Hermite coefficients; those of several zones add up.
    """
    terms = hermite_excess(nodes.mean - depth, nodes.sd, nodes.design_radius + depth)
    return np.stack(terms) * nodes.gather(patch)


def joint_sd(nodes: Nodes, pull: Float) -> float:
    """Standard deviation of a volume from what its nodes pull, mm3.

    By Mehler's formula, as `Nodes.sd_of_excess` has it for one depth.
    """
    some = np.flatnonzero(np.any(pull != 0.0, axis=0))
    if some.size == 0:
        return 0.0
    alike = nodes.correlation
    if some.size < nodes.mean.size:
        alike = alike[np.ix_(some, some)]
    total, power = 0.0, alike
    for k, factorial in enumerate(_FACTORIAL):
        power = power if k == 0 else power * alike
        total += float(pull[k, some] @ power @ pull[k, some]) / factorial
    sd = float(np.sqrt(max(total, 0.0)))
    return sd if sd > _NONE else 0.0
