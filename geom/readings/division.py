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
    decimals = {Decimal(text) for text in spelled if "/" not in text}
    broken = {value for value in decimals if value % 1}
    if unit == "in" and broken and (binary := _as_parts(broken, bool(parts))):
        return Fraction(1, max(binary, *parts, 1))
    places = max((_places(value) for value in decimals), default=0)
    steps = [Fraction(1, part) for part in parts]
    if not parts or places > 0:
        steps.append(Fraction(1, 10) ** places)
    return min(steps)


def _places(value: Decimal) -> int:
    """Count the decimals a number is written with."""
    exponent = value.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _as_parts(broken: set[Decimal], with_fractions: bool) -> int:
    """Find the division of the inch that decimals stand for; 0 if they are decimals.

    A decimal read to ``p`` places is a ``d``-th by chance in ``d`` of ``10**p`` cases.
    """
    largest = max(Fraction(value).denominator for value in broken)
    if _FINEST % largest:
        return 0
    chance = (largest / 10 ** max(map(_places, broken))) ** len(broken)
    sure = largest >= _COARSEST and chance < _CHANCE
    return largest if sure or with_fractions else 0
