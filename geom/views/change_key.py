"""A bar of colours with its numbers, in the shop's unit and in mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from geom.design import Design
from geom.units import say_length
from geom.views import chart
from geom.views.colours import Rgb

if TYPE_CHECKING:
    from matplotlib.figure import Figure


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
