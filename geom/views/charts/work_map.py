"""The unrolled wall by what to do: hatched, numbered, legible in black and white."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.compare.findings import ACTIONS, Findings
from geom.repair import RepairPlan
from geom.surface.radial import RadialSurface
from geom.units import Bool, Float
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.cutback_map import panel_height
from geom.views.charts.unrolled import (
    Unrolled,
    draw_hatch,
    draw_openings,
    halo,
    lay_wall,
)
from geom.views.say import WORK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 14.0
_WIDE = 6.2
_LEFT, _RIGHT, _TOP, _BELOW = 1.0, 0.85, 0.55, 1.6

#: More numbers than this on one picture cannot be read.
_MOST_NUMBERS = 40


def workmap_png(
    surface: RadialSurface,
    findings: Findings,
    plan: RepairPlan | None = None,
    *,
    dpi: int = 180,
) -> bytes:
    """The wall by action, zones numbered as in the tables, as PNG.

    Where a plan is given, its brickwork is outlined as it is squared out.
    """
    with chart.drawing():
        return chart.png(workmap_figure(surface, findings, plan), dpi=dpi)


def workmap_figure(
    surface: RadialSurface, findings: Findings, plan: RepairPlan | None = None
) -> Figure:
    """The figure of `workmap_png`; draw it inside `chart.drawing`."""
    wall = Unrolled(surface.design, surface.grid)
    high, _ = panel_height(wall, _WIDE)
    high = min(high, 0.95 * _WIDE)
    size = (_LEFT + _WIDE + _RIGHT, _TOP + high + _BELOW)
    made = chart.figure(*size)
    axes = made.add_axes(
        (_LEFT / size[0], _BELOW / size[1], _WIDE / size[0], high / size[1])
    )
    lay_wall(axes, wall, size=_TYPE)
    _thin_out(axes)
    _fill(axes, wall, findings)
    squared = plan is not None and _squared_out(axes, wall, plan)
    draw_openings(axes, wall, size=_TYPE - 4)
    _numbers(axes, wall, findings)
    axes.set_title("SEEN FROM INSIDE", fontsize=_TYPE + 1, loc="left", color=chart.INK)
    _legend(made, squared=squared)
    return made


def _thin_out(axes: Axes) -> None:
    """Every second azimuth named, so that names at this size do not touch."""
    for tick in axes.get_xticklabels()[1::2]:
        tick.set_visible(False)
    axes.set_xlabel("azimuth; hour of the clock below it", fontsize=_TYPE, labelpad=4)


def _squared_out(axes: Axes, wall: Unrolled, plan: RepairPlan) -> bool:
    """Outline the brickwork of a plan; whether there is any."""
    bricked = [zone for zone in plan.zones if zone.brickwork is not None]
    for zone in bricked:
        axes.contour(
            wall.across,
            wall.grid.height,
            wall.flat(zone.share),
            levels=[0.5],
            colors=[chart.INK],
            linewidths=[3.2],
            zorder=5,
        )
    return bool(bricked)


def _fill(axes: Axes, wall: Unrolled, findings: Findings) -> None:
    action = findings.maps.action
    rgba = np.zeros((*action.shape, 4))
    for code, name in enumerate(ACTIONS):
        rgba[action == code] = _rgba(colours.LOOKS[name].fill)
    axes.pcolormesh(
        wall.column_edge, wall.grid.edge, wall.flat(rgba), shading="flat", zorder=1
    )
    for code, name in enumerate(ACTIONS):
        look, where = colours.LOOKS[name], action == code
        if name == "leave" or not where.any():
            continue
        draw_hatch(axes, wall, where, hatch=look.hatch, ink=look.ink)
        axes.contour(
            wall.across,
            wall.grid.height,
            wall.flat(where.astype(np.float64)),
            levels=[0.5],
            colors=[chart.INK],
            linewidths=[1.6],
            zorder=4,
        )


def _rgba(code: str) -> tuple[float, float, float, float]:
    from matplotlib.colors import to_rgba

    return to_rgba(code)


def _numbers(axes: Axes, wall: Unrolled, findings: Findings) -> None:
    work = [zone for zone in findings.zones if zone.action in WORK]
    work.sort(key=lambda zone: -zone.area)
    for zone in work[:_MOST_NUMBERS]:
        place = _middle(wall, findings.maps.zone == zone.id)
        if place is None:
            continue
        axes.text(
            *place,
            str(zone.id),
            fontsize=_TYPE + 5,
            fontweight="bold",
            ha="center",
            va="center",
            color=chart.INK,
            path_effects=halo(),
            bbox={"boxstyle": "circle,pad=0.18", "fc": "#ffffff", "ec": chart.INK},
            zorder=10,
        )


def _middle(wall: Unrolled, where: Bool) -> tuple[float, float] | None:
    """The cell of a zone farthest inside it, away from the picture's ends."""
    if not where.any():
        return None
    from scipy.ndimage import distance_transform_edt

    flat = wall.flat(where)
    deep: Float = distance_transform_edt(np.pad(flat, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(deep)), deep.shape)
    return float(wall.across[column]), float(wall.grid.height[row])


def _legend(made: Figure, *, squared: bool) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    patches: list[Patch | Line2D] = []
    for name in (*WORK, "leave"):
        look = colours.LOOKS[name]
        edge = look.ink if look.hatch else chart.INK
        patches.append(
            Patch(
                facecolor=look.fill, edgecolor=edge, hatch=look.hatch, label=look.word
            )
        )
    patches.append(
        Patch(
            facecolor=colours.NOT_SURVEYED,
            edgecolor="#fff",
            hatch="xx",
            label="Not surveyed",
        )
    )
    if squared:
        patches.append(Line2D([], [], color=chart.INK, lw=3.2, label="Brickwork"))
    made.legend(
        handles=patches,
        loc="lower left",
        bbox_to_anchor=(_LEFT / made.get_figwidth(), 0.08 / made.get_figheight()),
        ncols=4,
        fontsize=_TYPE - 1,
        frameon=False,
        handlelength=2.0,
        columnspacing=1.2,
        handleheight=1.2,
        borderaxespad=0.0,
        borderpad=0.0,
    )
