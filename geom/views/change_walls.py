"""The wall at each of two surveys, on one colour scale, and what each level lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.record.changed import Change
from geom.units import LITRE, MM_PER, Float
from geom.views import chart, colours
from geom.views.change_key import Scale, draw_scale
from geom.views.change_map import LOST, RESTORED, paint, with_clear
from geom.views.map import panel_height
from geom.views.unrolled import Unrolled, draw_openings, halo, lay_wall, nice_step
from geom.views.words import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 13.0
_LEFT, _RIGHT, _TOP, _BELOW = 0.95, 0.8, 0.45, 0.95


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
    size = (_LEFT + wide + _RIGHT, _TOP + high + _BELOW)
    made = chart.figure(*size)
    return made, made.add_axes(
        (_LEFT / size[0], _BELOW / size[1], wide / size[0], high / size[1])
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
