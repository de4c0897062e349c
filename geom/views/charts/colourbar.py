"""The key of the map: scale bar, colour bar, and what hatches and dots mean.

A bar of colours with its numbers, in the shop's unit and in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.design import Design
from geom.surface.radial import RadialSurface
from geom.units import MM_PER, say_both, say_length
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.colours import Rgb
from geom.views.charts.unrolled import Unrolled, nice_step

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


#: Size of the map's type, points.
TYPE = 13.0
#: Left margin of the map, inches.
LEFT = 1.0
#: Hatch of wall that a laser did not see, or that rod readings leave in doubt.
SHADOW = "..."
#: Wall is in doubt where its 95 % interval reaches further than this share of the brick
#: threshold to either side; our own choice.
DOUBT = 0.5


def scale_bar(axes: Axes, wall: Unrolled, *, high: float) -> None:
    """A length round the wall, above a picture ``high`` inches tall."""
    unit = wall.design.length_unit
    size = float(MM_PER[unit])
    long = nice_step(wall.reach / 5.0 / size, unit)
    end = 0.95 * wall.reach
    start = end - long * size
    place = axes.get_xaxis_transform()
    point = 1.0 / (72.0 * high)
    axes.plot(
        [start, start, end, end],
        [1.0 + 14 * point, 1.0 + 7 * point, 1.0 + 7 * point, 1.0 + 14 * point],
        color=chart.INK,
        linewidth=2.0,
        transform=place,
        clip_on=False,
    )
    axes.text(
        0.5 * (start + end), 1.0 + 17 * point, f"{long:g} {unit} round",
        transform=place,
        ha="center", va="bottom", fontsize=TYPE - 2, color=chart.INK,
    )  # fmt: skip


def colour_bar(made: Figure, surface: RadialSurface, size: tuple[float, float]) -> None:
    """The scale of cut-back, in the shop's unit and mm, brick line marked."""
    limit = surface.design.repair.brick_threshold
    low, high = colours.limits(limit)
    wide, from_below = 5.9, 1.62
    left = LEFT / size[0]
    bar = made.add_axes((left, from_below / size[1], wide / size[0], 0.26 / size[1]))
    bar.imshow(
        colours.scale_table()[None] / 255.0, aspect="auto", extent=(low, high, 0, 1)
    )
    bar.set_yticks([])
    ticks = np.arange(-2, 5) * limit / 2.0
    unit = surface.design.length_unit
    bar.set_xticks(
        ticks, [_bar_label(t, unit, limit) for t in ticks], fontsize=TYPE - 1.5
    )
    bar.axvline(limit, color=chart.INK, linewidth=2.2)
    bar.axvline(0.0, color=chart.QUIET, linewidth=1.0)
    _bar_units(bar, unit)
    words = {low: ("build-up", "left"), high: ("lost lining", "right")}
    for end, (word, side) in words.items():
        bar.text(
            end, 1.25, word, ha=side, va="bottom", fontsize=TYPE - 1, color=chart.INK
        )  # fmt: skip
    bar.text(0, 1.25, "drawing", ha="center", va="bottom", fontsize=TYPE - 1)
    bar.text(
        limit, 1.25, "brick line", ha="center", va="bottom", fontsize=TYPE - 1,
        fontweight="bold",
    )  # fmt: skip
    made.text(
        left + (wide + 0.5) / size[0],
        (from_below + 0.13) / size[1],
        "cut-back\nscale is the same\nin every survey",
        fontsize=TYPE - 2, va="center", color=chart.QUIET, linespacing=1.3,
    )  # fmt: skip


def _bar_units(bar: Axes, unit: str) -> None:
    units = unit if unit == "mm" else f"{unit}\nmm"
    bar.annotate(
        units, (0.0, 0.0), xytext=(-34, -5), xycoords="axes fraction",
        textcoords="offset points", ha="right", va="top", fontsize=TYPE - 1.5,
        color=chart.QUIET,
    )  # fmt: skip


def _bar_label(mm: float, unit: str, limit: float) -> str:
    more = "≥" if mm >= 2.0 * limit - 1e-9 else "≤" if mm <= -limit + 1e-9 else ""
    short = say_length(mm, unit).removesuffix(f" {unit}")
    if unit == "mm":
        return f"{more}{short}"
    return f"{more}{short}\n{mm:.0f}"


def legend(
    made: Figure, surface: RadialSurface, dots: list[Any], *, doubted: bool
) -> None:
    """What hatches and dots mean; ``dots`` are the readings as drawn."""
    from matplotlib.patches import Patch

    design = surface.design
    limit = say_both(design.repair.brick_threshold, design.length_unit)
    patches = [
        Patch(
            facecolor="#c4571f",
            edgecolor="#ffffff",
            hatch="////",
            label=f"brick: past {limit}",
        ),
        Patch(facecolor="#b9dbe6", edgecolor="#0f2c54", hatch="||", label="chip off"),
        Patch(
            facecolor="#ffffff",
            edgecolor="#55535c",
            hatch="oo",
            label="too uncertain: measure again",
        ),
        Patch(
            facecolor=colours.NOT_SURVEYED,
            edgecolor="#ffffff",
            hatch="xx",
            label="not surveyed",
        ),
        Patch(facecolor=colours.OPENING, label="opening"),
    ]
    dotted = "not seen by laser" if surface.seen is not None else None
    if doubted:
        give = say_length(DOUBT * design.repair.brick_threshold, design.length_unit)
        dotted = f"known to ± {give} or worse"
    if dotted is not None:
        patches.append(
            Patch(facecolor="#ffffff", edgecolor=chart.INK, hatch=SHADOW, label=dotted)
        )
    place_legend(made, [*patches, *dots])


def place_legend(made: Figure, handles: Sequence[Any]) -> None:
    """What hatches and dots mean, below the map."""
    made.legend(
        handles=list(handles),
        loc="lower left",
        bbox_to_anchor=(LEFT / made.get_figwidth(), 0.12 / made.get_figheight()),
        ncols=3,
        fontsize=TYPE - 1.5,
        frameon=False,
        handlelength=2.2,
        handleheight=1.3,
        columnspacing=1.6,
        borderaxespad=0.0,
        borderpad=0.0,
    )


@dataclass(frozen=True)
class Scale:
    """What a bar shows.

    Attributes
    ----------
    colour : uint8 array (n, 3)
        From the low to the high end.
    low, high : float, mm
        Beyond the ends the end's colour is given.
    ticks : tuple of float, mm
    words : tuple of (place, text, alignment)
        Above the bar; places in mm.
    remark : str
        Beside it.
    line : float or None, mm
        Where a heavy line crosses it.
    """

    colour: Rgb
    low: float
    high: float
    ticks: tuple[float, ...]
    words: tuple[tuple[float, str, str], ...]
    remark: str
    line: float | None = None


def draw_scale(
    made: Figure,
    place: tuple[float, float, float, float],
    scale: Scale,
    design: Design,
    *,
    size: float,
) -> None:
    """Draw it.

    Parameters
    ----------
    made : Figure
    place : (left, bottom, width, height)
        Shares of the figure.
    scale : Scale
    design : Design
        Its unit is the first told.
    size : float
        Of the type, points.
    """
    bar = made.add_axes(place)
    bar.imshow(
        scale.colour[None], aspect="auto", extent=(scale.low, scale.high, 0.0, 1.0)
    )
    unit = design.length_unit
    bar.set_yticks([])
    labels = [_label(tick, unit, scale) for tick in scale.ticks]
    bar.set_xticks(scale.ticks, labels, fontsize=size - 1.5)
    bar.axvline(0.0, color=chart.QUIET, linewidth=1.0)
    if scale.line is not None:
        bar.axvline(scale.line, color=chart.INK, linewidth=2.2)
    for where, text, side in scale.words:
        bar.text(
            where, 1.25, text, ha=side, va="bottom", fontsize=size - 1,
            color=chart.INK, fontweight="bold" if where == scale.line else "normal",
        )  # fmt: skip
    bar.annotate(
        unit if unit == "mm" else f"{unit}\nmm", (0.0, 0.0), xytext=(-34, -5),
        xycoords="axes fraction", textcoords="offset points", ha="right", va="top",
        fontsize=size - 1.5, color=chart.QUIET,
    )  # fmt: skip
    made.text(
        place[0] + place[2] + 0.4 / made.get_figwidth(), place[1] + 0.5 * place[3],
        scale.remark, fontsize=size - 2, va="center", color=chart.QUIET,
        linespacing=1.3,
    )  # fmt: skip


def _label(mm: float, unit: str, scale: Scale) -> str:
    more = "≥" if mm >= scale.high - 1e-9 else "≤" if mm <= scale.low + 1e-9 else ""
    said = f"{more}{say_length(mm, unit, finest=16).removesuffix(f' {unit}')}"
    return said if unit == "mm" else f"{said}\n{mm:.0f}"
