"""What every picture shares: a figure without a screen, its type, its axes, its bytes.

Axes are drawn in mm and numbered in the shop's unit, with mm on the far side.  Heights
and radii go by the usual divisions of a rule, rates of wear by halves of an inch or by
1, 2 and 5; directions round the wall by degrees and hours of the clock.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, Literal, ParamSpec

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.units import MM_PER, as_fraction
from geom.views.say import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

#: What a still picture can be written as.
Form = Literal["png", "svg", "pdf"]

P = ParamSpec("P")

INK = "#1c1c20"
QUIET = "#55535c"
PAPER = "#ffffff"
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


@contextmanager
def drawing_style() -> Iterator[None]:
    """Draw the same on every machine: no personal settings, text taken as it stands.

    A dollar sign in somebody's title is a dollar sign, and a letter the font lacks is
    drawn as a box without a warning.
    """
    from matplotlib import style

    with style.context("default"), warnings.catch_warnings():
        from matplotlib import rcParams

        rcParams["text.parse_math"] = False
        rcParams["font.family"] = ["DejaVu Sans"]
        rcParams["hatch.linewidth"] = 1.0
        rcParams["path.simplify"] = True
        rcParams["svg.hashsalt"] = "daubline"
        rcParams["pdf.fonttype"] = 42
        warnings.filterwarnings(
            "ignore", message=r"Glyph .* missing from", append=False
        )
        yield


def new_figure(width: float, height: float) -> Figure:
    """An empty figure, inches, drawn by Agg."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def add_axes(
    figure: Figure, left: float, bottom: float, width: float, height: float
) -> Axes:
    """Axes at a place given in inches from the figure's lower left corner."""
    wide, high = figure.get_size_inches()
    return figure.add_axes((left / wide, bottom / high, width / wide, height / high))


def render(figure: Figure, form: Form = "png", *, dpi: int) -> bytes:
    """The figure as PNG, SVG or PDF; the same figure gives the same bytes."""
    options: dict[Form, dict[str, Any]] = {
        "png": {"metadata": {"Software": None}, "pil_kwargs": {"compress_level": 2}},
        "svg": {"metadata": {"Date": None, "Creator": None}},
        "pdf": {"metadata": {"CreationDate": None}},
    }
    out = io.BytesIO()
    figure.savefig(out, format=form, dpi=dpi, facecolor=PAPER, **options[form])
    return out.getvalue()


@dataclass(frozen=True)
class Picture(Generic[P]):
    """What draws a figure; called, it gives that figure as PNG.

    Attributes
    ----------
    draw : callable
        Gives the figure; to be called inside `drawing_style`.
    """

    draw: Callable[P, Figure]
    dpi: int

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> bytes:
        """The figure as PNG."""
        return self.rendered()(*args, **kwargs)

    def rendered(
        self, form: Form = "png", *, dpi: int | None = None
    ) -> Callable[P, bytes]:
        """The same in another form, or with as many dots per inch."""

        def picture(*args: P.args, **kwargs: P.kwargs) -> bytes:
            with drawing_style():
                return render(self.draw(*args, **kwargs), form, dpi=dpi or self.dpi)

        return picture


def picture(dpi: int) -> Callable[[Callable[P, Figure]], Picture[P]]:
    """Make a function that draws a figure a `Picture`."""
    return lambda draw: Picture(draw, dpi)


def halo() -> list[Any]:
    """White round letters, so they read on any colour."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=3.0, foreground="#ffffff")]


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
        va="bottom", color=QUIET,
    )  # fmt: skip


def wear_axis(
    axes: Axes, which: Literal["x", "y"], unit: str, *, words: str, size: float
) -> None:
    """Number an axis of wear whose limits, in mm, are set already.

    Parameters
    ----------
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
    axis.set_label_text(f"{words}, {unit}" if words else "", fontsize=size, color=INK)
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


def swatch(label: str, fill: str, ink: str | None = None, hatch: str = "") -> Any:
    """One look of wall in a legend: its fill, and strokes with their ink."""
    from matplotlib.patches import Patch

    return Patch(facecolor=fill, edgecolor=ink, hatch=hatch or None, label=label)


def legend(
    figure: Figure, handles: Sequence[Any], at: tuple[float, float], **options: Any
) -> None:
    """A legend without a frame, its upper left corner at a place of the figure."""
    usual = {"fontsize": 12.0, "columnspacing": 1.6, "borderaxespad": 0.0}
    figure.legend(
        handles=list(handles),
        loc="upper left",
        bbox_to_anchor=at,
        frameon=False,
        **(usual | options),
    )
