"""change.png: what the wall lost and got back, on the unrolled wall.

A change that is shown has its colour, one that is only likely half of it and dots;
all other wall is grey.  Lost wall goes through orange to dark red and is hatched, wall
put back through blue to navy with upright strokes, so the side survives a grey copy.
The scale runs to one brick threshold either way, whatever the data.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.record.changed import Change
from geom.units import Float, say_both
from geom.views import chart, colours
from geom.views.change_key import Scale, draw_scale
from geom.views.map import panel_height
from geom.views.mapkey import LEFT, TYPE, place_legend, scale_bar
from geom.views.unrolled import Unrolled, draw_hatch, draw_openings, lay_wall
from geom.views.words import plain, say_sense

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Compared wall whose change is not shown.
NOT_SHOWN = "#dddbd6"
#: Hatch and ink of wall lost and wall put back.
LOST, RESTORED = ("//", "#5a1a0c"), ("||", "#0f2c54")
#: Of a change beyond what is told at one place, but not shown among so many places.
LIKELY = ("..", "#55535c")

_WIDE = 7.8
_RIGHT, _TOP, _BELOW = 0.85, 1.75, 2.85


def change_png(change: Change, design: Design, *, dpi: int = 180) -> bytes:
    """The unrolled wall by change, as PNG."""
    with chart.drawing():
        return chart.png(change_figure(change, design), dpi=dpi)


def change_figure(change: Change, design: Design) -> Figure:
    """The figure of `change_png`; draw it inside `chart.drawing`."""
    wall = Unrolled(design, change.grid)
    high, equal = panel_height(wall, _WIDE)
    size = (LEFT + _WIDE + _RIGHT, _TOP + high + _BELOW)
    made = chart.figure(*size)
    axes = made.add_axes(
        (LEFT / size[0], _BELOW / size[1], _WIDE / size[0], high / size[1])
    )
    lay_wall(axes, wall, size=TYPE)
    paint(axes, wall, _rgba(change, design))
    _hatches(axes, wall, change)
    draw_openings(axes, wall, size=TYPE - 2)
    _head(made, change, design, equal=equal)
    scale_bar(axes, wall, high=high)
    place = (LEFT / size[0], 1.42 / size[1], 5.9 / size[0], 0.26 / size[1])
    draw_scale(made, place, _scale(design), design, size=TYPE)
    _legend(made, change, design)
    return made


def _hatches(axes: Axes, wall: Unrolled, change: Change) -> None:
    """Strokes that stand out from the colour below them, and a line round."""
    maps = change.maps
    deep = np.abs(maps.change) > 0.6 * wall.design.repair.brick_threshold
    for sign, (hatch, ink) in ((1, LOST), (-1, RESTORED)):
        here = maps.shown == sign
        draw_hatch(axes, wall, here & ~deep, hatch=hatch, ink=ink)
        draw_hatch(axes, wall, here & deep, hatch=hatch, ink="#ffffff")
        if here.any():
            axes.contour(
                wall.across,
                wall.grid.height,
                wall.flat(here.astype(np.float64)),
                levels=[0.5],
                colors=[chart.INK],
                linewidths=[1.4],
                zorder=4,
            )
    likely = (maps.significant != 0) & (maps.shown == 0)
    draw_hatch(axes, wall, likely, hatch=LIKELY[0], ink=LIKELY[1])


def change_rgb(change: Float, threshold: float) -> colours.Rgb:
    """Colour of a change, from minus one to plus one threshold; NaN as not surveyed.

    The colours of cut-back, its upper end drawn in from two thresholds to one.
    """
    return colours.cutback_rgb(np.where(change > 0.0, 2.0, 1.0) * change, threshold)


def paint(axes: Axes, wall: Unrolled, rgba: colours.Rgb) -> None:
    """Colour the cells; shape (m, k, 4)."""
    axes.pcolormesh(
        wall.column_edge,
        wall.grid.edge,
        wall.flat(rgba),
        shading="flat",
        zorder=1,
        rasterized=True,
    )


def with_clear(colour: colours.Rgb, known: Float) -> colours.Rgb:
    """Colours with what is not known left clear."""
    clear = np.where(np.isnan(known), 0, 255).astype(np.uint8)
    return np.concatenate([colour, clear[..., None]], axis=-1)


def _rgba(change: Change, design: Design) -> colours.Rgb:
    maps = change.maps
    colour = change_rgb(maps.change, design.repair.brick_threshold)
    grey = np.array([int(NOT_SHOWN[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.uint8)
    half = (colour.astype(np.float64) + grey) / 2.0
    likely = (maps.significant != 0)[..., None]
    colour = np.where(
        (maps.shown != 0)[..., None], colour, np.where(likely, half, grey)
    )
    return with_clear(np.rint(colour).astype(np.uint8), maps.change)


def _scale(design: Design) -> Scale:
    limit = design.repair.brick_threshold
    return Scale(
        colour=change_rgb(np.linspace(-limit, limit, 512), limit),
        low=-limit,
        high=limit,
        ticks=tuple(np.arange(-4, 5) * limit / 4.0),
        words=(
            (-limit, "put back", "left"),
            (0.0, "as before", "center"),
            (limit, "lost", "right"),
        ),
        remark="change of radius\nscale is the same\nfor any two surveys",
    )


def _head(made: Figure, change: Change, design: Design, *, equal: bool) -> None:
    lining = plain(change.lining, most=60)
    stretched = "" if equal else "; up and round are not at one scale"
    seen = f"{lining}: change, wall unrolled, SEEN FROM INSIDE"
    lines = (
        (0.42, plain(change.title), 21.0, "bold", chart.INK),
        (0.80, seen, 15.0, "normal", chart.INK),
        (1.10, say_sense(design) + stretched, 12.0, "normal", chart.QUIET),
    )
    for down, text, size, weight, ink in lines:
        made.text(
            LEFT / made.get_figwidth(),
            1.0 - down / made.get_figheight(),
            text,
            fontsize=min(size, 72.0 * (_WIDE + _RIGHT) / (0.64 * max(len(text), 1))),
            fontweight=weight,
            va="center",
            color=ink,
        )


def _legend(made: Figure, change: Change, design: Design) -> None:
    from matplotlib.patches import Patch

    told = say_both(change.detection, design.length_unit)
    patches = [
        Patch(facecolor="#f0a044", edgecolor=LOST[1], hatch=LOST[0] * 2, label="lost"),
        Patch(facecolor="#6aaacb", edgecolor=RESTORED[1], hatch="||", label="put back"),
        Patch(
            facecolor="#ead0ae",
            edgecolor=LIKELY[1],
            hatch="..",
            label="likely changed, not shown",
        ),
        Patch(facecolor=NOT_SHOWN, label=f"too small to tell (under about {told})"),
        Patch(
            facecolor=colours.NOT_SURVEYED,
            edgecolor="#ffffff",
            hatch="xx",
            label="not surveyed both times",
        ),
        Patch(facecolor=colours.OPENING, label="opening"),
    ]
    place_legend(made, patches)
