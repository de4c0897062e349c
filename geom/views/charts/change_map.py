"""change.png: what the wall lost and got back, on the unrolled wall.

A change that is shown has its colour, one that is only likely half of it and dots;
all other wall is grey.  Lost wall goes through orange to dark red and is hatched, wall
put back through blue to navy with upright strokes, so the side survives a grey copy.
The scale runs to one brick threshold either way, whatever the data.

The wall at each of two surveys, on one colour scale, and what each level lost.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.record.change.result import Change
from geom.units import LITRE, MM_PER, Float, say_both
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.colourbar import (
    LEFT,
    TYPE,
    Scale,
    draw_scale,
    place_legend,
    scale_bar,
)
from geom.views.charts.cutback_map import panel_height
from geom.views.charts.unrolled import (
    Unrolled,
    draw_hatch,
    draw_openings,
    halo,
    lay_wall,
    nice_step,
)
from geom.views.say import plain, say_sense

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


#: Compared wall whose change is not shown.
NOT_SHOWN = "#dddbd6"
#: Hatch and ink of wall lost and wall put back.
LOST, RESTORED = ("//", "#5a1a0c"), ("||", "#0f2c54")
#: Of a change beyond what is told at one place, but not shown among so many places.
LIKELY = ("..", "#55535c")

_WIDE = 7.8
_RIGHT, _TOP, _BELOW = 0.85, 1.75, 2.85


def change_png(change: Change, design: Design, *, dpi: int = 180) -> bytes:
    """The unrolled wall by change, as PNG."""
    with chart.drawing():
        return chart.png(change_figure(change, design), dpi=dpi)


def change_figure(change: Change, design: Design) -> Figure:
    """The figure of `change_png`; draw it inside `chart.drawing`."""
    wall = Unrolled(design, change.grid)
    high, equal = panel_height(wall, _WIDE)
    size = (LEFT + _WIDE + _RIGHT, _TOP + high + _BELOW)
    made = chart.figure(*size)
    axes = made.add_axes(
        (LEFT / size[0], _BELOW / size[1], _WIDE / size[0], high / size[1])
    )
    lay_wall(axes, wall, size=TYPE)
    paint(axes, wall, _rgba(change, design))
    _hatches(axes, wall, change)
    draw_openings(axes, wall, size=TYPE - 2)
    _head(made, change, design, equal=equal)
    scale_bar(axes, wall, high=high)
    place = (LEFT / size[0], 1.42 / size[1], 5.9 / size[0], 0.26 / size[1])
    draw_scale(made, place, _scale(design), design, size=TYPE)
    _legend(made, change, design)
    return made


def _hatches(axes: Axes, wall: Unrolled, change: Change) -> None:
    """Strokes that stand out from the colour below them, and a line round."""
    maps = change.maps
    deep = np.abs(maps.change) > 0.6 * wall.design.repair.brick_threshold
    for sign, (hatch, ink) in ((1, LOST), (-1, RESTORED)):
        here = maps.shown == sign
        draw_hatch(axes, wall, here & ~deep, hatch=hatch, ink=ink)
        draw_hatch(axes, wall, here & deep, hatch=hatch, ink="#ffffff")
        if here.any():
            axes.contour(
                wall.across,
                wall.grid.height,
                wall.flat(here.astype(np.float64)),
                levels=[0.5],
                colors=[chart.INK],
                linewidths=[1.4],
                zorder=4,
            )
    likely = (maps.significant != 0) & (maps.shown == 0)
    draw_hatch(axes, wall, likely, hatch=LIKELY[0], ink=LIKELY[1])


def change_rgb(change: Float, threshold: float) -> colours.Rgb:
    """Colour of a change, from minus one to plus one threshold; NaN as not surveyed.

    The colours of cut-back, its upper end drawn in from two thresholds to one.
    """
    return colours.cutback_rgb(np.where(change > 0.0, 2.0, 1.0) * change, threshold)


def paint(axes: Axes, wall: Unrolled, rgba: colours.Rgb) -> None:
    """Colour the cells; shape (m, k, 4)."""
    axes.pcolormesh(
        wall.column_edge,
        wall.grid.edge,
        wall.flat(rgba),
        shading="flat",
        zorder=1,
        rasterized=True,
    )


def with_clear(colour: colours.Rgb, known: Float) -> colours.Rgb:
    """Colours with what is not known left clear."""
    clear = np.where(np.isnan(known), 0, 255).astype(np.uint8)
    return np.concatenate([colour, clear[..., None]], axis=-1)


def _rgba(change: Change, design: Design) -> colours.Rgb:
    maps = change.maps
    colour = change_rgb(maps.change, design.repair.brick_threshold)
    grey = np.array([int(NOT_SHOWN[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.uint8)
    half = (colour.astype(np.float64) + grey) / 2.0
    likely = (maps.significant != 0)[..., None]
    colour = np.where(
        (maps.shown != 0)[..., None], colour, np.where(likely, half, grey)
    )
    return with_clear(np.rint(colour).astype(np.uint8), maps.change)


def _scale(design: Design) -> Scale:
    limit = design.repair.brick_threshold
    return Scale(
        colour=change_rgb(np.linspace(-limit, limit, 512), limit),
        low=-limit,
        high=limit,
        ticks=tuple(np.arange(-4, 5) * limit / 4.0),
        words=(
            (-limit, "put back", "left"),
            (0.0, "as before", "center"),
            (limit, "lost", "right"),
        ),
        remark="change of radius\nscale is the same\nfor any two surveys",
    )


def _head(made: Figure, change: Change, design: Design, *, equal: bool) -> None:
    lining = plain(change.lining, most=60)
    stretched = "" if equal else "; up and round are not at one scale"
    seen = f"{lining}: change, wall unrolled, SEEN FROM INSIDE"
    lines = (
        (0.42, plain(change.title), 21.0, "bold", chart.INK),
        (0.80, seen, 15.0, "normal", chart.INK),
        (1.10, say_sense(design) + stretched, 12.0, "normal", chart.QUIET),
    )
    for down, text, size, weight, ink in lines:
        made.text(
            LEFT / made.get_figwidth(),
            1.0 - down / made.get_figheight(),
            text,
            fontsize=min(size, 72.0 * (_WIDE + _RIGHT) / (0.64 * max(len(text), 1))),
            fontweight=weight,
            va="center",
            color=ink,
        )


def _legend(made: Figure, change: Change, design: Design) -> None:
    from matplotlib.patches import Patch

    told = say_both(change.detection, design.length_unit)
    patches = [
        Patch(facecolor="#f0a044", edgecolor=LOST[1], hatch=LOST[0] * 2, label="lost"),
        Patch(facecolor="#6aaacb", edgecolor=RESTORED[1], hatch="||", label="put back"),
        Patch(
            facecolor="#ead0ae",
            edgecolor=LIKELY[1],
            hatch="..",
            label="likely changed, not shown",
        ),
        Patch(facecolor=NOT_SHOWN, label=f"too small to tell (under about {told})"),
        Patch(
            facecolor=colours.NOT_SURVEYED,
            edgecolor="#ffffff",
            hatch="xx",
            label="not surveyed both times",
        ),
        Patch(facecolor=colours.OPENING, label="opening"),
    ]
    place_legend(made, patches)


_TYPE = 13.0
_LEFT, _WALLS_RIGHT, _WALLS_TOP, _WALLS_BELOW = 0.95, 0.8, 0.45, 0.95


def wall_png(change: Change, design: Design, *, last: bool, dpi: int = 150) -> bytes:
    """The wall as the first survey saw it, or the last, as PNG."""
    with chart.drawing():
        return chart.png(wall_figure(change, design, last=last), dpi=dpi)


def wall_figure(change: Change, design: Design, *, last: bool) -> Figure:
    """The figure of `wall_png`; draw it inside `chart.drawing`."""
    wall = Unrolled(design, change.grid)
    cutback = change.maps.end if last else change.maps.start
    made, axes = _panel(wall, wide=5.4, most=np.inf)
    lay_wall(axes, wall, size=_TYPE)
    for tick in axes.get_xticklabels()[1::2]:
        tick.set_visible(False)
    axes.set_xlabel("azimuth; hour of the clock below it", fontsize=_TYPE, labelpad=4)
    limit = design.repair.brick_threshold
    paint(axes, wall, with_clear(colours.cutback_rgb(cutback, limit), cutback))
    _brick_line(axes, wall, cutback)
    draw_openings(axes, wall, size=_TYPE - 4)
    return made


def _panel(wall: Unrolled, *, wide: float, most: float) -> tuple[Figure, Axes]:
    """A figure with one picture ``wide`` and at most ``most`` inches tall."""
    high = min(panel_height(wall, wide)[0], most)
    size = (_LEFT + wide + _WALLS_RIGHT, _WALLS_TOP + high + _WALLS_BELOW)
    made = chart.figure(*size)
    return made, made.add_axes(
        (_LEFT / size[0], _WALLS_BELOW / size[1], wide / size[0], high / size[1])
    )


def _brick_line(axes: Axes, wall: Unrolled, cutback: Float) -> None:
    limit = wall.design.repair.brick_threshold
    rows = np.isfinite(cutback).any(axis=1)
    if rows.sum() < 2 or not np.nanmin(cutback) < limit < np.nanmax(cutback):
        return
    for width, ink in ((3.4, "#ffffff"), (1.8, chart.INK)):
        axes.contour(
            wall.across,
            wall.grid.height[rows],
            np.ma.masked_invalid(wall.flat(cutback)[rows]),
            levels=[limit],
            colors=[ink],
            linewidths=[width],
            zorder=4,
        )


def scale_png(design: Design, *, dpi: int = 150) -> bytes:
    """The colours of cut-back, the same as on every map of this furnace, as PNG."""
    with chart.drawing():
        made = chart.figure(9.4, 1.15)
        limit = design.repair.brick_threshold
        low, high = colours.limits(limit)
        scale = Scale(
            colour=np.rint(colours.scale_table()).astype(np.uint8),
            low=low,
            high=high,
            ticks=tuple(np.arange(-2, 5) * limit / 2.0),
            words=(
                (low, "build-up", "left"),
                (0.0, "drawing", "center"),
                (limit, "brick line", "center"),
                (high, "lost lining", "right"),
            ),
            remark="cut-back",
            line=limit,
        )
        place = (0.95 / 9.4, 0.55 / 1.15, 6.9 / 9.4, 0.26 / 1.15)
        draw_scale(made, place, scale, design, size=_TYPE)
        return chart.png(made, dpi=dpi)


def levels_png(change: Change, design: Design, *, dpi: int = 150) -> bytes:
    """What each level lost and got back, as bars at its height, as PNG."""
    with chart.drawing():
        return chart.png(levels_figure(change, design), dpi=dpi)


def levels_figure(change: Change, design: Design) -> Figure:
    """The figure of `levels_png`; draw it inside `chart.drawing`."""
    wall = Unrolled(design, change.grid)
    made, axes = _panel(wall, wide=7.6, most=5.2)
    axes.set_ylim(design.profile.bottom, design.profile.top)
    _not_compared(axes, change)
    for sign, look in ((1, LOST), (-1, RESTORED)):
        _bars(axes, change, sign, look)
    axes.axvline(0.0, color=chart.INK, linewidth=1.4)
    _litres(axes, change)
    _heights(axes, wall)
    axes.set_axisbelow(True)
    for side, text, end in (("right", "lost", 0.99), ("left", "put back", 0.01)):
        axes.text(
            end, 1.012, text, transform=axes.transAxes, ha=side, va="bottom",
            fontsize=_TYPE, fontweight="bold", color=chart.INK,
        )  # fmt: skip
    return made


def _not_compared(axes: Axes, change: Change) -> None:
    """The look of wall that was not surveyed both times, below and above."""
    low, high = change.grid.surveyed_heights
    bottom, top = axes.get_ylim()
    for one, other in ((bottom, low), (high, top)):
        axes.axhspan(
            one, other, facecolor=colours.NOT_SURVEYED, edgecolor="#ffffff", hatch="x",
            linewidth=0,
        )  # fmt: skip


def _litres(axes: Axes, change: Change) -> None:
    """The scale along, positive to both sides."""
    most = max(
        one.high95 / LITRE
        for level in change.of_kind("level")
        for one in (level.volume.lost, level.volume.restored)
    )
    axes.set_xlim(-1.08 * most, 1.08 * most)
    ticks = [tick for tick in axes.get_xticks() if abs(tick) <= 1.08 * most]
    axes.set_xticks(ticks, [f"{abs(tick):g}" for tick in ticks], fontsize=_TYPE)
    axes.set_xlabel("litres; the thin line holds 95 %", fontsize=_TYPE, labelpad=4)
    axes.grid(axis="x", color="#d5d1c8", linewidth=0.8)


def _heights(axes: Axes, wall: Unrolled) -> None:
    """The scale upright, as on the wall."""
    design, unit = wall.design, wall.design.length_unit
    size = float(MM_PER[unit])
    step = nice_step(wall.tall / size / 7.0, unit) * size
    low, high = design.profile.bottom, design.profile.top
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    places = np.arange(first, last + 1) * step
    names = [f"{place / size + 0.0:g}" for place in places.round(6)]
    axes.set_yticks(places, names, fontsize=_TYPE)
    zero = plain(design.height_zero, most=30)
    axes.set_ylabel(f"height above {zero}, {unit}", fontsize=_TYPE)


def _bars(axes: Axes, change: Change, sign: int, look: tuple[str, str]) -> None:
    """Bars to one side, with their 95 % intervals, as tall as was compared."""
    lowest, highest = change.grid.surveyed_heights
    for level in change.of_kind("level"):
        volume = level.volume.lost if sign > 0 else level.volume.restored
        low = max(level.piece.height_from, lowest)
        high = min(level.piece.height_to, highest)
        axes.barh(
            0.5 * (low + high),
            sign * volume.value / LITRE,
            height=0.78 * (high - low),
            color="#f0a044" if sign > 0 else "#6aaacb",
            edgecolor=look[1],
            hatch=look[0],
            linewidth=0.0,
        )
        axes.plot(
            [sign * volume.low95 / LITRE, sign * volume.high95 / LITRE],
            [0.5 * (low + high)] * 2,
            color=chart.INK,
            linewidth=1.8,
            solid_capstyle="butt",
            path_effects=halo(),
        )
