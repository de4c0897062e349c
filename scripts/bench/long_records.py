"""Records of thousands of surveys, made quickly, for timing.

One wall of an invented furnace, 3 m tall, is surveyed and put into a record as any
would be.  Some tens of walls are made from that file, all its fields rewritten, so that
wear grows from heat to heat; every survey of the record is a copy of one of them with
its own occasion.  So the files are laid out, packed and sized as a record's are.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np

import geom
from geom.compare.panels import panels_of
from geom.design import Design
from geom.record.store.grid import record_grid
from geom.record.store.manifest import LINING, NAME, reconcile
from geom.record.store.occasion import Occasion
from geom.record.store.store import (
    Record,
    add_survey,
    open_record,
    start_record,
)
from geom.record.store.survey_file import EPOCH
from geom.surface import Grid
from geom.units import Float, Int
from geom.views.netcdf import write_netcdf

DESIGN = """
[lining]
name = "Invented, 3 m"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[shell]
radius = 900

[[profile]]
height = 0
radius = 600
[[profile]]
height = 3000
radius = 660

[[tuyere]]
azimuth = 30
height = 600
width = 130
tall = 90
[[tuyere]]
azimuth = 150
height = 600
width = 130
tall = 90
[[tuyere]]
azimuth = 270
height = 600
width = 130
tall = 90
"""
#: Pairs of walls, as found and as left, that a record's surveys are copies of.
PAIRS = 20
#: Mean wear of a heat where it is greatest, at first and at last; scatter from heat to
#: heat, of the wear; mm.
_FIRST, _LAST, _SCATTER = 12.0, 18.0, 0.2
_START = date(2000, 1, 3)


def make_record(folder: Path, surveys: int, *, seed: int = 0) -> Record:
    """Make a record; every heat has a survey before its repair and one after it.

    Parameters
    ----------
    folder : Path
        Must not be there.
    surveys : int
        How many; the first is of the new lining.
    seed : int
    """
    template = _template(folder)
    heats = (surveys + 1) // 2
    walls = folder.parent / f"{folder.name}-walls"
    walls.mkdir()
    _make_walls(template, walls, open_record(folder).design, seed=seed)
    template.unlink()
    record = open_record(folder)
    for number, occasion in enumerate(_occasions(surveys)):
        pair = min(occasion.heat * PAIRS // max(heats, 1), PAIRS - 1)
        name = "left" if number % 2 == 0 else "found"
        _copied(walls / f"{name}-{pair}.nc", record.path(occasion), occasion)
    shutil.rmtree(walls)
    reconcile(folder)
    return open_record(folder)


def bytes_of(record: Record) -> int:
    """Bytes of all survey files."""
    return sum(record.path(one).stat().st_size for one in record.occasions)


def _template(folder: Path) -> Path:
    """Survey a wall, and put it into a new record; its file."""
    design_file = folder.parent / f"{folder.name}-{LINING}"
    design_file.write_text(DESIGN, "utf-8")
    design = geom.load_design(design_file)
    sheet = folder.parent / f"{folder.name}-rod.csv"
    rows = [
        f"{azimuth},{height},{design.profile.radius_at(height) + 10.0:.1f}"
        for height in np.linspace(20.0, 2980.0, 16).tolist()
        for azimuth in range(15, 360, 30)
    ]
    sheet.write_text("\n".join(["azimuth_deg,height_mm,radius_mm", *rows]), "utf-8")
    surface = geom.reconstruct(geom.load_readings(sheet, design), design)
    findings = geom.assess(surface, design)
    out = folder.parent / f"{folder.name}-survey"
    out.mkdir()
    write_netcdf(out / "surface.nc", surface, findings)
    (out / "findings.json").write_text(json.dumps(findings.to_dict()), "utf-8")
    start_record(folder, design_file)
    path = add_survey(folder, out, Occasion(0, "after repair", _START))
    shutil.rmtree(out)
    sheet.unlink()
    design_file.unlink()
    kept = folder.parent / f"{folder.name}-template.nc"
    shutil.copyfile(path, kept)
    path.unlink()
    (folder / NAME).unlink()  # it remembers that file
    return kept


def _make_walls(template: Path, into: Path, design: Design, *, seed: int) -> None:
    chance, grid = np.random.default_rng(seed), record_grid(design)
    owner = panels_of(design).owner(grid.height, grid.azimuth).ravel()
    for pair in range(PAIRS):
        left = 2.0 + _rough(grid, chance)
        most = _FIRST + (_LAST - _FIRST) * pair / (PAIRS - 1)
        most *= 1.0 + _SCATTER * chance.standard_normal()
        found = left + most * _pattern(grid) + _rough(grid, chance)
        for name, cutback in (("left", left), ("found", found)):
            _rewritten(template, into / f"{name}-{pair}.nc", cutback, owner, chance)


def _pattern(grid: Grid) -> Float:
    """Wear over the wall: a melting zone, burnt most on one side; 1 at most."""
    up = np.exp(-(((grid.height - 1000.0) / 450.0) ** 2))
    return np.outer(0.1 + 0.6 * up, 1.0 + 0.4 * np.cos(np.deg2rad(grid.azimuth - 75.0)))


def _rough(grid: Grid, chance: np.random.Generator) -> Float:
    """What a reconstructed wall strays, smooth over some 100 mm; mm."""
    from scipy.ndimage import gaussian_filter

    field = gaussian_filter(
        chance.standard_normal(grid.shape), 10.0, mode=("nearest", "wrap")
    )
    return np.asarray(field / field.std() * 1.5)


def _rewritten(
    template: Path, path: Path, cutback: Float, owner: Int, chance: np.random.Generator
) -> None:
    """A copy of a survey's file with another wall in it."""
    import h5py

    shutil.copyfile(template, path)
    path.chmod(0o644)
    with h5py.File(path, "r+") as file:
        known = np.isfinite(file["cutback"][()])
        sd = file["cutback_sd"][()] * (1.0 + 0.05 * chance.random(cutback.shape))
        seen = np.where(known, cutback, np.nan)
        drawn = file["design_radius"][()]
        for name, field in (
            ("cutback", seen), ("radius", drawn + seen),
            ("cutback_sd", sd), ("radius_sd", sd),
        ):  # fmt: skip
            file[name][...] = field
        held = np.bincount(owner, known.ravel())
        total = np.bincount(owner, np.nan_to_num(seen).ravel())
        whole = np.bincount(owner)
        mean = np.where(held > 0.8 * whole, total / np.maximum(held, 1.0), np.nan)
        file["panel_cutback"][...] = mean
        file["panel_deepest"][...] = mean + 3.0


def _occasions(surveys: int) -> Iterator[Occasion]:
    """A new lining, then before and after the repair of each heat."""
    yield Occasion(0, "after repair", _START)
    for number in range(1, surveys):
        heat = (number + 1) // 2
        on = _START + timedelta(days=heat)
        if number % 2:
            hours, melted = 8.0 + heat % 3, 60_000.0 + 2000.0 * (heat % 5)
            yield Occasion(heat, "before repair", on, hours, melted)
        else:
            yield Occasion(heat, "after repair", on)


def _copied(wall: Path, path: Path, occasion: Occasion) -> None:
    """A survey's file: a wall with its occasion."""
    import h5py

    shutil.copyfile(wall, path)
    with h5py.File(path, "r+") as file:
        file["heat"][()] = occasion.heat
        file["time"][()] = (occasion.date - EPOCH).days
        file["stage"][()] = occasion.stage
        file["hours_on_blast"][()] = _number(occasion.hours)
        file["melted"][()] = _number(occasion.melted)


def _number(known: float | None) -> float:
    return float("nan") if known is None else known
