"""Results in a notebook and as other libraries' objects: what `geom.shown` asks for."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.assess import maps_of
from geom.compare.findings import Findings, Maps
from geom.errors import InputError
from geom.frame import Sense, azimuth_of_clock, clock_hours, clock_time
from geom.surface.radial import RadialSurface
from geom.views.charts import figure as chart
from geom.views.charts.sections import level_section, upright_section
from geom.views.charts.survey_maps import wall_map
from geom.views.meshes.formats import wall_polydata, wall_trimesh
from geom.views.meshes.mesh import wall_mesh
from geom.views.netcdf import surface_dataset

if TYPE_CHECKING:
    import pyvista as pv
    import trimesh
    import xarray as xr
    from matplotlib.figure import Figure

#: Dots per inch of a picture in a notebook.
_DPI = 80


def html(result: Any) -> str | None:
    """The picture of a surface or of findings over their repr; None of the others."""
    surface = result.surface if isinstance(result, Findings) else result
    if not isinstance(surface, RadialSurface):
        return None
    maps = result.maps if isinstance(result, Findings) else _maps(surface)
    picture = b64encode(wall_map.rendered("png", dpi=_DPI)(surface, maps)).decode()
    return (
        f'<img alt="wall unrolled, by cut-back" style="max-width: 100%" '
        f'src="data:image/png;base64,{picture}"/>'
        f"<pre>{escape(repr(result))}</pre>"
    )


def plot(surface: RadialSurface) -> Figure:
    """The unrolled wall."""
    return _drawn(wall_map.draw, surface, _maps(surface))


def plot_section(surface: RadialSurface, height: float) -> Figure:
    """A level section."""
    return _drawn(level_section.draw, surface, height)


def plot_profile(surface: RadialSurface, azimuth: float) -> Figure:
    """An upright section."""
    return _drawn(upright_section.draw, surface, azimuth)


def _drawn(draw: Callable[..., Figure], *of: Any) -> Figure:
    """A figure that a notebook shows, whether or not it has loaded pyplot."""
    with chart.drawing_style():
        figure = draw(*of)
    vars(figure)["_repr_png_"] = lambda: chart.render(figure, dpi=_DPI)
    return figure


def to_xarray(surface: RadialSurface) -> xr.Dataset:
    """The gridded wall, as ``surface.nc`` has it but for zones and panels."""
    return surface_dataset(surface, _maps(surface)).drop_vars("zone")


def to_pyvista(surface: RadialSurface) -> pv.PolyData:
    """The mesh, every field at its vertices."""
    return wall_polydata(wall_mesh(surface), surface, maps=_maps(surface))


def to_trimesh(surface: RadialSurface) -> trimesh.Trimesh:
    """The mesh, colours and numbers at its vertices."""
    return wall_trimesh(wall_mesh(surface), surface, maps=_maps(surface))


def _maps(surface: RadialSurface) -> Maps:
    return maps_of(surface, surface.design)


class LiningAccessor:
    """``data.lining`` of a dataset read from ``surface.nc``: its frame, and the clock.

    Raises
    ------
    InputError
        If the dataset is none of ours.
    """

    def __init__(self, data: xr.Dataset) -> None:
        missing = [name for name in _FRAME if name not in data.attrs]
        if missing:
            raise InputError(
                f"the dataset is of no lining: it has no attribute {missing[0]}",
                cure="Open a surface.nc, or what to_xarray gives",
            )
        self._data = data

    @property
    def name(self) -> str:
        """Of the lining."""
        return str(self._data.attrs["lining"])

    @property
    def zero(self) -> str:
        """What azimuth 0, 12 on the clock, looks at."""
        return str(self._data.attrs["azimuth_zero"])

    @property
    def height_zero(self) -> str:
        """What heights count from."""
        return str(self._data.attrs["height_zero"])

    @property
    def sense(self) -> Sense:
        """Which way azimuth grows, seen from above."""
        word = str(self._data.attrs["azimuth_sense"]).split()[0]
        return "clockwise" if word == "clockwise" else "counterclockwise"

    @property
    def clock(self) -> xr.DataArray:
        """Hour of every azimuth as text, ``3:30``; over azimuth."""
        azimuth = self._data["azimuth"]
        hours = [clock_time(float(one), self.sense) for one in azimuth.to_numpy()]
        return azimuth.copy(data=np.array(hours)).rename("clock").drop_attrs()

    def at(
        self,
        *,
        height: float,
        azimuth: float | None = None,
        clock: str | None = None,
    ) -> xr.Dataset:
        """The cell nearest to a place of the wall, round the ring.

        Parameters
        ----------
        height : float, mm
        azimuth : float, degrees
            Or else:
        clock : str
            The hour, as ``"3:30"`` or ``"half past 3"``.
        """
        if (azimuth is None) == (clock is None):
            raise InputError("a place is given by azimuth or by clock, by one of them")
        if azimuth is None:
            azimuth = azimuth_of_clock(clock_hours(str(clock)), self.sense)
        apart = np.abs((self._data["azimuth"].to_numpy() - azimuth + 180) % 360 - 180)
        row = np.abs(self._data["height"].to_numpy() - height).argmin()
        return self._data.isel(height=int(row), azimuth=int(apart.argmin()))

    def __repr__(self) -> str:
        return (
            f"<Lining {self.name}: azimuth 0 at {self.zero}, {self.sense} seen from "
            f"above; heights above {self.height_zero}, mm>"
        )


_FRAME = ("lining", "azimuth_zero", "azimuth_sense", "height_zero")

#: As `geom.shown` asks for it.
lining = LiningAccessor
