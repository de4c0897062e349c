"""How uneven scanned wall is within a node, from the squares of its cells.

Volumes on either side of the drawing of wall that lies near it follow from how uneven
it is, not from how uneven its best estimate is.  What the estimate lacks, or has too
much of, in its mean square about the drawing is made good everywhere alike: where it
lacks some, no cell is surer than so; too much is taken off by moving cells towards the
mean of their node.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.assumptions import ASSUMED
from geom.surface import RadialSurface
from geom.surface.cell_points import SquaresAboutNil
from geom.units import Float, Int

#: Quantiles of the standard normal distribution that stand for five equal parts of it.
_FIFTHS = (-1.2816, -0.5244, 0.0, 0.5244, 1.2816)


@dataclass(frozen=True)
class Unevenness:
    """One of several that are equally probable.

    Attributes
    ----------
    share : float
        Of what cells are estimated to differ from their node's mean, and of their sd.
    least : float, mm2
        Variance that every cell has at least.
    """

    share: float
    least: float


#: As cells are estimated.
AS_ESTIMATED = (Unevenness(1.0, 0.0),)


@dataclass(frozen=True)
class NodeSquares:
    """Squares of cells near the drawing, summed by node; arrays (q,).

    Attributes
    ----------
    total, variance : array, mm2 and mm4
        Without the scatter of points and without what all cells share, and how well
        known by the points of the node.
    count : array
        Cells.
    common_sd : float, mm2
        What the square of every cell is off by alike.
    """

    total: Float
    variance: Float
    count: Float
    common_sd: float

    @classmethod
    def of(cls, squares: SquaresAboutNil, owner: Int, size: int) -> NodeSquares:
        """Of the cells that are asked; ``owner`` (m, k) is -1 for no node."""
        node = owner[squares.some]
        shared = float(squares.systematic.mean()) if node.size else 0.0
        return cls(
            np.bincount(node, squares.value - squares.systematic, size).astype(float),
            np.bincount(node, squares.variance, size).astype(float),
            np.bincount(node, minlength=size).astype(np.float64),
            # what all share is squared as well: it may be nothing or twice as much
            float(np.hypot(squares.common_sd, np.sqrt(2.0) * shared)),
        )


def squares_near_nil(
    surface: RadialSurface, owner: Int, mean: Float
) -> SquaresAboutNil | None:
    """Of the nodes that lie near the drawing, as do those around them.

    Nodes are chosen, not cells: those that a cell's own points put far off would be
    missed.

    Parameters
    ----------
    owner : int array (m, k)
        Node of every cell, -1 for none.
    mean : array (rows, columns), mm
        Of the nodes.

    Returns
    -------
    SquaresAboutNil or None
        None where no laser saw wall.
    """
    from scipy.ndimage import maximum_filter

    points, seen = surface.posterior.cell_points, surface.seen
    if points is None or seen is None:
        return None
    furthest = maximum_filter(np.abs(mean), 3, mode=["nearest", "wrap"])
    quiet = (furthest < ASSUMED.near_nil).ravel()
    held = seen & (owner >= 0)
    return points.about_nil(held & quiet[owner])


def wall_unevenness(
    surface: RadialSurface,
    owner: Int,
    node_variance: Float,
    squares: SquaresAboutNil | None,
) -> tuple[Unevenness, ...]:
    """What makes the mean square of cells near the drawing what points say it is.

    Parameters
    ----------
    owner : int array (m, k)
        Node of every cell, -1 for none.
    node_variance : array (q,), mm2
    """
    if squares is None or squares.value.size < ASSUMED.near_cells:
        return tuple(Unevenness(share, 0.0) for share in ASSUMED.node_unevenness)
    cutback, area = surface.cutback, surface.grid.face_area
    held = (owner >= 0) & np.isfinite(cutback)
    size = node_variance.size
    weight = np.bincount(owner[held], area[held], size)
    mean = np.bincount(owner[held], (area * cutback)[held], size)
    some, node = squares.some, owner[squares.some]
    even = mean[node] / weight[node]
    apart = cutback[some] - even
    own = np.maximum(surface.radius_sd[some] ** 2 - node_variance[node], 0.0)
    # points and estimates of cells are off alike by what all share
    moved = np.maximum(node_variance[node] - squares.systematic, 0.0)
    shares = np.linspace(0.0, 1.0, 41)
    modelled = np.array(
        [np.mean((even + s * apart) ** 2 + moved + s**2 * own) for s in shares]
    )
    modelled = np.maximum.accumulate(modelled)
    count = float(squares.value.size)
    found = float(squares.value.mean())
    sd = np.sqrt(
        float(squares.variance.sum()) / count**2
        + squares.common_sd**2
        + (ASSUMED.near_form * found) ** 2
    )
    floors = np.linspace(0.0, max(found + 2.0 * sd, 0.0), 41)
    lacking = np.array([np.mean(np.maximum(floor - own, 0.0)) for floor in floors])
    wanted = [found + quantile * sd for quantile in _FIFTHS]
    return tuple(
        Unevenness(
            float(np.interp(one, modelled, shares)),
            float(np.interp(one - modelled[-1], lacking, floors)),
        )
        for one in wanted
    )
