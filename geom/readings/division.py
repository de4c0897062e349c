"""How finely a column is written: the step between the values a rod was read to."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from geom.units import spelled_out

_FINEST = 64  # divisions of the inch on a shop rule
_COARSEST = 4
_CHANCE = 1e-3


def finest_division(
    texts: Iterable[str], *, unit: str, decimal_comma: bool = False
) -> Fraction:
    """Find the finest division that a column of numbers is written in.

    Parameters
    ----------
    texts : iterable of str
        Numbers as written, each one that `geom.units.parse_number` reads.
    unit : str
    decimal_comma : bool

    Returns
    -------
    Fraction
        In ``unit``.  Of fractions, one part of the largest denominator; of decimals,
        one of the last place.  Inch decimals that are all quarters, eighths ... 64ths
        count as the fractions they are, unless that could be chance.

    Examples
    --------
    >>> finest_division(["18", "18 3/8", "18 1/2"], unit="in")
    Fraction(1, 8)
    >>> finest_division(["455", "460.5"], unit="mm")
    Fraction(1, 10)
    >>> finest_division(["18.375", "18.5", "18.125"], unit="in")
    Fraction(1, 8)
    """
    spelled = {spelled_out(text, decimal_comma=decimal_comma) for text in texts}
    parts = {int(text.split("/")[1]) for text in spelled if "/" in text}
    decimals = [text for text in spelled if "/" not in text]
    places = max(map(_places, decimals), default=0)
    broken = {value for value in map(Fraction, decimals) if value.denominator > 1}
    if unit == "in" and (parts or not _by_chance(broken, places)):
        written = {value.denominator for value in broken}
        if all(_FINEST % part == 0 for part in written):
            return Fraction(1, max(parts | written | {1}))
    steps = [Fraction(1, part) for part in parts]
    if places or not parts:
        steps.append(Fraction(1, 10**places))
    return min(steps)


def _places(decimal: str) -> int:
    """Count the decimals a number is written with."""
    exponent = Decimal(decimal).as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _by_chance(broken: set[Fraction], places: int) -> bool:
    """Tell whether decimals may be whole parts of an inch without being meant so.

    A number read to ``p`` places is a whole number of ``d``-ths in ``d`` of ``10**p``
    cases.
    """
    finest = max((value.denominator for value in broken), default=1)
    return finest < _COARSEST or (finest / 10**places) ** len(broken) > _CHANCE
