"""What a direction is: azimuth and its sense, and the way to cartesian.

Right-handed, z up along the design axis, +x through azimuth 0.  Azimuth is in degrees,
0 <= azimuth < 360, and grows clockwise or counterclockwise *seen from above*, as the
design file says.
"""

from __future__ import annotations

import re
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from geom.units import Float, parse_number

Sense = Literal["clockwise", "counterclockwise"]

_HALF_PAST = re.compile(r"half\s+past\s+(\d{1,2})", re.I)
_HOUR_MINUTE = re.compile(r"(\d{1,2}):([0-5]\d)")
_OCLOCK = re.compile(r"\s*o['\N{RIGHT SINGLE QUOTATION MARK}]?\s*clock$", re.I)


def wrap(azimuth: ArrayLike) -> Float:
    """Azimuth brought into [0, 360), degrees; any shape."""
    turned = np.mod(np.asarray(azimuth, dtype=np.float64), 360.0)
    return np.where(turned >= 360.0, 0.0, turned)


def turn(start: ArrayLike, end: ArrayLike) -> Float:
    """The shorter turn from one azimuth to another, in [-180, 180), degrees."""
    gap = np.asarray(end, dtype=np.float64) - np.asarray(start, dtype=np.float64)
    return wrap(gap + 180.0) - 180.0


def to_cartesian(
    azimuth: ArrayLike, radius: ArrayLike, height: ArrayLike, sense: Sense
) -> Float:
    """Points of the wall in the cartesian frame.

    Parameters
    ----------
    azimuth : array, degrees
    radius, height : array, mm
        Broadcast against ``azimuth``.
    sense : {'clockwise', 'counterclockwise'}
        Which way azimuth grows, seen from above.

    Returns
    -------
    array, broadcast shape + (3,), mm

    Examples
    --------
    >>> to_cartesian(90.0, 100.0, 5.0, "clockwise").round(6) + 0.0
    array([   0., -100.,    5.])
    """
    a, r, z = np.broadcast_arrays(
        np.deg2rad(np.asarray(azimuth, dtype=np.float64)),
        np.asarray(radius, dtype=np.float64),
        np.asarray(height, dtype=np.float64),
    )
    hand = -1.0 if sense == "clockwise" else 1.0
    return np.stack([r * np.cos(a), hand * r * np.sin(a), z], axis=-1)


def clock_face(azimuth: float, sense: Sense) -> str:
    """Where an azimuth is on a clock laid on the furnace, seen from above.

    Azimuth 0 is 12 o'clock; to half an hour.

    Examples
    --------
    >>> clock_face(90.0, "clockwise")
    "3 o'clock"
    >>> clock_face(90.0, "counterclockwise")
    "9 o'clock"
    >>> clock_face(46.0, "clockwise")
    'half past 1'
    """
    onward = float(wrap(azimuth if sense == "clockwise" else -azimuth))
    halves = round(onward / 15.0) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"


def clock_time(azimuth: float, sense: Sense) -> str:
    """Where an azimuth is on a clock laid on the furnace, to two degrees: h:mm.

    Examples
    --------
    >>> clock_time(105.0, "clockwise"), clock_time(105.0, "counterclockwise")
    ('3:30', '8:30')
    """
    onward = float(wrap(azimuth if sense == "clockwise" else -azimuth))
    hours, minutes = divmod(round(2.0 * onward) % 720, 60)
    return f"{hours or 12}:{minutes:02d}"


def clock_hours(text: str) -> float:
    """Hours of the clock laid on the furnace, as written: 0 <= hours < 12.

    Raises
    ------
    ValueError
        If it is no such hour.

    Examples
    --------
    >>> [clock_hours(t) for t in ("3", "3:30", "3 1/2", "3 o'clock", "half past 3")]
    [3.0, 3.5, 3.5, 3.0, 3.5]
    >>> clock_hours("12:15")
    0.25
    """
    plain = _OCLOCK.sub("", text.strip())
    if (half := _HALF_PAST.fullmatch(plain)) is not None:
        hours = float(half[1]) + 0.5
    elif (parts := _HOUR_MINUTE.fullmatch(plain)) is not None:
        hours = float(parts[1]) + float(parts[2]) / 60.0
    else:
        hours = parse_number(plain)
    if not 0.0 <= hours < 13.0:
        raise ValueError(f"{text!r} is no hour of a clock")
    return hours % 12.0


def azimuth_of_clock(hours: float, sense: Sense) -> float:
    """Azimuth of an hour: 12 is azimuth 0, hours grow clockwise seen from above.

    Examples
    --------
    >>> azimuth_of_clock(3.5, "clockwise"), azimuth_of_clock(3.5, "counterclockwise")
    (105.0, 255.0)
    """
    turned = 30.0 * hours
    return float(wrap(turned if sense == "clockwise" else -turned))
