"""The greatest cut-back in every panel: distributions of an extreme, piece by piece.

The deepest place of a panel is deeper than the best surface is anywhere in it, the more
so the less is known between stations.  So the nodes of each panel are drawn jointly and
the greatest of each draw is taken, as `geom.compare.deepest` does for the whole wall.
Draws come in pairs that mirror each other and are scaled to unit variance: where one
node is the deepest beyond doubt, its mean and sd come out without error of drawing.

References
----------
JCGM 101:2008, 7.9.4 (a fixed number of draws and what it is worth).
"""

from __future__ import annotations

import numpy as np

from geom.compare.nodes import Nodes
from geom.units import Float, Int

#: Pairs of draws: the sd of a greatest is then known to 3 %, its mean to 0.03 of it.
_PAIRS = 256
#: Added to variances so that tables of nodes that move as one can be rooted, mm2.
_JITTER = 1e-9


def greatest_in_panels(
    owner: Int, nodes: Nodes, cutback: Float, count: int
) -> tuple[Float, Float]:
    """Mean and standard uncertainty of the greatest cut-back in every panel.

    Parameters
    ----------
    owner : int array (m, k)
        Panel that each cell of the grid lies in.
    nodes : Nodes
    cutback : array (m, k), mm
        Best estimates; NaN where a cell does not count.
    count : int
        Panels, p.

    Returns
    -------
    mean, sd : array (p,), mm
        NaN where a panel has no cell that counts.
    """
    panel, node, peak = _peaks(owner, nodes, cutback)
    mean, sd = np.full(count, np.nan), np.full(count, np.nan)
    places, first = np.unique(panel, return_index=True)
    parts = np.split(np.arange(panel.size), first[1:])
    chance = _mirrored(max((part.size for part in parts), default=0))
    for place, part in zip(places, parts, strict=True):
        table = nodes.covariance[np.ix_(node[part], node[part])]
        root = np.linalg.cholesky(table + _JITTER * np.eye(part.size))
        drawn = peak[part][:, None] + root @ chance[: part.size]
        greatest = drawn.max(axis=0)
        mean[place], sd[place] = greatest.mean(), greatest.std()
    return mean, sd


def _peaks(owner: Int, nodes: Nodes, cutback: Float) -> tuple[Int, Int, Float]:
    """Best estimate where each node is deepest in each panel it reaches into.

    Returns
    -------
    panel, node : int array (n,)
        Sorted by panel.
    peak : array (n,), mm
    """
    held = (nodes.owner >= 0) & np.isfinite(cutback)
    pair = owner[held] * nodes.mean.size + nodes.owner[held]
    pairs, place = np.unique(pair, return_inverse=True)
    peak = np.full(pairs.size, -np.inf)
    np.maximum.at(peak, place, cutback[held])
    panel, node = np.divmod(pairs, nodes.mean.size)
    return panel, node, peak


def _mirrored(rows: int) -> Float:
    """Normal draws of mean 0 and variance 1 row by row; (rows, 2 * _PAIRS)."""
    chance = np.random.default_rng(0).standard_normal((rows, _PAIRS))
    both = np.concatenate([chance, -chance], axis=1)
    return np.asarray(both / both.std(axis=1, keepdims=True))
