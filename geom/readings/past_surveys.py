"""An earlier survey of the same furnace, read from the folder it was written into."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.units import Float

if TYPE_CHECKING:
    import xarray as xr

FILE = "surface.nc"

_FIELDS = ("cutback", "cutback_sd", "design_radius", "surveyed")
_MOST_CELLS = 4_000_000
#: Radii of the two drawings may differ by this and still be the same drawing, mm.
_SAME = 0.1
_CURE = "Give the output folder of an earlier 'daubline survey' of this lining"


@dataclass(frozen=True)
class PastSurvey:
    """What an earlier survey found.

    Attributes
    ----------
    height : array (m,), mm, rising
        Surveyed rows.
    azimuth : array (k,), degrees
        Spread evenly from 0.
    cutback, cutback_sd : array (m, k), mm
    """

    height: Float
    azimuth: Float
    cutback: Float
    cutback_sd: Float


def load_past_surveys(
    folders: Sequence[Path], design: Design
) -> tuple[PastSurvey, ...]:
    """Several earlier surveys; each folder once.

    Raises
    ------
    InputError
        As `load_past_survey`, or if a folder is given twice.
    """
    seen: set[Path] = set()
    for folder in folders:
        if folder.resolve() in seen:
            raise InputError("given twice as a past survey", file=folder)
        seen.add(folder.resolve())
    return tuple(load_past_survey(folder, design) for folder in folders)


def load_past_survey(folder: Path | str, design: Design) -> PastSurvey:
    """An earlier survey from its output folder.

    Parameters
    ----------
    folder : path
        Written by ``daubline survey``; its ``surface.nc`` is read.
    design : Design
        Of the present survey: lining, drawing and azimuths must be the same.

    Raises
    ------
    InputError
        If the folder holds no survey, or one of another lining, drawing or frame.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        raise InputError(f"there is no {FILE} in it", file=folder, cure=_CURE)
    try:
        return _read(path, design)
    except InputError as said:
        raise said.at(file=path) from None


def _read(path: Path, design: Design) -> PastSurvey:
    import xarray as xr

    try:
        with xr.open_dataset(path, engine="h5netcdf") as there:
            _refuse_unlike(there)
            data = there.load()
    except (OSError, ValueError, KeyError, TypeError, RuntimeError) as fault:
        if isinstance(fault, InputError):
            raise
        raise InputError("cannot be read as NetCDF-4", cure=_CURE) from fault
    _refuse_other_frame(data.attrs, design)
    return _checked(data, design)


def _refuse_unlike(data: xr.Dataset) -> None:
    """Refuse what is not a surface of ours, before its numbers are loaded."""
    missing = [name for name in _FIELDS if name not in data.data_vars]
    if missing:
        raise InputError(f"has no variable {missing[0]}", cure=_CURE)
    for name in _FIELDS:
        if data[name].dims != ("height", "azimuth"):
            raise InputError("is not over height and azimuth", place=name, cure=_CURE)
        if data[name].size > _MOST_CELLS:
            raise InputError(f"has more than {_MOST_CELLS} cells", place=name)


def _refuse_other_frame(attrs: dict[str, Any], design: Design) -> None:
    told = (
        ("lining", design.name),
        ("azimuth_sense", f"{design.azimuth_sense} seen from above"),
        ("azimuth_zero", design.azimuth_zero),
        ("height_zero", design.height_zero),
    )
    for name, here in told:
        there = str(attrs.get(name, "nothing"))
        if _words(there) != _words(here):
            raise InputError(
                f"{name.replace('_', ' ')} is {there!r} there, but {here!r} in the "
                "design file",
                cure="Past surveys must be of the same lining in the same frame",
            )


def _words(text: str) -> str:
    """As the file holds a text: one line of printable words, long ones cut."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return line[:199].rstrip("… ").casefold()


def _checked(data: xr.Dataset, design: Design) -> PastSurvey:
    height = data["height"].to_numpy().astype(np.float64)
    azimuth = data["azimuth"].to_numpy().astype(np.float64)
    _refuse_other_net(height, azimuth)
    rows = data["surveyed"].to_numpy().all(axis=1)
    drawn = data["design_radius"].to_numpy()[rows]
    survey = PastSurvey(
        height=height[rows],
        azimuth=azimuth,
        cutback=data["cutback"].to_numpy()[rows].astype(np.float64),
        cutback_sd=data["cutback_sd"].to_numpy()[rows].astype(np.float64),
    )
    if survey.height.size < 2:
        raise InputError("has fewer than two surveyed rows", cure=_CURE)
    if not np.isfinite(survey.cutback).all():
        raise InputError("is not a number on surveyed wall", place="cutback")
    if not np.isfinite(survey.cutback_sd).all() or (survey.cutback_sd < 0.0).any():
        raise InputError("is not a sd on surveyed wall", place="cutback_sd")
    _refuse_other_drawing(survey.height, drawn, design)
    return survey


def _refuse_other_net(height: Float, azimuth: Float) -> None:
    even = np.arange(azimuth.size) * 360.0 / max(azimuth.size, 1)
    if azimuth.size < 8 or np.abs(azimuth - even).max() > 1e-6:
        raise InputError(
            "is not spread evenly round the wall", place="azimuth", cure=_CURE
        )
    if height.size < 2 or not (np.diff(height) > 0.0).all():
        raise InputError("does not rise", place="height", cure=_CURE)


def _refuse_other_drawing(height: Float, drawn: Float, design: Design) -> None:
    profile = design.profile
    inside = (height >= profile.bottom) & (height <= profile.top)
    off = np.full(height.size, np.inf)
    off[inside] = np.abs(drawn[inside, 0] - profile.radius_at(height[inside]))
    worst = int(np.argmax(np.where(np.isnan(off), np.inf, off)))
    if not off[worst] <= _SAME:
        raise InputError(
            f"was compared with another drawing: at height {height[worst]:.0f} mm its "
            f"design radius is {drawn[worst, 0]:.1f} mm",
            cure="Past surveys must be of the lining in the design file; leave out "
            "those from before it was changed",
        )
