"""What the repair of a wall takes, and of walls that it may be.

How deep the wall is gone is only known so far, and so is where brick ends and daub
begins.  So the whole plan is made again, by the same rule, for walls drawn from what
the readings allow; what they take is how well the need is known.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geom.compare.nodes import Nodes
from geom.repair.bond import Bond
from geom.repair.divide import Plot, divide, marked_by_rule
from geom.repair.wall import Wall
from geom.surface import RadialSurface
from geom.surface.grid import stretched
from geom.units import Float


@dataclass(frozen=True)
class Need:
    """What a wall takes.

    Attributes
    ----------
    bricks : dict of str to int
        By name, with what is cut away and what breaks.
    brick : float, mm3
        Of all of them.
    daub : float, mm3
        In place and dry.
    joints : float, mm3
        Clay between bricks.
    face : float, mm2
        That is washed.
    """

    bricks: dict[str, int]
    brick: float
    daub: float
    joints: float
    face: float


def need_of(wall: Wall, plots: Sequence[Plot]) -> Need:
    """Sum over the zones of a plan."""
    bricks: Counter[str] = Counter()
    brick = joints = 0.0
    for laid in (plot.laid for plot in plots if plot.laid is not None):
        for one in laid.counted.bricks:
            bricks[one.name] += one.needed
            brick += one.needed * one.each
        joints += laid.joints
    settled = [plot for plot in plots if plot.planned and plot.action != "chip"]
    faces = [float(np.sum(plot.share * wall.grid.face_area)) for plot in settled]
    return Need(
        bricks=dict(bricks),
        brick=brick,
        daub=sum(plot.daub(wall) for plot in plots),
        joints=joints,
        face=sum(faces),
    )


def need_by_rule(wall: Wall, bonds: Sequence[Bond]) -> Need:
    """What a wall takes whose zones are found by the rule too."""
    return need_of(wall, divide(wall, marked_by_rule(wall), bonds))


def walls_drawn(
    surface: RadialSurface, nodes: Nodes, count: int, *, seed: int
) -> Iterator[Wall]:
    """Walls that the readings allow, each as likely as any other.

    Drawn jointly at the nodes, smooth in between.

    Parameters
    ----------
    surface : RadialSurface
    nodes : Nodes
    count, seed : int
    """
    grid, rows = surface.grid, surface.grid.surveyed
    shape = (nodes.height.size, nodes.azimuth.size)
    for away in _drawn(nodes, count, seed).T:
        cutback = surface.cutback.copy()
        cutback[rows] += stretched(
            away.reshape(shape),
            nodes.height,
            grid.height[rows],
            grid.azimuth - nodes.azimuth[0],
        )
        yield Wall(grid, cutback, np.zeros(grid.shape), surface.design)


def _drawn(nodes: Nodes, count: int, seed: int) -> Float:
    """Draws about the mean, (q, count), mm."""
    size = nodes.mean.size
    table = nodes.covariance + 1e-6 * np.mean(nodes.sd**2) * np.eye(size)
    try:
        root = np.linalg.cholesky(table)
    except np.linalg.LinAlgError:
        return nodes.draws(np.arange(size), count, seed=seed)
    chance = np.random.default_rng(seed).standard_normal((size, count))
    return np.asarray(root @ chance)
