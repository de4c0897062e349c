"""The wall laid flat as a person standing inside sees it, and the figure it stands in.

Turning to the right from azimuth 0 is clockwise seen from above, and reads left to
right.  So the picture is centred on azimuth 0, the way people face it, and azimuths of
a counterclockwise lining run from right to left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geom.design import Design, Opening
from geom.frame import turn
from geom.surface.grid import Grid, close_seam
from geom.units import MM_PER, Bool, Float
from geom.views.charts import colours
from geom.views.charts import figure as chart
from geom.views.charts.colours import ColourScale, draw_colour_bar
from geom.views.charts.figure import (
    azimuth_labels,
    height_axis,
    mm_height_axis,
    nice_step,
)
from geom.views.say import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: More dots than this only hide the wall.
MOST_DOTS = 3000
#: Least and greatest height of a picture of the wall, per inch of its width.
_LOWEST, _TALLEST = 0.28, 1.25
#: Width of a letter, per size of type; a little more than the font's own.
_LETTER = 0.64


def degrees_right(azimuth: ArrayLike, design: Design) -> Float:
    """How far right of azimuth 0 a person inside sees it, in [-180, 180)."""
    onward = turn(0.0, azimuth)
    return onward if design.azimuth_sense == "clockwise" else turn(0.0, -onward)


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
        return degrees_right(azimuth, self.design) * self.mm_per_degree

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


@dataclass(frozen=True)
class PanelLayout:
    """Inches of one picture of the wall and of the margins round it.

    Attributes
    ----------
    width, left, right, top, bottom : float, inches
    type_size : float, points
    highest : float, inches
        At most so tall.
    azimuth_label : str
        Of the axis round the wall; ``{zero}`` stands for where azimuth 0 is.
    label_gap : float, points
        Between that label and the ticks' own.
    ticks_every, named_every : int, degrees
        Between ticks round the wall, and between those that have a number.
    bare : bool
        With the hours round the wall alone: no heights, no names.
    """

    width: float
    left: float
    right: float
    top: float
    bottom: float
    type_size: float
    highest: float = np.inf
    azimuth_label: str = "azimuth; hour of the clock below it"
    label_gap: float = 4.0
    ticks_every: int = 30
    named_every: int = 60
    bare: bool = False


@dataclass(frozen=True)
class HeadLine:
    """One line of a heading, ``down`` inches below the figure's top."""

    down: float
    text: str
    size: float
    weight: str = "normal"
    ink: str = chart.INK


class UnrolledFigure:
    """A figure with the unrolled wall, or several pictures of it side by side.

    Parameters
    ----------
    panels : int
        How many pictures of the wall.
    head : float, inches
        Above all of them.

    Attributes
    ----------
    true_to_scale : bool
        Whether up and round are at one scale.
    """

    def __init__(
        self,
        design: Design,
        grid: Grid,
        layout: PanelLayout,
        *,
        panels: int = 1,
        head: float = 0.0,
    ) -> None:
        self.wall = Unrolled(design, grid)
        self.layout = layout
        self.height, self.true_to_scale = panel_height(self.wall, layout)
        each = layout.left + layout.width + layout.right
        size = (panels * each, head + layout.top + self.height + layout.bottom)
        self.figure: Figure = chart.new_figure(*size)
        self.panels: tuple[Axes, ...] = tuple(
            chart.add_axes(
                self.figure,
                place * each + layout.left,
                layout.bottom,
                layout.width,
                self.height,
            )
            for place in range(panels)
        )
        for axes in self.panels:
            self._lay_wall(axes)

    def _lay_wall(self, axes: Axes) -> None:
        """Limits, ticks and the look of wall that was not surveyed."""
        wall, size = self.wall, self.layout.type_size
        axes.set_xlim(-wall.reach, wall.reach)
        axes.axhspan(
            wall.design.profile.bottom, wall.design.profile.top,
            facecolor=colours.NOT_SURVEYED, edgecolor="#ffffff", hatch="x", linewidth=0,
            zorder=0,
        )  # fmt: skip
        self._azimuth_axis(axes)
        axes.spines[:].set_zorder(20)
        if self.layout.bare:
            axes.set_ylim(wall.design.profile.bottom, wall.design.profile.top)
            axes.set_yticks([])
            return
        height_axis(axes, wall.design, size=size)
        axes.yaxis.label.set_color(chart.INK)
        if wall.design.length_unit != "mm":
            mm_height_axis(axes, size=size - 1)

    def _azimuth_axis(self, axes: Axes) -> None:
        layout, wall = self.layout, self.wall
        onward = list(range(-180, 181, layout.ticks_every))
        labels = [
            label if (step + 180) % layout.named_every == 0 else ""
            for step, label in zip(
                onward, azimuth_labels(onward, wall.design), strict=True
            )
        ]
        if layout.bare:
            labels = [label.split("\n")[-1] for label in labels]
        size, length = layout.type_size, 3 if layout.bare else 6
        axes.set_xticks(np.array(onward) * wall.mm_per_degree, labels, fontsize=size)
        axes.tick_params(axis="x", length=length, colors=chart.INK)
        axes.get_xticklabels()[onward.index(0)].set_fontweight("bold")
        if layout.bare:
            return
        zero = plain(wall.design.azimuth_zero, most=24)
        axes.set_xlabel(
            layout.azimuth_label.replace("{zero}", zero),
            fontsize=size, color=chart.INK, labelpad=layout.label_gap,
        )  # fmt: skip

    def paint(self, colour: NDArray[Any], shown: Bool, *, panel: int = 0) -> None:
        """Colour the cells that are shown; (m, k, 3) uint8 and (m, k)."""
        opaque = np.where(shown, 255, 0).astype(np.uint8)[..., None]
        self.panels[panel].pcolorfast(
            self.wall.column_edge,
            self.wall.grid.edge,
            self.wall.flat(np.concatenate([colour, opaque], axis=-1)),
            zorder=1,
        )

    def hatch(self, where: Bool, strokes: str, ink: str) -> None:
        """Hatch a part of the wall without hiding its colour."""
        if not where.any():
            return
        hatched = self.panels[0].contourf(
            self.wall.across,
            self.wall.grid.height,
            self.wall.flat(where.astype(np.float64)),
            levels=[0.5, 1.5],
            colors="none",
            hatches=[strokes],
            zorder=3,
        )
        hatched.set_edgecolor(ink)
        hatched.set_linewidth(0.0)

    def outline(self, share: NDArray[Any], *, width: float, zorder: int = 4) -> None:
        """A line where a share of cells, or a mask, passes one half."""
        if np.any(share):
            field = np.asarray(share, dtype=np.float64)
            self._contour(field, 0.5, (width, chart.INK), zorder)

    def threshold_line(
        self, field: Float, level: float, *, widths: tuple[float, float]
    ) -> None:
        """A line with a white seam where a field, NaN where unknown, passes a level."""
        if np.isfinite(field).any(axis=1).sum() < 2:
            return
        if np.nanmin(field) < level < np.nanmax(field):
            for pen in zip(widths, ("#ffffff", chart.INK), strict=True):
                self._contour(field, level, pen, 4)

    def _contour(
        self, field: Float, level: float, pen: tuple[float, str], zorder: int
    ) -> None:
        """One contour, drawn with a pen of a width and an ink."""
        rows = np.isfinite(field).any(axis=1)
        self.panels[0].contour(
            self.wall.across,
            self.wall.grid.height[rows],
            np.ma.masked_invalid(self.wall.flat(field)[rows]),
            levels=[level],
            linewidths=[pen[0]],
            colors=[pen[1]],
            zorder=zorder,
        )

    def openings(self, *, size: float, panel: int = 0) -> None:
        """The openings of the drawing, at their own outlines, with their names."""
        short = len(self.wall.design.tuyeres) > 8
        for opening in self.wall.design.openings:
            name = plain(opening.kind, most=18)
            name = "T" if short and opening.kind == "tuyere" else name
            self._opening(self.panels[panel], opening)
            if not self.layout.bare:
                self._name_opening(self.panels[panel], opening, name, size=size)

    def _opening(self, axes: Axes, opening: Opening) -> None:
        """Its outline, twice where it reaches over the picture's ends."""
        from matplotlib.patches import Rectangle

        wall = self.wall
        angle = opening.half_angle(wall.design.radius_at_opening(opening))
        half, centre = angle * wall.mm_per_degree, float(wall.right(opening.azimuth))
        for place in (centre, centre - 2.0 * wall.reach, centre + 2.0 * wall.reach):
            if abs(place) < wall.reach + half:
                axes.add_patch(
                    Rectangle(
                        (place - half, opening.height - 0.5 * opening.tall),
                        2.0 * half,
                        opening.tall,
                        facecolor=colours.OPENING,
                        edgecolor="#ffffff",
                        linewidth=1.5,
                        zorder=6,
                    )
                )

    def _name_opening(
        self, axes: Axes, opening: Opening, name: str, *, size: float
    ) -> None:
        """Above it, or below it where the picture ends above."""
        wall = self.wall
        room = 0.035 * wall.tall
        below = opening.height + 0.5 * opening.tall + room > wall.design.profile.top
        most = wall.reach * (1.0 - 0.0115 * len(name))
        across = float(np.clip(wall.right(opening.azimuth), -most, most))
        axes.annotate(
            name,
            (across, opening.height + (-0.5 if below else 0.5) * opening.tall),
            xytext=(0, -4 if below else 4),
            textcoords="offset points",
            ha="center",
            va="top" if below else "bottom",
            fontsize=size,
            color=chart.INK,
            path_effects=chart.halo(),
            zorder=9,
        )

    def scale_bar(self) -> None:
        """A length round the wall, above the picture."""
        axes, wall, size = self.panels[0], self.wall, self.layout.type_size
        unit = wall.design.length_unit
        one = float(MM_PER[unit])
        long = nice_step(wall.reach / 5.0 / one, unit)
        end = 0.95 * wall.reach
        start = end - long * one
        place = axes.get_xaxis_transform()
        point = 1.0 / (72.0 * self.height)
        axes.plot(
            [start, start, end, end],
            [1.0 + 14 * point, 1.0 + 7 * point, 1.0 + 7 * point, 1.0 + 14 * point],
            color=chart.INK,
            linewidth=2.0,
            transform=place,
            clip_on=False,
        )
        axes.text(
            0.5 * (start + end), 1.0 + 17 * point, f"{long:g} {unit} round",
            transform=place, ha="center", va="bottom", fontsize=size - 2,
            color=chart.INK,
        )  # fmt: skip

    def heading(self, lines: Sequence[HeadLine]) -> None:
        """Lines above the wall, each as small as it has to be to stay on the figure."""
        width, height = self.figure.get_size_inches()
        room = 72.0 * (width - self.layout.left) / _LETTER
        for line in lines:
            self.figure.text(
                self.layout.left / width,
                1.0 - line.down / height,
                line.text,
                fontsize=min(line.size, room / max(len(line.text), 1)),
                fontweight=line.weight,
                va="center",
                color=line.ink,
            )

    def colour_bar(
        self,
        scale: ColourScale,
        *,
        bottom: float,
        width: float,
        height: float,
        size: float,
        panel: int = 0,
    ) -> None:
        """The colour bar below a picture; inches, and points of its type."""
        left = self.panels[panel].get_position().x0 * self.figure.get_figwidth()
        place = (left, bottom, width, height)
        draw_colour_bar(self.figure, place, scale, size=size)

    def legend(self, handles: Sequence[Any], *, bottom: float, **options: Any) -> None:
        """What hatches and dots mean, ``bottom`` inches up."""
        width, height = self.figure.get_size_inches()
        usual = {
            "ncols": 3,
            "fontsize": self.layout.type_size - 1.5,
            "handlelength": 2.2,
            "handleheight": 1.3,
            "columnspacing": 1.6,
        }
        self.figure.legend(
            handles=list(handles),
            loc="lower left",
            bbox_to_anchor=(self.layout.left / width, bottom / height),
            frameon=False,
            borderaxespad=0.0,
            borderpad=0.0,
            **(usual | options),
        )


def panel_height(wall: Unrolled, layout: PanelLayout) -> tuple[float, bool]:
    """Height of the picture of the wall, inches, and whether it is true to scale."""
    true = layout.width * wall.tall / (2.0 * wall.reach)
    high = np.clip(true, _LOWEST * layout.width, _TALLEST * layout.width)
    return float(min(high, layout.highest)), bool(abs(high - true) < 1e-9)


def not_surveyed_patch(label: str) -> Any:
    """The look of wall that was not surveyed, for a legend."""
    return chart.swatch(label, colours.NOT_SURVEYED, "#ffffff", "xx")
