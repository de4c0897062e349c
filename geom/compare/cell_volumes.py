"""Volumes of wall that a laser saw: cells about their nodes, draw by draw.

A scan tells the wall cell by cell, far finer than the nodes of the joint draws.  So a
draw of a node moves the best estimates of its cells, all alike; what a cell is unsure
of beyond its node it is by itself, and of the many cells of a node that averages to its
expected value, by how uneven the wall is, which is not quite known.  What a node adds
to a volume is then a function of its draw alone, convex as the positive part is, and is
tabulated.

On a flank, where half of a node's cells belong to a zone, these count with their own
depth and not with that of the node's mean.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from geom.compare.draws import WallDraws
from geom.stats.partial_moments import expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Float

#: Draws of a node that its table is made for, from the least to the greatest.
_TABULATED = 17
#: How well it is known how uneven the wall is within a node: spread of the logarithm of
#: cells' standard deviation, all over the wall alike.  From walls of the fleet
#: (docs/benchmarks.md).  Draws take one of so many equally probable values.
_UNEVEN_SPREAD, _UNEVEN = 0.3, 4


def cell_excess(
    walls: WallDraws,
    grid: Grid,
    cutback: Float,
    sd: Float,
    patch: Float,
    *,
    inward: bool = False,
) -> Float:
    """Volumes beyond the drawing over some wall, one a draw.

    Parameters
    ----------
    walls : WallDraws
    grid : Grid
    cutback, sd : array (m, k), mm
        Of the cells.
    patch : array (m, k), radian mm
        Wall that counts.
    inward : bool
        Build-up in place of cut-back.

    Returns
    -------
    array (n,), mm3
        Nothing from nodes that a draw takes for sound.
    """
    nodes = walls.nodes
    held = (patch > 0.0) & (nodes.owner >= 0)
    some, owner = np.unique(nodes.owner[held], return_inverse=True)
    moved = walls.cutback[some] - nodes.mean[some, None].astype(np.float32)
    if not some.size:
        return np.zeros(moved.shape[1])
    low, high = moved.min(axis=1), moved.max(axis=1)
    step = np.maximum((high - low) / (_TABULATED - 1), 1e-6)
    # axes: cell, tabulated draw
    about = low[:, None] + step[:, None] * np.arange(_TABULATED)
    radius = np.broadcast_to(grid.design_radius[:, None], grid.shape)[held]
    own = np.sqrt(np.maximum(sd[held] ** 2 - nodes.sd[some][owner] ** 2, 0.0))
    # on either side of the drawing lies what errors are in the mean of absolutes
    own *= nodes.absolute_scale
    moment = expected_shortfall if inward else expected_excess
    place = (moved - low[:, None]) / step[:, None]
    left = np.clip(place.astype(np.int64), 0, _TABULATED - 2)
    part = place - left
    row, count = np.arange(some.size)[:, None], moved.shape[1]
    middles = ndtri((np.arange(_UNEVEN) + 0.5) / _UNEVEN)
    uneven = np.random.default_rng([count, 2]).permutation(count) % _UNEVEN
    volume = np.zeros(moved.shape)
    for level, middle in enumerate(middles):
        wide = own * np.exp(_UNEVEN_SPREAD * middle)
        each = moment(
            cutback[held][:, None] + about[owner], wide[:, None], radius[:, None]
        )
        each *= patch[held][:, None]
        table = np.stack([np.bincount(owner, one, some.size) for one in each.T], axis=1)
        own_draws = np.flatnonzero(uneven == level)
        at, share = left[:, own_draws], part[:, own_draws]
        volume[:, own_draws] = (1.0 - share) * table[row, at]
        volume[:, own_draws] += share * table[row, at + 1]
    return np.asarray(np.where(walls.cutback[some] == 0.0, 0.0, volume).sum(axis=0))
