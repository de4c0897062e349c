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

from geom.compare.draws import WallDraws
from geom.stats.normal import expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Float

#: Draws of a node that its table is made for, from the least to the greatest.
_TABULATED = 17
#: How uneven the wall is within a node, over what its cells say: from what the node's
#: mean alone makes to more than all of it, equally probable and all over the wall
#: alike.  Cells follow the scatter of few points, and their errors are not normal.
#: From walls of the fleet (docs/benchmarks.md).
UNEVEN = (0.2, 0.45, 0.7, 0.95, 1.2)


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
    wall, weight = cutback[held], patch[held]
    even = np.bincount(owner, weight * wall) / np.bincount(owner, weight)
    choice = np.random.default_rng([count, 2]).permutation(count) % len(UNEVEN)
    volume = np.zeros(moved.shape)
    for number, uneven in enumerate(UNEVEN):
        middle = even[owner] + uneven * (wall - even[owner])
        each = moment(
            middle[:, None] + about[owner], uneven * own[:, None], radius[:, None]
        )
        each *= weight[:, None]
        table = np.stack([np.bincount(owner, one, some.size) for one in each.T], axis=1)
        draws = np.flatnonzero(choice == number)
        at, share = left[:, draws], part[:, draws]
        volume[:, draws] = (1.0 - share) * table[row, at]
        volume[:, draws] += share * table[row, at + 1]
    return np.asarray(np.where(walls.cutback[some] == 0.0, 0.0, volume).sum(axis=0))
