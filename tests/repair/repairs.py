"""Invented walls before and after a repair, whose truth is known everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare import Findings, assess
from geom.design import Design, RepairRules
from geom.frame import turn
from geom.readings import RodReadings
from geom.readings.surveys import PastSurvey, SurveyBefore, ZoneBefore
from geom.repair.acceptance.recheck import recheck
from geom.repair.acceptance.result import Recheck
from geom.surface import Grid, RadialSurface, reconstruct
from geom.units import Bool, Float
from tests.walls import plain_design, rod_readings, stations

DESIGN = plain_design(repair=RepairRules(tolerance=6.0))
NOISE = 1.5
#: Middles of three patches, azimuth and height, and how far they reach.
PATCHES = ((60.0, 650.0), (180.0, 750.0), (300.0, 850.0))
WIDE, TALL = 25.0, 150.0


def burnt(azimuth: Float, height: Float) -> Float:
    """The worn wall: three hollows of 35 mm in a wall that is 1 mm off."""
    hollow = sum(
        np.exp(-((turn(a, azimuth) / 28.0) ** 2) - ((height - z) / 180.0) ** 2)
        for a, z in PATCHES
    )
    return np.asarray(1.0 + 34.0 * hollow)


def in_patch(index: int, azimuth: Float, height: Float) -> Bool:
    a, z = PATCHES[index]
    return (np.abs(turn(a, azimuth)) <= WIDE) & (np.abs(height - z) <= TALL)


def mended(azimuth: Float, height: Float, *, seed: int = 0, short=(0.0, 0.0, 0.0)):
    """The repaired wall: within 2 mm of the drawing, patches ``short`` of it."""
    phase = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi, 2)
    ripple = np.sin(np.deg2rad(2.0 * azimuth) + phase[0]) * np.sin(
        height / 250.0 + phase[1]
    )
    left = sum(mm * in_patch(k, azimuth, height) for k, mm in enumerate(short))
    return 2.0 * ripple + left


def read(truth, *, azimuths=16, heights=10, seed=0, low=100.0, high=1400.0):
    azimuth, height = stations(azimuths, heights, low, high)
    error = np.random.default_rng(seed).normal(0.0, NOISE, azimuth.size)
    radius = DESIGN.profile.radius_at(height) + truth(azimuth, height) + error
    return rod_readings(azimuth, height, radius, sd=NOISE)


def survey(readings: RodReadings, design: Design = DESIGN):
    surface = reconstruct(readings, design, spacing=25.0, columns=60)
    return surface, assess(surface, design)


def as_before(surface: RadialSurface, findings: Findings) -> SurveyBefore:
    """A survey as `load_survey_before` gives it."""
    rows = surface.grid.surveyed_rows
    return SurveyBefore(
        survey=PastSurvey(
            surface.height[rows],
            surface.azimuth,
            surface.cutback[rows],
            surface.radius_sd[rows],
        ),
        zone=findings.maps.zone[rows],
        zones=tuple(
            ZoneBefore(
                zone.id,
                zone.action,
                zone.azimuth_from,
                zone.azimuth_to,
                zone.height_from,
                zone.height_to,
                zone.area,
                zone.volume,
                zone.cutback_mean,
            )
            for zone in findings.zones
        ),
        title="before",
        created="2026-01-05T06:30:00+00:00",
        low=findings.surveyed.height_from,
        high=findings.surveyed.height_to,
        rebuild=findings.volume.rebuild,
        net=findings.volume.net,
    )


@dataclass(frozen=True)
class Repair:
    """One repair: the survey before, the surface after, and both truths."""

    before: SurveyBefore
    surface: RadialSurface
    findings: Findings
    was: object
    now: object

    @cached_property
    def found(self) -> Recheck:
        return recheck(self.before, self.surface, self.findings, DESIGN)

    def on_grid(self, truth) -> Float:
        """True cut-back in every cell, mm."""
        grid = self.surface.grid
        return truth(grid.azimuth[None, :], grid.height[:, None]) * np.ones(grid.shape)

    def really_back(self, mask: Bool) -> bool:
        """Whether a piece of face is back on its drawing, told from the truth."""
        area = np.where(mask, self.surface.grid.face_area, 0.0)
        off = self.on_grid(self.now)
        tolerance = DESIGN.repair.tolerance
        mean = float(np.sum(area * off) / area.sum())
        inside = float(area[np.abs(off) <= tolerance].sum() / area.sum())
        return abs(mean) <= tolerance and inside >= 0.9

    def truly_put_in(self, mask: Bool) -> float:
        """True volume put in over a piece of face, mm3, by the midpoint rule."""
        grid = self.surface.grid
        drawn = grid.design_radius[:, None]
        x, y = self.on_grid(self.was), self.on_grid(self.now)
        section = 0.5 * ((drawn + x) ** 2 - (drawn + y) ** 2)
        return float(np.sum(np.where(mask, grid.patch, 0.0) * np.maximum(section, 0)))


def repair(now, *, was=burnt, seed: int = 0, **stations_of_now) -> Repair:
    before = as_before(*survey(read(was, seed=1000 + seed)))
    surface, findings = survey(read(now, seed=2000 + seed, **stations_of_now))
    return Repair(before, surface, findings, was, now)


def zone_masks(one: Repair, grid: Grid) -> dict[int, Bool]:
    from geom.repair.acceptance.material import wall_before

    zone = wall_before(one.before, grid).zone
    return {known.id: zone == known.id for known in one.before.zones}
