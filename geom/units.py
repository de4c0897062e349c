"""What a length is: units, and numbers as the trade writes them.

Inside the package every length is in millimetres.  Conversion happens once, at the
door; the inch is 25.4 mm exactly (international yard and pound agreement, 1959;
NIST SP 811, appendix B.8).
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]
Int = NDArray[np.int64]

LengthUnit = Literal["in", "mm", "cm", "m"]

#: Square and cubic millimetres in what areas and volumes are stated in; a foot is
#: 304.8 mm exactly.
SQUARE_METRE, SQUARE_FOOT = 1e6, 304.8**2
LITRE, CUBIC_FOOT = 1e6, 304.8**3
#: A US gallon is 231 cubic inches, exactly (NIST Handbook 44, appendix C).
US_GALLON = 231.0 * 25.4**3
#: Kilograms in a pound, exactly (international yard and pound agreement, 1959).
POUND = 0.45359237
#: One mm2 in m2, one mm3 in m3.
M2, M3 = 1e-6, 1e-9

#: Millimetres in one unit, exactly.
MM_PER: dict[str, Fraction] = {
    "in": Fraction(254, 10),
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
}
_SPELLINGS = {
    "in": ("in", "inch", "inches", '"', "\u2033", "''"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
}
#: What people write for them; a point after them does not count.
UNIT_SPELLINGS = {word: unit for unit, words in _SPELLINGS.items() for word in words}
#: Units as a sentence names them.
UNIT_NAMES = {"in": "inches", "mm": "millimetres", "cm": "centimetres", "m": "metres"}

#: Kilograms in one unit, exactly: the pound is 0.45359237 kg (same agreement; NIST SP
#: 811, appendix B.8), a short ton 2000 of them, a long ton 2240.
_POUND = Fraction(45359237, 100_000_000)
KG_PER: dict[str, Fraction] = {
    "t": Fraction(1000),
    "short ton": 2000 * _POUND,
    "long ton": 2240 * _POUND,
    "lb": _POUND,
    "kg": Fraction(1),
}

_VULGAR = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅐": "1/7", "⅑": "1/9", "⅒": "1/10",
    "⅓": "1/3", "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_MINUS = str.maketrans(
    {"\u2212": "-", "\u2044": "/", "\u00a0": " ", "\u2009": " ", "\u202f": " "}
)
_MASS = re.compile(r"(.*?[\d¼-¾⅐-⅞.,])\s*([a-z][a-z ]*)", re.I | re.S)
_LONGEST = 40  # characters; nothing read off a rod is longer
_DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?")
#: Denominators of the trade: halves to sixty-fourths.
_BOTTOMS = {2, 4, 8, 16, 32, 64}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov",
           "dec")  # fmt: skip
#: What a spreadsheet makes of 3/8, saved as CSV: 8-Mar, Mar-08, 2026-03-08, 3/8/2026.
_DAY_MONTH = re.compile(r"(\d{1,2})[-. ]([a-z]{3})[a-z]*\.?(?:[-. ]\d{2,4})?", re.I)
_MONTH_DAY = re.compile(r"([a-z]{3})[a-z]*\.?[-. ](\d{1,2})", re.I)
_ISO_DATE = re.compile(r"\d{4}-(\d\d)-(\d\d)([ T]00:00(:00)?)?")
_DATE = re.compile(r"(\d{1,2})[/.](\d{1,2})[/.]\d{2,4}")
_FRACTION = re.compile(r"([+-]?)(?:(\d+)(?:\s+|-))?(\d+)\s*/\s*(\d+)")


def parse_number(
    text: str, *, decimal_comma: bool = False, ratio: bool = False
) -> float:
    """A number as written: a decimal or a trade fraction.

    Parameters
    ----------
    text : str
        ``18.375``, ``18 3/8``, ``18-3/8``, ``18⅜``, ``3/8``, ``-1/4``.
    decimal_comma : bool
        Read ``18,375`` as eighteen and three eighths.
    ratio : bool
        Allow any fraction; of a length, only those that a rule is divided in.

    Returns
    -------
    float
        Its value.

    Raises
    ------
    ValueError
        If the text is not such a number, or is not finite.

    Examples
    --------
    >>> parse_number("18 3/8")
    18.375
    >>> parse_number("-1/4")
    -0.25
    """
    plain = spelled_out(text, decimal_comma=decimal_comma)
    if len(plain) > _LONGEST:
        raise ValueError(f"{plain[:_LONGEST]!r}... is too long to be a number here")
    if _DECIMAL.fullmatch(plain):
        value = float(plain)
        if not np.isfinite(value):
            raise ValueError(f"{text!r} is too large to be a number here")
        return value
    if (parts := _FRACTION.fullmatch(plain)) is None:
        raise ValueError(f"{text!r} is not a number")
    minus, whole, top, bottom = parts.groups()
    if int(bottom) == 0:
        raise ValueError(f"{text!r} divides by zero")
    if not ratio and (int(bottom) not in _BOTTOMS or int(top) >= int(bottom)):
        raise ValueError(
            f"{text!r} is not a fraction of the trade: halves to sixty-fourths, each "
            "less than a whole"
        )
    exact = Fraction(int(whole or 0)) + Fraction(int(top), int(bottom))
    return float(-exact if minus == "-" else exact)


def fractions_of_date(text: str) -> list[str]:
    """The fractions of the trade that a spreadsheet may have made a date of.

    Examples
    --------
    >>> fractions_of_date("8-Mar"), fractions_of_date("2026-02-04")
    (['3/8'], ['2/4'])
    """
    if parts := _DAY_MONTH.fullmatch(text):
        day, month = parts[1], _month(parts[2])
    elif parts := _MONTH_DAY.fullmatch(text):
        day, month = parts[2], _month(parts[1])
    elif parts := _ISO_DATE.fullmatch(text) or _DATE.fullmatch(text):
        day, month = parts[2], int(parts[1])
    else:
        return []
    ways = (f"{month}/{int(day)}", f"{int(day)}/{month}") if month else ()
    return [way for way in ways if _is_fraction(way)]


def _month(word: str) -> int:
    word = word.lower()
    return _MONTHS.index(word) + 1 if word in _MONTHS else 0


def _is_fraction(text: str) -> bool:
    try:
        return parse_number(text) < 1.0
    except ValueError:
        return False


def spelled_out(text: str, *, decimal_comma: bool = False) -> str:
    """Spell a written number in plain signs; whether it is one is not asked.

    Examples
    --------
    >>> spelled_out(" −18⅜ ")
    '-18 3/8'
    >>> spelled_out("18,375", decimal_comma=True)
    '18.375'
    """
    plain = text.translate(_MINUS).strip()
    for sign, spelled in () if plain.isascii() else _VULGAR.items():
        plain = re.sub(rf"(\d)\s*-?\s*{sign}", rf"\1 {spelled} ", plain)
        plain = plain.replace(sign, f"{spelled} ")
    if decimal_comma and "." not in plain and plain.count(",") == 1:
        plain = plain.replace(",", ".")
    return plain.strip()


def unit_named(text: str) -> str:
    """The unit of length that a word names; empty if it names none.

    Examples
    --------
    >>> unit_named("Inches"), unit_named("mm."), unit_named("ft")
    ('in', 'mm', '')
    """
    return UNIT_SPELLINGS.get(text.strip().rstrip(".").lower(), "")


def to_mm(value: float, unit: str) -> float:
    """A length in millimetres.

    Examples
    --------
    >>> to_mm(1.25, "in")
    31.75
    """
    return float(value) * float(MM_PER[unit])


def from_mm(value: float, unit: str) -> float:
    """A length of ``value`` millimetres in another unit."""
    return float(value) / float(MM_PER[unit])


def parse_mass(text: str) -> tuple[float, str]:
    """A mass as written, number and unit: in kilograms, and that unit.

    Parameters
    ----------
    text : str
        Unit ``t``, ``short ton``, ``long ton``, ``lb`` or ``kg``; a bare ton is not
        stated which.

    Raises
    ------
    ValueError
        If the number is none, or the unit is missing or none of these.

    Examples
    --------
    >>> parse_mass("12 short tons")
    (10886.21688, 'short ton')
    >>> parse_mass("1/2 t")
    (500.0, 't')
    """
    units = ", ".join(KG_PER)
    if (parts := _MASS.fullmatch(text.strip())) is None:
        raise ValueError(f"{text!r} is not a number and a unit of mass: {units}")
    number, written = parts.groups()
    unit = " ".join(written.lower().split())
    unit = unit if unit in KG_PER else unit.removesuffix("s")
    if unit not in KG_PER:
        raise ValueError(f"{written!r} is no unit of mass here: write {units}")
    return float(Fraction(parse_number(number)) * KG_PER[unit]), unit


def as_fraction(inches: float, *, finest: int = 8) -> str:
    """Inches as the shop says them, rounded to ``1/finest`` (a power of two).

    Examples
    --------
    >>> as_fraction(1.2501)
    '1 1/4'
    >>> as_fraction(-0.38)
    '-3/8'
    >>> as_fraction(0.01)
    '0'
    """
    steps = round(abs(inches) * finest)
    whole, rest = divmod(steps, finest)
    words = [str(whole)] if whole or not rest else []
    if rest:
        part = Fraction(rest, finest)
        words.append(f"{part.numerator}/{part.denominator}")
    return ("-" if inches < 0 and steps else "") + " ".join(words)


def say_length(mm: float, unit: str, *, finest: int = 8) -> str:
    """A length in the shop's own unit: fractions of an inch, else decimals.

    Examples
    --------
    >>> say_length(31.75, "in")
    '1 1/4 in'
    >>> say_length(31.75, "mm")
    '32 mm'
    """
    value = from_mm(mm, unit)
    if unit == "in":
        return f"{as_fraction(value, finest=finest)} in"
    digits = {"mm": 0, "cm": 1, "m": 3}[unit]
    return f"{round(value, digits) + 0.0:.{digits}f} {unit}"


def say_both(mm: float, unit: str, *, finest: int = 8) -> str:
    """A length in the shop's unit and in millimetres.

    Examples
    --------
    >>> say_both(31.75, "in")
    '1 1/4 in (32 mm)'
    >>> say_both(31.75, "mm")
    '32 mm'
    """
    text = say_length(mm, unit, finest=finest)
    return text if unit == "mm" else f"{text} ({say_length(mm, 'mm')})"
