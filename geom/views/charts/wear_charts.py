"""Rates of wear with their intervals: up the wall, and round it by the clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.quantity import Quantity
from geom.record.regions import Regions, middle
from geom.units import CUBIC_FOOT, LITRE, MM_PER
from geom.views.charts import figure as chart
from geom.views.charts.figure import height_axis, wear_axis, wear_division
from geom.views.say import plain, say_mark

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 11.0
#: How sets of bars are distinguished, in grey as well: fill and hatch.
_BAR_STYLES = (("#f0a044", ""), ("#2d6a9f", "////"))
_ZONE = ("#ffffff", "#f1eee6")
#: How tuyeres are marked round the clock; inches of the clock.
_TUYERE: dict[str, Any] = {
    "marker": "^",
    "color": chart.INK,
    "markersize": 7,
    "clip_on": False,
}
_CLOCK = 5.6


@dataclass(frozen=True)
class RateBars:
    """One set of rates; mm per heat, hour or tonne, one a region.

    ``None`` where a region's rate is unknown; ``name`` is empty where there is one set.
    """

    name: str
    rates: Sequence[Quantity | None]


@chart.picture(dpi=150)
def level_bars_png(
    design: Design, regions: Regions, sets: Sequence[RateBars], *, per: str
) -> Figure:
    """Rates up the wall at the heights of the levels, next to the drawn profile."""
    high = 5.6 + 0.5 * (len(sets) > 1)
    figure = chart.new_figure(6.6, high)
    foot, share = 0.8 / high, (high - 1.75) / high
    left = figure.add_axes((0.115, foot, 0.15, share))
    axes = figure.add_axes((0.285, foot, 0.52, share))
    _profile(left, design)
    _zones(axes, regions)
    _levels(axes, regions, sets)
    axes.set_ylim(design.profile.bottom, design.profile.top)
    axes.set_yticks([])
    wear_axis(axes, "x", design.length_unit, words=f"wear per {per}", size=_TYPE)
    _bar_legend(figure, sets)
    return figure


@chart.picture(dpi=150)
def clock_png(
    design: Design, regions: Regions, sets: Sequence[RateBars], *, per: str
) -> Figure:
    """Rates round the wall on a clock, seen from above, with the tuyeres."""
    figure = chart.new_figure(_CLOCK, _CLOCK)
    axes: Any = figure.add_axes((0.13, 0.09, 0.74, 0.74), projection="polar")
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    sides = regions.of_kind("side")
    low, high = _limits([bars.rates[i] for bars in sets for i in sides])
    axes.set_rlim(min(low, 0.0) - 0.25 * high, high)
    for number, bars in enumerate(sets):
        turned = 7.0 * (number - 0.5 * (len(sets) - 1))
        for i in sides:
            at = _on_clock(middle(regions.regions[i]), design) + np.deg2rad(turned)
            _spoke(axes, at, bars.rates[i], number, wide=20.0 / len(sets))
    axes.plot(
        np.linspace(0.0, 2.0 * np.pi, 181), np.zeros(181), color=chart.INK, lw=1.0
    )
    for tuyere in design.tuyeres:
        axes.plot(_on_clock(tuyere.azimuth, design), high, **_TUYERE)
    hours = [12, *range(1, 12)]
    axes.set_xticks(np.deg2rad(30.0 * np.arange(12)), hours, fontsize=_TYPE)
    axes.tick_params(axis="x", pad=7)
    _rings(axes, design.length_unit)
    _bar_legend(figure, sets, at=(0.02, 0.99))
    foot = f"wear per {per}; 12 o'clock: {plain(design.azimuth_zero, most=24)}"
    marks = "; triangles: tuyeres" if design.tuyeres else ""
    figure.text(0.02, 0.015, foot + marks, fontsize=_TYPE - 1.5, color=chart.QUIET)
    return figure


def _on_clock(azimuth: float, design: Design) -> float:
    """How far on from 12 o'clock, clockwise seen from above, radians."""
    onward = azimuth if design.azimuth_sense == "clockwise" else -azimuth
    return float(np.deg2rad(onward))


def _spoke(
    axes: Axes, at: float, rate: Quantity | None, style: int, *, wide: float
) -> None:
    """One side's rate, outwards, with its 95 % interval."""
    if rate is None:
        return
    fill, hatch = _BAR_STYLES[style]
    axes.bar(
        at, rate.value, np.deg2rad(wide), color=fill, hatch=hatch, edgecolor="#ffffff",
        lw=0.6, zorder=3,
    )  # fmt: skip
    axes.plot([at, at], [rate.low95, rate.high95], color=chart.INK, lw=1.6, zorder=6)


def _rings(axes: Any, unit: str) -> None:
    """A few round amounts of wear, named between 12 and 1 o'clock."""
    from matplotlib.ticker import FixedLocator

    low, high = axes.get_ylim()
    step = wear_division(0.0, 1.6 * high, unit) * float(MM_PER[unit])
    at = np.arange(0.0, high + 1e-9, step)
    axes.yaxis.set_major_locator(FixedLocator(at.tolist()))
    axes.set_yticklabels([])
    axes.set_ylim(low, high)
    for mm in at:
        mark = (
            say_mark(mm, unit, finest=32)
            if unit == "in"
            else f"{mm / float(MM_PER[unit]):g}"
        )
        axes.text(
            np.deg2rad(15.0), mm, f"{mark} {unit}" if mm == at[-1] else mark,
            fontsize=_TYPE - 1.5, ha="center", va="center", zorder=9,
            path_effects=chart.halo(),
        )  # fmt: skip


@chart.picture(dpi=150)
def material_bars_png(
    design: Design, campaigns: Sequence[tuple[str, Quantity]], *, per: str
) -> Figure:
    """What repairs of each campaign put back, with its interval.

    Parameters
    ----------
    campaigns : sequence of (name, volume)
    """
    inches = design.length_unit == "in"
    size, unit = (CUBIC_FOOT, "ft³") if inches else (LITRE, "L")
    figure = chart.new_figure(_CLOCK, 2.9)
    axes = figure.add_axes((0.04, 0.24, 0.9, 0.72))
    rates = [volume.times(1.0 / size) for _, volume in campaigns]
    for number, ((name, _), rate) in enumerate(zip(campaigns, rates, strict=True)):
        _bar(axes, float(number), 0.42, rate, number)
        axes.text(
            0.0, number - 0.27, plain(name, most=40), fontsize=_TYPE, va="bottom",
            path_effects=chart.halo(), zorder=7,
        )  # fmt: skip
    axes.set_ylim(len(campaigns) - 0.6, -0.65)
    axes.set_xlim(*_limits(rates))
    axes.set_yticks([])
    axes.axvline(0.0, color=chart.INK, lw=1.2, zorder=5)
    axes.spines[["right", "top"]].set_visible(False)
    axes.tick_params(axis="x", labelsize=_TYPE)
    axes.set_xlabel(f"put back per {per}, {unit}", fontsize=_TYPE)
    return figure


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
            _bar(axes, at, tall, bars.rates[i], number)
    axes.axvline(0.0, color=chart.INK, lw=1.2, zorder=5)
    axes.set_xlim(*_limits([bars.rates[i] for bars in sets for i in levels]))


def _bar(axes: Axes, at: float, tall: float, rate: Quantity | None, style: int) -> None:
    """One level's rate with its 95 % interval."""
    if rate is None:
        axes.text(
            0.0, at, " not told", va="center", fontsize=_TYPE - 3, color=chart.QUIET,
            zorder=4,
        )  # fmt: skip
        return
    fill, hatch = _BAR_STYLES[style]
    axes.barh(
        at, rate.value, tall, color=fill, hatch=hatch, edgecolor="#ffffff", lw=0.6,
        zorder=3,
    )  # fmt: skip
    off = np.abs([[rate.value - rate.low95], [rate.high95 - rate.value]])
    axes.errorbar(
        rate.value, at, xerr=off, color=chart.INK, lw=1.5, capsize=3.0, zorder=6
    )


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


def _bar_legend(
    figure: Figure, sets: Sequence[RateBars], at: tuple[float, float] = (0.07, 0.99)
) -> None:
    from matplotlib.lines import Line2D

    handles: list[Any] = [
        chart.swatch(
            plain(bars.name, most=22) or "best estimate", fill, "#ffffff", hatch
        )
        for bars, (fill, hatch) in zip(sets, _BAR_STYLES, strict=False)
    ]
    handles.append(Line2D([], [], color=chart.INK, lw=1.5, label="95 % interval"))
    chart.legend(
        figure, handles, at, ncols=3, handleheight=1.0, fontsize=_TYPE - 1,
        columnspacing=1.0,
    )  # fmt: skip
