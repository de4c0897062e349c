"""What every NetCDF file of ours shares: coordinates, attributes, packing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.views.words import plain

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
