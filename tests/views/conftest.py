"""An invented furnace, made straight from the data classes; no real plant."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pytest

from geom.compare.findings import (
    ACTIONS,
    BudgetLine,
    Deepest,
    Findings,
    Level,
    Maps,
    ReadingsSummary,
    Surveyed,
    Volume,
    Zone,
)
from geom.design import Bottom, DatumBand, Design, Opening, Profile, Shop
from geom.document import as_document
from geom.frame import turn
from geom.quantity import Quantity
from geom.readings.rod import RodReadings
from geom.repair import RepairPackage, plan_repair
from geom.repair.audit.melting import run_settings, worn_melting
from geom.repair.audit.sand_bottom import sand_bottom
from geom.repair.audit.taper import taper_audit
from geom.repair.masonry.relining import relined_bands
from geom.repair.package import plan_support
from geom.repair.plan.daub import drying_schedule
from geom.stats.normal import (
    exceedance_probability,
    expected_excess,
    expected_shortfall,
)
from geom.surface.grid import Grid, make_grid
from geom.surface.radial import AtStep, Outlying, RadialSurface, Rejected
from geom.views.tables.survey import say_diagnostics

IN = 25.4


@dataclass(frozen=True)
class Furnace:
    """All that the views are given."""

    design: Design
    readings: RodReadings
    surface: RadialSurface
    findings: Findings

    @cached_property
    def works(self) -> RepairPackage:
        """The repair, its order list on a few walls only."""
        findings, design = self.findings, self.design
        # a real surface goes on behind its openings
        posterior = self.surface.posterior
        behind = np.where(self.surface.grid.surveyed, posterior.cutback, np.nan)
        drawn = self.surface.grid.design_radius[:, None]
        surface = replace(
            self.surface,
            radius=drawn + behind,
            radius_sd=np.where(np.isnan(behind), np.nan, posterior.sd),
        )
        plan = plan_repair(surface, findings, design, draws=3)
        support = plan_support(plan, surface, findings, design)
        return RepairPackage(
            plan=plan,
            support=support,
            relining=relined_bands(design, support.stops),
            taper=taper_audit(surface, design),
            melting=worn_melting(surface, findings, design),
            bottom=sand_bottom(design, surface=surface),
            drying=drying_schedule(as_document(plan.daub), design.shop),
            settings=run_settings(
                worn_melting(surface, findings, design), surface, design
            ),
        )


@dataclass(frozen=True)
class Nearby:
    """Stands where `GPPosterior` does: the nearest cell, errors alike within 150 mm."""

    grid: Grid
    cutback: np.ndarray
    sd: np.ndarray
    cell_points: None = None

    @property
    def fitted(self) -> Nearby:
        return self

    def joint(
        self, height: np.ndarray, azimuth: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        row = np.abs(self.grid.height[:, None] - height).argmin(axis=0)
        column = np.abs(turn(self.grid.azimuth[:, None], azimuth)).argmin(axis=0)
        mean = self.cutback[np.ix_(row, column)].ravel()
        around = np.deg2rad(turn(azimuth[:, None], azimuth)) * 450.0
        upright = height[:, None] - height
        near = [np.exp(-0.5 * (apart / 150.0) ** 2) for apart in (upright, around)]
        return mean, 4.0 * np.kron(*near)


def make_design(
    unit: str = "in", sense: str = "clockwise", **changes: object
) -> Design:
    holes = [
        Opening("tuyere", 30 + 60 * i, 17.5 * IN, 5 * IN, 3.5 * IN) for i in range(6)
    ]
    holes.append(Opening("tap hole", 0, 3 * IN, 4 * IN, 4 * IN))
    holes.append(Opening("slag hole", 180, 11 * IN, 4 * IN, 3 * IN))
    design = Design(
        name="Cupola A (invented)",
        length_unit=unit,
        azimuth_zero="tap hole",
        azimuth_sense=sense,  # type: ignore[arg-type]
        height_zero="bottom plate",
        profile=Profile(
            np.array([0, 14, 14, 40, 60, 96]) * IN,
            np.array([17, 17, 18, 18, 19, 19]) * IN,
        ),
        shell_radius=27 * IN,
        openings=tuple(holes),
        datum_bands=(DatumBand(86 * IN, 95 * IN),),
        shop=Shop(bottom=Bottom(least=1 * IN)),  # as thick as its tap hole allows
    )
    return replace(design, **changes)  # type: ignore[arg-type]


def wave(grid: Grid, seed: int = 7) -> tuple[np.ndarray, np.ndarray]:
    """A worn melting zone, build-up below, a rough skin; cut-back and sd, mm."""
    a, z = np.deg2rad(grid.azimuth)[None, :], grid.height[:, None]
    worn = 44 * np.exp(-(((z - 760) / 260) ** 2)) * (0.75 + 0.35 * np.cos(a - 0.35))
    proud = 22 * np.exp(-(((z - 1560) / 120) ** 2)) * np.exp(2 * (np.cos(a - 2.6) - 1))
    rough = np.random.default_rng(seed).normal(0, 0.4, grid.shape)
    sd = 2.0 + 2.5 * np.abs(np.sin(3 * a)) * np.ones_like(z)
    sd = sd + 9 * np.exp(-(((z - 2000) / 120) ** 2)) * np.exp(6 * (np.cos(a + 1.2) - 1))
    return worn - proud + rough - 1.5, sd


def call(
    cutback: np.ndarray, sd: np.ndarray, design: Design, known: np.ndarray
) -> Maps:
    rules = design.repair
    action = np.full(cutback.shape, ACTIONS.index("leave"), dtype=np.int8)
    action[cutback > rules.tolerance] = ACTIONS.index("daub")
    action[cutback > rules.brick_threshold] = ACTIONS.index("brick")
    action[cutback < -rules.tolerance] = ACTIONS.index("chip")
    action[sd > 8.0] = ACTIONS.index("measure again")
    action[~known] = -1
    zone = np.zeros(cutback.shape, dtype=np.int64)
    for number, code in enumerate((1, 2, 3, 4), start=1):
        zone[action == code] = number
    return Maps(
        cutback=np.where(known, cutback, np.nan),
        cutback_sd=np.where(known, sd, np.nan),
        p_brick=np.where(
            known, exceedance_probability(cutback, sd, rules.brick_threshold), np.nan
        ),
        action=action,
        zone=zone,
        surveyed=known,
    )


def make_zones(maps: Maps, grid: Grid) -> tuple[Zone, ...]:
    zones = []
    for number in range(1, 5):
        here = maps.zone == number
        if not here.any():
            continue
        rows, columns = np.nonzero(here.any(1))[0], np.nonzero(here.any(0))[0]
        ends = (0.0, 360.0)
        if columns.size < grid.azimuth.size:
            gaps = np.diff(np.append(columns, columns[0] + grid.azimuth.size))
            start = (int(np.argmax(gaps)) + 1) % columns.size
            ends = (
                float(grid.azimuth[columns[start]]),
                float(grid.azimuth[columns[start - 1]]),
            )
        cutback = maps.cutback[here]
        volume = float(np.sum(np.abs(cutback) * grid.face_area[here]))
        zones.append(
            Zone(
                id=number,
                action=ACTIONS[int(maps.action[here][0])],
                azimuth_from=ends[0],
                azimuth_to=ends[1],
                height_from=float(grid.edge[rows[0]]),
                height_to=float(grid.edge[rows[-1] + 1]),
                area=float(grid.face_area[here].sum()),
                volume=Quantity.normal(volume, 0.08 * volume),
                cutback_max=Quantity.normal(float(cutback.max()), 3.0),
                cutback_mean=Quantity.normal(float(cutback.mean()), 2.0),
            )
        )
    return tuple(zones)


def make_furnace(
    unit: str = "in",
    sense: str = "clockwise",
    *,
    title: str = "Heat 212, after drop",
    spacing: float = 20.0,
    columns: int = 360,
    surveyed: tuple[float, float] = (0.0, 90 * IN),
    field: Callable[[Grid], tuple[np.ndarray, np.ndarray]] = wave,
    **changes: object,
) -> Furnace:
    design = make_design(unit, sense, **changes)
    grid = make_grid(design, surveyed=surveyed, spacing=spacing, columns=columns)
    cutback, sd = field(grid)
    known = np.broadcast_to(grid.surveyed, grid.shape) & ~grid.opening
    maps = call(cutback, sd, design, known)
    radius = grid.design_radius[:, None] + maps.cutback
    readings = make_readings(surveyed)
    surface = RadialSurface(
        design=design,
        grid=grid,
        radius=radius,
        radius_sd=maps.cutback_sd,
        posterior=Nearby(grid, cutback, sd),  # type: ignore[arg-type]
        count=len(readings),
        kinds=("radius",),
        rejected=(
            Rejected(readings.place[40], "radius", 512.0, 470.0, Outlying(sd=5.0)),
        ),
    )
    return Furnace(design, readings, surface, make_findings(surface, maps, title))


def make_readings(surveyed: tuple[float, float]) -> RodReadings:
    azimuth, height = np.meshgrid(np.arange(0, 360, 30.0), np.linspace(*surveyed, 12))
    n = azimuth.size
    return RodReadings(
        kind=("radius",) * n,
        azimuth=azimuth.ravel(),
        height=height.ravel(),
        value=np.full(n, 470.0),
        sd=np.full(n, np.nan),
        step=np.full(n, 3.175),
        place=tuple(f"rod.csv, row {i + 2}" for i in range(n)),
        note=("",) * n,
    )


def make_findings(surface: RadialSurface, maps: Maps, title: str) -> Findings:
    grid = surface.grid
    drawn = grid.design_radius[:, None]
    mean, sd = np.nan_to_num(maps.cutback), np.nan_to_num(maps.cutback_sd)
    patch = grid.patch * ~grid.opening
    proud_at = expected_shortfall(mean, sd, drawn)
    rebuild = float(np.sum(expected_excess(mean, sd, drawn) * patch))
    proud = float(np.sum(proud_at * patch))
    peak = np.unravel_index(np.nanargmax(maps.cutback), grid.shape)
    deepest = float(maps.cutback[peak])
    levels = tuple(
        Level(h, "", 914.4, Quantity.normal(940.0, 2.0), Quantity.normal(5.7, 0.4))
        for h in (508.0, 762.0, 1016.0)
    )
    return Findings(
        lining=surface.design.name,
        title=title,
        created="2026-01-05T06:30:00+00:00",
        version="0.1.0",
        readings=ReadingsSummary(surface.count, len(surface.rejected), ("rod radius",)),
        surveyed=Surveyed(0.0, 90 * IN, float(grid.face_area.sum())),
        datum=None,
        volume=Volume(
            Quantity.normal(rebuild, 0.06 * rebuild),
            Quantity.normal(proud, 0.1 * proud),
            Quantity.normal(rebuild - proud, 0.08 * rebuild),
        ),
        deepest=Deepest(
            Quantity.normal(deepest, 3.0),
            float(grid.azimuth[peak[1]]),
            float(grid.height[peak[0]]),
            Quantity.normal(685.8 - 457.2 - deepest, 3.0),
        ),
        levels=levels,
        zones=make_zones(maps, grid),
        budget=(
            BudgetLine("wall between readings", "A", 2.4, "mm", 0.71),
            BudgetLine("rod resolution", "B", 0.92, "mm", 0.29),
        ),
        diagnostics=(AtStep(14),),
        warnings=say_diagnostics((AtStep(14),), surface.design),
        maps=maps,
    )


@pytest.fixture(scope="session")
def build() -> Callable[..., Furnace]:
    """Makes furnaces: ``build("mm", "counterclockwise")``."""
    return make_furnace


@pytest.fixture(scope="session")
def furnace() -> Furnace:
    """The usual one: inches, clockwise."""
    return make_furnace()
