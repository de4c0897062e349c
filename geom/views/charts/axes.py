"""Axes drawn in mm and numbered in the shop's unit, with mm on the far side.

Heights and radii go by the usual divisions of a rule, rates of wear by halves of an
inch or by 1, 2 and 5; directions round the wall by degrees and hours of the clock.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.units import MM_PER, as_fraction
from geom.views.charts import style as chart
from geom.views.say import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

#: Usual divisions of a rule, in its own unit.
_DIVISIONS = {
    "in": (1, 2, 3, 6, 12, 24, 36, 48, 60, 120),
    "mm": (10, 20, 50, 100, 200, 250, 500, 1000, 2000),
    "cm": (1, 2, 5, 10, 20, 25, 50, 100, 200),
    "m": (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1, 2),
}
#: Finest fraction of an inch on an axis.
_FINEST = 64
#: About how many divisions an axis of heights, and one of wear, has.
_HEIGHTS, _WEARS = 7.0, 5.0


def nice_step(least: float, unit: str) -> float:
    """The shortest usual division of a unit that is at least so long."""
    divisions = _DIVISIONS[unit]
    return float(next((step for step in divisions if step >= least), divisions[-1]))


def graduate(
    axis: Axis, unit: str, step: float, *, size: float, suffix: str = ""
) -> None:
    """Ticks at multiples of ``step`` of a unit on an axis drawn in mm.

    Parameters
    ----------
    axis : Axis
    unit : str
    step : float, in ``unit``
    size : float
        Of the type, points.
    suffix : str
        After the number of the last tick.
    """
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    one = float(MM_PER[unit])
    fractions = unit == "in" and step * _FINEST >= 1.0 - 1e-9

    def label(mm: float, _: int | None) -> str:
        value = mm / one
        last = mm + step * one > max(axis.get_view_interval()) + 1e-9 * step * one
        number = (
            as_fraction(value, finest=_FINEST)
            if fractions
            else f"{round(value, 9) + 0.0:g}"
        )
        return number + suffix if last else number

    axis.set_major_locator(MultipleLocator(step * one))
    axis.set_major_formatter(FuncFormatter(label))
    axis.set_tick_params(labelsize=size)


def height_axis(
    axes: Axes, design: Design, *, size: float, divisions: float = _HEIGHTS
) -> None:
    """The heights of the drawing, upright, in the shop's unit."""
    low, high, unit = design.profile.bottom, design.profile.top, design.length_unit
    axes.set_ylim(low, high)
    step = nice_step((high - low) / float(MM_PER[unit]) / divisions, unit)
    graduate(axes.yaxis, unit, step, size=size)
    zero = plain(design.height_zero, most=30)
    axes.set_ylabel(f"height above {zero}, {unit}", fontsize=size)


def mm_height_axis(axes: Axes, *, size: float) -> None:
    """The same heights in mm, on the far side."""
    low, high = axes.get_ylim()
    far = axes.secondary_yaxis("right")
    graduate(far.yaxis, "mm", nice_step((high - low) / _HEIGHTS, "mm"), size=size)
    axes.text(
        1.0, 1.008, " mm", transform=axes.transAxes, fontsize=size, ha="left",
        va="bottom", color=chart.QUIET,
    )  # fmt: skip


def wear_axis(
    axes: Axes, which: Literal["x", "y"], unit: str, *, words: str, size: float
) -> None:
    """Number an axis of wear whose limits, in mm, are set already.

    Parameters
    ----------
    axes : Axes
    which : {'x', 'y'}
    unit : str
        The shop's.
    words : str
        Label without its unit; empty where a neighbour has it.
    size : float
        Of the type, points.
    """
    axis = axes.xaxis if which == "x" else axes.yaxis
    low, high = axis.get_view_interval()
    graduate(axis, unit, wear_division(low, high, unit), size=size)
    axis.set_label_text(
        f"{words}, {unit}" if words else "", fontsize=size, color=chart.INK
    )
    if unit == "mm":
        return
    upright = which == "y"
    far = axes.secondary_yaxis("right") if upright else axes.secondary_xaxis("top")
    far.spines[:].set_visible(False)
    far_axis = far.yaxis if upright else far.xaxis
    step = wear_division(low, high, "mm")
    graduate(far_axis, "mm", step, size=size - 1, suffix=" mm")


def wear_division(low: float, high: float, unit: str) -> float:
    """Step of ticks between two amounts of wear, mm; in ``unit``.

    Examples
    --------
    >>> wear_division(0.0, 20.0, "in"), wear_division(-2.0, 20.0, "mm")
    (0.125, 5.0)
    """
    least = (high - low) / float(MM_PER[unit]) / _WEARS
    if unit == "in" and least * _FINEST >= 1.0:
        return float(2.0 ** np.round(np.log2(least)))
    decade = 10.0 ** np.floor(np.log10(max(least, 1e-12)))
    return float(min(decade * np.array([1, 2, 5, 10]), key=lambda s: abs(s - least)))


def azimuth_labels(onward: list[int], design: Design) -> list[str]:
    """Degrees and hour, so many degrees to the right of azimuth 0."""
    sense = design.azimuth_sense
    azimuths = [(step if sense == "clockwise" else -step) % 360 for step in onward]
    return [
        f"{azimuth}°\n{clock_face(float(azimuth), sense).split()[0]}"
        for azimuth in azimuths
    ]
