"""The wall as far as it is known: a radial surface and its joint uncertainty."""

from geom.surface.belief import Belief
from geom.surface.grid import Grid, make_grid
from geom.surface.radial import RadialSurface, Rejected
from geom.surface.reconstruct import reconstruct

__all__ = [
    "Belief",
    "Grid",
    "RadialSurface",
    "Rejected",
    "make_grid",
    "reconstruct",
]
