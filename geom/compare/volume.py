"""Exact volumes between the drawing and the wall, with their uncertainty.

``dV = (r**2 - r_design**2) / 2 dtheta dz``: exact on the cylinder.  Rebuild takes the
positive part cell by cell, build-up the negative part.  `rebuild_volume` and
`buildup_volume` are expected values under the process itself, in closed form on the
fine grid; what findings state, `volumes`, are the joint draws of `geom.compare.draws`
scaled by them.

Volumes of wall that a laser saw: cells about their nodes, draw by draw.

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

from dataclasses import dataclass

import numpy as np

from geom.compare.draws import WallDraws
from geom.compare.findings import Volume
from geom.compare.nodes import Nodes
from geom.quantity import Quantity
from geom.stats.normal import expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Bool, Float, Int

#: Draws of a node that its table is made for, from the least to the greatest.
_TABULATED = 17

#: Standard deviations from the drawing past which a cell is on one side for certain:
#: the normal's tail there, 6e-16, is the precision of a number.
_CERTAIN = 8.0


def cell_volumes(
    walls: WallDraws, grid: Grid, cutback: Float, sd: Float, patch: Float
) -> tuple[Float, Float]:
    """Volumes on either side of the drawing over some wall, one a draw.

    Parameters
    ----------
    cutback, sd : array (m, k), mm
        Of the cells.
    patch : array (m, k), radian mm
        Wall that counts.

    Returns
    -------
    gone, proud : array (n,), mm3
        Nothing from nodes that a draw takes for sound.
    """
    nodes = walls.nodes
    held = (patch > 0.0) & (nodes.owner >= 0)
    some, owner = np.unique(nodes.owner[held], return_inverse=True)
    moved = walls.cutback[some] - nodes.mean[some, None].astype(np.float32)
    if not some.size:
        return np.zeros(moved.shape[1]), np.zeros(moved.shape[1])
    low, high = moved.min(axis=1), moved.max(axis=1)
    step = np.maximum((high - low) / (_TABULATED - 1), 1e-6)
    # axes: cell, tabulated draw
    about = low[:, None] + step[:, None] * np.arange(_TABULATED)
    radius = np.broadcast_to(grid.design_radius[:, None], grid.shape)[held]
    own = np.sqrt(np.maximum(sd[held] ** 2 - nodes.sd[some][owner] ** 2, 0.0))
    place = (moved - low[:, None]) / step[:, None]
    left = np.clip(place.astype(np.int64), 0, _TABULATED - 2)
    part = place - left
    row, count = np.arange(some.size)[:, None], moved.shape[1]
    wall, weight = cutback[held], patch[held]
    even = np.bincount(owner, weight * wall) / np.bincount(owner, weight)
    several = nodes.unevenness
    choice = np.random.default_rng([count, 2]).permutation(count) % len(several)
    gone, proud = np.zeros(moved.shape), np.zeros(moved.shape)
    for number, uneven in enumerate(several):
        middle = even[owner] + uneven.share * (wall - even[owner])
        spread = np.sqrt(np.maximum((uneven.share * own) ** 2, uneven.least))
        cells = _Cells(middle, spread, radius, weight, owner)
        draws = np.flatnonzero(choice == number)
        at, share = left[:, draws], part[:, draws]
        for volume, table in zip((gone, proud), cells.volumes(about), strict=True):
            volume[:, draws] = (1.0 - share) * table[row, at]
            volume[:, draws] += share * table[row, at + 1]
    worn = walls.cutback[some] != 0.0
    return np.sum(gone, axis=0, where=worn), np.sum(proud, axis=0, where=worn)


@dataclass(frozen=True)
class _Cells:
    """Cells that are normal about their nodes; arrays (c,).

    Attributes
    ----------
    mean, sd, radius : array, mm
        Of cut-back before the node is moved, and drawn.
    weight : array, radian mm
    owner : int array
        Row of the node's table.
    """

    mean: Float
    sd: Float
    radius: Float
    weight: Float
    owner: Int

    def some(self, which: Bool) -> _Cells:
        """Some of them."""
        return _Cells(
            self.mean[which],
            self.sd[which],
            self.radius[which],
            self.weight[which],
            self.owner[which],
        )

    def volumes(self, about: Float) -> tuple[Float, Float]:
        """Expected volumes beyond the drawing and within, of every node moved.

        What is beyond less what is within is known in closed form, so that only the
        former is worked out, and that only of cells that may be on either side.

        Parameters
        ----------
        about : array (q, n), mm
            By how much a node is moved, rising.

        Returns
        -------
        gone, proud : array (q, n), mm3
        """
        least = self.mean + about[self.owner, 0]
        most = self.mean + about[self.owner, -1]
        doubt = _CERTAIN * self.sd
        back, fore = least > doubt, most < -doubt
        either = self.some(~(back | fore))
        some = either._gone(about)
        gone = some + self.some(back)._whole(about)
        proud = some - either._whole(about) - self.some(fore)._whole(about)
        return gone, np.maximum(proud, 0.0)

    def _gone(self, about: Float) -> Float:
        """Beyond the drawing, cell by cell."""
        mean = self.mean[:, None] + about[self.owner]
        each = expected_excess(mean, self.sd[:, None], self.radius[:, None])
        each *= self.weight[:, None]
        return self._by_node(each, about.shape)

    def _whole(self, about: Float) -> Float:
        """Beyond less within: ``R x + (x**2 + sd**2) / 2``, x moved alike."""
        nil = self.radius * self.mean + 0.5 * (self.mean**2 + self.sd**2)
        terms = np.stack([nil, self.radius + self.mean, np.ones_like(nil)], axis=1)
        size = about.shape[0], terms.shape[1]
        at_nil, slope, bend = self._by_node(terms * self.weight[:, None], size).T
        found = at_nil[:, None] + slope[:, None] * about
        return np.asarray(found + 0.5 * bend[:, None] * about**2)

    def _by_node(self, each: Float, shape: tuple[int, ...]) -> Float:
        """Sums over the cells of every node; (c, n) to (q, n)."""
        columns = [np.bincount(self.owner, one, shape[0]) for one in each.T]
        return np.stack(columns, axis=1)


def rebuild_volume(
    grid: Grid, cutback: Float, sd: Float, *, patch: Float | None = None
) -> float:
    """Expected volume to put back, mm3.

    Parameters
    ----------
    cutback, sd : array (m, k), mm
    patch : array (m, k), radian mm, optional
        Which wall counts; default all that is surveyed and no opening.
    """
    patch = grid.patch if patch is None else patch
    return _summed(patch, expected_excess(cutback, sd, grid.design_radius[:, None]))


def buildup_volume(
    grid: Grid, cutback: Float, sd: Float, *, patch: Float | None = None
) -> float:
    """Expected volume standing proud of the drawing, mm3; as `rebuild_volume`."""
    patch = grid.patch if patch is None else patch
    return _summed(patch, expected_shortfall(cutback, sd, grid.design_radius[:, None]))


def volumes(grid: Grid, cutback: Float, sd: Float, walls: WallDraws) -> Volume:
    """Rebuild, build-up and net volume, from the same draws; mm3.

    Each draw's volumes at the nodes are scaled by what the process gives in closed form
    on the fine grid over what its own draws give at the nodes; where a laser saw the
    wall, its cells make them.
    """
    if walls.nodes.seen is not None:
        rebuild, buildup = cell_volumes(walls, grid, cutback, sd, grid.patch)
    else:
        rebuild = excess(walls, grid, cutback, sd, grid.patch)
        buildup = excess(walls, grid, cutback, sd, grid.patch, inward=True)
    return Volume(
        rebuild=Quantity.of_samples(rebuild),
        buildup=Quantity.of_samples(buildup),
        net=Quantity.of_samples(rebuild - buildup),
    )


def excess(
    walls: WallDraws,
    grid: Grid,
    cutback: Float,
    sd: Float,
    patch: Float,
    *,
    inward: bool = False,
    part: bool = False,
) -> Float:
    """Volumes to put back over some wall, or standing proud, one a draw; (n,), mm3.

    Parameters
    ----------
    cutback, sd : array (m, k), mm
    patch : array (m, k), radian mm
        Which wall counts.
    inward : bool
        Build-up in place of cut-back.
    part : bool
        Whether the wall's edges cut nodes: these then stand for the cells within.
    """
    nodes = walls.nodes
    if nodes.seen is not None:
        return cell_volumes(walls, grid, cutback, sd, patch)[inward]
    closed = (buildup_volume if inward else rebuild_volume)(
        grid, cutback, sd, patch=patch
    )
    held = nodes.gather(patch)
    own = None
    if part:
        own = np.divide(
            nodes.gather(np.where(patch > 0.0, patch * cutback, 0.0)),
            held,
            out=nodes.mean.copy(),
            where=held > 0.0,
        )
    return walls.excess(held, closed, inward=inward, mean=own)


def net_sd(nodes: Nodes, patch: Float) -> float:
    """Standard deviation of the net volume, mm3.

    Of ``sum patch ((R + X)**2 - R**2) / 2`` for jointly normal X: the variance of a
    quadratic form, ``a' C a + tr(D C D C) / 2`` with ``a = patch (R + m)``.
    """
    pull = patch * (nodes.design_radius + nodes.mean)
    first = pull @ nodes.covariance @ pull
    second = 0.5 * patch @ nodes.covariance**2 @ patch
    return float(np.sqrt(np.maximum(first + second, 0.0)))


def gamma_quantity(value: float, sd: float) -> Quantity:
    """A volume that cannot be negative: interval of the gamma with its mean and sd.

    A sum of positive parts is skewed to the right when it is small against its sd; the
    gamma family holds that and tends to the normal when it is not.
    """
    from scipy.special import gammaincinv

    if value <= 0.0 or sd <= 0.0:
        return Quantity(max(value, 0.0), sd, max(value, 0.0), max(value, 0.0))
    shape = (value / sd) ** 2
    low, high = gammaincinv(shape, [0.025, 0.975]) * sd**2 / value
    return Quantity(value, sd, float(low), float(high))


def _summed(patch: Float, section: Float) -> float:
    counted = patch > 0
    return float(np.sum(patch[counted] * section[counted]))
