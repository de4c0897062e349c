"""Two surveys of an invented wall whose errors are known, cell by cell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import PARTS, PanelState, panels_of
from geom.design import Design
from geom.frame import turn
from geom.record.change.volumes import SurveyDifference
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion
from geom.record.store.survey_file import RecordedWall
from geom.surface import Grid, make_grid
from geom.units import Float
from tests.walls import plain_design

Field = Callable[[Float, Float], Float]


def as_drawn(height: Float, azimuth: Float) -> Float:
    """No cut-back anywhere."""
    return np.zeros(np.broadcast(height, azimuth).shape)


def burnt(height: Float, azimuth: Float) -> Float:
    """Lost between the surveys: 18 mm at 700 mm and azimuth 60; nowhere less than 0."""
    around = np.exp(2.0 * (np.cos(np.deg2rad(azimuth - 60.0)) - 1.0))
    return 18.0 * np.exp(-(((height - 700.0) / 200.0) ** 2)) * around


def patched(height: Float, azimuth: Float) -> Float:
    """Burnt as above, and 9 mm put back at 1150 mm and azimuth 250."""
    around = (turn(azimuth, 250.0) / 40.0) ** 2
    return burnt(height, azimuth) - 9.0 * np.exp(
        -(((height - 1150.0) / 100.0) ** 2) - around
    )


@dataclass(frozen=True)
class Errors:
    """Errors of one survey that die away with distance, and one common to all, mm."""

    sd: float
    reach: float
    common: float

    def roots(self, grid: Grid, radius: float) -> tuple[Float, Float]:
        """Roots of the covariance along the height and round the wall."""
        upright = np.abs(np.subtract.outer(grid.height, grid.height))
        around = np.abs(np.deg2rad(turn(grid.azimuth[:, None], grid.azimuth))) * radius
        up, round_it = (
            np.linalg.cholesky(np.exp(-apart / self.reach) + 1e-9 * np.eye(len(apart)))
            for apart in (upright, around)
        )
        return up, round_it

    def draw(
        self, grid: Grid, radius: float, count: int, chance: np.random.Generator
    ) -> Float:
        """Draws of the errors; (count, m, k)."""
        up, round_it = self.roots(grid, radius)
        own = up @ chance.standard_normal((count, *grid.shape)) @ round_it.T
        return self.sd * own + self.common * chance.standard_normal((count, 1, 1))

    def covariance(self, grid: Grid, radius: float) -> Float:
        """Of all cells; (m k, m k)."""
        up, round_it = self.roots(grid, radius)
        own = np.kron(up @ up.T, round_it @ round_it.T)
        return self.sd**2 * own + self.common**2


def coarse_difference(
    start: Float, change: Float, one: Errors, other: Errors
) -> SurveyDifference:
    """Two surveys on `coarse_grid`; cut-back first and its change, mm, (m, k)."""
    design, grid = plain_design(), coarse_grid()
    panels, radius = panels_of(design), design.profile.mean_radius
    owner = panels.owner(grid.height, grid.azimuth).ravel()
    pull = np.zeros((panels.count, owner.size))
    pull[owner, np.arange(owner.size)] = 1.0
    pull /= pull.sum(axis=1, keepdims=True)
    cells = one.covariance(grid, radius) + other.covariance(grid, radius)
    return SurveyDifference(
        grid=grid,
        panels=panels,
        start=450.0 + start,
        start_sd=np.full(grid.shape, np.hypot(one.sd, one.common)),
        end_sd=np.full(grid.shape, np.hypot(other.sd, other.common)),
        change=change,
        covariance=pull @ cells @ pull.T,
    )


def coarse_grid() -> Grid:
    """Cells of 50 mm by 5 degrees: few enough to draw all of them jointly."""
    return make_grid(plain_design(), surveyed=(0.0, 1500.0), spacing=50.0, columns=72)


def recorded_wall(
    cutback: Field = as_drawn,
    *,
    design: Design | None = None,
    sd: float = 0.5,
    common: float = 0.2,
    between: tuple[float, float] | None = None,
    covered: tuple[float, float] | None = None,
    title: str = "a survey",
    created: str = "2026-01-05T06:30:00+00:00",
    occasion: Occasion | None = None,
) -> RecordedWall:
    """A survey on the record's grid.

    Each panel errs by ``sd`` of its own, and all of them by ``common``.  ``between``
    are the heights surveyed, ``covered`` those whose panels have means; default all.
    """
    design = plain_design() if design is None else design
    grid, panels = record_grid(design), panels_of(design)
    whole = (design.profile.bottom, design.profile.top)
    low, high = whole if between is None else between
    seen = ((grid.height > low) & (grid.height < high))[:, None]
    least, most = (low, high) if covered is None else covered
    known = (panels.height > least) & (panels.height < most)
    covariance = np.diag(np.full(panels.count, sd**2)) + common**2
    return RecordedWall(
        title=title,
        created=created,
        occasion=occasion,
        design=design,
        height=grid.height,
        azimuth=grid.azimuth,
        design_radius=grid.design_radius,
        cutback=np.where(seen, cutback(grid.height[:, None], grid.azimuth), np.nan),
        cutback_sd=np.where(seen, np.full(grid.shape, np.hypot(sd, common)), np.nan),
        wall=grid.wall,
        row_height=grid.row_height,
        panels=PanelState(
            panels=panels,
            cutback=np.where(known, cutback(panels.height, panels.azimuth), np.nan),
            covariance=np.where(np.outer(known, known), covariance, 0.0),
            deepest=np.full(panels.count, np.nan),
            deepest_sd=np.full(panels.count, np.nan),
            part=np.full((panels.count, PARTS), np.nan),
            part_sd=np.full((panels.count, PARTS), np.nan),
            area=np.full(panels.count, 1.0),
            read=np.ones(panels.count),
        ),
        findings={},
    )
