"""Invented walls with their findings, quick enough to plan many of."""

from __future__ import annotations

from typing import Any, cast

import numpy as np

from geom.compare.draws import WallDraws
from geom.compare.findings import (
    Deepest,
    Findings,
    Maps,
    ReadingsSummary,
    Surveyed,
)
from geom.compare.nodes import make_nodes
from geom.compare.volume import volumes
from geom.compare.zones import call_actions, find_zones
from geom.design import Brick, Design
from geom.frame import turn
from geom.quantity import Quantity
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import RepairPlan
from geom.surface import RadialSurface, make_grid
from geom.units import Float
from tests.repair.known_wall import Field, KnownWall

LOW, HIGH = 200.0, 900.0
#: Invented bricks: a stretcher of 110 mm build, and a pair that turns 350 to 900 mm.
STRETCHER = Brick("stretcher", 220.0, 110.0, 60.0, radial="width")
SPLIT = Brick("split", 220.0, 110.0, 30.0, radial="width")
STEEP = Brick("steep", 150.0, 100.0, 60.0, "width", 70.0)
SLIGHT = Brick("slight", 150.0, 100.0, 60.0, "width", 85.0)


def box(azimuth: float, half: float, low: float, high: float, depth: float) -> Field:
    """A hole with upright edges, else sound wall; degrees and mm."""

    def field(a: Float, h: Float) -> Float:
        inside = (np.abs(turn(azimuth, a)) < half) & (h > low) & (h < high)
        return np.where(inside, depth, 0.0)

    return field


def hollow(azimuth: float, height: float, depth: float) -> Field:
    """A smooth hollow, about 120 mm from its middle to half its depth."""

    def field(a: Float, h: Float) -> Float:
        away = np.hypot(turn(azimuth, a) * np.pi / 180.0 * 450.0, h - height)
        return np.asarray(depth * np.exp(-((away / 150.0) ** 2)))

    return field


def together(*fields: Field) -> Field:
    """The sum of several."""
    return lambda a, h: np.asarray(sum(field(a, h) for field in fields))


def kernel(sd: float, length: float = 200.0) -> Any:
    """Errors that hang together over some length, the same everywhere."""

    def covariance(a: Float, h: Float, a2: Float, h2: Float) -> Float:
        around = turn(a, a2) * np.pi / 180.0 * 450.0
        away2 = around**2 + (h - h2) ** 2
        return np.asarray(sd**2 * np.exp(-0.5 * away2 / length**2))

    return covariance


def surface_of(
    design: Design, field: Field, *, sd: float = 1.5, columns: int = 120
) -> RadialSurface:
    """A wall that is known so well everywhere."""
    grid = make_grid(design, surveyed=(LOW, HIGH), columns=columns)
    azimuth, height = np.meshgrid(grid.azimuth, grid.height)
    known = np.where(grid.surveyed, 1.0, np.nan)
    return RadialSurface(
        design=design,
        grid=grid,
        radius=grid.design_radius[:, None] + known * field(azimuth, height),
        radius_sd=known * np.full(grid.shape, sd),
        posterior=cast(Any, KnownWall(field, kernel(sd))),
        count=100,
        kinds=("rod radius",),
    )


def findings_of(surface: RadialSurface) -> Findings:
    """What a plan asks of findings; the rest is left empty."""
    grid, cutback, sd = surface.grid, surface.cutback, surface.radius_sd
    nodes = make_nodes(surface)
    drawn = nodes.mean[:, None] + nodes.draws(np.arange(nodes.mean.size), 400, seed=0)
    walls = WallDraws(
        nodes, drawn, drawn, np.zeros(nodes.mean.size), np.zeros(drawn.shape[1])
    )
    action = call_actions(grid, cutback, sd, surface.design.repair)
    zones, number = find_zones(grid, cutback, sd, action, walls)
    nothing = Quantity.normal(0.0, 0.0)
    return Findings(
        lining=surface.design.name,
        title="invented",
        created="",
        version="",
        readings=ReadingsSummary(surface.count, 0, surface.kinds),
        surveyed=Surveyed(*grid.surveyed_heights, float(grid.face_area.sum())),
        datum=None,
        volume=volumes(grid, cutback, sd, walls),
        deepest=Deepest(nothing, 0.0, 0.0, None),
        levels=(),
        zones=zones,
        budget=(),
        warnings=(),
        maps=Maps(cutback, sd, cutback, action, number, grid.wall > 0.0),
    )


def planned(
    design: Design,
    field: Field,
    *,
    sd: float = 1.5,
    columns: int = 120,
    draws: int = 4,
) -> tuple[RepairPlan, RadialSurface, Findings]:
    """A plan with what it was made from."""
    surface = surface_of(design, field, sd=sd, columns=columns)
    findings = findings_of(surface)
    return plan_repair(surface, findings, design, draws=draws), surface, findings
