"""map.png: the wall unrolled, coloured by cut-back, seen from inside."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.findings import ACTIONS, Findings
from geom.quantity import K95
from geom.readings import CloudReadings, RodReadings
from geom.surface.radial import RadialSurface
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.colourbar import (
    DOUBT,
    LEFT,
    SHADOW,
    TYPE,
    colour_bar,
    legend,
    scale_bar,
)
from geom.views.charts.unrolled import (
    MOST_DOTS,
    Unrolled,
    draw_hatch,
    draw_openings,
    halo,
    lay_wall,
    stations,
)
from geom.views.say import headings, say_sense

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDE = 7.8
_RIGHT, _TOP, _BELOW = 0.85, 1.75, 3.1


def map_png(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    *,
    dpi: int = 180,
) -> bytes:
    """The unrolled wall as PNG.

    Parameters
    ----------
    readings : RodReadings or CloudReadings
        Drawn as dots, so that measured and inferred wall can be told apart.
    surface : RadialSurface
    findings : Findings
    dpi : int

    Returns
    -------
    bytes
        Colours run from minus one to plus two brick thresholds, whatever the data.
    """
    with chart.drawing():
        return chart.png(map_figure(readings, surface, findings), dpi=dpi)


def map_figure(
    readings: RodReadings | CloudReadings, surface: RadialSurface, findings: Findings
) -> Figure:
    """The figure of `map_png`; draw it inside `chart.drawing`."""
    wall = Unrolled(surface.design, surface.grid)
    high, equal = panel_height(wall, _WIDE)
    size = (LEFT + _WIDE + _RIGHT, _TOP + high + _BELOW)
    made = chart.figure(*size)
    axes = made.add_axes(
        (LEFT / size[0], _BELOW / size[1], _WIDE / size[0], high / size[1])
    )
    lay_wall(axes, wall, size=TYPE)
    _colour(axes, wall, findings)
    _hatches(axes, wall, findings)
    _shadows(axes, wall, surface)
    doubted = _doubts(axes, wall, surface, findings)
    _brick_line(axes, wall, findings)
    draw_openings(axes, wall, size=TYPE - 2)
    dots = _dots(axes, wall, readings.rod, surface)
    _head(made, surface, findings, equal=equal)
    scale_bar(axes, wall, high=high)
    colour_bar(made, surface, size)
    legend(made, surface, dots, doubted=doubted)
    return made


def panel_height(wall: Unrolled, wide: float) -> tuple[float, bool]:
    """Height of the picture of the wall, inches, and whether it is true to scale."""
    true = wide * wall.tall / (2.0 * wall.reach)
    high = float(np.clip(true, 0.28 * wide, 1.25 * wide))
    return high, abs(high - true) < 1e-9


def _colour(axes: Axes, wall: Unrolled, findings: Findings) -> None:
    cutback = np.where(wall.grid.opening, np.nan, findings.maps.cutback)
    colour = colours.cutback_rgb(cutback, wall.design.repair.brick_threshold)
    clear = np.where(np.isnan(cutback), 0, 255).astype(np.uint8)
    rgba = wall.flat(np.concatenate([colour, clear[..., None]], axis=-1))
    axes.pcolormesh(
        wall.column_edge,
        wall.grid.edge,
        rgba,
        shading="flat",
        zorder=1,
        rasterized=True,
    )


def _hatches(axes: Axes, wall: Unrolled, findings: Findings) -> None:
    for action, ink in _INKS.items():
        where = findings.maps.action == ACTIONS.index(action)
        draw_hatch(axes, wall, where, hatch=colours.LOOKS[action].hatch, ink=ink)


_INKS: dict[Any, str] = {
    "brick": "#ffffff",
    "chip": "#0f2c54",
    "measure again": "#55535c",
}


def _shadows(axes: Axes, wall: Unrolled, surface: RadialSurface) -> None:
    """Dot the wall that the laser did not see."""
    if surface.seen is None:
        return
    grid = surface.grid
    hidden = ~surface.seen & grid.surveyed[:, None] & ~grid.opening
    if hidden.any():
        draw_hatch(axes, wall, hidden, hatch=SHADOW, ink=chart.INK)


def _doubts(
    axes: Axes, wall: Unrolled, surface: RadialSurface, findings: Findings
) -> bool:
    """Dot the wall that rod readings leave in doubt; whether there is any."""
    if surface.seen is not None:
        return False
    limit = wall.design.repair.brick_threshold
    doubtful = K95 * np.nan_to_num(findings.maps.cutback_sd) > DOUBT * limit
    doubtful &= ~wall.grid.opening
    if doubtful.any():
        draw_hatch(axes, wall, doubtful, hatch=SHADOW, ink=chart.INK)
    return bool(doubtful.any())


def _brick_line(axes: Axes, wall: Unrolled, findings: Findings) -> None:
    limit = wall.design.repair.brick_threshold
    cutback = np.where(wall.grid.opening, np.nan, findings.maps.cutback)
    if not np.nanmin(cutback) < limit < np.nanmax(cutback):
        return
    rows = wall.grid.surveyed
    flat = np.ma.masked_invalid(wall.flat(cutback)[rows])
    if flat.shape[0] < 2:
        return
    for width, ink in ((4.0, "#ffffff"), (2.2, chart.INK)):
        axes.contour(
            wall.across,
            wall.grid.height[rows],
            flat,
            levels=[limit],
            colors=[ink],
            linewidths=[width],
            zorder=4,
        )


def _dots(
    axes: Axes, wall: Unrolled, readings: RodReadings, surface: RadialSurface
) -> list[Any]:
    azimuth, height = stations(readings)
    if not 0 < azimuth.size <= MOST_DOTS:
        return []
    out = {r.place for r in surface.rejected}
    left_out = np.array([place in out for place in readings.place], dtype=bool)
    left_out = np.append(left_out, left_out[readings.is_kind("diameter")])
    across = wall.right(azimuth)
    drawn: list[Any] = axes.plot(
        across[~left_out],
        height[~left_out],
        "o",
        markersize=4.6,
        markerfacecolor=chart.INK,
        markeredgecolor="#ffffff",
        markeredgewidth=0.7,
        zorder=7,
        label="reading",
    )
    if left_out.any():
        drawn += axes.plot(
            across[left_out],
            height[left_out],
            "x",
            markersize=9,
            color=chart.INK,
            markeredgewidth=2.4,
            path_effects=halo(),
            zorder=8,
            label="reading left out",
        )
    return drawn


def _head(
    made: Figure, surface: RadialSurface, findings: Findings, *, equal: bool
) -> None:
    title, lining = headings(findings)
    seen = "wall unrolled, SEEN FROM INSIDE"
    stretched = "" if equal else "; up and round are not at one scale"
    lines = (
        (0.42, title, 21.0, "bold", chart.INK),
        (0.80, f"{lining}: {seen}" if lining else seen, 15.0, "normal", chart.INK),
        (1.10, say_sense(surface.design) + stretched, 12.0, "normal", chart.QUIET),
    )
    for down, text, size, weight, ink in lines:
        made.text(
            LEFT / made.get_figwidth(),
            1.0 - down / made.get_figheight(),
            text,
            fontsize=_fitting(text, size),
            fontweight=weight,
            va="center",
            color=ink,
        )


def _fitting(text: str, size: float) -> float:
    """Size of type at which a line stays on the picture; letters 0.62 of it wide."""
    return min(size, 72.0 * (_WIDE + _RIGHT) / (0.64 * max(len(text), 1)))
