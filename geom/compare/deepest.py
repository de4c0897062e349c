"""The deepest point and the least lining left: distributions of an extreme.

Where many places are nearly as deep, the deepest of them is deeper than the best
surface is anywhere.  So the joint posterior is drawn from, and the greatest of each
draw makes the distribution.  4,000 draws give its standard uncertainty to 1.1 % and the
ends of its interval to about 0.05 standard uncertainties.

References
----------
JCGM 101:2008, 7.9.4 (a fixed number of draws and what it is worth).
"""

from __future__ import annotations

import numpy as np

from geom.compare.findings import Deepest
from geom.compare.nodes import Nodes
from geom.quantity import Quantity
from geom.surface import RadialSurface
from geom.units import Float, Int

DRAWS = 4000
#: A node this many standard deviations short of the deepest cannot matter.
_REACH = 4.0


def deepest_point(surface: RadialSurface, nodes: Nodes, *, seed: int = 0) -> Deepest:
    """The greatest cut-back of the surveyed wall, openings left out.

    Parameters
    ----------
    surface : RadialSurface
    nodes : Nodes
    seed : int
        Of the draws.

    Returns
    -------
    Deepest
        ``cutback`` is the distribution of the greatest cut-back wherever it is;
        azimuth and height are where the best surface is deepest.  ``remaining_lining``
        is that of the least lining anywhere: plan on its ``low95``.
    """
    grid, cutback = surface.grid, surface.cutback
    wall = grid.surveyed[:, None] & ~grid.opening
    place = int(np.argmax(np.where(wall, cutback, -np.inf)))
    row, column = np.unravel_index(place, grid.shape)
    shell = surface.design.shell_radius
    left = None
    if shell is not None:
        outward = np.where(wall, surface.radius, -np.inf)
        far = _greatest(nodes, outward, nodes.design_radius + nodes.mean, seed)
        left = Quantity.of_samples(shell - far).not_below(0.0)
    return Deepest(
        cutback=Quantity.of_samples(
            _greatest(nodes, np.where(wall, cutback, -np.inf), nodes.mean, seed)
        ),
        azimuth=float(grid.azimuth[column]),
        height=float(grid.height[row]),
        remaining_lining=left,
    )


def _greatest(nodes: Nodes, field: Float, at_node: Float, seed: int) -> Float:
    """Draws of the greatest value of a field over the wall.

    Parameters
    ----------
    nodes : Nodes
    field : array (m, k), mm
        Its best estimate; -inf where it does not count.
    at_node : array (q,), mm
        The same at the nodes.
    seed : int

    Returns
    -------
    array (DRAWS,), mm
        A node moves with its own draw and stands for the greatest best estimate among
        the cells it owns.
    """
    peak = np.full(at_node.size, -np.inf)
    held = nodes.owner >= 0
    np.maximum.at(peak, nodes.owner[held], field[held])
    some = _contenders(peak, nodes.sd)
    away = nodes.draws(some, DRAWS, seed=seed)
    return np.asarray((peak[some][:, None] + away).max(axis=0))


def _contenders(peak: Float, sd: Float) -> Int:
    """Nodes that may hold the greatest value."""
    sure = np.max(peak - sd, initial=-np.inf, where=np.isfinite(peak))
    return np.flatnonzero(peak + _REACH * sd >= sure)
