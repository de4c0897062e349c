"""The deepest point and the least lining left: distributions of an extreme.

Where many places are nearly as deep, the deepest of them is deeper than the best
surface is anywhere.  So the joint posterior is drawn from, and the greatest of each
draw makes the distribution.  What no reading could see, a brick or a spall fallen out
between stations, is added as a compound Poisson process whose rate the survey's own
readings teach.

References
----------
JCGM 101:2008, 7.9.4 (a fixed number of draws and what it is worth).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.draws import WallDraws
from geom.compare.findings import Deepest
from geom.quantity import K95, Quantity
from geom.surface import RadialSurface
from geom.units import M2, Float, Int


@dataclass(frozen=True)
class UnseenHoles:
    """What is expected of holes between stations, where a brick or a spall fell out.

    Our own choice, no source; how the fleet's deepest points are held by it stands in
    docs/benchmarks.md.

    Attributes
    ----------
    count, wall : float
        Before anything is read: as many holes in so much worn wall, m2.
    depth, shape : float
        Mean depth of one, mm, and shape of its gamma distribution.
    share : float
        Of the lining's thickness that the mean depth is at most.
    seen : float
        Wall that one station sees, m2: the face of a brick laid flat.
    surprise, deeper : float
        A reading that many standard deviations, and mm, deeper than the others foretell
        stands in a hole.
    in_scan : float
        Share of its wall that a scan sees.
    """

    count: float = 0.15
    wall: float = 2.0
    depth: float = 25.0
    shape: float = 2.0
    share: float = 0.25
    seen: float = 228.6 * 63.5 * M2
    surprise: float = 4.0
    deeper: float = 12.0
    in_scan: float = 0.9


HOLES = UnseenHoles()


def deepest_point(
    surface: RadialSurface, walls: WallDraws, *, seed: int = 0
) -> Deepest:
    """The greatest cut-back of the surveyed wall, openings left out.

    Parameters
    ----------
    seed : int
        Of the holes that no reading could see.

    Returns
    -------
    Deepest
        ``cutback`` is the distribution of the greatest cut-back wherever it is;
        azimuth and height are where the best surface is deepest.  ``remaining_lining``
        is that of the least lining anywhere: plan on its ``low95``.
    """
    grid, cutback = surface.grid, surface.cutback
    wall = grid.surveyed & ~grid.opening
    inward = np.where(wall, cutback, -np.inf)
    row, column = np.unravel_index(int(np.argmax(inward)), grid.shape)
    nodes = walls.nodes
    area = nodes.gather(np.where(wall, grid.face_area, 0.0)) * M2
    hole, place = unseen_holes(surface, walls, area, seed)
    draws = np.arange(hole.size)
    deepest = walls.greatest(inward, sd=surface.radius_sd)
    deepest = np.maximum(deepest, walls.cutback[place, draws] + hole)
    best = float(cutback[row, column] - K95 * surface.radius_sd[row, column])
    left = None
    shell = surface.design.shell_radius
    if shell is not None:
        drawn = nodes.design_radius
        outward = np.where(wall, surface.radius, -np.inf)
        far = walls.greatest(outward, drawn, sd=surface.radius_sd)
        there = walls.cutback[place, draws] + drawn[place] + hole
        widest = int(np.argmax(outward))
        single = float(outward.flat[widest] - K95 * surface.radius_sd.flat[widest])
        least = -maximum_quantity(np.maximum(far, there) - shell, single - shell)
        left = least.not_below(0.0)
    return Deepest(
        cutback=maximum_quantity(deepest, best),
        azimuth=float(grid.azimuth[column]),
        height=float(grid.height[row]),
        remaining_lining=left,
    )


def maximum_quantity(draws: Float, single: float) -> Quantity:
    """The greatest of a wall from its draws.

    How rough the face is between readings is not known, and draws of roughness make
    greatest values greater: the lower end goes down to that of the best surface's
    deepest cell, ``single``.
    """
    found = Quantity.of_samples(draws)
    return Quantity(found.value, found.sd, min(found.low95, single), found.high95)


def unseen_holes(
    surface: RadialSurface, walls: WallDraws, area: Float, seed: int
) -> tuple[Float, Int]:
    """The deepest hole that no reading could see, and its node, one a draw.

    A compound Poisson process over the worn wall that no station sees; its rate is
    learned from the readings that stand in such holes (a gamma, conjugate).

    Parameters
    ----------
    area : array (q,), m2
        Wall that counts at each node.

    Returns
    -------
    hole : array (n,), mm
        Depth; 0 where there is none.
    node : int array (n,)
    """
    count = walls.cutback.shape[1]
    none = np.zeros(count), np.zeros(count, dtype=np.int64)
    worn = area * (1.0 - walls.sound)
    whole = float(worn.sum())
    if whole <= 0.0:
        return none
    found, read = surface.posterior.holes_seen(HOLES.surprise, HOLES.deeper)
    seen = min(read * HOLES.seen, whole) if read else HOLES.in_scan * whole
    rng = np.random.default_rng([seed, 2])
    rate = rng.gamma(HOLES.count + found, 1.0 / (HOLES.wall + seen), count)
    holes = np.asarray(rng.poisson(rate * (whole - seen)))
    depth, shell = HOLES.depth, surface.design.shell_radius
    if shell is not None:
        thickness = shell - float(walls.nodes.design_radius.mean())
        depth = min(depth, HOLES.share * thickness)
    deepest = np.zeros(count)
    for k in range(int(holes.max())):
        one = rng.gamma(HOLES.shape, depth / HOLES.shape, count)
        deepest = np.where(holes > k, np.maximum(deepest, one), deepest)
    node = rng.choice(worn.size, count, p=worn / whole)
    return deepest, np.asarray(node, dtype=np.int64)
