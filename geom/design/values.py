"""How the value of a key of a design file is read.

A reader takes what TOML gave and the file's length unit, and returns the value in
millimetres or degrees; it raises an `InputError` without a place, which the caller
adds.  Bounds keep slips of unit out; they are our own choice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from geom.design.text_file import join_words
from geom.errors import InputError
from geom.units import parse_number, to_mm

Reader = Callable[[object, str], object]
NumberReader = Callable[[object, str], float]

_NUMBER = 'Write a number such as 18.5, or a fraction in quotes: "18 1/2"'
_MAX_WORDS = 200  # characters
_MAX_LENGTH = 1e5  # mm; sums of such lengths cannot overflow
_LEAST_LENGTH = 1e-3  # mm; no rod, scanner or brick is as fine
_LEAST_ANGLE = 1e-4  # degrees; 2 micrometres at a radius of 1.2 m


def words(value: object, _unit: str) -> str:
    """Read words: one line, not empty."""
    if not isinstance(value, str):
        what = f"{shown(value)} where words in quotes belong"
        raise InputError(what, cure='Write words in quotes, such as "tap hole"')
    text = value.strip()
    if not text or not text.isprintable() or len(text) > _MAX_WORDS:
        short = f"one line of 1 to {_MAX_WORDS} characters"
        raise InputError(f"{shown(value)} is not {short}", cure="Write words in quotes")
    return text


def hole_kind(value: object, unit: str) -> str:
    """Read what kind of hole it is, in words; a tuyere has its own table."""
    kind = words(value, unit)
    if kind.lower() in ("tuyere", "tuyère"):
        what = f'a hole of kind "{kind}" is not written as a hole'
        raise InputError(what, cure="Write it under [[tuyere]], without kind")
    return kind


def one_of(*allowed: str) -> Reader:
    """Make a reader of one of a few words."""

    def read(value: object, _unit: str) -> str:
        if isinstance(value, str) and value in allowed:
            return value
        cure = "Write " + join_words(f'"{word}"' for word in allowed)
        raise InputError(f"{shown(value)} is not allowed here", cure=cure)

    return read


def number(value: object, _unit: str, *, ratio: bool = True) -> float:
    """Read a finite number, or a fraction in quotes."""
    if isinstance(value, str):
        try:
            return parse_number(value, ratio=ratio)
        except ValueError as fault:
            raise InputError(str(fault), cure=_NUMBER) from fault
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{shown(value)} is not a number", cure=_NUMBER)
    try:
        found = float(value)
    except OverflowError:
        found = np.inf
    if not np.isfinite(found):
        raise InputError(f"{shown(value)} is not a finite number", cure=_NUMBER)
    return found


def length(value: object, unit: str) -> float:
    """Read a length; mm."""
    found = to_mm(number(value, unit, ratio=False), unit)
    if abs(found) > _MAX_LENGTH:
        what = f"{shown(value)} {unit} is no length of a furnace"
        raise InputError(what, cure="Check the number, and length_unit in [lining]")
    return found


def _where(
    holds: Callable[[float], bool], what: str, cure: str, of: NumberReader = number
) -> NumberReader:
    """Make a reader of a number for which something holds.

    Parameters
    ----------
    holds : callable
        Whether a number is allowed.
    what : str
        What is wrong where it is not; ``{}`` stands for the value as written.
    cure : str
        What to do about it.
    of : reader
        Reads the number.
    """

    def read(value: object, unit: str) -> float:
        found = of(value, unit)
        if not holds(found):
            raise InputError(what.format(shown(value)), cure=cure)
        return found

    return read


def amount(low: float, high: float, unit: str, *, cure: str) -> NumberReader:
    """Make a reader of a number in a unit of its own, ``low`` to ``high``."""
    between = f"{low:.6g} to {high:.6g} {unit}".strip()
    return _where(lambda x: low <= x <= high, f"{{}} is not in {between}", cure)


positive_length = _where(
    lambda mm: mm >= _LEAST_LENGTH,
    "{} is not greater than 0, by a thousandth of a millimetre at least",
    "Write a length greater than 0",
    length,
)
length_from_zero = _where(
    lambda mm: mm >= 0.0, "{} is less than 0", "Write a length of 0 or more", length
)
azimuth = _where(
    lambda deg: 0.0 <= deg < 360.0,
    "azimuth {} is not in 0 <= azimuth < 360 degrees",
    "Count it from azimuth 0, the way azimuth_sense says",
)
small_angle = _where(
    lambda deg: _LEAST_ANGLE <= deg <= 10.0,
    "angle {} is not over 0, by 0.0001 at least, and at most 10 degrees",
    "It is a standard uncertainty, in degrees",
)
azimuth_step = _where(
    lambda deg: 1.0 <= deg <= 120.0,
    "step {} is not in 1 to 120 degrees",
    "Write how far apart directions are, in degrees",
)
fall = _where(
    lambda slope: 0.0 < slope <= 0.25,
    "fall {} is not over 0 and at most 1/4",
    'Write height over distance: 3/4 in to the foot is "1/16"',
)
share = _where(
    lambda part: 0.0 <= part < 1.0,
    "share {} is not 0 or more and less than 1",
    "Write a share of one: 5 in a hundred is 0.05",
)
_whole_number = _where(
    lambda n: n == np.floor(n) and 0.0 <= n <= 1e6,
    "{} is not a whole number from 0 to a million",
    "Count whole ones; leave the key out if not known",
)


def count(value: object, unit: str) -> int:
    """Read how many there are: a whole number, 0 to a million."""
    return int(_whole_number(value, unit))


def shown(value: object) -> str:
    """Show a TOML value again, shortly, as it was written."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    try:
        text = f'"{value}"' if isinstance(value, str) else str(value)
    except ValueError:  # an integer of thousands of digits
        return "a very long integer"
    text = text.encode("unicode_escape").decode() if not text.isprintable() else text
    return text if len(text) <= 60 else f"{text[:60]}..."
