"""What every picture shares: a figure without a screen, its type, its bytes."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
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
