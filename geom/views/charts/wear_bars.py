"""Rates of wear as bars with intervals: up the wall by level, round it by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.record.regions import Region, Regions, middle
from geom.views.charts import style as chart
from geom.views.charts.axes import height_axis, wear_axis
from geom.views.charts.unrolled import degrees_right
from geom.views.say import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 12.0
#: How sets of bars are distinguished, in grey as well: fill and hatch.
_STYLES = (("#f0a044", ""), ("#2d6a9f", "////"))
_ZONE = ("#ffffff", "#f1eee6")


@dataclass(frozen=True)
class RateBars:
    """One set of rates; mm per heat, hour or tonne, one a region.

    ``None`` where a region's rate is unknown; ``name`` is empty where there is one set.
    """

    name: str
    rates: Sequence[Quantity | None]


def level_bars_png(
    design: Design,
    regions: Regions,
    sets: Sequence[RateBars],
    *,
    per: str,
    dpi: int = 120,
) -> bytes:
    """Rates up the wall at the heights of the levels, next to the drawn profile."""
    with chart.drawing_style():
        high = 5.6 + 0.5 * (len(sets) > 1)
        figure = chart.new_figure(9.4, high)
        foot, share = 0.8 / high, (high - 1.75) / high
        left = figure.add_axes((0.095, foot, 0.15, share))
        axes = figure.add_axes((0.26, foot, 0.59, share))
        _profile(left, design)
        _zones(axes, regions)
        _levels(axes, regions, sets)
        axes.set_ylim(design.profile.bottom, design.profile.top)
        axes.set_yticks([])
        wear_axis(axes, "x", design.length_unit, words=f"wear per {per}", size=_TYPE)
        _legend(figure, sets)
        return chart.render(figure, dpi=dpi)


def side_bars_png(
    design: Design,
    regions: Regions,
    sets: Sequence[RateBars],
    *,
    per: str,
    dpi: int = 120,
) -> bytes:
    """Rates round the wall by hour of the clock, in the order of the unrolled map."""
    with chart.drawing_style():
        figure = chart.new_figure(9.4, 3.7)
        axes = figure.add_axes((0.1, 0.26, 0.82, 0.54))
        _sides(axes, design, regions, sets)
        wear_axis(axes, "y", design.length_unit, words=f"wear per {per}", size=_TYPE)
        _legend(figure, sets)
        return chart.render(figure, dpi=dpi)


def _profile(axes: Axes, design: Design) -> None:
    """The drawn wall in section, axis to the left, at the heights of the bars."""
    profile = design.profile
    back = design.shell_radius or float(profile.radius.max()) * 1.25
    axes.fill_betweenx(
        profile.height, profile.radius, back, color="#d5d1c8", lw=0, zorder=1
    )
    axes.plot(profile.radius, profile.height, color=chart.INK, lw=1.6, zorder=3)
    for hole in design.openings:
        low, high = hole.height - 0.5 * hole.tall, hole.height + 0.5 * hole.tall
        axes.fill_between([0.0, back], low, high, color="#2a2a2e", lw=0, zorder=2)
    axes.set_xlim(float(profile.radius.min()) * 0.8, back)
    axes.set_xticks([])
    height_axis(axes, design, size=_TYPE)
    axes.set_xlabel("as drawn", fontsize=_TYPE)


def _zones(axes: Axes, regions: Regions) -> None:
    """Shade the zones in turn and name them next to the bars."""
    for turn, i in enumerate(regions.of_kind("zone")):
        zone = regions.regions[i]
        axes.axhspan(
            zone.height_from, zone.height_to, color=_ZONE[turn % 2], lw=0, zorder=0
        )
        axes.text(
            1.015, 0.5 * (zone.height_from + zone.height_to), zone.name,
            transform=axes.get_yaxis_transform(), ha="left", va="center",
            fontsize=_TYPE, color=chart.INK,
        )  # fmt: skip


def _levels(axes: Axes, regions: Regions, sets: Sequence[RateBars]) -> None:
    levels = regions.of_kind("level")
    for number, bars in enumerate(sets):
        for i in levels:
            level = regions.regions[i]
            tall = (level.height_to - level.height_from) * 0.8 / len(sets)
            middle = 0.5 * (level.height_from + level.height_to)
            at = middle + tall * (0.5 * (len(sets) - 1) - number)
            _bar(axes, _Slot("x", at, tall), bars.rates[i], number)
    axes.axvline(0.0, color=chart.INK, lw=1.2, zorder=5)
    axes.set_xlim(*_limits([bars.rates[i] for bars in sets for i in levels]))


def _sides(
    axes: Axes, design: Design, regions: Regions, sets: Sequence[RateBars]
) -> None:
    sides = left_to_right(design, regions)
    for number, bars in enumerate(sets):
        wide = 0.78 / len(sets)
        for across, i in enumerate(sides):
            at = across + wide * (number - 0.5 * (len(sets) - 1))
            _bar(axes, _Slot("y", at, wide), bars.rates[i], number)
    labels = [_side(regions.regions[i], design) for i in sides]
    axes.set_xticks(range(len(sides)), labels, fontsize=_TYPE)
    axes.set_xlim(-0.6, len(sides) - 0.4)
    axes.axhline(0.0, color=chart.INK, lw=1.2, zorder=5)
    axes.set_ylim(*_limits([bars.rates[i] for bars in sets for i in sides]))
    zero = plain(design.azimuth_zero, most=24)
    axes.set_xlabel(
        f"hour of the clock, azimuth below it (12 = {zero}); left to right as seen "
        "from inside",
        fontsize=_TYPE - 1,
    )  # fmt: skip


def left_to_right(design: Design, regions: Regions) -> list[int]:
    """Sides from left to right as a person inside sees them, azimuth 0 midway."""
    sides = regions.of_kind("side")
    at = degrees_right([middle(regions.regions[i]) for i in sides], design)
    return [sides[int(k)] for k in np.argsort(at, kind="stable")]


def _side(region: Region, design: Design) -> str:
    at = middle(region)
    hour = clock_face(at, design.azimuth_sense).split()[0]
    return f"{hour}\n{at:.0f}°"


@dataclass(frozen=True)
class _Slot:
    """Where a bar is drawn: along an axis of the picture, at a place on the other."""

    along: Literal["x", "y"]
    at: float
    wide: float


def _bar(axes: Axes, place: _Slot, rate: Quantity | None, style: int) -> None:
    """One rate with its 95 % interval."""
    if rate is None:
        _missing(axes, place)
        return
    upright = place.along == "y"
    fill, hatch = _STYLES[style]
    draw: Any = axes.bar if upright else axes.barh
    draw(
        place.at, rate.value, place.wide, color=fill, hatch=hatch, edgecolor="#ffffff",
        lw=0.6, zorder=3,
    )  # fmt: skip
    off = np.abs([[rate.value - rate.low95], [rate.high95 - rate.value]])
    across, up = (place.at, rate.value) if upright else (rate.value, place.at)
    axes.errorbar(
        across, up, xerr=None if upright else off, yerr=off if upright else None,
        color=chart.INK, lw=1.5, capsize=3.0, zorder=6,
    )  # fmt: skip


def _missing(axes: Axes, place: _Slot) -> None:
    upright = place.along == "y"
    axes.text(
        place.at if upright else 0.0, 0.0 if upright else place.at, " not told",
        rotation=90 if upright else 0, ha="center" if upright else "left",
        va="bottom" if upright else "center", fontsize=_TYPE - 3, color=chart.QUIET,
        zorder=4,
    )  # fmt: skip


def _limits(rates: Sequence[Quantity | None]) -> tuple[float, float]:
    """Limits that hold every bar; a wild interval may run off the picture."""
    known = [rate for rate in rates if rate is not None]
    if not known:
        return 0.0, 1.0
    high = max(0.0, *(r.high95 for r in known))
    low = min(0.0, *(r.low95 for r in known))
    most = 3.0 * max(abs(r.value) for r in known) or high - low or 1.0
    low, high = max(low, -most), min(high, most)
    spare = 0.06 * (high - low)
    return low - (spare if low < 0.0 else 0.0), high + spare


def _legend(figure: Figure, sets: Sequence[RateBars]) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [
        Patch(facecolor=_STYLES[k][0], hatch=_STYLES[k][1], edgecolor="#ffffff",
              label=plain(bars.name, most=32) or "best estimate")
        for k, bars in enumerate(sets)
    ]  # fmt: skip
    handles.append(Line2D([], [], color=chart.INK, lw=1.5, label="95 % interval"))
    figure.legend(
        handles=handles, loc="upper left", ncols=3, fontsize=_TYPE, frameon=False,
        bbox_to_anchor=(0.07, 0.99), borderaxespad=0.0, columnspacing=1.6,
        handleheight=1.0,
    )  # fmt: skip
