"""wear.nc: wear cell by cell for other programs, NetCDF-4 in CF style."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.record.wear_map import RateMap, WearMaps
from geom.views.cf import azimuth_notes, frame_notes, height_notes, write_packed
from geom.views.words import plain

if TYPE_CHECKING:
    import xarray as xr

_BOTH = ("height", "azimuth")


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
