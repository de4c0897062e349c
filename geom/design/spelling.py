"""Which known word a person most likely meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(word: str, known: Iterable[str]) -> str:
    """Name the known word nearest in spelling; there is always one.

    Examples
    --------
    >>> nearest("Radios", ["height", "radius"])
    'radius'
    """
    by_lower = {name.lower(): name for name in known}
    found = get_close_matches(word.lower(), list(by_lower), n=1, cutoff=0.0)
    return by_lower[found[0]]


def folded(name: str) -> str:
    """Fold a name so that capitals and blanks around it do not matter.

    Examples
    --------
    >>> folded(" Tap Hole")
    'tap hole'
    """
    return name.strip().casefold()


def listed(words: Iterable[str], *, last: str = "or") -> str:
    """Put words in a row as a sentence does.

    Examples
    --------
    >>> listed(["in", "mm", "cm"])
    'in, mm or cm'
    """
    *before, end = words
    return f"{', '.join(before)} {last} {end}" if before else end
