"""Gridded walls for other programs: NetCDF-4 in CF style.

``surface.nc`` holds a survey, ``change.nc`` what changed between two, ``wear.nc`` wear
cell by cell.  All have the coordinates height and azimuth of the drawing.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.cf import NamedArray, Variables, write_packed
from geom.compare.findings import ACTIONS, NO_CALL, Findings, Maps
from geom.compare.panels import PanelState
from geom.design import Design
from geom.record.change.result import Change
from geom.record.wear.maps import RateMap, WearMaps
from geom.surface.radial import RadialSurface
from geom.units import Float
from geom.views.say import plain, say_change

if TYPE_CHECKING:
    import xarray as xr

_MAP = ("height", "azimuth")
#: What wear is divided by, in words, and the unit of the quotient.
_PER = {
    "heat": ("a heat", "mm"),
    "hour": ("an hour on blast", "mm h-1"),
    "tonne": ("a tonne (1000 kg) of iron melted", "mm t-1"),
}


def write_netcdf(path: Path, surface: RadialSurface, findings: Findings) -> None:
    """Write the surface and the maps drawn from it."""
    write_packed(path, survey_variables(surface, findings))


def survey_variables(surface: RadialSurface, findings: Findings) -> Variables:
    """What ``surface.nc`` holds: the surface and the maps drawn from it."""
    fields, design = _surface_fields(surface, findings.maps), surface.design
    if findings.panels is not None:
        fields |= _panels(findings.panels)
    about = {
        "title": plain(findings.title),
        "lining": plain(findings.lining),
        "created": plain(findings.created),
        "source": f"daubline {plain(findings.version)}",
    }
    coords = _coordinates(design, surface.grid.height, surface.grid.azimuth)
    return Variables(coords | fields, _frame(design) | about)


def surface_dataset(surface: RadialSurface, maps: Maps) -> xr.Dataset:
    """The surface and the maps drawn from it, with dims (height, azimuth).

    Parameters
    ----------
    maps : Maps
        They take the place of the surface's own fields of the same name.
    """
    import xarray as xr

    design = surface.design
    return xr.Dataset(
        _surface_fields(surface, maps),
        coords=_coordinates(design, surface.grid.height, surface.grid.azimuth),
        attrs=_frame(design),
    )


def _surface_fields(surface: RadialSurface, maps: Maps) -> dict[str, NamedArray]:
    grid, design = surface.grid, surface.design
    drawn = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    p_brick = {
        "long_name": "probability that cut-back exceeds the brick threshold",
        "units": "1",
        "brick_threshold_mm": design.repair.brick_threshold,
    }
    actions = " ".join(["no_call", *(action.replace(" ", "_") for action in ACTIONS)])
    fields: dict[str, tuple[NDArray[Any], dict[str, Any]]] = {
        "radius": (surface.radius, _mm("radius of the hot face")),
        "radius_sd": (surface.radius_sd, _mm("standard uncertainty of radius")),
        "design_radius": (drawn, _mm("radius of the drawing")),
        "cutback": (maps.cutback, _mm("cut-back: radius less design radius")),
        "cutback_sd": (maps.cutback_sd, _mm("standard uncertainty of cut-back")),
        "surveyed": (maps.surveyed.astype(np.int8), _flag("surveyed", "no yes")),
        "opening": (grid.opening.astype(np.int8), _flag("opening", "no yes")),
        "p_brick": (maps.p_brick, p_brick),
        "action": (
            maps.action.astype(np.int8),
            _flag("what to do", actions, lowest=NO_CALL),
        ),
        "zone": (maps.zone.astype(np.int32), {"long_name": "zone id, 0 where none"}),
    }
    if surface.seen is not None:
        seen = _flag("seen_by_laser", "not_seen seen_by_laser")
        fields["seen"] = surface.seen.astype(np.int8), seen
    for name in ("cutback", "radius"):
        fields[name][1]["ancillary_variables"] = f"{name}_sd"
    return _maps(fields)


def _maps(
    fields: Mapping[str, tuple[NDArray[Any], dict[str, Any]]], *, single: bool = False
) -> dict[str, NamedArray]:
    """Gridded fields as variables, floats in single precision if asked."""
    return {
        name: (
            _MAP,
            values.astype(np.float32)
            if single and values.dtype.kind == "f"
            else np.ascontiguousarray(values),
            attributes,
        )
        for name, (values, attributes) in fields.items()
    }


def _panels(state: PanelState) -> dict[str, NamedArray]:
    """What is kept for comparing heats, panel by panel."""
    panels, panel, part = state.panels, ("panel",), ("panel", "part")
    hour = "middle of the panel, which is an hour of the clock wide"
    sd = "standard uncertainty of that"
    return {
        "panel_edge": (("panel_edges",), panels.edge, _mm("edges of the panels' rows")),
        "panel_height": (panel, panels.height, _mm("mid-height of the panel")),
        "panel_azimuth": (panel, panels.azimuth, _attributes(hour, "degree")),
        "panel_cutback": (panel, state.cutback, _mm("mean cut-back of the panel")),
        "panel_covariance": (
            ("panel", "panel_other"),
            state.covariance.astype(np.float32),
            _attributes("covariance of the panels' means", "mm2"),
        ),
        "panel_deepest": (panel, state.deepest, _mm("greatest cut-back in it")),
        "panel_deepest_sd": (panel, state.deepest_sd, _mm(sd)),
        "panel_part": (part, state.part, _mm("mean cut-back of a part")),
        "panel_part_sd": (part, state.part_sd, _mm(sd)),
        "panel_area": (
            panel,
            state.area,
            _attributes("surveyed wall of the panel", "mm2"),
        ),
        "panel_read": (
            panel,
            state.read.astype(np.int8),
            _attributes("whether anything was read in it", "1"),
        ),
    }


def write_change_netcdf(path: Path, change: Change, design: Design) -> None:
    """Write the maps of a change, on the record's grid; floats in single precision."""
    maps, grid = change.maps, change.grid
    signs = "restored neither lost"
    fields: dict[str, tuple[NDArray[Any], dict[str, Any]]] = {
        "change": (maps.change, _mm("radius of the last survey less the first")),
        "change_sd": (maps.change_sd, _mm("standard uncertainty of change")),
        "significant": (
            maps.significant,
            _flag("beyond the level of detection", signs, lowest=-1),
        ),
        "shown": (
            maps.shown,
            _flag("shown, false discoveries held down", signs, lowest=-1),
        ),
        "compared": (maps.compared.astype(np.int8), {"long_name": "surveyed twice"}),
        "cutback_from": (maps.start, _mm("cut-back at the first survey")),
        "cutback_to": (maps.end, _mm("cut-back at the last survey")),
    }
    fields["change"][1]["ancillary_variables"] = "change_sd"
    about = {
        "title": plain(say_change(change)),
        "created": plain(change.created),
        "source": f"daubline {plain(change.version)}",
    }
    coords = _coordinates(design, grid.height, grid.azimuth)
    named = coords | _maps(fields, single=True)
    write_packed(path, Variables(named, _frame(design) | about))


def write_wear_netcdf(
    path: Path, maps: WearMaps, design: Design, about: dict[str, str]
) -> None:
    """Write the maps of wear.

    Parameters
    ----------
    about : dict
        Attributes of the file besides those of the frame.
    """
    slope = "how wear per heat grows from heat to heat"
    spells = maps.per_heat.spells.astype(np.int32)
    fields: dict[str, Any] = _with_sd("trend", slope, "mm", maps.trend, maps.trend_sd)
    fields = _rate("heat", maps.per_heat) | fields
    fields["spells"] = (
        _MAP,
        spells,
        _attributes("how many spells of wear tell the cell", "1"),
    )
    opening = maps.opening.astype(np.int8)
    fields["opening"] = (_MAP, opening, _flag("opening", "no yes"))
    if maps.per_hour is not None:
        fields |= _rate("hour", maps.per_hour)
    if maps.per_tonne is not None:
        fields |= _rate("tonne", maps.per_tonne)
    coords = _coordinates(design, maps.height, maps.azimuth)
    attrs = _frame(design) | {name: plain(words) for name, words in about.items()}
    write_packed(path, Variables(coords | fields, attrs))


def _rate(per: str, rate: RateMap) -> dict[str, Any]:
    words, units = _PER[per]
    wear = f"mean wear in {words}: cut-back gained between repairs"
    return _with_sd(f"wear_per_{per}", wear, units, rate.rate, rate.sd)


def _with_sd(
    name: str, words: str, units: str, values: Float, sd: Float
) -> dict[str, Any]:
    """A map and its standard uncertainty, which names it."""
    aided = _attributes(words, units) | {"ancillary_variables": f"{name}_sd"}
    sd_words = f"standard uncertainty of {name}"
    return {
        name: (_MAP, values, aided),
        f"{name}_sd": (_MAP, sd, _attributes(sd_words, units)),
    }


def _coordinates(
    design: Design, height: Float, azimuth: Float
) -> dict[str, NamedArray]:
    return {
        "height": (("height",), height, _height(design)),
        "azimuth": (("azimuth",), azimuth, _azimuth(design)),
    }


def _height(design: Design) -> dict[str, Any]:
    return {
        "long_name": f"height above {plain(design.height_zero)}",
        "units": "mm",
        "positive": "up",
        "axis": "Z",
    }


def _azimuth(design: Design) -> dict[str, Any]:
    return {
        "long_name": f"azimuth from {plain(design.azimuth_zero)}, "
        f"{design.azimuth_sense} seen from above",
        "units": "degree",
    }


def _frame(design: Design) -> dict[str, str]:
    """Attributes of a file: what its azimuths and heights are counted from."""
    return {
        "Conventions": "CF-1.11",
        "lining": plain(design.name),
        "azimuth_zero": plain(design.azimuth_zero),
        "azimuth_sense": f"{design.azimuth_sense} seen from above",
        "height_zero": plain(design.height_zero),
    }


def _attributes(name: str, units: str) -> dict[str, Any]:
    return {"long_name": name, "units": units}


def _mm(name: str) -> dict[str, Any]:
    return _attributes(name, "mm")


def _flag(name: str, meanings: str, *, lowest: int = 0) -> dict[str, Any]:
    """Attributes of a map of codes that count up from ``lowest``."""
    values = np.arange(lowest, lowest + len(meanings.split()), dtype=np.int8)
    return {"long_name": name, "flag_values": values, "flag_meanings": meanings}
