"""A small record of an invented lining, its files written as a record writes them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from geom.compare.panels import HOURS, PanelState, panels_of, part_means, part_owner
from geom.design import Design, load_design
from geom.quantity import Quantity
from geom.record.store.grid import record_grid
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record, open_record, start_record
from geom.record.store.survey_file import survey_content
from geom.surface import Grid
from geom.units import Float
from tests.record.variables import variables

DESIGN = """
[lining]
name = "{name}"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[shell]
radius = 700

[[profile]]
height = 0
radius = 450
[[profile]]
height = {tall}
radius = 480

[[tuyere]]
azimuth = 30
height = 150
width = 120
tall = 90

[repair]
brick_threshold = 32
"""

#: Sd that every survey states for a cell, and for a panel's mean, mm.
CELL, PANEL = 1.5, 0.5


@dataclass(frozen=True)
class Survey:
    """What is to be put into a record."""

    occasion: Occasion
    cutback: Float
    sd: Float | float = CELL


def occasion(heat: int, stage: str, **told: object) -> Occasion:
    """An occasion on a date that goes with its heat."""
    on = date(2026, 1, 5) + timedelta(days=heat)
    return Occasion(heat, stage, on, **told)  # type: ignore[arg-type]


def start(folder: Path, *, tall: float = 320.0, name: str = "Invented") -> Grid:
    """Start the record; gives the grid its surveys are on."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    file = folder.parent / f"{folder.name}.toml"
    file.write_text(DESIGN.format(name=name, tall=tall), "utf-8")
    start_record(folder, file)
    return record_grid(load_design(file))


def put(folder: Path, *surveys: Survey) -> Record:
    """Put surveys into a record; gives it as it is then."""
    record = open_record(folder)
    for survey in surveys:
        data = variables(_dataset(survey, record.design))
        content = survey_content(data, survey.occasion)
        record.path(survey.occasion).write_bytes(content)
    return open_record(folder)


def _dataset(survey: Survey, design: Design):  # type: ignore[no-untyped-def]
    import xarray as xr

    grid = record_grid(design)
    sd = np.where(np.isnan(survey.cutback), np.nan, survey.sd)
    both, one = ("height", "azimuth"), ("panel",)
    state = panel_state_of(survey.cutback, design)
    greatest = Quantity.normal(float(np.nanmax(survey.cutback)), CELL)
    missing = np.nansum(np.maximum(survey.cutback, 0.0) * grid.face_area) * 1e-9
    rebuild = Quantity.normal(float(missing), 1e-4)
    found = {
        "schema": "daubline.findings/1",
        "warnings": [],
        "deepest": {"cutback": greatest.to_dict()},
        "volume": {"rebuild": rebuild.to_dict()},
    }
    return xr.Dataset(
        {
            "cutback": (both, survey.cutback.astype(np.float32), {"units": "mm"}),
            "cutback_sd": (both, sd.astype(np.float32), {"units": "mm"}),
            "design_radius": (both, _drawn(grid), {"units": "mm"}),
            "surveyed": (both, np.isfinite(survey.cutback).astype(np.int8)),
            "panel_edge": (("panel_edges",), state.panels.edge),
            "panel_height": (one, state.panels.height),
            "panel_azimuth": (one, state.panels.azimuth),
            "panel_cutback": (one, state.cutback),
            "panel_covariance": (("panel", "panel_other"), state.covariance),
            "panel_deepest": (one, state.deepest),
            "panel_deepest_sd": (one, state.deepest_sd),
            "panel_part": (("panel", "part"), state.part),
            "panel_part_sd": (("panel", "part"), state.part_sd),
            "panel_area": (one, state.area),
            "panel_read": (one, state.read),
            "findings": ((), json.dumps(found)),
        },
        coords={"height": grid.height, "azimuth": grid.azimuth},
    )


def _drawn(grid: Grid) -> Float:
    return np.broadcast_to(grid.design_radius[:, None], grid.shape).copy()


def panel_state_of(cutback: Float, design: Design) -> PanelState:
    """What is kept of the panels: plain means, errors of panels independent."""
    grid, panels = record_grid(design), panels_of(design)
    owner = panels.owner(grid.height, grid.azimuth).ravel()
    wall = (grid.wall * grid.row_height[:, None] * grid.design_radius[:, None]).ravel()
    found = np.isfinite(cutback).ravel()
    weight = np.where(found, wall, 0.0)
    held = np.bincount(owner, weight, panels.count)
    value = np.bincount(owner, weight * np.nan_to_num(cutback.ravel()), panels.count)
    enough = held > 0.8 * np.bincount(owner, wall, panels.count)
    mean = np.where(enough, value / np.maximum(held, 1e-9), np.nan)
    deepest = np.full(panels.count, -np.inf)
    np.maximum.at(deepest, owner[found], cutback.ravel()[found])
    deepest[~np.isfinite(deepest)] = np.nan
    parts = part_owner(grid.height, grid.azimuth, panels.edge, HOURS)
    sd = np.full(grid.shape, CELL)
    part, part_sd = part_means(
        parts, cutback, sd, weight.reshape(grid.shape), panels.count
    )
    return PanelState(
        panels=panels,
        cutback=mean,
        covariance=np.diag(np.where(enough, PANEL**2, 0.0)),
        deepest=deepest,
        deepest_sd=np.where(np.isfinite(deepest), CELL, np.nan),
        part=part,
        part_sd=part_sd,
        area=held * grid.sector,
        read=np.ones(panels.count),
    )


def worn_record(
    folder: Path,
    heats: int,
    *,
    repaired: bool = True,
    seed: int = 0,
    exposures: bool = True,
    holes: bool = True,
    campaign: str = "",
    first: int = 0,
    rate: float = 2.0,
) -> Record:
    """A record of single heats: every cell wears unevenly, some are not told at times.

    With ``repaired`` each heat has a survey before its repair and one after it, else
    one survey a heat ends a spell and starts the next.
    """
    grid = record_grid(open_record(folder).design)
    chance = np.random.default_rng(seed)
    hot = np.cos(np.deg2rad(grid.azimuth)) + grid.height[:, None] / 300.0
    wall = np.zeros(grid.shape)

    def told(heat: int, stage: str) -> Survey:
        seen = (wall + chance.normal(0.0, 0.3, grid.shape)).astype(np.float32)
        if holes:
            seen[chance.random(grid.shape) < 0.05] = np.nan
            seen[: chance.integers(0, 4)] = np.nan
        much: dict[str, object] = {}
        if exposures and stage != "after repair":
            much = {"hours": 8.0 + heat % 3, "melted": 50_000.0 + 1000.0 * (heat % 5)}
        at = occasion(heat, stage, campaign=campaign, **much)
        return Survey(at, seen, sd=CELL + chance.random(grid.shape))

    surveys = [told(first, "after repair" if repaired else "not repaired")]
    for heat in range(first + 1, first + heats + 1):
        scale = 1.0 + 0.2 * chance.standard_normal() + 0.02 * heat
        wall = wall + rate * scale * (1.0 + 0.4 * hot)
        if not repaired:
            surveys.append(told(heat, "not repaired"))
            continue
        surveys.append(told(heat, "before repair"))
        wall = 0.1 * wall
        surveys.append(told(heat, "after repair"))
    return put(folder, *surveys)


def panel_count(design: Design) -> int:
    """Panels of a drawing's wall."""
    return panels_of(design).rows * HOURS
