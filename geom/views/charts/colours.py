"""What each colour means; one meaning, the same in every file and every survey.

Cut-back is coloured on a scale fixed by the furnace's brick threshold, never by the
data, so two surveys of one furnace can be laid side by side.  The drawing itself is a
near-white; lost lining goes through orange to dark red, build-up through pale blue to
navy.  Orange against blue differs for the common kinds of colour blindness, and
each side only ever darkens, so the amount survives a grey copy (the side is shown there
by hatching).

Wear has the colours of cut-back, with ends of its own: one step of its scale is the
brick threshold halved as often as the wear leaves room for.  So two records of one
furnace differ in their scale only by halves, and every picture says what its ends are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geom.compare.findings import Action
from geom.design import Design
from geom.units import Float, as_fraction, from_mm
from geom.views.charts import figure as chart
from geom.views.say import say_mark

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Rgb = NDArray[np.uint8]

#: Where the wall was not measured: no number, so not a colour of the scale.
NOT_SURVEYED = "#a7a3b3"
#: Where the drawing has a hole.
OPENING = "#2a2a2e"

#: From the drawing outwards, the same distance apart.
_LOST = ("#f8f6f0", "#fbdc9c", "#f0a044", "#c4571f", "#842a12", "#43100a")
_BUILD_UP = ("#f8f6f0", "#b9dbe6", "#6aaacb", "#2d6a9f", "#0f2c54")
#: From sure to unsure: a colour of its own, so that doubt is not taken for depth.
_DOUBT = ("#f6f4fa", "#cfc6e0", "#9a8bc0", "#5f4b93", "#2d1c57")

#: Steps of the scale per brick threshold.
_FINE = 128
#: Share of the wall that may lie past the end of the scale.
_PAST = 0.01
#: The threshold is halved so often, or doubled so often, at most.
_HALVES, _DOUBLES = 10, 4

#: Ends of the grey scale of uncertainty: none, and much.
_LIGHT, _DARK = 250.0, 40.0


@dataclass(frozen=True)
class ActionStyle:
    """How an action is drawn: fill, hatch, ink of the hatch, and its word."""

    fill: str
    hatch: str
    ink: str
    word: str


ACTION_STYLES: dict[Action, ActionStyle] = {
    "leave": ActionStyle("#ffffff", "", "#000000", "Leave"),
    "daub": ActionStyle("#f7d9a0", "..", "#7a4a00", "Daub"),
    "brick": ActionStyle("#a33a1c", "////", "#ffffff", "Brick"),
    "chip": ActionStyle("#9cc6dd", "||", "#0f2c54", "Chip"),
    "measure again": ActionStyle("#ffffff", "oo", "#6b6478", "Measure again"),
}


def cutback_limits(threshold: float) -> tuple[float, float]:
    """Ends of the colour scale for a brick threshold, mm.

    Examples
    --------
    >>> cutback_limits(31.75)
    (-31.75, 63.5)
    """
    return -float(threshold), 2.0 * float(threshold)


def cutback_rgb(cutback: ArrayLike, threshold: float) -> Rgb:
    """Colour of a cut-back, as sRGB.

    Parameters
    ----------
    cutback : array, mm
        Beyond the scale's ends the end's colour is given; NaN is `NOT_SURVEYED`.
    threshold : float, mm
        The furnace's brick threshold.

    Returns
    -------
    uint8 array, shape of ``cutback`` + (3,)
    """
    depth = np.asarray(cutback, dtype=np.float64)
    low, high = cutback_limits(threshold)
    place = (np.clip(np.nan_to_num(depth), low, high) - low) / (high - low)
    table = np.rint(cutback_table()).astype(np.uint8)
    colour = table[np.rint(place * (len(table) - 1)).astype(np.intp)]
    colour[np.isnan(depth)] = rgb(NOT_SURVEYED)
    return colour


def cutback_table() -> Float:
    """The scale from the low to the high limit; shape (n, 3), sRGB 0 to 255.

    The drawing (cut-back 0) is exactly at index ``_FINE``, a third of the way.
    """
    proud = _between(_BUILD_UP, _FINE + 1)[::-1]
    lost = _between(_LOST, 2 * _FINE + 1)
    return np.concatenate([proud, lost[1:]])


def remaining_table() -> Float:
    """From no lining left to all of it; shape (n, 3), sRGB 0 to 255."""
    return _between(_LOST, 256)[::-1]


def uncertainty_table() -> Float:
    """From sure to unsure; shape (n, 3), sRGB 0 to 255."""
    return _between(_DOUBT, 256)


def probability_table() -> Float:
    """From no chance of brick to certainty; shape (n, 3), sRGB 0 to 255."""
    return _between(_LOST, 256)


def to_linear(srgb: ArrayLike) -> Float:
    """SRGB code values (0 to 255) as linear light (0 to 1).

    References
    ----------
    IEC 61966-2-1:1999, the sRGB transfer function.

    Examples
    --------
    >>> to_linear([0, 255]).tolist()
    [0.0, 1.0]
    """
    part = np.asarray(srgb, dtype=np.float64) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def _between(stops: tuple[str, ...], count: int) -> Float:
    """Colours evenly between stops, in sRGB code values; shape (count, 3)."""
    known = np.array([rgb(stop) for stop in stops])
    place = np.linspace(0.0, len(stops) - 1.0, count)
    return np.stack(
        [np.interp(place, np.arange(len(stops)), known[:, c]) for c in range(3)], axis=1
    )


def rgb(code: str) -> Float:
    """Code values of a colour such as ``#1c1c20``; shape (3,)."""
    return np.array([int(code[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.float64)


def wear_step(wear: Float, threshold: float) -> float:
    """Step of the scale, mm: build-up ends at minus one, lost lining at two.

    Parameters
    ----------
    wear : array, any shape, mm per heat, hour or tonne
        NaN where unknown.
    threshold : float, mm
        The furnace's brick threshold.

    Examples
    --------
    >>> wear_step(np.array([3.0, 7.0]), 32.0)
    4.0
    """
    known = np.abs(wear[np.isfinite(wear)])
    if not (known > 0.0).any():
        return float(threshold)
    most = float(np.quantile(known, 1.0 - _PAST))
    halves = np.floor(np.log2(2.0 * threshold / max(most, 1e-9)))
    return float(threshold * 0.5 ** np.clip(halves, -_DOUBLES, _HALVES))


def wear_rgb(wear: Float, step: float) -> Rgb:
    """Colour of wear, as sRGB; shape of ``wear`` + (3,)."""
    return cutback_rgb(wear, step)


def uncertainty_rgb(sd: Float, most: float) -> Rgb:
    """Grey of a standard uncertainty from 0, nearly white, to ``most``, nearly black.

    Parameters
    ----------
    sd : array, mm per heat, hour or tonne
        NaN is drawn as not surveyed.
    """
    part = np.clip(np.nan_to_num(sd) / most, 0.0, 1.0)[..., None]
    grey = np.broadcast_to(_LIGHT + part * (_DARK - _LIGHT), (*sd.shape, 3))
    blank = cutback_rgb(np.full(sd.shape, np.nan), most)
    return np.where(np.isnan(sd)[..., None], blank, np.rint(grey)).astype(np.uint8)


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
    low, high = cutback_limits(limit)
    ticks = np.linspace(low, high, 7)
    return ColourScale(
        colours=cutback_table() / 255.0,
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
        f"{sign}{say_mark(mm, unit, finest=16)}"
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
    place : (left, bottom, width, height)
        Inches from the figure's lower left corner.
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
