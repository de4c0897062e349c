"""Pictures of a change: what the wall lost and got back, both walls, and the levels.

A change that is shown has its colour, one that is only likely half of it and dots;
all other wall is grey.  Lost wall goes through orange to dark red and is hatched, wall
put back through blue to navy with upright strokes, so the side survives a grey copy.
The scale runs to one brick threshold either way, whatever the data.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.record.change.result import Change
from geom.units import CUBIC_FOOT, LITRE, Float, say_both
from geom.views.charts import colours
from geom.views.charts import figure as chart
from geom.views.charts.colours import (
    ColourScale,
    cutback_scale,
    draw_colour_bar,
    length_labels,
)
from geom.views.charts.figure import height_axis
from geom.views.charts.survey_maps import LARGE_MAP, large_heading
from geom.views.charts.unrolled import (
    PanelLayout,
    Unrolled,
    UnrolledFigure,
    not_surveyed_patch,
    panel_height,
)
from geom.views.say import plain, say_change

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


#: Compared wall whose change is not shown.
NOT_SHOWN = "#dddbd6"
#: Hatch and ink of wall lost and wall put back.
_LOST, _RESTORED = ("//", "#5a1a0c"), ("||", "#0f2c54")
#: Fill of bars and legend of wall lost and wall put back.
_LOST_FILL, _RESTORED_FILL = "#f0a044", "#6aaacb"
#: Hatch and ink of a change beyond the level of detection of its cell alone.
_LIKELY = ("..", "#55535c")
#: Share of the brick threshold from which hatches are white.
_DEEP = 0.6
_CHANGE = replace(LARGE_MAP, bottom=2.85)
_WALL = PanelLayout(
    width=5.4, left=0.95, right=0.8, top=0.45, bottom=0.95, type_size=13.0
)
_LEVELS = replace(_WALL, width=7.6, highest=5.2)


@chart.picture(dpi=180)
def change_png(change: Change, design: Design) -> Figure:
    """The unrolled wall by change."""
    frame = UnrolledFigure(design, change.grid, _CHANGE)
    size = _CHANGE.type_size
    frame.paint(_colour(change, design), np.isfinite(change.maps.change))
    _hatches(frame, change)
    frame.openings(size=size - 2)
    lining = plain(change.lining, most=60)
    line = f"{lining}: change, wall unrolled, SEEN FROM INSIDE"
    large_heading(frame, plain(say_change(change)), line)
    frame.scale_bar()
    frame.colour_bar(
        _scale(design), bottom=1.42, width=5.9, height=0.26, size=size - 1.5
    )
    _legend(frame, change, design)
    return frame.figure


def change_rgb(change: Float, threshold: float) -> colours.Rgb:
    """Colour of a change, from minus one to plus one threshold; NaN as not surveyed.

    The colours of cut-back, its upper end drawn in from two thresholds to one.
    """
    return colours.cutback_rgb(np.where(change > 0.0, 2.0, 1.0) * change, threshold)


def _colour(change: Change, design: Design) -> colours.Rgb:
    """Colours of what is shown, paler ones of what is likely, grey; (m, k, 3)."""
    maps = change.maps
    full = change_rgb(maps.change, design.repair.brick_threshold)
    grey = colours.rgb(NOT_SHOWN)
    likely = np.where((maps.significant != 0)[..., None], 0.5 * (full + grey), grey)
    colour = np.where((maps.shown != 0)[..., None], full, likely)
    return np.rint(colour).astype(np.uint8)


def _hatches(frame: UnrolledFigure, change: Change) -> None:
    """Strokes that stand out from the colour below them, and a line round."""
    maps = change.maps
    deep = np.abs(maps.change) > _DEEP * frame.wall.design.repair.brick_threshold
    for sign, (strokes, ink) in ((1, _LOST), (-1, _RESTORED)):
        here = maps.shown == sign
        frame.hatch(here & ~deep, strokes, ink)
        frame.hatch(here & deep, strokes, "#ffffff")
        frame.outline(here, width=1.4)
    frame.hatch((maps.significant != 0) & (maps.shown == 0), *_LIKELY)


def _scale(design: Design) -> ColourScale:
    limit = design.repair.brick_threshold
    ticks = np.linspace(-limit, limit, 9)
    return ColourScale(
        colours=change_rgb(np.linspace(-limit, limit, 512), limit),
        ticks=ticks,
        labels=length_labels(ticks, design.length_unit),
        words=(
            (-limit, "put back", "left"),
            (0.0, "as before", "center"),
            (limit, "lost", "right"),
        ),
        unit=design.length_unit,
        remark="change of radius\nscale is the same\nfor any two surveys",
    )


def _legend(frame: UnrolledFigure, change: Change, design: Design) -> None:
    least = say_both(change.detection, design.length_unit)
    patches = [
        chart.swatch("lost", _LOST_FILL, _LOST[1], "////"),
        chart.swatch("put back", _RESTORED_FILL, _RESTORED[1], "||"),
        chart.swatch("likely changed, not shown", "#ead0ae", _LIKELY[1], ".."),
        chart.swatch(f"too small to tell (under about {least})", NOT_SHOWN),
        not_surveyed_patch("not surveyed both times"),
        chart.swatch("opening", colours.OPENING),
    ]
    frame.legend(patches, bottom=0.12)


@chart.picture(dpi=150)
def wall_png(change: Change, design: Design, *, last: bool) -> Figure:
    """The wall as the first survey saw it, or the last."""
    cutback = change.maps.end if last else change.maps.start
    limit = design.repair.brick_threshold
    frame = UnrolledFigure(design, change.grid, _WALL)
    frame.paint(colours.cutback_rgb(cutback, limit), np.isfinite(cutback))
    frame.threshold_line(cutback, limit, widths=(3.4, 1.8))
    frame.openings(size=_WALL.type_size - 4)
    return frame.figure


@chart.picture(dpi=150)
def scale_png(design: Design) -> Figure:
    """The colours of cut-back, the same as on every map of this furnace, as PNG."""
    figure = chart.new_figure(9.4, 1.15)
    scale = cutback_scale(design, remark="cut-back")
    size = _WALL.type_size - 1.5
    draw_colour_bar(figure, (_WALL.left, 0.55, 6.9, 0.26), scale, size=size)
    return figure


@chart.picture(dpi=150)
def levels_png(change: Change, design: Design) -> Figure:
    """What each level lost and got back, as bars at its height."""
    layout, size = _LEVELS, _LEVELS.type_size
    high, _ = panel_height(Unrolled(design, change.grid), layout)
    figure = chart.new_figure(
        layout.left + layout.width + layout.right, layout.top + high + layout.bottom
    )
    axes = chart.add_axes(figure, layout.left, layout.bottom, layout.width, high)
    height_axis(axes, design, size=size)
    _not_compared(axes, change)
    size_of, named = (
        (CUBIC_FOOT, "cubic feet") if design.length_unit == "in" else (LITRE, "litres")
    )
    for sign in (1, -1):
        _bars(axes, change, sign, size_of)
    axes.axvline(0.0, color=chart.INK, linewidth=1.4)
    _scale_along(axes, change, size_of, named)
    axes.set_axisbelow(True)
    for side, text, end in (("right", "lost", 0.99), ("left", "put back", 0.01)):
        axes.text(
            end, 1.012, text, transform=axes.transAxes, ha=side, va="bottom",
            fontsize=size, fontweight="bold", color=chart.INK,
        )  # fmt: skip
    return figure


def _not_compared(axes: Axes, change: Change) -> None:
    """The look of wall that was not surveyed both times, below and above."""
    low, high = change.grid.surveyed_heights
    bottom, top = axes.get_ylim()
    for lower, upper in ((bottom, low), (high, top)):
        axes.axhspan(
            lower, upper, facecolor=colours.NOT_SURVEYED, edgecolor="#ffffff",
            hatch="x", linewidth=0,
        )  # fmt: skip


def _scale_along(axes: Axes, change: Change, one: float, named: str) -> None:
    """The scale along, positive to both sides; ``one`` of it is so many mm3."""
    most = max(
        volume.high95 / one
        for level in change.of_kind("level")
        for volume in (level.volume.lost, level.volume.restored)
    )
    size = _LEVELS.type_size
    axes.set_xlim(-1.08 * most, 1.08 * most)
    ticks = [tick for tick in axes.get_xticks() if abs(tick) <= 1.08 * most]
    axes.set_xticks(
        ticks, [f"{abs(tick):g}" for tick in ticks], fontsize=_LEVELS.type_size
    )
    axes.set_xlabel(f"{named}; the thin line holds 95 %", fontsize=size, labelpad=4)
    axes.grid(axis="x", color="#d5d1c8", linewidth=0.8)


def _bars(axes: Axes, change: Change, sign: int, one: float) -> None:
    """Bars to one side, with their 95 % intervals, as tall as was compared."""
    lowest, highest = change.grid.surveyed_heights
    fill, (strokes, ink) = (
        (_LOST_FILL, _LOST) if sign > 0 else (_RESTORED_FILL, _RESTORED)
    )
    for level in change.of_kind("level"):
        volume = level.volume.lost if sign > 0 else level.volume.restored
        low = max(level.region.height_from, lowest)
        high = min(level.region.height_to, highest)
        axes.barh(
            0.5 * (low + high),
            sign * volume.value / one,
            height=0.78 * (high - low),
            color=fill,
            edgecolor=ink,
            hatch=strokes,
            linewidth=0.0,
        )
        axes.plot(
            [sign * volume.low95 / one, sign * volume.high95 / one],
            [0.5 * (low + high)] * 2,
            color=chart.INK,
            linewidth=1.8,
            solid_capstyle="butt",
            path_effects=chart.halo(),
        )
