"""The wall as far as it is known: a radial surface and its joint uncertainty."""

from geom.surface.belief import Belief
from geom.surface.grid import Grid, make_grid
from geom.surface.past import PastPrior, learn_prior
from geom.surface.radial import RadialSurface, Rejected
from geom.surface.reconstruct import reconstruct
from geom.surface.scanned import ScannedWall

__all__ = [
    "Belief",
    "Grid",
    "PastPrior",
    "RadialSurface",
    "Rejected",
    "ScannedWall",
    "learn_prior",
    "make_grid",
    "reconstruct",
]
