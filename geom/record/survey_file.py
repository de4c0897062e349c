"""One survey as a record keeps it, or as ``survey`` wrote it, read back."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from geom.compare.panel_parts import PARTS
from geom.compare.panels import Panels, PanelState, panels_of
from geom.design import Design
from geom.errors import InputError
from geom.readings.past_surveys import FILE
from geom.readings.survey_before import load_survey_before
from geom.record.common_grid import grid_behind, record_grid
from geom.record.occasion import Occasion
from geom.surface import Grid
from geom.units import Float

#: Day 0 of the files' ``time``.
EPOCH = date(1970, 1, 1)

#: Names of what is kept of the panels.
PANELS = (
    "panel_edge",
    "panel_height",
    "panel_azimuth",
    "panel_cutback",
    "panel_covariance",
    "panel_deepest",
    "panel_deepest_sd",
    "panel_part",
    "panel_part_sd",
    "panel_area",
    "panel_read",
)

#: Those of parts of panels.
PARTED = ("panel_part", "panel_part_sd")

#: Drawn radii that agree this well are of the same drawing, mm.
_SAME = 0.1
_DAMAGED = (
    "See what 'daubline record check' says; take the file out of the record and add "
    "the survey again from its folder"
)
_OTHER = "The lining's design file and its surveys must be of the same drawing"
#: What reading a file that is not as it was written ends in.
_FAULTS = (OSError, LookupError, ValueError, TypeError, RuntimeError, ArithmeticError)
_NO_PANELS = "Survey its readings again with this version, and take that folder"


@dataclass(frozen=True)
class RecordedWall:
    """One survey: the gridded wall, m rows of k azimuths, and what was found.

    Attributes
    ----------
    title, created : str
    occasion : Occasion or None
        None for the output folder of a survey that is in no record.
    design : Design
    height : array (m,), mm
        Centres of the rows.
    azimuth : array (k,), degrees
    design_radius : array (m,), mm
    cutback, cutback_sd : array (m, k), mm
        NaN where not surveyed.
    wall : array (m, k), 0 to 1
        Share of each cell that is wall and not opening.
    row_height : array (m,), mm
    panels : PanelState
    findings : dict
        The document ``findings.json`` holds.
    """

    title: str
    created: str
    occasion: Occasion | None
    design: Design
    height: Float
    azimuth: Float
    design_radius: Float
    cutback: Float
    cutback_sd: Float
    wall: Float
    row_height: Float
    panels: PanelState
    findings: dict[str, Any]


def load_wall(path: Path | str, design: Design) -> RecordedWall:
    """A survey from a record's file or from the folder ``survey`` wrote.

    Parameters
    ----------
    path : path
        An output folder of ``daubline survey``, or a file of a record.
    design : Design
        The drawing that it was compared with.

    Raises
    ------
    InputError
        If it cannot be read, or is of another lining or drawing.
    """
    path = Path(path)
    return _of_folder(path, design) if path.is_dir() else _of_record(path, design)


def load_state(path: Path | str, panels: Panels) -> PanelState:
    """Only the panels of a survey, quickly.

    Parameters
    ----------
    path : path
        As for `load_wall`.
    panels : Panels
        How the lining is divided.

    Raises
    ------
    InputError
        If it cannot be read, keeps no panels, or is divided otherwise.
    """
    path = Path(path)
    with opened(path / FILE if path.is_dir() else path) as file:
        return state_in(file, panels)


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """A NetCDF-4 file open as HDF5, whose faults are told in a sentence.

    Yields
    ------
    h5py.File

    Raises
    ------
    InputError
        If it, or what is read of it in the block, is not as it was written.
    """
    import h5py  # type: ignore[import-untyped]

    if not path.is_file():
        raise InputError("there is no such file", file=path)
    try:
        with h5py.File(path, "r") as file:
            yield file
    except _FAULTS as fault:
        if isinstance(fault, InputError):
            raise fault.at(file=path) from None
        what = "cannot be read, or is not as it was written"
        raise InputError(what, file=path, cure=_DAMAGED) from fault


def read_through(file: Any) -> None:
    """Read all that an open file holds: checksums that do not hold are an error."""

    def read(_name: str, item: Any) -> None:
        if hasattr(item, "shape"):
            item[()]

    file.visititems(read)


def state_in(file: Any, panels: Panels) -> PanelState:
    """What an open file keeps of the panels."""
    missing = [name for name in PANELS if name not in file]
    if missing:
        raise InputError(f"has no {missing[0]}", cure=_NO_PANELS)
    told = {name: file[name][()].astype(np.float64) for name in PANELS}
    edge, p = told["panel_edge"], panels.count
    if edge.shape != panels.edge.shape or np.abs(edge - panels.edge).max() > 1e-3:
        raise InputError("is not divided as the drawing", place="panels", cure=_OTHER)
    covariance = told["panel_covariance"]
    due = {"panel_covariance": (p, p)} | dict.fromkeys(PARTED, (p, PARTS))
    if any(told[name].shape != due.get(name, (p,)) for name in PANELS[1:]):
        raise InputError("are not as many as the drawing has", place="panels")
    if not np.isfinite(covariance).all():
        raise InputError("is not a number", place="panel_covariance", cure=_DAMAGED)
    return PanelState(
        panels=panels,
        cutback=told["panel_cutback"],
        covariance=covariance,
        deepest=told["panel_deepest"],
        deepest_sd=told["panel_deepest_sd"],
        part=told["panel_part"],
        part_sd=told["panel_part_sd"],
        area=told["panel_area"],
        read=told["panel_read"],
    )


def findings_in(file: Any) -> dict[str, Any]:
    """The survey's own findings, as an open file holds them."""
    found: dict[str, Any] = json.loads(file["findings"].asstr()[()])
    return found


def occasion_in(file: Any) -> Occasion:
    """When the survey of an open file was made."""
    hours, melted = (float(file[name][()]) for name in ("hours_on_blast", "melted"))
    return Occasion(
        heat=int(file["heat"][()]),
        stage=file["stage"].asstr()[()],
        date=date.fromordinal(EPOCH.toordinal() + int(file["time"][()])),
        hours=None if math.isnan(hours) else hours,
        melted=None if math.isnan(melted) else melted,
        campaign=file["campaign"].asstr()[()],
    )


def _of_record(path: Path, design: Design) -> RecordedWall:
    grid = record_grid(design)
    with opened(path) as file:
        height, azimuth = file["height"][()], file["azimuth"][()]
        if (height.size, azimuth.size) != grid.shape or (
            np.abs(height - grid.height).max() > _SAME
        ):
            raise InputError("is not on the rows of the drawing", cure=_OTHER)
        occasion = occasion_in(file)
        if occasion.name != path.stem:
            raise InputError(f"holds the survey of {occasion.words}", cure=_DAMAGED)
        told = findings_in(file)
        return _wall(file, grid, design, told, occasion)


def _of_folder(path: Path, design: Design) -> RecordedWall:
    before = load_survey_before(path, design)
    with opened(path / FILE) as file:
        height, azimuth = file["height"][()], file["azimuth"][()]
        grid = grid_behind(height, azimuth, (before.low, before.high), design)
        told = json.loads((path / "findings.json").read_text(encoding="utf-8"))
        return _wall(file, grid, design, told, None)


def _wall(
    file: Any,
    grid: Grid,
    design: Design,
    findings: dict[str, Any],
    occasion: Occasion | None,
) -> RecordedWall:
    fields = {
        name: file[name][()].astype(np.float64)
        for name in ("design_radius", "cutback", "cutback_sd")
    }
    off = np.abs(fields["design_radius"] - grid.design_radius[:, None])
    if not off.max() <= _SAME:
        raise InputError("was compared with another drawing", cure=_OTHER)
    return RecordedWall(
        title=str(file.attrs.get("title", "")),
        created=str(file.attrs.get("created", "")),
        occasion=occasion,
        design=design,
        height=grid.height,
        azimuth=grid.azimuth,
        design_radius=grid.design_radius,
        cutback=fields["cutback"],
        cutback_sd=fields["cutback_sd"],
        wall=grid.wall,
        row_height=grid.row_height,
        panels=state_in(file, panels_of(design)),
        findings=findings,
    )
