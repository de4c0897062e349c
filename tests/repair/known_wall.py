"""Walls whose joint distribution is told, to check what is worked out of it."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from geom.design import Design
from geom.surface import RadialSurface, make_grid
from geom.surface.gp.conditional import net_points
from geom.surface.gp.observations import ObservationOperator
from geom.units import Float

Field = Callable[[Float, Float], Float]
Kernel = Callable[[Float, Float, Float, Float], Float]


def no_kernel(azimuth: Float, height: Float, azimuth2: Float, height2: Float) -> Float:
    """A wall that is known exactly."""
    return np.zeros(np.broadcast_shapes(azimuth.shape, azimuth2.shape))


class KnownWall:
    """A `Posterior` whose mean and covariance are functions of the place."""

    def __init__(self, mean: Field, kernel: Kernel = no_kernel) -> None:
        self.mean, self.kernel = mean, kernel
        places = net_points(np.arange(0.0, 1501.0, 100.0), np.arange(0.0, 360.0, 30.0))
        nothing = np.zeros(len(places))
        observed = ObservationOperator(nothing, places, nothing.astype(bool))
        noise = SimpleNamespace(sources=())
        self.fitted = SimpleNamespace(
            best=SimpleNamespace(observed=observed, noise=noise)
        )

        self.cell_points = None

    def joint(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        a, h = np.tile(azimuth, height.size), np.repeat(height, azimuth.size)
        table = self.kernel(a[:, None], h[:, None], a[None, :], h[None, :])
        return np.asarray(self.mean(a, h), float), np.array(table, dtype=float)

    def rings(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        found = [self.joint(np.array([here]), azimuth) for here in height]
        mean, covariance = zip(*found, strict=True)
        return np.stack(mean), np.stack(covariance)


def known_surface(
    design: Design,
    posterior: Any,
    *,
    surveyed: tuple[float, float] = (100.0, 1400.0),
    columns: int = 360,
) -> RadialSurface:
    """A surface with such a wall behind it."""
    grid = make_grid(design, surveyed=surveyed, columns=columns)
    azimuth, height = np.meshgrid(grid.azimuth, grid.height)
    mean = posterior.mean(azimuth, height) if isinstance(posterior, KnownWall) else 0.0
    cutback = np.where(grid.surveyed, mean, np.full(grid.shape, np.nan))
    return RadialSurface(
        design=design,
        grid=grid,
        radius=grid.design_radius[:, None] + cutback,
        radius_sd=np.zeros(grid.shape),
        posterior=cast(Any, posterior),
        count=100,
        kinds=("rod radius",),
    )
