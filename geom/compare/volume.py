"""Exact volumes between the drawing and the wall, with their uncertainty.

``dV = (r**2 - r_design**2) / 2 dtheta dz``: exact on the cylinder.  Rebuild takes the
positive part cell by cell, build-up the negative part.  `rebuild_volume` and
`buildup_volume` are expected values under the process itself, in closed form on the
fine grid; what findings state, `volumes`, are the joint draws of `geom.compare.draws`
scaled by them.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaincinv

from geom.compare.cell_volumes import cell_excess
from geom.compare.draws import WallDraws
from geom.compare.findings import Volume
from geom.compare.nodes import Nodes
from geom.quantity import Quantity
from geom.stats.normal import expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Float


def rebuild_volume(
    grid: Grid, cutback: Float, sd: Float, *, patch: Float | None = None
) -> float:
    """Expected volume to put back, mm3.

    Parameters
    ----------
    grid : Grid
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
    walls : WallDraws
    grid : Grid
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
        return cell_excess(walls, grid, cutback, sd, patch, inward=inward)
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
    if value <= 0.0 or sd <= 0.0:
        return Quantity(max(value, 0.0), sd, max(value, 0.0), max(value, 0.0))
    shape = (value / sd) ** 2
    low, high = gammaincinv(shape, [0.025, 0.975]) * sd**2 / value
    return Quantity(value, sd, float(low), float(high))


def _summed(patch: Float, section: Float) -> float:
    counted = patch > 0
    return float(np.sum(patch[counted] * section[counted]))
