"""Heat, stage, date and amounts as people write them."""

from __future__ import annotations

import re
from datetime import date

from geom.design.spelling import folded, listed
from geom.record.occasion import STAGES, Stage
from geom.units import parse_number

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def heat_in(text: str) -> int:
    """A heat's number.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> heat_in(" 41 ")
    41
    """
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) < 10):
        raise ValueError(f"{text!r} is no heat: a whole number from 0 up")
    return int(plain)


def stage_in(text: str) -> Stage:
    """A stage, with hyphens or blanks.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> stage_in("before-repair")
    'before repair'
    """
    plain = " ".join(folded(text).replace("-", " ").split())
    for stage in STAGES:
        if plain == stage:
            return stage
    raise ValueError(f"{text!r} is no stage: write {listed(STAGES)}")


def day_in(text: str) -> date:
    """A date, year first.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> day_in("2026-03-01")
    datetime.date(2026, 3, 1)
    """
    if _DAY.fullmatch(text.strip()) is None:
        raise ValueError(f"{text!r} is no date: write year-month-day, as 2026-03-01")
    try:
        return date.fromisoformat(text.strip())
    except ValueError as fault:
        raise ValueError(f"{text!r} is no day of the calendar") from fault


def amount_in(text: str, *, decimal_comma: bool = False) -> float:
    """Hours, or a mass without its unit.

    Raises
    ------
    ValueError
        If it is no number from 0 up.
    """
    amount = parse_number(text, decimal_comma=decimal_comma)
    if amount < 0.0:
        raise ValueError(f"{text!r} is less than nothing")
    return amount
