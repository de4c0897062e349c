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
    inward = np.where(wall, cutback, -np.inf)
    row, column = np.unravel_index(int(np.argmax(inward)), grid.shape)
    peaks = [_peaks(nodes, inward)]
    shell = surface.design.shell_radius
    if shell is not None:
        peaks.append(_peaks(nodes, np.where(wall, surface.radius, -np.inf)))
    deepest, *far = _greatest(nodes, peaks, seed)
    left = None
    if shell is not None:
        left = Quantity.of_samples(shell - far[0]).not_below(0.0)
    return Deepest(
        cutback=Quantity.of_samples(deepest),
        azimuth=float(grid.azimuth[column]),
        height=float(grid.height[row]),
        remaining_lining=left,
    )


def _peaks(nodes: Nodes, field: Float) -> Float:
    """Greatest value of a field among the cells each node owns; (q,)."""
    peak = np.full(nodes.mean.size, -np.inf)
    held = nodes.owner >= 0
    np.maximum.at(peak, nodes.owner[held], field[held])
    return peak


def _greatest(nodes: Nodes, peaks: list[Float], seed: int) -> list[Float]:
    """Draws of the greatest value over the wall, of each of several fields.

    Parameters
    ----------
    nodes : Nodes
    peaks : list of array (q,), mm
        Best estimates that the nodes stand for; -inf where a node does not count.
    seed : int

    Returns
    -------
    list of array (DRAWS,), mm
        A node moves with its own draw, the same in all fields.
    """
    some = np.unique(np.concatenate([_contenders(peak, nodes.sd) for peak in peaks]))
    errors = nodes.draws(some, DRAWS, seed=seed)
    return [np.asarray((peak[some][:, None] + errors).max(axis=0)) for peak in peaks]


def _contenders(peak: Float, sd: Float) -> Int:
    """Nodes that may hold the greatest value."""
    sure = np.max(peak - sd, initial=-np.inf, where=np.isfinite(peak))
    return np.flatnonzero(peak + _REACH * sd >= sure)
