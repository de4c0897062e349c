"""How wear is said to people: rates, places, percent, the shop's unit first."""

from __future__ import annotations

import numpy as np

from geom.compare.panels import HOURS
from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.record.pieces import Piece
from geom.units import CUBIC_FOOT, LITRE, as_fraction, from_mm
from geom.views.wear_bars import middle
from geom.views.words import figures, plain, say_clock, say_span, span

#: Wear of so many mm and more is said in fractions of an inch, less in decimals.
_FRACTIONS = 25.4 / 8.0


def say_wear(mm: float, unit: str) -> str:
    """Wear in the shop's unit and in mm, to about three figures.

    Examples
    --------
    >>> say_wear(12.7, "in")
    '1/2 in (12.7 mm)'
    >>> say_wear(0.254, "in")
    '0.010 in (0.254 mm)'
    >>> say_wear(12.7, "mm")
    '12.7 mm'
    """
    return _both(_short(mm, unit, _coarse(mm)), figures(mm), unit)


def say_wear_interval(wear: Quantity, unit: str) -> str:
    """The 95 % interval of wear, as `say_wear`.

    Examples
    --------
    >>> say_wear_interval(Quantity(12.7, 1.0, 11.1125, 14.2875), "in")
    '7/16 to 9/16 in (11.1 to 14.3 mm)'
    """
    low, high = wear.low95, wear.high95
    coarse = _coarse(low, high)
    short = f"{_short(low, unit, coarse)} to {_short(high, unit, coarse)}"
    return _both(short, f"{figures(low)} to {figures(high)}", unit)


def _both(short: str, mm: str, unit: str) -> str:
    return f"{mm} mm" if unit == "mm" else f"{short} {unit} ({mm} mm)"


def _coarse(*mm: float) -> bool:
    """Whether lengths are told in fractions."""
    return max(abs(part) for part in mm) >= _FRACTIONS


def _short(mm: float, unit: str, coarse: bool) -> str:
    """In the shop's unit, without it."""
    if unit != "in":
        return figures(from_mm(mm, unit))
    if coarse:
        return as_fraction(mm / 25.4, finest=32)
    return _two(mm / 25.4)


def _two(value: float) -> str:
    """Two figures, never an exponent, to no more than four places."""
    places = 1 - int(np.floor(np.log10(max(abs(value), 1e-4))))
    return f"{round(value, min(places, 4)) + 0.0:.{min(places, 4)}f}"


def say_piece(piece: Piece, design: Design) -> str:
    """Which piece of wall: its name, or where it is.

    Examples
    --------
    ``melting zone``; ``18 to 24 in``; ``9 o'clock side``; ``9 o'clock, 18 to 24 in``;
    of several sides together ``sides from half past 8 to half past 11``.
    """
    if piece.name:
        return piece.name
    heights = say_span(piece.height_from, piece.height_to, design)
    side = _side(piece, design)
    return {
        "level": heights,
        "side": f"{side} side" if side.endswith("clock") else f"sides {side}",
        "panel": f"{side}, {heights}",
    }.get(piece.kind, "wall")


def _side(piece: Piece, design: Design) -> str:
    """The hour of one side; from where to where of several."""
    if span(piece) <= 360.0 / HOURS + 1e-6:
        return clock_face(middle(piece), design.azimuth_sense)
    return say_clock(piece, design)


def say_percent(ratio: Quantity) -> tuple[str, str]:
    """How much more or less, and its 95 % interval.

    Examples
    --------
    >>> say_percent(Quantity(0.82, 0.06, 0.70, 0.95))
    ('18 % less', '5 to 30 % less')
    >>> say_percent(Quantity(1.04, 0.06, 0.92, 1.16))
    ('4 % more', '8 % less to 16 % more')
    """
    value, low, high = (
        round(100.0 * (part - 1.0)) for part in (ratio.value, ratio.low95, ratio.high95)
    )
    if low >= 0:
        interval = f"{low} to {high} % more"
    elif high <= 0:
        interval = f"{-high} to {-low} % less"
    else:
        interval = f"{-low} % less to {high} % more"
    return _more(value), interval


def _more(percent: int) -> str:
    return f"{abs(percent)} % {'less' if percent < 0 else 'more'}"


def say_material(volume: Quantity, design: Design) -> tuple[str, str]:
    """Volume for each heat, hour or tonne, and its 95 % interval.

    Examples
    --------
    ``('0.021 ft³ (0.596 L)', '0.018 to 0.024 ft³ (0.51 to 0.68 L)')`` in inches.
    """
    value, low, high = (
        f"{figures(part / LITRE)}"
        for part in (volume.value, volume.low95, volume.high95)
    )
    if design.length_unit != "in":
        return f"{value} L", f"{low} to {high} L"
    feet = [
        f"{part / CUBIC_FOOT:.3g}"
        for part in (volume.value, volume.low95, volume.high95)
    ]
    return (
        f"{feet[0]} ft³ ({value} L)",
        f"{feet[1]} to {feet[2]} ft³ ({low} to {high} L)",
    )


def say_campaign(name: str, lining: str, *, alone: bool = True) -> str:
    """A campaign as it is called; with its furnace where there are two."""
    called = plain(name, most=60) or "without a name"
    return called if alone else f"{called}, {plain(lining, most=60)}"
