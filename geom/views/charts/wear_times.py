"""Wear heat after heat: each zone by itself, and the deepest cut-back as found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.quantity import K95, Quantity
from geom.record.study import Depth
from geom.record.wear.series import WearSeries
from geom.units import Float, say_length
from geom.views.charts import style as chart
from geom.views.charts.axes import wear_axis

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 12.0
_WEAR, _STEP, _LIMIT = "#2d6a9f", "#842a12", "#842a12"
#: More points than this cannot be distinguished.
MOST_POINTS = 120
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


def zone_times_png(
    design: Design,
    series: WearSeries,
    rates: Sequence[Quantity | None],
    marks: Sequence[StepMark] = (),
    *,
    dpi: int = 120,
) -> bytes:
    """Wear per heat of every zone, small side by side on one scale.

    Parameters
    ----------
    design : Design
    series : WearSeries
    rates : sequence of Quantity or None
        Long rate of every region, mm per heat: the level line.
    marks : sequence of StepMark
    """
    shown = list(series.regions.of_kind("zone") or series.regions.of_kind("wall"))
    with chart.drawing_style():
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
        _legend(figure, stepped=any(mark.region in shown for mark in marks))
        return chart.render(figure, dpi=dpi)


def depth_times_png(
    design: Design, depths: Sequence[Depth], *, dpi: int = 120
) -> bytes:
    """The deepest cut-back as each heat left it, with the brick threshold."""
    limit = design.repair.brick_threshold
    depths = _group_maxima(depths)
    heat = np.array([depth.heat for depth in depths], dtype=np.float64)
    value, low, high = _intervals([depth.cutback for depth in depths])
    with chart.drawing_style():
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
        return chart.render(figure, dpi=dpi)


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


def _legend(figure: Figure, *, stepped: bool) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], color=_WEAR, marker="o", lw=1.2, label="wear per heat, 95 %"),
        Line2D([], [], color="#c4571f", lw=1.6, label="long rate"),
        Patch(facecolor="#f7d9a0", label="its 95 %"),
    ]
    if stepped:
        handles.append(
            Line2D([], [], color=_STEP, lw=2.0, ls=":", label="a step was found")
        )
    figure.legend(
        handles=handles, loc="upper left", ncols=4, fontsize=_TYPE, frameon=False,
        bbox_to_anchor=(0.06, 0.995), borderaxespad=0.0, columnspacing=1.6,
    )  # fmt: skip
