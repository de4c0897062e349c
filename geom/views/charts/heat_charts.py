"""Heat after heat: wear of zones, how deep the wall went, how long the next may be.

Points stand heat by heat with their intervals; heats that are too many to be told apart
are drawn some together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.quantity import K95, Quantity
from geom.record.campaigns.campaign import Repair
from geom.record.changepoints.steps import Step
from geom.record.study import Depth
from geom.record.wear.series import WearSeries
from geom.units import CUBIC_FOOT, LITRE, Float, say_length
from geom.views.charts import figure as chart
from geom.views.charts.figure import wear_axis

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 11.0
_WEAR, _STEP, _LIMIT = "#2d6a9f", "#842a12", "#842a12"
_RATE, _RATE_BAND = "#c4571f", "#f7d9a0"
#: More points than this cannot be distinguished.
MOST_POINTS = 120
#: Inches: a picture that stands by itself, and its axes.
_WIDE, _HIGH, _BOX = 6.0, 3.5, (0.125, 0.15, 0.755, 0.67)
#: Inches: one row of zones, and what is round them.
_TALL, _TOP, _BELOW, _APART = 1.75, 0.8, 0.65, 0.85


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


@chart.picture(dpi=150)
def zone_time_png(
    design: Design,
    series: WearSeries,
    region: int,
    rate: Quantity | None,
    steps: Sequence[Step] = (),
) -> Figure:
    """Wear per heat of one zone, heat after heat, with its long rate and steps.

    The wall of each step is drawn by itself as well: what it wore, and the mean before
    and after.

    Parameters
    ----------
    rate : Quantity or None
        Long rate, mm per heat: the level line.
    """
    figure = chart.new_figure(_WIDE, 1.25 * _HIGH)
    axes = figure.add_axes(_BOX)
    points = wear_points(series)
    marks = [StepMark(region, step.first.first_heat) for step in steps]
    _zone(axes, points, region, rate, marks)
    low, high = wear_limits(points, [region])
    for step in steps:
        high = max(high, _stepped_wall(axes, series, points, step))
    axes.set_ylim(low, high)
    wear_axis(axes, "y", design.length_unit, words="wear per heat", size=_TYPE)
    _times_legend(figure, stepped=bool(steps), apart=bool(steps))
    return figure


def _stepped_wall(
    axes: Axes, series: WearSeries, points: WearPoints, step: Step
) -> float:
    """Wear of the wall that stepped, before and after; how high that reaches."""
    inside = step.inside(series.regions)
    panels = [i for i in series.regions.of_kind("panel") if inside[i]]
    middle = 0.5 * (points.first + points.last)
    wear = points.wear[:, panels]
    known = np.isfinite(wear).any(axis=1)
    mean = np.nanmean(wear[known], axis=1) if panels else np.zeros(0)
    axes.plot(middle[known], mean, "D", color=_STEP, mfc="none", markersize=5, mew=1.4)
    at = step.first.first_heat - 0.5
    ends = (points.first[0] - 0.5, at, points.last[-1] + 0.5)
    for start, end, rate in zip(
        ends, ends[1:], (step.before, step.after), strict=False
    ):
        axes.plot([start, end], [rate.value] * 2, color=_STEP, lw=1.8, zorder=2)
    return 1.12 * max(step.before.high95, step.after.high95, *mean.tolist())


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
    shown = series.regions.of_kind("zone") or series.regions.of_kind("wall")
    figure, grid = _grid(len(shown))
    points = wear_points(series)
    limits = wear_limits(points, shown)
    for axes, i in zip(grid, shown, strict=True):
        _zone(axes, points, i, rates[i], [mark for mark in marks if mark.region == i])
        axes.set_ylim(*limits)
        words = "per heat" if axes in grid[::2] else ""
        wear_axis(axes, "y", design.length_unit, words=words, size=_TYPE)
        axes.set_title(
            series.regions.regions[i].name, fontsize=_TYPE + 2, loc="left",
            fontweight="bold",
        )  # fmt: skip
    _times_legend(figure, stepped=any(mark.region in shown for mark in marks))
    return figure


@chart.picture(dpi=150)
def depth_times_png(design: Design, depths: Sequence[Depth]) -> Figure:
    """The deepest cut-back as each heat left it and as its repair did."""
    limit = design.repair.brick_threshold
    worn, left = (
        _group_maxima([depth for depth in depths if depth.is_as_worn == so])
        for so in (True, False)
    )
    figure = chart.new_figure(_WIDE, _HIGH)
    axes = figure.add_axes(_BOX)
    path = sorted(
        [(d.heat, 0, d.cutback.value) for d in worn]
        + [(d.heat, 1, d.cutback.value) for d in left]
    )
    axes.plot([p[0] for p in path], [p[2] for p in path], color="#b9b5ac", lw=1.2)
    most = limit
    for some, face in ((left, "#ffffff"), (worn, chart.INK)):
        if not some:
            continue
        heat = np.array([depth.heat for depth in some], dtype=np.float64)
        value, low, high = _intervals([depth.cutback for depth in some])
        axes.errorbar(
            heat, value, yerr=[value - low, high - value], fmt="o", color=chart.INK,
            mfc=face, ecolor=chart.QUIET, lw=1.2, markersize=5.5, capsize=2, zorder=4,
        )  # fmt: skip
        past = value > limit
        axes.plot(heat[past], value[past], "s", color=_LIMIT, markersize=8, zorder=5)
        most = max(most, float(high.max()))
    axes.axhline(limit, color=_LIMIT, lw=2.2, ls="--", zorder=1)
    axes.set_ylim(min(0.0, *(p[2] for p in path)), 1.08 * most)
    _heats(axes, np.array([float(p[0]) for p in path]))
    axes.set_xlabel("heat", fontsize=_TYPE)
    wear_axis(axes, "y", design.length_unit, words="deepest cut-back", size=_TYPE)
    _depth_legend(figure, say_length(limit, design.length_unit))
    return figure


def _depth_legend(figure: Figure, threshold: str) -> None:
    from matplotlib.lines import Line2D

    dots: dict[str, Any] = {"color": chart.INK, "marker": "o", "lw": 0.0}
    handles = [
        Line2D([], [], **dots, label="as the heat left it, 95 %"),
        Line2D([], [], **dots, mfc="#ffffff", label="as repaired"),
        Line2D([], [], color=_LIMIT, lw=2.2, ls="--", label=f"brick line, {threshold}"),
    ]
    chart.legend(
        figure, handles, (0.03, 0.985), ncols=3, fontsize=_TYPE - 1, columnspacing=0.9,
        handletextpad=0.4, handlelength=1.6,
    )  # fmt: skip


@dataclass(frozen=True)
class LongestBar:
    """How long the next heat may be until a limit; ``words`` name it."""

    words: str
    length: Quantity


@chart.picture(dpi=150)
def longest_png(
    heats: Sequence[float], bars: Sequence[LongestBar], what: str
) -> Figure:
    """Lengths of the heats so far, and how long the next may be until each limit.

    Parameters
    ----------
    heats : sequence of float
        Each a dot.
    what : str
        What lengths are in.
    """
    figure = chart.new_figure(_WIDE, 1.3 + 0.62 * len(bars))
    axes = figure.add_axes((0.03, 0.3, 0.94, 0.66))
    ends = [bar.length.high95 for bar in bars if np.isfinite(bar.length.high95)]
    ends += [bar.length.value for bar in bars if np.isfinite(bar.length.value)]
    most = 1.08 * max([*ends, *heats, 1e-9])
    _dots(axes, heats)
    for row, bar in enumerate(bars, 1):
        low, value, high = (
            min(part, 1.2 * most)
            for part in (bar.length.low95, bar.length.value, bar.length.high95)
        )
        fill, strokes = (_RATE_BAND, "") if row == 1 else ("#9cc6dd", "////")
        axes.barh(
            row, high - low, 0.34, low, color=fill, hatch=strokes, edgecolor="#ffffff",
            lw=0.0, zorder=2,
        )  # fmt: skip
        axes.plot([value, value], [row - 0.24, row + 0.24], color=chart.INK, lw=3.0)
        _row_name(axes, row, bar.words)
    axes.set_xlim(0.0, most)
    axes.set_ylim(len(bars) + 0.4, -0.62)
    axes.set_yticks([])
    axes.tick_params(axis="x", labelsize=_TYPE)
    axes.spines[["left", "right", "top"]].set_visible(False)
    axes.grid(axis="x", color="#e4e0d6", lw=0.8, zorder=0)
    axes.set_xlabel(what, fontsize=_TYPE)
    return figure


def _dots(axes: Axes, heats: Sequence[float]) -> None:
    """The heats so far, one over another a little where they are alike."""
    lifted = np.array([0.07 * (k % 3 - 1) for k in range(len(heats))])
    axes.plot(heats, lifted, "o", color=_WEAR, markersize=5, mec="#ffffff", mew=0.6)
    _row_name(axes, 0, "heats so far")


def _row_name(axes: Axes, row: int, words: str) -> None:
    axes.text(
        0.004, row - 0.3, words, transform=axes.get_yaxis_transform(), fontsize=_TYPE,
        va="bottom", color=chart.INK, path_effects=chart.halo(), zorder=7,
    )  # fmt: skip


@chart.picture(dpi=150)
def material_png(design: Design, repairs: Sequence[Repair]) -> Figure:
    """What each repair put back, with its interval, and the mean."""
    inches = design.length_unit == "in"
    size, unit = (CUBIC_FOOT, "ft³") if inches else (LITRE, "L")
    repairs = repairs[-MOST_POINTS:]
    heat = np.array([repair.heat for repair in repairs], dtype=np.float64)
    table = np.stack(_intervals([repair.volume for repair in repairs])) / size
    value, low, high = table
    figure = chart.new_figure(_WIDE, _HIGH)
    axes = figure.add_axes(_BOX)
    axes.bar(heat, value, 0.7, color="#f0a044", edgecolor="#ffffff", lw=0.6, zorder=2)
    axes.errorbar(
        heat, value, yerr=np.maximum([value - low, high - value], 0.0), fmt="none",
        ecolor=chart.INK, lw=1.2, capsize=2, zorder=3,
    )  # fmt: skip
    mean = float(value.mean())
    axes.axhline(mean, color=chart.INK, lw=1.2, ls="--", zorder=4)
    axes.set_ylim(min(0.0, float(low.min())), 1.08 * float(high.max()))
    _heats(axes, heat)
    axes.tick_params(axis="y", labelsize=_TYPE)
    axes.set_xlabel("after heat", fontsize=_TYPE)
    axes.set_ylabel(f"put back, {unit}", fontsize=_TYPE)
    axes.set_title(
        f"dashes: mean, {mean:.2g} {unit} a repair", fontsize=_TYPE - 1, loc="left",
        color=chart.QUIET,
    )  # fmt: skip
    return figure


def _group_maxima(depths: Sequence[Depth]) -> list[Depth]:
    """The deepest of as many heats next to each other as are drawn as one."""
    together = max(spells_per_point(len(depths)), 1)
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


def _zone(
    axes: Axes,
    points: WearPoints,
    i: int,
    rate: Quantity | None,
    marks: Sequence[StepMark],
) -> None:
    wear, reach = points.wear[:, i], K95 * points.sd[:, i]
    half = 0.5 * (points.last - points.first)
    known = np.isfinite(wear)
    if not known.any():
        axes.text(
            0.5, 0.6, "not told", transform=axes.transAxes, ha="center",
            fontsize=_TYPE, color=chart.QUIET,
        )  # fmt: skip
    if rate is not None:
        axes.axhspan(rate.low95, rate.high95, color=_RATE_BAND, lw=0, zorder=0)
        axes.axhline(rate.value, color=_RATE, lw=1.6, zorder=1)
    axes.errorbar(
        (points.first + half)[known], wear[known], yerr=reach[known],
        xerr=half[known], fmt="o", color=_WEAR, markersize=5, lw=1.2,
        capsize=2, zorder=3,
    )  # fmt: skip
    axes.axhline(0.0, color=chart.INK, lw=0.8, zorder=2)
    _heats(axes, np.concatenate([points.first, points.last]))
    axes.set_xlabel("heat", fontsize=_TYPE)
    for mark in marks:
        _mark(axes, mark)


def _heats(axes: Axes, heat: Float) -> None:
    """Whole heats along the foot, with room at both ends."""
    from matplotlib.ticker import MaxNLocator

    low, high = float(heat.min()), float(heat.max())
    spare = max(0.6, 0.03 * (high - low))
    axes.set_xlim(low - spare, high + spare)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    axes.tick_params(axis="x", labelsize=_TYPE)


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
        va="top", fontsize=_TYPE, color=_STEP, fontweight="bold",
    )  # fmt: skip


def _intervals(quantities: Sequence[Quantity]) -> tuple[Float, Float, Float]:
    table = np.array(
        [(quantity.value, quantity.low95, quantity.high95) for quantity in quantities]
    )
    return table[:, 0], table[:, 1], table[:, 2]


def _times_legend(figure: Figure, *, stepped: bool, apart: bool = False) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], color=_WEAR, marker="o", lw=1.2, label="wear, 95 %"),
        Line2D([], [], color=_RATE, lw=1.6, label="long rate"),
        chart.swatch("its 95 %", _RATE_BAND),
    ]
    if stepped:
        handles.append(Line2D([], [], color=_STEP, lw=2.0, ls=":", label="a step"))
    if apart:
        handles.append(
            Line2D(
                [],
                [],
                color=_STEP,
                marker="D",
                mfc="none",
                lw=1.8,
                label="stepped wall",
            )
        )
    chart.legend(
        figure, handles, (0.03, 0.985), ncols=5, fontsize=_TYPE - 1, columnspacing=1.0,
        handletextpad=0.5,
    )  # fmt: skip
