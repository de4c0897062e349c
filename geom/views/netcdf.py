"""surface.nc: the gridded wall for other programs, NetCDF-4 in CF style.

What every NetCDF file of ours shares: coordinates, attributes, packing.

wear.nc: wear cell by cell for other programs, NetCDF-4 in CF style.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.compare.findings import ACTIONS, NO_CALL, Findings
from geom.compare.panels import PanelState
from geom.design import Design
from geom.record.wear.maps import RateMap, WearMaps
from geom.surface.radial import RadialSurface
from geom.units import Float
from geom.views.say import plain

if TYPE_CHECKING:
    import xarray as xr


_PACKED = {"zlib": True, "complevel": 2, "shuffle": True}


def write_packed(path: Path, data: xr.Dataset) -> None:
    """Write a dataset as NetCDF-4; NaN is what is missing, coordinates have none."""
    encoding: dict[str, dict[str, Any]] = {
        str(name): _PACKED | {"_FillValue": np.nan if array.dtype.kind == "f" else None}
        for name, array in data.data_vars.items()
    }
    encoding |= {str(name): {"_FillValue": None} for name in data.coords}
    data.to_netcdf(path, engine="h5netcdf", format="NETCDF4", encoding=encoding)


def height_notes(design: Design) -> dict[str, Any]:
    """Attributes of the coordinate ``height``."""
    return {
        "long_name": f"height above {plain(design.height_zero)}",
        "units": "mm",
        "positive": "up",
        "axis": "Z",
    }


def azimuth_notes(design: Design) -> dict[str, Any]:
    """Attributes of the coordinate ``azimuth``."""
    return {
        "long_name": f"azimuth from {plain(design.azimuth_zero)}, "
        f"{design.azimuth_sense} seen from above",
        "units": "degree",
    }


def frame_notes(design: Design) -> dict[str, str]:
    """Attributes of a file that say what its azimuths and heights are counted from."""
    return {
        "Conventions": "CF-1.11",
        "lining": plain(design.name),
        "azimuth_zero": plain(design.azimuth_zero),
        "azimuth_sense": f"{design.azimuth_sense} seen from above",
        "height_zero": plain(design.height_zero),
    }


_BOTH = ("height", "azimuth")


def write_netcdf(path: Path, surface: RadialSurface, findings: Findings) -> None:
    """Write the surface and the maps drawn from it.

    Parameters
    ----------
    path : Path
    surface : RadialSurface
    findings : Findings
        Its maps take the place of the surface's own fields of the same name.
    """
    write_packed(path, _dataset(surface, findings))


def _dataset(surface: RadialSurface, findings: Findings) -> xr.Dataset:
    maps = findings.maps
    data = surface.to_xarray()
    shape = surface.grid.shape
    drawn = np.broadcast_to(surface.grid.design_radius[:, None], shape)
    fields: dict[str, tuple[NDArray[Any], dict[str, Any]]] = {
        "design_radius": (drawn, _mm("radius of the drawing")),
        "cutback": (maps.cutback, _mm("cut-back: radius less design radius")),
        "cutback_sd": (maps.cutback_sd, _mm("standard uncertainty of cut-back")),
        "p_brick": (maps.p_brick, _p_brick(surface)),
        "action": (maps.action.astype(np.int8), _action()),
        "surveyed": (maps.surveyed.astype(np.int8), _flag("surveyed", "no yes")),
        "opening": (surface.grid.opening.astype(np.int8), _flag("opening", "no yes")),
        "zone": (maps.zone.astype(np.int32), {"long_name": "zone id, 0 where none"}),
    }
    data = data.assign(
        {
            name: (_BOTH, np.ascontiguousarray(values), notes)
            for name, (values, notes) in fields.items()
        }
    )
    data["cutback"].attrs["ancillary_variables"] = "cutback_sd"
    data["radius"].attrs["ancillary_variables"] = "radius_sd"
    data["height"].attrs |= height_notes(surface.design)
    data["azimuth"].attrs |= azimuth_notes(surface.design)
    data.attrs = _about(surface, findings)
    if findings.panels is not None:
        data = data.assign(_of_panels(findings.panels))
    return data


def _of_panels(state: PanelState) -> dict[str, xr.Variable]:
    """What is kept for comparing heats, panel by panel."""
    import xarray as xr

    panels, one = state.panels, ("panel",)
    hour = "middle of the panel, which is an hour of the clock wide"
    told: dict[str, tuple[tuple[str, ...], Float, dict[str, Any]]] = {
        "panel_edge": (("panel_edges",), panels.edge, _mm("edges of the panels' rows")),
        "panel_height": (one, panels.height, _mm("mid-height of the panel")),
        "panel_azimuth": (one, panels.azimuth, {"long_name": hour, "units": "degree"}),
        "panel_cutback": (one, state.cutback, _mm("mean cut-back of the panel")),
        "panel_covariance": (
            ("panel", "panel_other"),
            state.covariance.astype(np.float32),
            {"long_name": "covariance of the panels' means", "units": "mm2"},
        ),
        "panel_deepest": (one, state.deepest, _mm("greatest cut-back in it")),
        "panel_deepest_sd": (
            one,
            state.deepest_sd,
            _mm("standard uncertainty of that"),
        ),
        "panel_part": (("panel", "part"), state.part, _mm("mean cut-back of a part")),
        "panel_part_sd": (
            ("panel", "part"),
            state.part_sd,
            _mm("standard uncertainty of that"),
        ),
        "panel_area": (
            one,
            state.area,
            {"long_name": "surveyed wall of the panel", "units": "mm2"},
        ),
        "panel_read": (
            one,
            state.read.astype(np.int8),
            {"long_name": "whether anything was read in it", "units": "1"},
        ),
    }
    return {name: xr.Variable(*parts) for name, parts in told.items()}


def _mm(name: str) -> dict[str, Any]:
    return {"long_name": name, "units": "mm"}


def _flag(name: str, meanings: str) -> dict[str, Any]:
    values = np.arange(len(meanings.split()), dtype=np.int8)
    return {"long_name": name, "flag_values": values, "flag_meanings": meanings}


def _action() -> dict[str, Any]:
    words = ["no_call", *(action.replace(" ", "_") for action in ACTIONS)]
    values = np.array([NO_CALL, *range(len(ACTIONS))], dtype=np.int8)
    return {
        "long_name": "what to do",
        "flag_values": values,
        "flag_meanings": " ".join(words),
    }


def _p_brick(surface: RadialSurface) -> dict[str, Any]:
    return {
        "long_name": "probability that cut-back exceeds the brick threshold",
        "units": "1",
        "brick_threshold_mm": surface.design.repair.brick_threshold,
    }


def _about(surface: RadialSurface, findings: Findings) -> dict[str, Any]:
    return frame_notes(surface.design) | {
        "title": plain(findings.title),
        "lining": plain(findings.lining),
        "created": plain(findings.created),
        "source": f"daubline {plain(findings.version)}",
    }


def write_wear_netcdf(
    path: Path, maps: WearMaps, design: Design, about: dict[str, str]
) -> None:
    """Write the maps of wear.

    Parameters
    ----------
    path : Path
    maps : WearMaps
    design : Design
    about : dict
        Attributes of the file besides those of the frame.
    """
    data = wear_dataset(maps, design)
    data.attrs |= {name: plain(words) for name, words in about.items()}
    write_packed(path, data)


def wear_dataset(maps: WearMaps, design: Design) -> xr.Dataset:
    """The maps as a Dataset, dims (height, azimuth).

    Parameters
    ----------
    maps : WearMaps
    design : Design
        Its words for height and azimuth are told with them.
    """
    import xarray as xr

    slope = "how wear per heat grows from heat to heat"
    fields = _of_rate("heat", maps.per_heat) | {
        "trend": (_BOTH, maps.trend, _told(slope, "mm") | _aided("trend_sd")),
        "trend_sd": (_BOTH, maps.trend_sd, _told(_sd_of("trend"), "mm")),
        "spells": _counted(maps.per_heat),
        "opening": (_BOTH, maps.opening.astype(np.int8), _OPENING),
    }
    if maps.per_hour is not None:
        fields |= _of_rate("hour", maps.per_hour)
    if maps.per_tonne is not None:
        fields |= _of_rate("tonne", maps.per_tonne)
    return xr.Dataset(
        fields,
        coords={
            "height": ("height", maps.height, height_notes(design)),
            "azimuth": ("azimuth", maps.azimuth, azimuth_notes(design)),
        },
        attrs=frame_notes(design),
    )


_PER = {
    "heat": ("a heat", "mm"),
    "hour": ("an hour on blast", "mm h-1"),
    "tonne": ("a tonne (1000 kg) of iron melted", "mm t-1"),
}
_OPENING = {
    "long_name": "opening",
    "flag_values": np.arange(2, dtype=np.int8),
    "flag_meanings": "no yes",
}


def _of_rate(against: str, told: RateMap) -> dict[str, Any]:
    said, units = _PER[against]
    name = f"wear_per_{against}"
    wear = f"mean wear in {said}: cut-back gained between repairs"
    return {
        name: (_BOTH, told.rate, _told(wear, units) | _aided(f"{name}_sd")),
        f"{name}_sd": (_BOTH, told.sd, _told(_sd_of(name), units)),
    }


def _counted(told: RateMap) -> Any:
    words = {"long_name": "how many spells of wear tell the cell", "units": "1"}
    return (_BOTH, told.spells.astype(np.int32), words)


def _told(name: str, units: str) -> dict[str, Any]:
    return {"long_name": name, "units": units}


def _sd_of(name: str) -> str:
    return f"standard uncertainty of {name}"


def _aided(name: str) -> dict[str, Any]:
    return {"ancillary_variables": name}
