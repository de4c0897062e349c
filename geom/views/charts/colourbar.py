"""The colour bar: a scale with its numbers in the shop's unit and in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.design import Design
from geom.units import Float, as_fraction, from_mm, say_length
from geom.views.charts import colours
from geom.views.charts import style as chart

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class ColourScale:
    """What a colour bar shows.

    Attributes
    ----------
    colours : array (n, 3)
        sRGB from the low to the high end, uint8 or 0 to 1.
    ticks : array, mm
        The first and the last are the ends; beyond them the end's colour is given.
    labels : sequence of str
        One a tick.
    words : tuple of (place, text, alignment)
        Above the bar; places in mm.
    line : float or None, mm
        Where a heavy line crosses it.
    unit : str
        Of the lines of the labels, at their left; empty where labels have it.
    remark : str
        To the right of the bar.
    """

    colours: NDArray[Any]
    ticks: Float
    labels: Sequence[str]
    words: tuple[tuple[float, str, str], ...] = ()
    line: float | None = None
    unit: str = ""
    remark: str = ""


def cutback_scale(design: Design, *, remark: str) -> ColourScale:
    """The scale of cut-back, the same on every map of a furnace, brick line marked."""
    limit = design.repair.brick_threshold
    low, high = colours.cutback_limits(limit)
    ticks = np.linspace(low, high, 7)
    return ColourScale(
        colours=colours.cutback_table() / 255.0,
        ticks=ticks,
        labels=length_labels(ticks, design.length_unit),
        words=(
            (low, "build-up", "left"),
            (0.0, "drawing", "center"),
            (limit, "brick line", "center"),
            (high, "lost lining", "right"),
        ),
        line=limit,
        unit=design.length_unit,
        remark=remark,
    )


def length_labels(ticks: Float, unit: str) -> list[str]:
    """Numbers alone, the open ends marked; whole mm in a second line."""
    signs = ["≤", *[""] * (ticks.size - 2), "≥"]
    return [
        f"{sign}{say_length(mm, unit, finest=16).removesuffix(f' {unit}')}"
        + ("" if unit == "mm" else f"\n{mm:.0f}")
        for sign, mm in zip(signs, ticks, strict=True)
    ]


def wear_labels(ticks: Float, unit: str) -> list[str]:
    """Small lengths to three figures, each with its unit; a low end of 0 is closed."""
    signs = ["≤ " if ticks[0] < 0 else "", *[""] * (ticks.size - 2), "≥ "]
    labels = [
        f"{sign}{_small(mm, unit)}" for sign, mm in zip(signs, ticks, strict=True)
    ]
    if unit == "mm":
        return labels
    with_mm = [f"{label}\n{mm:.3g}" for label, mm in zip(labels, ticks, strict=True)]
    return [*with_mm[:-1], f"{with_mm[-1]} mm"]


def _small(mm: float, unit: str) -> str:
    value = from_mm(mm, unit)
    if unit == "in" and np.isclose(value * 64.0, np.round(value * 64.0), atol=1e-6):
        return f"{as_fraction(value, finest=64)} in"
    return f"{value:.3g} {unit}"


def draw_colour_bar(
    figure: Figure,
    place: tuple[float, float, float, float],
    scale: ColourScale,
    *,
    size: float,
) -> Axes:
    """Draw a scale.

    Parameters
    ----------
    figure : Figure
    place : (left, bottom, width, height)
        Inches from the figure's lower left corner.
    scale : ColourScale
    size : float
        Of the labels' type, points.
    """
    wide, high = figure.get_size_inches()
    left, bottom, width, height = place
    axes = chart.add_axes(figure, *place)
    ends = (float(scale.ticks[0]), float(scale.ticks[-1]))
    axes.imshow(scale.colours[None], aspect="auto", extent=(*ends, 0.0, 1.0))
    axes.set_yticks([])
    axes.set_xticks(scale.ticks, scale.labels, fontsize=size)
    if scale.line is not None:
        axes.axvline(scale.line, color=chart.INK, linewidth=2.2)
    for where, text, side in scale.words:
        axes.text(
            where, 1.25, text, ha=side, va="bottom", fontsize=size + 0.5,
            color=chart.INK, fontweight="bold" if where == scale.line else "normal",
        )  # fmt: skip
    if scale.unit:
        axes.annotate(
            scale.unit if scale.unit == "mm" else f"{scale.unit}\nmm", (0.0, 0.0),
            xytext=(-34, -5), xycoords="axes fraction", textcoords="offset points",
            ha="right", va="top", fontsize=size, color=chart.QUIET,
        )  # fmt: skip
    if scale.remark:
        figure.text(
            (left + width + 0.5) / wide, (bottom + 0.5 * height) / high, scale.remark,
            fontsize=size - 0.5, va="center", color=chart.QUIET, linespacing=1.3,
        )  # fmt: skip
    if ends[0] < 0.0:
        axes.axvline(0.0, color=chart.QUIET, linewidth=1.0)
    return axes
