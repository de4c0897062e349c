"""Small records of invented campaigns, written straight as surveys of a record.

No reading is fitted: the wall is known, and each survey errs by an amount that is drawn
from exactly the covariance that its file states.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geom.compare.panels import HOURS, part_means, part_owner
from geom.compare.volume import gamma_quantity, rebuild_volume
from geom.quantity import Quantity
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion, Stage
from geom.record.store.store import (
    Record,
    open_record,
    rebuild_manifest,
    start_record,
)
from geom.record.store.survey_file import survey_content
from geom.surface import Grid
from geom.units import Float
from tests.record.variables import variables

if TYPE_CHECKING:
    import xarray as xr

DESIGN = """
[lining]
name = "{name}"
length_unit = "{unit}"
azimuth_zero = "tap hole"
azimuth_sense = "counterclockwise"
height_zero = "bottom plate"

[shell]
radius = {shell}

[[profile]]
height = 0
radius = {radius}
[[profile]]
height = {top}
radius = {radius}

[[tuyere]]
azimuth = 33
height = {tuyere}
width = {wide}
tall = {tall}
"""
#: Sizes in mm: shell, radius, top, tuyere's height, width and how tall.
_SIZES = {"shell": 685, "radius": 450, "top": 1200, "tuyere": 300, "wide": 120}
#: Errors of a survey, mm: of the whole wall, and of each panel by itself.
WHOLE, OWN = 0.15, 0.5

#: Wear of a heat: a wall (m, k) in mm from a grid.
Wear = Callable[[Grid], Float]


def design_text(
    *, name: str = "Cupola R (invented)", unit: str = "mm", **sizes: float
) -> str:
    """The design file, its lengths in mm or in inches."""
    found = {**_SIZES, "tall": 80, **sizes}
    if unit == "in":
        found = {key: value / 25.4 for key, value in found.items()}
    return DESIGN.format(name=name, unit=unit, **found)


def new_record(folder: Path, **told: object) -> Record:
    """A record with no survey in it."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    drawing = folder.parent / f"{folder.name}.toml"
    drawing.write_text(design_text(**told), encoding="utf-8")  # type: ignore[arg-type]
    start_record(folder, drawing)
    return open_record(folder)


def add_campaign(
    record: Record,
    name: str,
    wear: Wear,
    *,
    first: int,
    heats: int,
    seed: int,
    scatter: float = 0.15,
    melted: float | None = 20_000.0,
    hours: float | None = 6.0,
    left: float = 1.0,
    begin: date = date(2026, 1, 5),
) -> Record:
    """Heats of one campaign, each surveyed before and after its repair.

    Parameters
    ----------
    record : Record
    name : str
    wear : callable
        Wear of an ordinary heat.
    first, heats : int
        Heat before which the lining is new, and how many there are.
    seed : int
    scatter : float
        Heats differ by this share of their wear (sd).
    melted, hours : float or None
        Of each heat.
    left : float, mm
        What a repair leaves of the wear.
    begin : date
    """
    chance = np.random.default_rng(seed)
    grid = record_grid(record.design)
    put = Surveyor(record, grid, name, begin, chance)
    wall = np.full(grid.shape, left)
    put.survey(first, "after repair", wall)
    for heat in range(first + 1, first + heats + 1):
        hard = 1.0 + scatter * chance.standard_normal()
        worn = wall + hard * wear(grid)
        put.survey(heat, "before repair", worn, hours=hours, melted=melted)
        put.survey(heat, "after repair", wall)
    rebuild_manifest(record.folder)
    return open_record(record.folder)


class Surveyor:
    """Writes surveys of a known wall into a record."""

    def __init__(
        self,
        record: Record,
        grid: Grid,
        campaign: str,
        begin: date,
        chance: np.random.Generator,
    ) -> None:
        self.record, self.grid, self.campaign = record, grid, campaign
        self.begin, self.chance = begin, chance

    def survey(
        self,
        heat: int,
        stage: Stage,
        wall: Float,
        *,
        hours: float | None = None,
        melted: float | None = None,
    ) -> Occasion:
        """Survey a wall, (m, k) of cut-back in mm, and keep it."""
        day = self.begin + timedelta(days=heat)
        at = Occasion(heat, stage, day, hours, melted, self.campaign)
        path = self.record.path(at)
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(survey_content(variables(self._data(wall)), at))
        return at

    def _data(self, wall: Float) -> xr.Dataset:
        import xarray as xr

        grid, panels = self.grid, self.record.panels
        owner = panels.owner(grid.height, grid.azimuth)
        error = WHOLE * self.chance.standard_normal()
        error = error + OWN * self.chance.standard_normal(panels.count)
        cutback = wall + error[owner]
        sd = np.full(grid.shape, np.hypot(WHOLE, OWN))
        face = grid.face_area
        area = np.bincount(owner.ravel(), face.ravel(), panels.count)
        mean = np.bincount(owner.ravel(), (face * cutback).ravel(), panels.count) / area
        deepest = np.array([cutback[owner == p].max() for p in range(panels.count)])
        parts = part_owner(grid.height, grid.azimuth, panels.edge, HOURS)
        part, part_sd = part_means(parts, cutback, sd, face, panels.count)
        both, one, two = ("height", "azimuth"), ("panel",), ("panel", "part")
        square = WHOLE**2 + OWN**2 * np.eye(panels.count)
        fields = {"cutback": cutback, "cutback_sd": sd}
        drawn = np.broadcast_to(grid.design_radius[:, None], grid.shape)
        fields |= {"design_radius": drawn, "radius": drawn + cutback, "radius_sd": sd}
        result = {
            name: (both, part.astype(np.float32)) for name, part in fields.items()
        }
        result |= {
            "panel_edge": (("panel_edges",), panels.edge),
            "panel_height": (one, panels.height),
            "panel_azimuth": (one, panels.azimuth),
            "panel_cutback": (one, mean),
            "panel_covariance": (("panel", "panel_other"), square.astype(np.float32)),
            "panel_deepest": (one, deepest),
            "panel_deepest_sd": (one, np.full(panels.count, np.hypot(WHOLE, OWN))),
            "panel_part": (two, part),
            "panel_part_sd": (two, part_sd),
            "panel_area": (one, area),
            "panel_read": (one, np.ones(panels.count)),
        }
        volume = rebuild_volume(grid, cutback, sd)
        found = {"volume": {"rebuild": gamma_quantity(volume, 0.02 * volume).to_dict()}}
        per_m3 = {"volume": {"rebuild": _times(found["volume"]["rebuild"], 1e-9)}}
        greatest = Quantity.normal(float(cutback.max()), float(np.hypot(WHOLE, OWN)))
        deepest = {"deepest": {"cutback": greatest.to_dict()}}
        result["findings"] = ((), json.dumps(per_m3 | deepest))
        at = {"height": grid.height, "azimuth": grid.azimuth}
        return xr.Dataset(result, coords=at, attrs={"title": "invented", "created": ""})


def _times(told: dict[str, float], factor: float) -> dict[str, float]:
    return {key: factor * value for key, value in told.items()}


def hump(depth: float, *, low: float = 1.0) -> Wear:
    """Wear of a heat: ``low`` everywhere and a hump of ``depth`` at 650 mm."""

    def wear(grid: Grid) -> Float:
        ring = np.exp(-(((grid.height - 650.0) / 180.0) ** 2))[:, None]
        return low + depth * ring * np.ones(grid.azimuth.size)

    return wear
