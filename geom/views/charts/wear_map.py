"""The wall unrolled, coloured by wear, beside how well that is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import K95
from geom.surface import Grid
from geom.units import Bool, Float, as_fraction, from_mm
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.colours import doubt_rgb, wear_rgb, wear_step
from geom.views.charts.cutback_map import panel_height
from geom.views.charts.unrolled import (
    Unrolled,
    draw_hatch,
    draw_openings,
    lay_wall,
)
from geom.views.say import plain, say_sense

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Size of the type, points, and of the picture of the wall, inches wide.
TYPE, _WIDE = 10.5, 4.6
_LEFT, _RIGHT, _TOP, _BELOW = 0.72, 0.62, 0.62, 2.05
#: Degrees between the azimuths told.
_EVERY = 60


@dataclass(frozen=True)
class WearMap:
    """Wear of the whole wall; arrays (m, k) on the grid.

    Attributes
    ----------
    design : Design
    grid : Grid
    wear, sd : array, mm per ``per``
        NaN where not told.
    per : {'heat', 'hour', 'tonne'}
    """

    design: Design
    grid: Grid
    wear: Float
    sd: Float
    per: str

    @property
    def step(self) -> float:
        """Step of the colour scale, mm, when drawn alone."""
        return wear_step(self.wear, self.design.repair.brick_threshold)

    @property
    def unsettled(self) -> Bool:
        """Where wear cannot be told from none."""
        return np.asarray(np.abs(self.wear) <= K95 * self.sd)


def wear_png(
    told: WearMap, *, name: str = "", step: float | None = None, dpi: int = 130
) -> bytes:
    """Wear alone, as PNG; ``name`` and ``step`` where several share one scale."""
    with chart.drawing():
        made, axes, wall = wall_frame(told.design, told.grid, 1)
        _wear(made, axes[0], wall, told, told.step if step is None else step)
        if name:
            write_over(axes[0], f"{plain(name, most=30)}: wear per {told.per}")
        return chart.png(made, dpi=dpi)


def doubt_png(told: WearMap, *, dpi: int = 130) -> bytes:
    """Its standard uncertainty alone, as PNG."""
    with chart.drawing():
        made, axes, wall = wall_frame(told.design, told.grid, 1)
        _doubt(made, axes[0], wall, told)
        return chart.png(made, dpi=dpi)


def wear_map_png(told: WearMap, *, title: str, dpi: int = 160) -> bytes:
    """Both, side by side under a heading: a picture to hand on by itself."""
    with chart.drawing():
        made, axes, wall = wall_frame(told.design, told.grid, 2, head=0.85)
        _wear(made, axes[0], wall, told, told.step)
        _doubt(made, axes[1], wall, told)
        write_heading(made, told, title)
        return chart.png(made, dpi=dpi)


def wall_frame(
    design: Design, grid: Grid, panels: int, *, head: float = 0.0
) -> tuple[Figure, list[Axes], Unrolled]:
    """A figure with so many walls laid side by side, ``head`` inches below its top."""
    wall = Unrolled(design, grid)
    high, _ = panel_height(wall, _WIDE)
    each = _LEFT + _WIDE + _RIGHT
    size = (panels * each, head + _TOP + high + _BELOW)
    made = chart.figure(*size)
    laid = []
    for place in range(panels):
        box = ((place * each + _LEFT) / size[0], _BELOW / size[1])
        axes = made.add_axes((*box, _WIDE / size[0], high / size[1]))
        lay_wall(axes, wall, size=TYPE)
        _azimuths(axes, wall)
        laid.append(axes)
    return made, laid, wall


def _azimuths(axes: Axes, wall: Unrolled) -> None:
    """Fewer directions than on the large map."""
    sense = wall.design.azimuth_sense
    onward = np.arange(-180, 181, _EVERY)
    labels = []
    for step in onward:
        azimuth = (step if sense == "clockwise" else -step) % 360
        hour = clock_face(float(azimuth), sense).split()[0]
        labels.append(f"{azimuth}°\n{hour}")
    axes.set_xticks(onward * wall.mm_per_degree, labels, fontsize=TYPE)
    for tick, step in zip(axes.get_xticklabels(), onward, strict=True):
        tick.set_fontweight("bold" if step == 0 else "normal")
    zero = plain(wall.design.azimuth_zero, most=20)
    axes.set_xlabel(f"azimuth, hour below it (12 = {zero})", fontsize=TYPE)


def _wear(made: Figure, axes: Axes, wall: Unrolled, told: WearMap, step: float) -> None:
    paint(axes, wall, told.wear, wear_rgb(told.wear, step))
    unclear = told.unsettled & ~told.grid.opening
    gaining = (told.wear < 0.0) & ~unclear
    draw_hatch(axes, wall, gaining, hatch="||", ink="#0f2c54")
    draw_hatch(axes, wall, unclear, hatch="..", ink=chart.QUIET)
    draw_openings(axes, wall, size=TYPE - 2)
    write_over(axes, f"wear per {told.per}")
    ticks = step * np.array([-1.0, 0.0, 1.0, 2.0])
    bar = key_bar(made, axes, colours.scale_table() / 255.0, ticks, wall.design)
    bar.axvline(0.0, color=chart.QUIET, linewidth=1.0)
    write_under(made, axes, "dots: not told from no wear.  bars: the wall gained")


def _doubt(made: Figure, axes: Axes, wall: Unrolled, told: WearMap) -> None:
    most = wear_step(told.sd, told.design.repair.brick_threshold) * 2.0
    paint(axes, wall, told.sd, doubt_rgb(told.sd, most))
    draw_openings(axes, wall, size=TYPE - 2)
    write_over(axes, f"standard uncertainty, per {told.per}")
    greys = doubt_rgb(np.linspace(0.0, 1.0, 256), 1.0) / 255.0
    key_bar(made, axes, greys, most * np.array([0.0, 0.5, 1.0]), wall.design)
    write_under(made, axes, "darker: less well known")


def paint(axes: Axes, wall: Unrolled, field: Float, colour: Any) -> None:
    """Colour the wall; openings and wall that is not told stay clear."""
    hidden = np.isnan(field) | wall.grid.opening
    clear = np.where(hidden, 0, 255).astype(np.uint8)
    axes.pcolormesh(
        wall.column_edge,
        wall.grid.edge,
        wall.flat(np.concatenate([colour, clear[..., None]], axis=-1)),
        shading="flat",
        zorder=1,
        rasterized=True,
    )


def key_bar(
    made: Figure, axes: Axes, table: Float, ticks: Float, design: Design
) -> Axes:
    """The scale under a wall, in the shop's unit and mm."""
    size = made.get_size_inches()
    box = axes.get_position()
    bar = made.add_axes((box.x0, 0.86 / size[1], box.width, 0.2 / size[1]))
    ends = (float(ticks[0]), float(ticks[-1]))
    bar.imshow(table[None], aspect="auto", extent=(*ends, 0, 1))
    bar.set_yticks([])
    bar.set_xticks(ticks, _labels(ticks, design.length_unit), fontsize=TYPE)
    return bar


def _labels(ticks: Float, unit: str) -> list[str]:
    """Each with mm below it where the shop's unit is another; the ends open."""
    last = ticks.size - 1
    more = ["≤ " if tick < 0 else "" for tick in ticks[:1]]
    more += [""] * (last - 1) + ["≥ "]
    said = [_short(float(tick), unit) for tick in ticks]
    if unit == "mm":
        return [a + b for a, b in zip(more, said, strict=True)]
    mm = [f"{tick:.3g}" for tick in ticks]
    mm[last] += " mm"
    return [f"{a}{b}\n{c}" for a, b, c in zip(more, said, mm, strict=True)]


def _short(mm: float, unit: str) -> str:
    value = from_mm(mm, unit)
    if unit == "in" and np.isclose(value * 64.0, np.round(value * 64.0), atol=1e-6):
        return f"{as_fraction(value, finest=64)} in"
    return f"{value:.3g} {unit}"


def write_over(axes: Axes, words: str) -> None:
    """What a wall is coloured by."""
    axes.set_title(words, fontsize=TYPE + 2, fontweight="bold", loc="left", pad=12)


def write_under(made: Figure, axes: Axes, words: str) -> None:
    """What its marks mean, under the scale."""
    made.text(
        axes.get_position().x0, 0.2 / made.get_figheight(), words,
        fontsize=TYPE - 1, color=chart.QUIET, va="center",
    )  # fmt: skip


def write_heading(made: Figure, told: WearMap, title: str) -> None:
    """Title, and how the wall is seen."""
    size = made.get_size_inches()
    lines = (
        (0.34, plain(title, most=90), 17.0, "bold"),
        (
            0.66,
            f"wall unrolled, SEEN FROM INSIDE; {say_sense(told.design)}",
            11.0,
            "normal",
        ),
    )
    for down, words, type_size, weight in lines:
        fitting = min(type_size, 72.0 * (size[0] - 1.2) / (0.64 * max(len(words), 1)))
        made.text(
            _LEFT / size[0], 1.0 - down / size[1], words, fontsize=fitting,
            fontweight=weight, va="center", color=chart.INK,
        )  # fmt: skip
