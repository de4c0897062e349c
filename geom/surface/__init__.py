"""The wall as far as it is known: a radial surface and its joint uncertainty."""

from geom.surface.gp.posterior import GPPosterior, Posterior
from geom.surface.grid import Grid, make_grid
from geom.surface.radial import RadialSurface, Rejected
from geom.surface.reconstruct import reconstruct
from geom.surface.rods.history import PastPrior, learn_prior

__all__ = [
    "GPPosterior",
    "Grid",
    "PastPrior",
    "Posterior",
    "RadialSurface",
    "Rejected",
    "learn_prior",
    "make_grid",
    "reconstruct",
]
