"""The wall in the round as a still: two halves, each looked at from across the furnace.

Drawn by plain projection of the wall's cells, so no graphics card and no screen are
needed and the same survey gives the same picture everywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.compare.findings import ACTIONS, Findings
from geom.frame import to_cartesian, turn
from geom.surface.grid import interpolate_columns
from geom.surface.radial import RadialSurface
from geom.units import Float, Int, say_both
from geom.views.charts import colours
from geom.views.charts import figure as chart
from geom.views.charts.colours import ColourScale, draw_colour_bar
from geom.views.say import headings, plain, say_sense

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: How far above level the eye is, degrees.
_ABOVE = 22.0
#: Cells of the picture: at most so tall (mm) and so many round the wall.
_TALL, _COLUMNS = 25.0, 120
#: What the picture's strokes and its plain grey mean.
_KEYED = (
    "slanted strokes: brick",
    "upright strokes: chip off",
    "plain lilac: not surveyed",
)


@chart.picture(dpi=120)
def round_view(surface: RadialSurface, findings: Findings) -> Figure:
    """The wall in the round, towards azimuth 0 and towards its opposite.

    Parameters
    ----------
    form : {'png', 'svg', 'pdf'}
    """
    design = surface.design
    figure = chart.new_figure(9.4, 8.4)
    zero = plain(design.azimuth_zero, most=24)
    views = ((0.0, f"towards 12 o'clock ({zero})"), (180.0, "towards 6 o'clock"))
    for place, (towards, words) in enumerate(views):
        axes = figure.add_axes((0.02 + 0.49 * place, 0.12, 0.47, 0.72))
        _half(axes, surface, findings, towards)
        axes.set_title(words, fontsize=14, color=chart.INK)
    title, lining = headings(findings)
    figure.text(0.03, 0.965, title, fontsize=19, fontweight="bold", va="center")
    seen = "wall in the round, SEEN FROM INSIDE, the near half left off"
    line = f"{lining}: {seen}" if lining else seen
    figure.text(0.03, 0.925, line, fontsize=12, va="center", color=chart.QUIET)
    _legend(figure, surface)
    return figure


def _half(
    axes: Axes, surface: RadialSurface, findings: Findings, towards: float
) -> None:
    """The wall that an eye on the other side sees, from below upwards."""
    from matplotlib.collections import PolyCollection

    row_edge, row = _rows(surface)
    apart = surface.azimuth.size // min(_COLUMNS, surface.azimuth.size)
    column = np.arange(0, surface.azimuth.size, apart)
    wide = 360.0 / column.size
    facing = np.abs(turn(towards, surface.azimuth[column])) < 90.0 + 0.5 * wide
    column = column[facing]
    middle = surface.azimuth[column]
    corners = _corners(surface, row_edge, row, middle, wide)
    flat = _seen_from(corners, surface, towards)
    colour = _colour(surface, findings)[np.ix_(row, column)].reshape(-1, 3) / 255.0
    action = findings.maps.action[np.ix_(row, column)].ravel()
    far = np.argsort(-np.abs(turn(towards, np.tile(middle, row.size))), kind="stable")
    axes.add_collection(
        PolyCollection(
            list(flat[far]), facecolors=colour[far], edgecolors=colour[far], lw=0.3
        )
    )
    _hatch(axes, flat[action == ACTIONS.index("brick")], "////", "#ffffff")
    _hatch(axes, flat[action == ACTIONS.index("chip")], "||||", "#0f2c54")
    _rings(axes, surface, towards)
    axes.autoscale_view()
    axes.set_aspect("equal")
    axes.set_axis_off()


def _hatch(axes: Axes, cells: Float, strokes: str, ink: str) -> None:
    """Strokes over some cells, so that they are distinguished in a grey copy too."""
    from matplotlib.collections import PolyCollection

    if cells.size:
        hatched = PolyCollection(
            list(cells),
            facecolors="none",
            edgecolors=ink,
            hatch=strokes,
            linewidths=0.0,
        )
        axes.add_collection(hatched)


def _rows(surface: RadialSurface) -> tuple[Float, Int]:
    """Edges of the picture's rows, and the survey's row at the middle of each."""
    edge = surface.grid.edge
    keep = [0]
    for place in range(1, edge.size):
        if edge[place] - edge[keep[-1]] >= _TALL or place == edge.size - 1:
            keep.append(place)
    places = np.array(keep, dtype=np.int64)
    return edge[places], (places[:-1] + places[1:] - 1) // 2


def _corners(
    surface: RadialSurface, edge: Float, row: Int, middle: Float, wide: float
) -> Float:
    """Corners of every cell in the cartesian frame, mm; (cells, 4, 3)."""
    sides = (middle - 0.5 * wide, middle + 0.5 * wide)
    radius = np.where(
        np.isnan(surface.radius), surface.grid.design_radius[:, None], surface.radius
    )
    at = [interpolate_columns(radius, side)[row] for side in sides]
    shape = at[0].shape
    low = np.broadcast_to(edge[:-1, None], shape)
    high = np.broadcast_to(edge[1:, None], shape)
    left, right = (np.broadcast_to(side[None, :], shape) for side in sides)
    sense = surface.design.azimuth_sense
    four = (
        to_cartesian(left, at[0], low, sense),
        to_cartesian(right, at[1], low, sense),
        to_cartesian(right, at[1], high, sense),
        to_cartesian(left, at[0], high, sense),
    )
    return np.stack(four, axis=2).reshape(-1, 4, 3)


def _seen_from(points: Float, surface: RadialSurface, towards: float) -> Float:
    """Points as the eye sees them: right and up, mm; (..., 2)."""
    sense = surface.design.azimuth_sense
    ahead = to_cartesian(towards, 1.0, 0.0, sense)
    right = np.array([ahead[1], -ahead[0], 0.0])
    lift = np.deg2rad(_ABOVE)
    up = np.sin(lift) * ahead + np.cos(lift) * np.array([0.0, 0.0, 1.0])
    return np.stack([points @ right, points @ up], axis=-1)


def _colour(surface: RadialSurface, findings: Findings) -> Float:
    limit = surface.design.repair.brick_threshold
    colour = colours.cutback_rgb(findings.maps.cutback, limit).astype(np.float64)
    return np.where(
        surface.grid.opening[..., None], colours.rgb(colours.OPENING), colour
    )


def _rings(axes: Axes, surface: RadialSurface, towards: float) -> None:
    """The rim, the foot and the limits of what was surveyed, as drawn."""
    profile = surface.design.profile
    low, high = surface.grid.surveyed_heights
    turned = np.linspace(-90.0, 90.0, 61) + towards
    for height in (profile.bottom, low, high, profile.top):
        radius = float(profile.radius_at(np.array([height]))[0])
        ring = to_cartesian(turned, radius, height, surface.design.azimuth_sense)
        flat = _seen_from(ring, surface, towards)
        axes.plot(flat[:, 0], flat[:, 1], color=chart.INK, linewidth=1.0)


def _legend(figure: Figure, surface: RadialSurface) -> None:
    """The scale of cut-back, and which way round the furnace is."""
    limit, unit = surface.design.repair.brick_threshold, surface.design.length_unit
    low, high = colours.cutback_limits(limit)
    scale = ColourScale(
        colours=colours.cutback_table() / 255.0,
        ticks=np.array([low, 0.0, limit, high]),
        labels=(say_both(low, unit), "drawing", "brick line", say_both(high, unit)),
        line=limit,
    )
    width, height = figure.get_size_inches()
    place = (0.11 * width, 0.075 * height, 0.46 * width, 0.025 * height)
    draw_colour_bar(figure, place, scale, size=11)
    figure.text(
        0.66,
        0.075,
        "\n".join((*_KEYED, *say_sense(surface.design).split("; "))),
        fontsize=9.5,
        va="center",
        color=chart.QUIET,
        linespacing=1.4,
    )
