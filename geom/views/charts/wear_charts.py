"""Rates of wear with their intervals: by level, by side, and heat after heat.

Bars stand up the wall and round it; points stand heat by heat, each zone by itself, and
so does the deepest cut-back as found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import K95, Quantity
from geom.record.regions import Region, Regions, middle
from geom.record.study import Depth
from geom.record.wear.series import WearSeries
from geom.units import Float, say_length
from geom.views.charts import figure as chart
from geom.views.charts.figure import height_axis, wear_axis
from geom.views.charts.unrolled import degrees_right
from geom.views.say import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 12.0
#: How sets of bars are distinguished, in grey as well: fill and hatch.
_BAR_STYLES = (("#f0a044", ""), ("#2d6a9f", "////"))
_ZONE = ("#ffffff", "#f1eee6")
_WEAR, _STEP, _LIMIT = "#2d6a9f", "#842a12", "#842a12"
#: More points than this cannot be distinguished.
MOST_POINTS = 120
#: Inches: one row of zones, and what is round them.
_TALL, _TOP, _BELOW, _APART = 1.75, 0.8, 0.65, 0.85


@dataclass(frozen=True)
class RateBars:
    """One set of rates; mm per heat, hour or tonne, one a region.

    ``None`` where a region's rate is unknown; ``name`` is empty where there is one set.
    """

    name: str
    rates: Sequence[Quantity | None]


@chart.picture(dpi=120)
def level_bars_png(
    design: Design, regions: Regions, sets: Sequence[RateBars], *, per: str
) -> Figure:
    """Rates up the wall at the heights of the levels, next to the drawn profile."""
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
    _bar_legend(figure, sets)
    return figure


@chart.picture(dpi=120)
def side_bars_png(
    design: Design, regions: Regions, sets: Sequence[RateBars], *, per: str
) -> Figure:
    """Rates round the wall by hour of the clock, in the order of the unrolled map."""
    figure = chart.new_figure(9.4, 3.7)
    axes = figure.add_axes((0.1, 0.26, 0.82, 0.54))
    _sides(axes, design, regions, sets)
    wear_axis(axes, "y", design.length_unit, words=f"wear per {per}", size=_TYPE)
    _bar_legend(figure, sets)
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
    fill, hatch = _BAR_STYLES[style]
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


def _bar_legend(figure: Figure, sets: Sequence[RateBars]) -> None:
    from matplotlib.lines import Line2D

    handles: list[Any] = [
        chart.swatch(
            plain(bars.name, most=32) or "best estimate", fill, "#ffffff", hatch
        )
        for bars, (fill, hatch) in zip(sets, _BAR_STYLES, strict=False)
    ]
    handles.append(Line2D([], [], color=chart.INK, lw=1.5, label="95 % interval"))
    chart.legend(figure, handles, (0.07, 0.99), ncols=3, handleheight=1.0)


@dataclass(frozen=True)
class StepMark:
    """Where wear changed at once.

    Attributes
    ----------
    region : int
        Of the series' regions.
    heat : int
        The first of the new wear.
    """

    region: int
    heat: int


@chart.picture(dpi=120)
def zone_times_png(
    design: Design,
    series: WearSeries,
    rates: Sequence[Quantity | None],
    marks: Sequence[StepMark] = (),
) -> Figure:
    """Wear per heat of every zone, small side by side on one scale.

    Parameters
    ----------
    rates : sequence of Quantity or None
        Long rate of every region, mm per heat: the level line.
    """
    shown = list(series.regions.of_kind("zone") or series.regions.of_kind("wall"))
    figure, grid = _grid(len(shown))
    points = wear_points(series)
    limits = wear_limits(points, shown)
    for axes, i in zip(grid, shown, strict=True):
        _zone(axes, points, i, rates[i])
        axes.set_ylim(*limits)
        for mark in marks:
            if mark.region == i:
                _mark(axes, mark)
        words = "per heat" if axes in grid[::2] else ""
        wear_axis(axes, "y", design.length_unit, words=words, size=_TYPE - 1)
        axes.set_title(
            series.regions.regions[i].name, fontsize=_TYPE + 1, loc="left",
            fontweight="bold",
        )  # fmt: skip
    _times_legend(figure, stepped=any(mark.region in shown for mark in marks))
    return figure


@chart.picture(dpi=120)
def depth_times_png(design: Design, depths: Sequence[Depth]) -> Figure:
    """The deepest cut-back as each heat left it, with the brick threshold."""
    limit = design.repair.brick_threshold
    depths = _group_maxima(depths)
    heat = np.array([depth.heat for depth in depths], dtype=np.float64)
    value, low, high = _intervals([depth.cutback for depth in depths])
    figure = chart.new_figure(9.4, 3.3)
    axes = figure.add_axes((0.1, 0.17, 0.82, 0.72))
    axes.errorbar(
        heat, value, yerr=[value - low, high - value], fmt="o-", color=chart.INK,
        ecolor=chart.QUIET, lw=1.3, markersize=6, capsize=3,
    )  # fmt: skip
    past = value > limit
    axes.plot(heat[past], value[past], "s", color=_LIMIT, markersize=9, zorder=5)
    axes.axhline(limit, color=_LIMIT, lw=2.2, ls="--", zorder=1)
    axes.set_ylim(min(0.0, float(low.min())), 1.08 * max(limit, float(high.max())))
    _heats(axes, heat)
    axes.set_xlabel("heat", fontsize=_TYPE)
    wear_axis(axes, "y", design.length_unit, words="deepest", size=_TYPE)
    threshold = say_length(limit, design.length_unit)
    figure.text(
        0.1, 0.985, "deepest cut-back as each heat left it, 95 %;  "
        f"dashes: brick from {threshold}; squares: past it", fontsize=_TYPE,
        va="top",
    )  # fmt: skip
    return figure


def _group_maxima(depths: Sequence[Depth]) -> list[Depth]:
    """The deepest of as many heats next to each other as are drawn as one."""
    together = spells_per_point(len(depths))
    groups = (depths[k : k + together] for k in range(0, len(depths), together))
    return [max(some, key=lambda depth: depth.cutback.value) for some in groups]


def _grid(count: int) -> tuple[Figure, list[Axes]]:
    """Axes two side by side, from the top."""
    rows = (count + 1) // 2
    high = _TOP + rows * _TALL + (rows - 1) * _APART + _BELOW
    figure = chart.new_figure(9.4, high)
    grid = []
    for place in range(count):
        row, column = divmod(place, 2)
        up = _BELOW + (rows - 1 - row) * (_TALL + _APART)
        box = (0.075 + 0.49 * column, up / high, 0.37, _TALL / high)
        grid.append(figure.add_axes(box))
    return figure, grid


@dataclass(frozen=True)
class WearPoints:
    """What is drawn of s regions: n spells, or means of spells next to each other.

    ``first`` and ``last`` heat are (n,), ``wear`` per heat and its ``sd`` (n, s), mm.
    """

    first: Float
    last: Float
    wear: Float
    sd: Float


def spells_per_point(count: int) -> int:
    """How many spells are drawn as one."""
    return -(-count // MOST_POINTS)


def wear_points(series: WearSeries) -> WearPoints:
    """Wear per heat of every spell; where there are very many, of some together."""
    together = spells_per_point(len(series.spells))
    starts = np.arange(0, len(series.spells), together)
    ends = np.append(starts[1:], len(series.spells)) - 1
    heats = np.array([spell.heats for spell in series.spells], dtype=np.float64)
    last = np.array([spell.end.heat for spell in series.spells], dtype=np.float64)
    known = np.isfinite(series.wear)
    heats_held = np.add.reduceat(np.where(known, heats[:, None], 0.0), starts)
    divisor = np.maximum(heats_held, 1.0)
    wear = np.add.reduceat(np.nan_to_num(series.wear), starts) / divisor
    sd = np.sqrt(np.add.reduceat(np.nan_to_num(series.variance), starts)) / divisor
    return WearPoints(
        first=(last - heats + 1.0)[starts],
        last=last[ends],
        wear=np.where(heats_held > 0.0, wear, np.nan),
        sd=np.where(heats_held > 0.0, sd, np.nan),
    )


def _zone(axes: Axes, points: WearPoints, i: int, rate: Quantity | None) -> None:
    wear, reach = points.wear[:, i], K95 * points.sd[:, i]
    half = 0.5 * (points.last - points.first)
    known = np.isfinite(wear)
    if not known.any():
        axes.text(
            0.5, 0.6, "not told", transform=axes.transAxes, ha="center",
            fontsize=_TYPE, color=chart.QUIET,
        )  # fmt: skip
    if rate is not None:
        axes.axhspan(rate.low95, rate.high95, color="#f7d9a0", lw=0, zorder=0)
        axes.axhline(rate.value, color="#c4571f", lw=1.6, zorder=1)
    axes.errorbar(
        (points.first + half)[known], wear[known], yerr=reach[known],
        xerr=half[known], fmt="o", color=_WEAR, markersize=5, lw=1.2,
        capsize=2, zorder=3,
    )  # fmt: skip
    axes.axhline(0.0, color=chart.INK, lw=0.8, zorder=2)
    _heats(axes, np.concatenate([points.first, points.last]))
    axes.set_xlabel("heat", fontsize=_TYPE - 1)


def _heats(axes: Axes, heat: Float) -> None:
    """Whole heats along the foot, with room at both ends."""
    from matplotlib.ticker import MaxNLocator

    low, high = float(heat.min()), float(heat.max())
    spare = max(0.6, 0.03 * (high - low))
    axes.set_xlim(low - spare, high + spare)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    axes.tick_params(axis="x", labelsize=_TYPE - 1)


def wear_limits(points: WearPoints, shown: Sequence[int]) -> tuple[float, float]:
    """One scale for all zones; a wild error bar may run off the picture.

    A zone of which nothing is known does not count.
    """
    wear, reach = points.wear[:, list(shown)], K95 * points.sd[:, list(shown)]
    known = np.isfinite(wear)
    if not known.any():
        return -1.0, 1.0
    wear, reach = wear[known], reach[known]
    most = 3.0 * float(np.abs(wear).max())
    high = float(np.minimum(wear + reach, most).max())
    low = float(np.maximum(wear - reach, -most).min())
    low, high = min(low, 0.0), max(high, 0.0)
    spare = 0.06 * (high - low) or 1.0
    return low - spare, high + 3.0 * spare


def _mark(axes: Axes, mark: StepMark) -> None:
    axes.axvline(mark.heat - 0.5, color=_STEP, lw=2.0, ls=":", zorder=4)
    axes.annotate(
        f"from heat {mark.heat}", (mark.heat - 0.5, 0.98), xytext=(4, 0),
        xycoords=axes.get_xaxis_transform(), textcoords="offset points", ha="left",
        va="top", fontsize=_TYPE - 2, color=_STEP, fontweight="bold",
    )  # fmt: skip


def _intervals(quantities: Sequence[Quantity]) -> tuple[Float, Float, Float]:
    table = np.array(
        [(quantity.value, quantity.low95, quantity.high95) for quantity in quantities]
    )
    return table[:, 0], table[:, 1], table[:, 2]


def _times_legend(figure: Figure, *, stepped: bool) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], color=_WEAR, marker="o", lw=1.2, label="wear per heat, 95 %"),
        Line2D([], [], color="#c4571f", lw=1.6, label="long rate"),
        chart.swatch("its 95 %", "#f7d9a0"),
    ]
    if stepped:
        handles.append(
            Line2D([], [], color=_STEP, lw=2.0, ls=":", label="a step was found")
        )
    chart.legend(figure, handles, (0.06, 0.995), ncols=4)
