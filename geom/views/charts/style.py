"""What every picture shares: a figure without a screen, its type, its bytes."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: What a still picture can be written as.
Form = Literal["png", "svg", "pdf"]

INK = "#1c1c20"
QUIET = "#55535c"
PAPER = "#ffffff"


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


def halo() -> list[Any]:
    """White round letters, so they read on any colour."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=3.0, foreground="#ffffff")]
