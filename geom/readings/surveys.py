"""An earlier survey of the same lining, read from the folder it was written into.

A past survey is its gridded wall (``surface.nc``); the survey before a repair has its
findings as well (``findings.json``).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from geom.cf import walk_through
from geom.design import Design
from geom.errors import InputError, not_permitted
from geom.quantity import Quantity
from geom.shown import Shown
from geom.units import Float, Int

if TYPE_CHECKING:
    import xarray as xr


FILE = "surface.nc"
FINDINGS = "findings.json"
SCHEMA = "daubline.findings/1"

_ACTIONS = ("leave", "daub", "brick", "chip", "measure again")
_FIELDS = ("cutback", "cutback_sd", "design_radius", "surveyed")
_MAX_CELLS = 4_000_000
_MAX_JSON = 50_000_000  # bytes
_LARGEST = 1e12  # of a number in the findings, whatever its unit
_MOST = 1e5  # mm: no wall is so far from its drawing
_MM2, _MM3 = 1e6, 1e9  # in a m2, a m3
_CURE = "Give the output folder of an earlier 'daubline survey' of this lining"
_SURVEY_AGAIN = "Give the output folder of the 'daubline survey' made before the repair"


@dataclass(frozen=True)
class PastSurvey(Shown):
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


@dataclass(frozen=True)
class ZoneBefore:
    """One zone that the survey before called.  Lengths mm, areas mm2, volumes mm3.

    Attributes
    ----------
    action : str
        What was to be done.
    azimuth_from, azimuth_to : float, degrees
        From greater than to where it crosses azimuth 0.
    volume : Quantity
        To put in, or for ``chip`` to take off.
    """

    id: int
    action: str
    azimuth_from: float
    azimuth_to: float
    height_from: float
    height_to: float
    area: float
    volume: Quantity
    cutback_mean: Quantity


@dataclass(frozen=True)
class SurveyBefore(Shown):
    """What was found before the repair.

    Attributes
    ----------
    survey : PastSurvey
        The gridded wall, m rows of k azimuths with anything surveyed; NaN where not.
    zone : int array (m, k)
        Zone of each of its cells, 0 where none.
    low, high : float, mm
        Heights surveyed.
    rebuild, net : Quantity, mm3
        Of all its surveyed wall.
    planned : float or None, mm3
        What its repair plan, if it has one, meant to fill up to the drawing.
    repair : mapping
        That plan as ``findings.json`` holds it, m and kg; empty where it has none.
    """

    _units: ClassVar[str] = "mm, mm2, mm3, degrees"

    survey: PastSurvey
    zone: Int
    zones: tuple[ZoneBefore, ...]
    title: str
    created: str
    low: float
    high: float
    rebuild: Quantity
    net: Quantity
    planned: float | None = None
    repair: Mapping[str, Any] = field(default_factory=dict, repr=False)


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
    survey, _ = _load(Path(folder), design)
    whole = np.isfinite(survey.cutback).all(axis=1)
    if whole.sum() < 2:
        raise InputError(
            "has fewer than two rows that were surveyed all round",
            file=path,
            cure="Leave it out: only rings that were read all round teach a pattern",
        )
    return PastSurvey(
        height=survey.height[whole],
        azimuth=survey.azimuth,
        cutback=survey.cutback[whole],
        cutback_sd=survey.cutback_sd[whole],
    )


def _load(folder: Path, design: Design) -> tuple[PastSurvey, xr.Dataset]:
    """The surveyed wall of an output folder, NaN where not read, and its file."""
    path = folder / FILE
    if not path.is_file():
        raise InputError(f"there is no {FILE} in it", file=folder, cure=_CURE)
    try:
        data = _read(path, design)
        return _checked(data, design), data
    except InputError as fault:
        raise fault.at(file=path) from None


def load_survey_before(folder: Path | str, design: Design) -> SurveyBefore:
    """The survey before a repair from its output folder.

    Parameters
    ----------
    folder : path
        Written by ``daubline survey``; ``surface.nc`` and ``findings.json`` are read.
    design : Design
        Of the present survey: lining, drawing and azimuths must be the same.

    Raises
    ------
    InputError
        If the folder holds no survey, one of another lining, drawing or frame, or
        files of two surveys.
    """
    folder = Path(folder)
    survey, data = _load(folder, design)
    path = folder / FINDINGS
    if not path.is_file():
        raise InputError(
            f"there is no {FINDINGS} in it", file=folder, cure=_SURVEY_AGAIN
        )
    zone = _zone_map(data, folder / FILE)
    created = str(data.attrs.get("created", ""))
    try:
        return _survey(_document(path), survey, zone, created)
    except InputError as fault:
        raise fault.at(file=path) from None


def _read(path: Path, design: Design) -> xr.Dataset:
    import xarray as xr

    try:
        walk_through(path)
        with xr.open_dataset(path, engine="h5netcdf") as dataset:
            _refuse_no_surface(dataset)
            data = dataset.load()
    except PermissionError as fault:
        raise not_permitted(fault) from fault
    except (OSError, ValueError, KeyError, TypeError, RuntimeError) as fault:
        if isinstance(fault, InputError):
            raise
        raise InputError("cannot be read as NetCDF-4", cure=_CURE) from fault
    _refuse_other_frame(data.attrs, design)
    return data


def _refuse_no_surface(data: xr.Dataset) -> None:
    """Refuse what is not a surface of ours, before its numbers are loaded."""
    missing = [name for name in _FIELDS if name not in data.data_vars]
    if missing:
        raise InputError(f"has no variable {missing[0]}", cure=_CURE)
    for name in _FIELDS:
        if data[name].dims != ("height", "azimuth"):
            raise InputError("is not over height and azimuth", place=name, cure=_CURE)
        if data[name].size > _MAX_CELLS:
            raise InputError(f"has more than {_MAX_CELLS} cells", place=name)


def _refuse_other_frame(attrs: dict[str, Any], design: Design) -> None:
    expected = (
        ("lining", design.name),
        ("azimuth_sense", f"{design.azimuth_sense} seen from above"),
        ("azimuth_zero", design.azimuth_zero),
        ("height_zero", design.height_zero),
    )
    for name, ours in expected:
        filed = str(attrs.get(name, "nothing"))
        if _as_filed(filed) != _as_filed(ours):
            raise InputError(
                f"{name.replace('_', ' ')} is {filed!r} there, but {ours!r} in the "
                "design file",
                cure="Past surveys must be of the same lining in the same frame",
            )


def _as_filed(text: str) -> str:
    """A text as the file holds it: one line of printable words, long ones cut."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return line[:199].rstrip("… ").casefold()


def _checked(data: xr.Dataset, design: Design) -> PastSurvey:
    height = data["height"].to_numpy().astype(np.float64)
    azimuth = data["azimuth"].to_numpy().astype(np.float64)
    _refuse_other_grid(height, azimuth)
    surveyed = data["surveyed"].to_numpy() > 0
    rows = surveyed.any(axis=1)
    there = surveyed[rows]
    drawn = data["design_radius"].to_numpy()[rows]
    cutback, sd = (
        np.where(there, data[name].to_numpy()[rows].astype(np.float64), np.nan)
        for name in ("cutback", "cutback_sd")
    )
    if rows.sum() < 2:
        raise InputError("has fewer than two surveyed rows", cure=_CURE)
    if not (np.abs(cutback[there]) <= _MOST).all():
        raise InputError("is not a number on surveyed wall", place="cutback")
    if not ((sd[there] >= 0.0) & (sd[there] <= _MOST)).all():
        raise InputError("is not a sd on surveyed wall", place="cutback_sd")
    survey = PastSurvey(
        height=height[rows], azimuth=azimuth, cutback=cutback, cutback_sd=sd
    )
    _refuse_other_drawing(survey.height, drawn, design)
    return survey


def _refuse_other_grid(height: Float, azimuth: Float) -> None:
    even = np.arange(azimuth.size) * 360.0 / max(azimuth.size, 1)
    if azimuth.size < 8 or not (np.abs(azimuth - even) <= 1e-6).all():
        raise InputError(
            "is not spread evenly round the wall", place="azimuth", cure=_CURE
        )
    rises = np.isfinite(height).all() and (np.diff(height) > 0.0).all()
    if height.size < 2 or not rises:
        raise InputError("does not rise", place="height", cure=_CURE)


def _refuse_other_drawing(height: Float, drawn: Float, design: Design) -> None:
    row = design.profile.row_that_differs(height, drawn[:, 0])
    if row is not None:
        raise InputError(
            f"was compared with another drawing: at height {height[row]:.0f} mm its "
            f"design radius is {drawn[row, 0]:.1f} mm",
            cure="Past surveys must be of the lining in the design file; leave out "
            "those from before it was changed",
        )


def _zone_map(data: xr.Dataset, path: Path) -> Int:
    """Zone of every cell of the surveyed rows."""
    if "zone" not in data or data["zone"].dims != ("height", "azimuth"):
        raise InputError("has no zones over the wall", file=path, cure=_SURVEY_AGAIN)
    rows = (data["surveyed"].to_numpy() > 0).any(axis=1)
    return data["zone"].to_numpy()[rows].astype(np.int64)


def _document(path: Path) -> dict[str, Any]:
    if path.stat().st_size > _MAX_JSON:
        raise InputError(f"is larger than {_MAX_JSON // 10**6} MB", cure=_SURVEY_AGAIN)
    try:
        text = path.read_text(encoding="utf-8")
        document = json.loads(text, parse_constant=_refuse_constant)
    except (OSError, ValueError, RecursionError) as fault:
        raise InputError("cannot be read as JSON", cure=_SURVEY_AGAIN) from fault
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise InputError(f"is no {SCHEMA} document", place="schema", cure=_SURVEY_AGAIN)
    return document


def _refuse_constant(text: str) -> float:
    raise ValueError(f"{text} is not a number")


def _survey(
    document: dict[str, Any], survey: PastSurvey, zone: Int, created: str
) -> SurveyBefore:
    """Everything checked; the findings must be those of the gridded wall."""
    place = "created"
    try:
        if created != str(document["created"]):
            raise InputError(
                f"was made {document['created']}, but {FILE} next to it {created}",
                place="created",
                cure="Give a folder as 'daubline survey' wrote it",
            )
        place = "zones"
        zones = tuple(_zone(entry) for entry in document["zones"])
        place = "surveyed"
        low, high = (
            _number(document[place][f"height_{end}"]) for end in ("from", "to")
        )
        place = "volume"
        rebuild, net = (_quantity(document[place][name]) for name in ("rebuild", "net"))
        place = "repair"
        planned = _planned(document.get(place))
    except (KeyError, TypeError, ValueError, OverflowError) as fault:
        if isinstance(fault, InputError):
            raise
        raise InputError(
            "is not as it was written", place=place, cure=_SURVEY_AGAIN
        ) from fault
    missing = set(np.unique(zone)) - {0} - {each.id for each in zones}
    if missing:
        raise InputError(
            f"tells nothing of zone {min(missing)}, which is in {FILE}", place="zones"
        )
    return SurveyBefore(
        survey=survey,
        zone=zone,
        zones=zones,
        title=str(document.get("title", "")),
        created=created,
        low=low,
        high=high,
        rebuild=rebuild.times(_MM3),
        net=net.times(_MM3),
        planned=planned,
        repair=found if isinstance(found := document.get("repair"), dict) else {},
    )


def _planned(repair: object) -> float | None:
    """What a plan fills; sound lining it cuts out first comes on top and is gone."""
    account = repair.get("account") if isinstance(repair, dict) else None
    if account is None:
        return None
    return (_number(account["rebuild"]) - _number(account["left"])) * _MM3


def _zone(entry: dict[str, Any]) -> ZoneBefore:
    action = entry["action"]
    if action not in _ACTIONS:
        raise ValueError(f"{action!r} is no action")
    edges = {
        name: _number(entry[name])
        for name in ("azimuth_from", "azimuth_to", "height_from", "height_to")
    }
    return ZoneBefore(
        id=int(entry["id"]),
        action=str(action),
        **edges,
        area=_number(entry["area"]) * _MM2,
        volume=_quantity(entry["volume"]).times(_MM3),
        cutback_mean=_quantity(entry["cutback_mean"]),
    )


def _quantity(entry: dict[str, Any]) -> Quantity:
    value, sd, low, high = (
        _number(entry[name]) for name in ("value", "sd", "low95", "high95")
    )
    if sd < 0.0:
        raise ValueError("a standard uncertainty is negative")
    return Quantity(value, sd, low, high)


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise TypeError(f"{value!r} is not a number")
    if not abs(value) <= _LARGEST:
        raise ValueError("a number is not finite, or of no furnace")
    return float(value)
