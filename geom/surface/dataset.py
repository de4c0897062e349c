"""The surface as a labelled dataset for other programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.surface.grid import Grid

if TYPE_CHECKING:
    import xarray as xr

    from geom.surface.radial import RadialSurface


def surface_dataset(surface: RadialSurface) -> xr.Dataset:
    """CF-style dataset with dims (height, azimuth); lengths in mm."""
    import xarray as xr

    grid, both = surface.grid, ("height", "azimuth")
    surveyed = np.broadcast_to(grid.surveyed[:, None], grid.shape)
    drawn = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    mm = {"units": "mm"}
    return xr.Dataset(
        {
            "radius": (both, surface.radius, mm | _says("radius of the hot face")),
            "radius_sd": (
                both,
                surface.radius_sd,
                mm | _says("standard uncertainty of radius"),
            ),
            "design_radius": (both, drawn.copy(), mm | _says("radius as designed")),
            "cutback": (
                both,
                surface.cutback,
                mm | _says("radius minus design radius, positive into the wall"),
            ),
            "cutback_sd": (
                both,
                surface.radius_sd.copy(),
                mm | _says("standard uncertainty of cutback"),
            ),
            "surveyed": (
                both,
                surveyed.astype(np.int8),
                _flag("not surveyed surveyed"),
            ),
            **_seen(surface),
            "opening": (both, grid.opening.astype(np.int8), _flag("wall opening")),
        },
        coords=_coordinates(grid),
        attrs={"Conventions": "CF-1.11"},
    )


def _seen(surface: RadialSurface) -> dict[str, object]:
    """Where a laser saw the wall, if there was one."""
    if surface.seen is None:
        return {}
    words = _flag("not_seen seen_by_laser")
    return {"seen": (("height", "azimuth"), surface.seen.astype(np.int8), words)}


def _coordinates(grid: Grid) -> dict[str, tuple[str, object, dict[str, str]]]:
    up = {"units": "mm", "positive": "up", "axis": "Z"} | _says("height above zero")
    turn = {"units": "degree"} | _says("azimuth from zero in the design's sense")
    return {
        "height": ("height", grid.height.copy(), up),
        "azimuth": ("azimuth", grid.azimuth.copy(), turn),
    }


def _says(words: str) -> dict[str, str]:
    return {"long_name": words}


def _flag(words: str) -> dict[str, object]:
    meanings = words.replace("not surveyed", "not_surveyed")
    return {
        "long_name": words.rsplit(" ", maxsplit=1)[-1],
        "flag_values": np.array([0, 1], dtype=np.int8),
        "flag_meanings": meanings,
    }
