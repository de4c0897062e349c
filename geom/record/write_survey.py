"""One survey on a record's grid, written with its occasion."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.panels import panels_of
from geom.design import Design
from geom.errors import InputError
from geom.readings.past_surveys import FILE
from geom.readings.survey_before import FINDINGS, SurveyBefore, load_survey_before
from geom.record.common_grid import NEAREST, STRAIGHT, on_record_grid
from geom.record.netcdf_file import write_netcdf4
from geom.record.occasion import Occasion
from geom.record.same_drawing import refuse_other_openings
from geom.record.survey_file import EPOCH, PANELS, load_state
from geom.surface import Grid

if TYPE_CHECKING:
    import xarray as xr

_FOUND = {"long_name": "every number of the survey, a daubline.findings/1 document"}
_CURE = "Give the output folder of a 'daubline survey' of the record's own lining"
_ALSO = ("radius", "radius_sd", "design_radius", "surveyed", "opening")


def survey_in(folder: Path, grid: Grid, design: Design) -> xr.Dataset:
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
    Dataset
        Fields of the wall over (height, azimuth), those of the panels over (panel,),
        and ``findings``, the JSON document.

    Raises
    ------
    InputError
        If the folder holds no survey, one of another lining, drawing or frame, or one
        made before panels were kept.
    """
    try:
        before = load_survey_before(folder, design)
    except InputError as said:
        raise InputError(
            said.what, file=said.file, place=said.place, cure=_CURE
        ) from said
    load_state(folder, panels_of(design))
    try:
        return _laid_over(folder, before, grid, design)
    except InputError as said:
        raise said.at(file=folder / FILE) from None


def write_survey(path: Path, data: xr.Dataset, occasion: Occasion) -> None:
    """Write a survey with its occasion.

    Parameters
    ----------
    path : Path
    data : Dataset
        From `survey_in`.
    occasion : Occasion
    """
    data = data.assign_coords(_coordinates(occasion)).assign(_counts(occasion))
    write_netcdf4(path, data)


def _laid_over(
    folder: Path, before: SurveyBefore, grid: Grid, design: Design
) -> xr.Dataset:
    import xarray as xr

    with xr.open_dataset(folder / FILE, engine="h5netcdf") as there:
        missing = {*STRAIGHT, *NEAREST, *_ALSO} - set(there.data_vars)
        if missing:
            raise InputError(f"has no variable {min(missing)}", cure=_CURE)
        data = there.load()
    azimuth = data["azimuth"].to_numpy()
    if azimuth.size != grid.azimuth.size:
        raise InputError(
            f"has {azimuth.size} azimuths, and the record {grid.azimuth.size}",
            cure=_CURE,
        )
    opening = data["opening"].to_numpy() == 1
    refuse_other_openings(data["height"].to_numpy(), azimuth, opening, design)
    laid = on_record_grid(data, grid, (before.low, before.high), design)
    told = json.loads((folder / FINDINGS).read_text(encoding="utf-8"))
    kept = {name: data[name].variable for name in PANELS}
    text = xr.Variable((), json.dumps(told, separators=(",", ":")), _FOUND)
    return laid.assign(kept).assign(findings=text)


def _coordinates(occasion: Occasion) -> dict[str, tuple[tuple[()], Any, Any]]:
    day = {
        "long_name": "date of the survey",
        "standard_name": "time",
        "units": f"days since {EPOCH.isoformat()}",
        "calendar": "proleptic_gregorian",
    }
    last = {"long_name": "the last heat that the wall had seen"}
    return {
        "heat": ((), np.int32(occasion.heat), last),
        "time": ((), np.int32((occasion.date - EPOCH).days), day),
        "stage": ((), occasion.stage, {"long_name": "before or after the repair"}),
        "campaign": ((), occasion.campaign, {"long_name": "name of the campaign"}),
    }


def _counts(occasion: Occasion) -> dict[str, tuple[tuple[()], Any, Any]]:
    """What may be missing: no coordinates, where NaN may be taken for any number."""
    since = "since the survey before"
    hours = {"long_name": f"time on blast {since}", "units": "h"}
    melted = {"long_name": f"iron melted {since}", "units": "kg"}
    return {
        "hours_on_blast": ((), _number(occasion.hours), hours),
        "melted": ((), _number(occasion.melted), melted),
    }


def _number(value: float | None) -> np.float64:
    return np.float64(math.nan if value is None else value)
