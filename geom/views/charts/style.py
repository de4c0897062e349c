"""What every picture shares: a figure without a screen, its type, its bytes.

Axes of wear: the shop's unit on the near side, mm on the far side.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Literal

import numpy as np

from geom.units import MM_PER, Float, as_fraction

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


#: What a still picture can be written as.
Form = Literal["png", "svg", "pdf"]

INK = "#1c1c20"
QUIET = "#55535c"
PAPER = "#ffffff"


@contextmanager
def drawing() -> Iterator[None]:
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


def figure(width: float, height: float) -> Figure:
    """An empty figure, inches, drawn by Agg."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    made = Figure(figsize=(width, height), facecolor=PAPER)
    FigureCanvasAgg(made)
    return made


def drawn(made: Figure, form: Form, *, dpi: int) -> bytes:
    """The figure as PNG, SVG or PDF; the same figure gives the same bytes."""
    if form == "png":
        return png(made, dpi=dpi)
    out = io.BytesIO()
    nobody = {"svg": {"Date": None, "Creator": None}, "pdf": {"CreationDate": None}}
    made.savefig(out, format=form, dpi=dpi, facecolor=PAPER, metadata=nobody[form])
    return out.getvalue()


def png(made: Figure, *, dpi: int) -> bytes:
    """The figure as PNG; the same figure gives the same bytes."""
    out = io.BytesIO()
    made.savefig(
        out,
        format="png",
        dpi=dpi,
        facecolor=PAPER,
        metadata={"Software": None},
        pil_kwargs={"compress_level": 2},
    )
    return out.getvalue()


#: Finest fraction of an inch that is told on an axis.
_FINEST = 64
#: About how many divisions an axis has.
_PARTS = 5.0


def wear_axis(
    axes: Axes, which: Literal["x", "y"], unit: str, *, words: str, size: float
) -> None:
    """Ticks of an axis whose limits, in mm, are set already.

    Parameters
    ----------
    axes : Axes
    which : {'x', 'y'}
    unit : str
        The shop's.
    words : str
        What is told, without its unit; empty where a neighbour says it.
    size : float
        Of the type, points.
    """
    low, high = axes.get_xlim() if which == "x" else axes.get_ylim()
    places, labels = ticks(low, high, unit)
    _put(axes, which, places, labels, size)
    name = axes.set_xlabel if which == "x" else axes.set_ylabel
    name(f"{words}, {unit}" if words else "", fontsize=size, color=INK)
    if unit == "mm":
        return
    far = axes.twiny() if which == "x" else axes.twinx()
    (far.set_xlim if which == "x" else far.set_ylim)(low, high)
    places, labels = ticks(low, high, "mm")
    labels[-1] += " mm"
    _put(far, which, places, labels, size - 1)
    for side in far.spines.values():
        side.set_visible(False)


def _put(
    axes: Axes, which: Literal["x", "y"], at: Float, labels: list[str], size: float
) -> None:
    (axes.set_xticks if which == "x" else axes.set_yticks)(at, labels, fontsize=size)


def ticks(low: float, high: float, unit: str) -> tuple[Float, list[str]]:
    """Places, mm, and labels, without the unit.

    Examples
    --------
    >>> ticks(0.0, 20.0, "in")[1]
    ['0', '1/8', '1/4', '3/8', '1/2', '5/8', '3/4']
    >>> ticks(-2.0, 20.0, "mm")[1]
    ['0', '5', '10', '15', '20']
    """
    size = float(MM_PER[unit])
    least = (high - low) / size / _PARTS
    step = _fraction(least) if unit == "in" else _decimal(least)
    count = np.arange(np.ceil(low / size / step - 1e-9), high / size / step + 1e-9)
    shown = [float(value) for value in count * step]
    if unit == "in" and step * _FINEST >= 1.0 - 1e-9:
        labels = [as_fraction(value, finest=_FINEST) for value in shown]
    else:
        labels = [f"{round(value, 9) + 0.0:g}" for value in shown]
    return np.asarray(count * step * size), labels


def _fraction(least: float) -> float:
    """Halving of an inch next to a length; decimals below the finest."""
    if least * _FINEST < 1.0:
        return _decimal(least)
    return float(2.0 ** np.round(np.log2(least)))


def _decimal(least: float) -> float:
    whole = 10.0 ** np.floor(np.log10(max(least, 1e-12)))
    return float(min(whole * np.array([1, 2, 5, 10]), key=lambda s: abs(s - least)))
