"""The file of one survey in a record, and the output folder it is made from.

A record keeps each survey as a NetCDF-4 file on the record's grid: the fields of the
wall over (height, azimuth), the panels, the findings as JSON, and its occasion.  Every
field has a checksum.
"""

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

from geom.cf import NamedArray, Variables, checked_content
from geom.compare.panels import PARTS, Panels, PanelState, panels_of
from geom.design import Design
from geom.design.assumptions import ASSUMED as DESIGN
from geom.errors import InputError
from geom.readings.surveys import FILE, FINDINGS, load_survey_before
from geom.record.store.grid import (
    NEAREST,
    STRAIGHT,
    record_grid,
    recover_grid,
    refuse_other_openings,
    resample_survey,
)
from geom.record.store.occasion import Occasion
from geom.shown import Shown
from geom.surface import Grid
from geom.units import Float

#: Day 0 of the files' ``time``.
EPOCH = date(1970, 1, 1)

#: Names of what is kept of the panels: how they lie, then the fields of `PanelState`.
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
_PARTED = ("panel_part", "panel_part_sd")

_DAMAGED = (
    "See what 'daubline record check' says; take the file out of the record and add "
    "the survey again from its folder"
)
_OTHER = "The lining's design file and its surveys must be of the same drawing"
#: What reading a file that is not as it was written ends in.
_READ_ERRORS = (
    OSError,
    LookupError,
    ValueError,
    TypeError,
    RuntimeError,
    ArithmeticError,
)
_NO_PANELS = "Survey its readings again with this version, and take that folder"
_FOUND = {"long_name": "every number of the survey, a daubline.findings/1 document"}
_CURE = "Give the output folder of a 'daubline survey' of the record's own lining"
_ALSO = ("radius", "radius_sd", "design_radius", "surveyed", "opening")


@dataclass(frozen=True)
class RecordedWall(Shown):
    """One survey: the gridded wall, m rows of k azimuths, and what was found.

    Attributes
    ----------
    occasion : Occasion or None
        None for the output folder of a survey that is in no record.
    height : array (m,), mm
        Centres of the rows.
    azimuth : array (k,), degrees
    design_radius : array (m,), mm
    cutback, cutback_sd : array (m, k), mm
        NaN where not surveyed.
    wall : array (m, k), 0 to 1
        Share of each cell that is wall and not opening.
    row_height : array (m,), mm
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
    load = _load_from_folder if path.is_dir() else _load_from_record
    return load(path, design)


def load_panels(path: Path | str, panels: Panels) -> PanelState:
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
    with open_hdf5(path / FILE if path.is_dir() else path) as file:
        return read_panels(file, panels)


def read_survey(folder: Path, grid: Grid, design: Design) -> Variables:
    """A survey from its output folder, on the record's grid.

    Parameters
    ----------
    folder : Path
        Written by ``daubline survey``; ``surface.nc`` and ``findings.json`` are read.
    grid : Grid
        Of the record.
    design : Design
        Of the record: lining, drawing and azimuths must be the same.

    Returns
    -------
    Variables
        Fields of the wall over (height, azimuth), those of the panels over (panel,),
        and ``findings``, the JSON document.

    Raises
    ------
    InputError
        If the folder holds no survey, one of another lining, drawing or frame, or one
        made before panels were kept.
    """
    try:
        load_survey_before(folder, design)
    except InputError as error:
        raise InputError(
            error.what, file=error.file, place=error.place, cure=_CURE
        ) from error
    load_panels(folder, panels_of(design))
    try:
        return _resample(folder, grid, design)
    except InputError as error:
        raise error.at(file=folder / FILE) from None


def on_record_grid(
    data: Variables, findings: dict[str, Any], grid: Grid, design: Design
) -> Variables:
    """A survey on the record's grid, as `read_survey` gives it.

    Parameters
    ----------
    data : Variables
        As ``surface.nc`` holds them.
    findings : dict
        The document ``findings.json`` holds.
    grid, design : Grid, Design
        Of the record.
    """
    low, high = (float(findings["surveyed"][f"height_{end}"]) for end in ("from", "to"))
    resampled = resample_survey(data, grid, (low, high), design)
    text = np.array(json.dumps(findings, separators=(",", ":")))
    kept = {name: data.named[name] for name in PANELS}
    named = {**resampled.named, **kept, "findings": ((), text, _FOUND)}
    return Variables(named, resampled.attrs)


def survey_content(data: Variables, occasion: Occasion) -> bytes:
    """The file of a survey with its occasion.

    Parameters
    ----------
    data : Variables
        From `read_survey`.
    """
    when = _occasion_coordinates(occasion)
    named = {**data.named, **when, **_occasion_amounts(occasion)}
    return checked_content(Variables(named, data.attrs, tuple(when)))


@contextmanager
def open_hdf5(path: Path) -> Iterator[Any]:
    """A NetCDF-4 file open as HDF5, whose faults are stated in a sentence.

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
    except _READ_ERRORS as error:
        if isinstance(error, InputError):
            raise error.at(file=path) from None
        what = "cannot be read, or is not as it was written"
        raise InputError(what, file=path, cure=_DAMAGED) from error


def verify_checksums(file: Any) -> None:
    """Read all that an open file holds: checksums that do not hold are an error."""

    def read(_name: str, item: Any) -> None:
        if hasattr(item, "shape"):
            item[()]

    file.visititems(read)


def read_panels(file: Any, panels: Panels) -> PanelState:
    """What an open file keeps of the panels."""
    missing = [name for name in PANELS if name not in file]
    if missing:
        raise InputError(f"has no {missing[0]}", cure=_NO_PANELS)
    data = {name: file[name][()].astype(np.float64) for name in PANELS}
    edge, p = data["panel_edge"], panels.count
    if edge.shape != panels.edge.shape or np.abs(edge - panels.edge).max() > 1e-3:
        raise InputError("is not divided as the drawing", place="panels", cure=_OTHER)
    covariance = data["panel_covariance"]
    due = {"panel_covariance": (p, p)} | dict.fromkeys(_PARTED, (p, PARTS))
    if any(data[name].shape != due.get(name, (p,)) for name in PANELS[1:]):
        raise InputError("are not as many as the drawing has", place="panels")
    if not np.isfinite(covariance).all():
        raise InputError("is not a number", place="panel_covariance", cure=_DAMAGED)
    fields = {name.removeprefix("panel_"): data[name] for name in PANELS[3:]}
    return PanelState(panels=panels, **fields)


def read_findings(file: Any) -> dict[str, Any]:
    """The survey's own findings, as an open file holds them."""
    found: dict[str, Any] = json.loads(file["findings"].asstr()[()])
    return found


def read_occasion(file: Any) -> Occasion:
    """When the survey of an open file was made."""
    hours, melted = (float(file[name][()]) for name in ("hours_on_blast", "melted"))
    return Occasion(
        heat=int(file["heat"][()]),
        stage=file["stage"].asstr()[()],
        date=date.fromordinal(EPOCH.toordinal() + int(file["time"][()])),
        hours=None if math.isnan(hours) else hours,
        melted=None if math.isnan(melted) else melted,
        campaign=file["campaign"].asstr()[()],
        melted_unit=str(file["melted"].attrs.get("stated_in", "t")),
    )


def _load_from_record(path: Path, design: Design) -> RecordedWall:
    grid = record_grid(design)
    with open_hdf5(path) as file:
        height, azimuth = file["height"][()], file["azimuth"][()]
        if (height.size, azimuth.size) != grid.shape or (
            np.abs(height - grid.height).max() > DESIGN.same_drawing
        ):
            raise InputError("is not on the rows of the drawing", cure=_OTHER)
        occasion = read_occasion(file)
        if occasion.name != path.stem:
            raise InputError(f"holds the survey of {occasion.words}", cure=_DAMAGED)
        return _read_wall(file, grid, design, read_findings(file), occasion)


def _findings_of(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / FINDINGS).read_text(encoding="utf-8"))
    return found


def _load_from_folder(path: Path, design: Design) -> RecordedWall:
    before = load_survey_before(path, design)
    with open_hdf5(path / FILE) as file:
        height, azimuth = file["height"][()], file["azimuth"][()]
        grid = recover_grid(height, azimuth, (before.low, before.high), design)
        return _read_wall(file, grid, design, _findings_of(path), None)


def _read_wall(
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
    if not off.max() <= DESIGN.same_drawing:
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
        panels=read_panels(file, panels_of(design)),
        findings=findings,
    )


def _resample(folder: Path, grid: Grid, design: Design) -> Variables:
    import xarray as xr

    with xr.open_dataset(folder / FILE, engine="h5netcdf") as file:
        missing = {*STRAIGHT, *NEAREST, *_ALSO} - set(file.data_vars)
        if missing:
            raise InputError(f"has no variable {min(missing)}", cure=_CURE)
        data = file.load()
    azimuth = data["azimuth"].to_numpy()
    if azimuth.size != grid.azimuth.size:
        raise InputError(
            f"has {azimuth.size} azimuths, and the record {grid.azimuth.size}",
            cure=_CURE,
        )
    opening = data["opening"].to_numpy() == 1
    refuse_other_openings(data["height"].to_numpy(), azimuth, opening, design)
    named = {
        str(name): (tuple(map(str, one.dims)), one.to_numpy(), dict(one.attrs))
        for name, one in data.variables.items()
    }
    found = Variables(named, data.attrs)
    return on_record_grid(found, _findings_of(folder), grid, design)


def _occasion_coordinates(occasion: Occasion) -> dict[str, NamedArray]:
    day = {
        "long_name": "date of the survey",
        "standard_name": "time",
        "units": f"days since {EPOCH.isoformat()}",
        "calendar": "proleptic_gregorian",
    }
    last = {"long_name": "the last heat that the wall had seen"}
    return {
        "heat": ((), np.array(occasion.heat, dtype=np.int32), last),
        "time": ((), np.array((occasion.date - EPOCH).days, dtype=np.int32), day),
        "stage": _text(occasion.stage, "before or after the repair"),
        "campaign": _text(occasion.campaign, "name of the campaign"),
    }


def _text(words: str, name: str) -> NamedArray:
    return (), np.array(words), {"long_name": name}


def _occasion_amounts(occasion: Occasion) -> dict[str, NamedArray]:
    """What may be missing: no coordinates, where NaN may be taken for any number."""
    since = "since the survey before"
    hours = {"long_name": f"time on blast {since}", "units": "h"}
    melted = {"long_name": f"iron melted {since}", "units": "kg"}
    if occasion.melted is not None:
        melted["stated_in"] = occasion.melted_unit
    return {
        "hours_on_blast": ((), _nan_if_none(occasion.hours), hours),
        "melted": ((), _nan_if_none(occasion.melted), melted),
    }


def _nan_if_none(value: float | None) -> Float:
    return np.array(math.nan if value is None else value, dtype=np.float64)
