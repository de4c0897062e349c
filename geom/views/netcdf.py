"""surface.nc: the gridded wall for other programs, NetCDF-4 in CF style."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.compare.findings import ACTIONS, NO_CALL, Findings
from geom.compare.panels import PanelState
from geom.surface.radial import RadialSurface
from geom.units import Float
from geom.views.cf import azimuth_notes, frame_notes, height_notes, write_packed
from geom.views.words import plain

if TYPE_CHECKING:
    import xarray as xr

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
