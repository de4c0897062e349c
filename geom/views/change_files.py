"""The files of a change: numbers, maps, picture and page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom.design import Design
from geom.record.changed import Change
from geom.views.cautions import CAUTIONS
from geom.views.cf import azimuth_notes, frame_notes, height_notes, write_packed
from geom.views.change_map import change_png
from geom.views.change_page import change_page
from geom.views.change_walls import levels_png, scale_png, wall_png
from geom.views.document import as_json
from geom.views.words import plain

#: In the order they are written.
FILES: tuple[str, ...] = ("change.json", "change.nc", "change.png", "change.html")

_BOTH = ("height", "azimuth")


def write_change(folder: Path, change: Change, design: Design) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    change : Change
    design : Design
    """
    (folder / FILES[0]).write_bytes(change_document(change))
    write_maps(folder / FILES[1], change, design)
    picture = change_png(change, design)
    (folder / FILES[2]).write_bytes(picture)
    pictures = {
        "change": picture,
        "first": wall_png(change, design, last=False),
        "last": wall_png(change, design, last=True),
        "scale": scale_png(design),
        "levels": levels_png(change, design),
    }
    (folder / FILES[3]).write_bytes(change_page(change, design, pictures))


def change_document(change: Change) -> bytes:
    """The ``daubline.change/1`` document as UTF-8 JSON."""
    told = change.to_dict() | {"cautions": list(CAUTIONS)}
    return as_json(told)


def write_maps(path: Path, change: Change, design: Design) -> None:
    """change.nc: NetCDF-4 in CF style, on the record's grid."""
    import xarray as xr

    maps, grid = change.maps, change.grid
    fields: dict[str, tuple[NDArray[Any], dict[str, Any]]] = {
        "change": (maps.change, _mm("radius of the last survey less the first")),
        "change_sd": (maps.change_sd, _mm("standard uncertainty of change")),
        "significant": (maps.significant, _flag("beyond the level of detection")),
        "shown": (maps.shown, _flag("shown, false discoveries held down")),
        "compared": (maps.compared.astype(np.int8), {"long_name": "surveyed twice"}),
        "cutback_from": (maps.start, _mm("cut-back at the first survey")),
        "cutback_to": (maps.end, _mm("cut-back at the last survey")),
    }
    data = xr.Dataset(
        {
            name: (_BOTH, np.ascontiguousarray(_short(values)), notes)
            for name, (values, notes) in fields.items()
        },
        coords={
            "height": ("height", grid.height, height_notes(design)),
            "azimuth": ("azimuth", grid.azimuth, azimuth_notes(design)),
        },
        attrs=frame_notes(design)
        | {
            "title": plain(change.title),
            "created": plain(change.created),
            "source": f"daubline {plain(change.version)}",
        },
    )
    data["change"].attrs["ancillary_variables"] = "change_sd"
    write_packed(path, data)


def _short(values: NDArray[Any]) -> NDArray[Any]:
    return values.astype(np.float32) if values.dtype.kind == "f" else values


def _mm(name: str) -> dict[str, Any]:
    return {"long_name": name, "units": "mm"}


def _flag(name: str) -> dict[str, Any]:
    return {
        "long_name": name,
        "flag_values": np.array([-1, 0, 1], dtype=np.int8),
        "flag_meanings": "restored neither lost",
    }
