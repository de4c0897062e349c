"""The wall laid flat as a person standing inside sees it.

Turning to the right from azimuth 0 is clockwise seen from above, and reads left to
right.  So the picture is centred on azimuth 0, the way people face it, and azimuths of
a counterclockwise lining run from right to left.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geom.design import Design, Opening
from geom.frame import clock_face, turn
from geom.readings.rod import RodReadings
from geom.surface.grid import Grid, close_seam
from geom.units import MM_PER, Bool, Float
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.say import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: More dots than this only hide the wall.
MOST_DOTS = 3000
_STEPS = {
    "in": (1, 2, 3, 6, 12, 24, 36, 48, 60, 120),
    "mm": (10, 20, 50, 100, 200, 250, 500, 1000, 2000),
    "cm": (1, 2, 5, 10, 20, 25, 50, 100, 200),
    "m": (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1, 2),
}


@dataclass(frozen=True)
class Unrolled:
    """Places on the flat picture, mm right of azimuth 0 and mm above height zero."""

    design: Design
    grid: Grid

    @cached_property
    def mm_per_degree(self) -> float:
        """Arc of the mean design radius."""
        return float(np.deg2rad(self.design.profile.mean_radius))

    @cached_property
    def reach(self) -> float:
        """Half the way round, mm."""
        return 180.0 * self.mm_per_degree

    @property
    def tall(self) -> float:
        """Height of the drawing, mm."""
        return self.design.profile.top - self.design.profile.bottom

    def right(self, azimuth: ArrayLike) -> Float:
        """How far right of azimuth 0, mm."""
        onward = turn(0.0, azimuth)
        if self.design.azimuth_sense == "counterclockwise":
            onward = turn(0.0, -onward)
        return onward * self.mm_per_degree

    @cached_property
    def _order(self) -> NDArray[np.intp]:
        return np.argsort(self.right(self.grid.azimuth), kind="stable")

    @cached_property
    def across(self) -> Float:
        """Centres of the drawn columns, left to right, the first repeated; (k + 1,)."""
        places = self.right(self.grid.azimuth)[self._order]
        return np.append(places, places[0] + 2.0 * self.reach)

    @cached_property
    def column_edge(self) -> Float:
        """Edges of the drawn columns; (k + 2,)."""
        half = self.reach / self.grid.azimuth.size
        return np.append(self.across - half, self.across[-1] + half)

    def flat(self, field: NDArray[Any]) -> NDArray[Any]:
        """A gridded field in the order of the picture; shape (m, k + 1)."""
        return close_seam(field[:, self._order])


def lay_wall(axes: Axes, wall: Unrolled, *, size: float) -> None:
    """Limits, ticks and the look of wall nobody measured.

    Parameters
    ----------
    axes : Axes
    wall : Unrolled
    size : float
        Of the type, points.
    """
    from matplotlib.patches import Rectangle

    bottom, top = wall.design.profile.bottom, wall.design.profile.top
    axes.set_xlim(-wall.reach, wall.reach)
    axes.set_ylim(bottom, top)
    axes.add_patch(
        Rectangle(
            (-wall.reach, bottom),
            2.0 * wall.reach,
            top - bottom,
            facecolor=colours.NOT_SURVEYED,
            edgecolor="#ffffff",
            hatch="x",
            linewidth=0,
            zorder=0,
        )
    )
    _azimuth_ticks(axes, wall, size=size)
    _height_ticks(axes, wall, size=size)
    for side in axes.spines.values():
        side.set_color(chart.INK)


def _azimuth_ticks(axes: Axes, wall: Unrolled, *, size: float) -> None:
    sense = wall.design.azimuth_sense
    onward = np.arange(-180, 181, 30)
    labels = []
    for step in onward:
        azimuth = (step if sense == "clockwise" else -step) % 360
        hour = clock_face(float(azimuth), sense).split()[0]
        labels.append(f"{azimuth}°\n{hour}")
    axes.set_xticks(onward * wall.mm_per_degree, labels, fontsize=size)
    axes.tick_params(axis="x", length=6, colors=chart.INK)
    for tick, step in zip(axes.get_xticklabels(), onward, strict=True):
        tick.set_fontweight("bold" if step == 0 else "normal")
    zero = plain(wall.design.azimuth_zero, most=24)
    axes.set_xlabel(
        f"azimuth in degrees, hour of the clock below it   (0° = 12 = {zero})",
        fontsize=size,
        color=chart.INK,
        labelpad=6,
    )


def _height_ticks(axes: Axes, wall: Unrolled, *, size: float) -> None:
    design = wall.design
    unit = design.length_unit
    zero = plain(design.height_zero, most=30)
    _ticks(axes, wall, unit=unit, size=size)
    axes.set_ylabel(f"height above {zero}, {unit}", fontsize=size, color=chart.INK)
    if unit == "mm":
        return
    other = axes.twinx()
    other.set_ylim(axes.get_ylim())
    _ticks(other, wall, unit="mm", size=size - 1)
    other.text(
        1.0, 1.008, " mm", transform=other.transAxes, fontsize=size - 1, ha="left",
        va="bottom", color=chart.QUIET,
    )  # fmt: skip


def _ticks(axes: Axes, wall: Unrolled, *, unit: str, size: float) -> None:
    step = nice_step(wall.tall / float(MM_PER[unit]) / 7.0, unit) * float(MM_PER[unit])
    low, high = wall.design.profile.bottom, wall.design.profile.top
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    places = np.arange(first, last + 1) * step
    labels = [f"{place / float(MM_PER[unit]) + 0.0:g}" for place in places.round(6)]
    axes.set_yticks(places, labels, fontsize=size)


def nice_step(least: float, unit: str) -> float:
    """The shortest usual division of a unit that is at least so long."""
    return next((float(s) for s in _STEPS[unit] if s >= least), float(_STEPS[unit][-1]))


def draw_openings(axes: Axes, wall: Unrolled, *, size: float) -> None:
    """The holes of the drawing, at their own outlines, with their names."""
    from matplotlib.patches import Rectangle

    short = len(wall.design.tuyeres) > 8
    for hole in wall.design.openings:
        half = hole.half_angle(wall.design.radius_at_opening(hole)) * wall.mm_per_degree
        low = hole.height - 0.5 * hole.tall
        centre = float(wall.right(hole.azimuth))
        for place in _seen_at(centre, half, wall):
            axes.add_patch(
                Rectangle(
                    (place - half, low),
                    2.0 * half,
                    hole.tall,
                    facecolor=colours.OPENING,
                    edgecolor="#ffffff",
                    linewidth=1.5,
                    zorder=6,
                )
            )
        name = "T" if short and hole.kind == "tuyere" else plain(hole.kind, most=18)
        _name_opening(axes, wall, hole, name, size=size)


def _seen_at(centre: float, half: float, wall: Unrolled) -> list[float]:
    """Where a thing is drawn: twice when it reaches over the picture's ends."""
    turns = (centre, centre - 2.0 * wall.reach, centre + 2.0 * wall.reach)
    return [place for place in turns if abs(place) < wall.reach + half]


def _name_opening(
    axes: Axes, wall: Unrolled, hole: Opening, name: str, *, size: float
) -> None:
    room = 0.035 * wall.tall
    over = hole.height + 0.5 * hole.tall + room > wall.design.profile.top
    most = wall.reach * (1.0 - 0.0115 * len(name))
    place = np.clip(wall.right(hole.azimuth), -most, most)
    axes.annotate(
        name,
        (float(place), hole.height + (-0.5 if over else 0.5) * hole.tall),
        xytext=(0, -4 if over else 4),
        textcoords="offset points",
        ha="center",
        va="top" if over else "bottom",
        fontsize=size,
        color=chart.INK,
        path_effects=halo(),
        zorder=9,
    )


def halo() -> list[Any]:
    """White round letters, so they read on any colour."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=3.0, foreground="#ffffff")]


def draw_hatch(
    axes: Axes, wall: Unrolled, where: Bool, *, hatch: str, ink: str
) -> None:
    """Hatch a part of the wall without hiding its colour."""
    if not where.any():
        return
    flat = wall.flat(where.astype(np.float64))
    drawn = axes.contourf(
        wall.across,
        wall.grid.height,
        flat,
        levels=[0.5, 1.5],
        colors="none",
        hatches=[hatch],
        zorder=3,
    )
    drawn.set_edgecolor(ink)
    drawn.set_linewidth(0.0)


def stations(readings: RodReadings) -> tuple[Float, Float]:
    """Azimuth and height of every place touched; a diameter touches two."""
    across = readings.is_kind("diameter")
    azimuth = np.append(readings.azimuth, readings.azimuth[across] + 180.0)
    return azimuth, np.append(readings.height, readings.height[across])
