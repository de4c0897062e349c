"""How the value of a key of the design file is read.

A reader takes what TOML gave and the file's length unit, and returns the value in
millimetres or degrees; it raises an `InputError` without a place, which the table adds.
Bounds keep slips of unit out; they are our own choice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from geom.design.drawing import HOLE_KINDS
from geom.design.text_file import join_words, like_words
from geom.errors import InputError
from geom.frame import clock_hours
from geom.units import parse_number, to_mm

Reader = Callable[[object, str], object]
NumberReader = Callable[[object, str], float]

_NUMBER = 'Write a number such as 18.5, or a fraction in quotes: "18 1/2"'
_MAX_WORDS = 200  # characters
_MAX_LENGTH = 1e5  # mm; sums of such lengths cannot overflow
_LEAST_LENGTH = 1e-3  # mm; no rod, scanner or brick is as fine
_MOST_HOLDS = 12
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
    """Read what kind of hole it is, in words; a tuyere has its own table.

    What is nearly the name of a known kind is asked about: as another kind it would
    be left out of the bottom, the order and the recheck without a word.
    """
    kind = words(value, unit)
    like = like_words(
        kind, ("tuyere", "tuy\N{LATIN SMALL LETTER E WITH GRAVE}re", *HOLE_KINDS)
    )
    if like in HOLE_KINDS:
        if " ".join(kind.lower().split()) == like:
            return like
        what = f'the kind "{kind}" is nearly "{like}", and is not it'
        cure = f'Write kind = "{like}" if it is one, else words less like it'
        raise InputError(what, cure=cure)
    if like:
        what = f'a hole of kind "{kind}" is not written as a hole'
        raise InputError(what, cure="Write it under [[tuyere]], without kind")
    return kind


def clock(value: object, _unit: str) -> float:
    """Read a place on the clock laid on the furnace; hours, 0 <= hours < 12."""
    cure = 'Write the hour: 3, "3:30", "3 1/2" or "half past 3"'
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise InputError(f"{shown(value)} is no hour of a clock", cure=cure)
    try:
        return clock_hours(str(value))
    except ValueError as fault:
        what = f"{shown(value)} is no hour of a clock"
        raise InputError(what, cure=cure) from fault


@dataclass(frozen=True)
class OneOf:
    """A reader of one of a few words; ``spellings`` are other ways to write them."""

    allowed: tuple[str, ...]
    spellings: Mapping[str, str] = field(default_factory=dict)

    def __call__(self, value: object, _unit: str) -> str:
        """Read the word as it must be written."""
        if isinstance(value, str) and value in self.allowed:
            return value
        cure = "Write " + join_words(f'"{word}"' for word in self.allowed)
        raise InputError(f"{shown(value)} is not allowed here", cure=cure)

    def plain(self, value: object) -> object:
        """The allowed word that another spelling stands for, else the value itself."""
        if not isinstance(value, str):
            return value
        word = value.strip().rstrip(".").lower().replace("-", "")
        found = {**self.spellings, **{one: one for one in self.allowed}}
        return found.get(word, value)


def one_of(*allowed: str) -> OneOf:
    """Make a reader of one of a few words, in capitals or not."""
    return OneOf(allowed)


#: How directions and units are written besides.
SENSES = {
    "cw": "clockwise",
    **dict.fromkeys(("ccw", "acw", "anticlockwise"), "counterclockwise"),
}


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


_hot = amount(50.0, 1600.0, "degC", cure="Write degrees Celsius: 250 degF are 120")
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


def whole(low: int, high: int, *, cure: str) -> Callable[[object, str], int]:
    """Make a reader of how many there are: a whole number, ``low`` to ``high``."""
    between = f"{low} to {'a million' if high == 10**6 else high}"
    what = f"{{}} is not a whole number from {between}"
    read = _where(lambda n: n == np.floor(n) and low <= n <= high, what, cure)
    return lambda value, unit: int(read(value, unit))


def rising_temperatures(value: object, unit: str) -> tuple[float, ...]:
    """Read a list of temperatures, degC, each higher than the one before it."""
    cure = "Write them rising, in degrees Celsius: hold_at = [120, 260, 370, 540]"
    if not isinstance(value, list) or not 1 <= len(value) <= _MOST_HOLDS:
        what = f"{shown(value)} is not a list of 1 to {_MOST_HOLDS} temperatures"
        raise InputError(what, cure=cure)
    found = tuple(_hot(each, unit) for each in value)
    if any(second <= first for first, second in pairwise(found)):
        raise InputError("the temperatures do not rise", cure=cure)
    return found


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
