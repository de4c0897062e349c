"""Rates of wear and the life that is left, as in pressure-equipment practice.

From the thickness of a wall at first, at the survey before and now:

    long-term rate  = (initial - actual) / time between the two
    short-term rate = (previous - actual) / time between the two
    remaining life  = (actual - required) / governing rate

The greater of the two rates governs, and the wall is looked at again within half of
the life.  Thickness and time may be in any units, the same throughout; here time is
counted in heats.

These are plain numbers, as that practice has them, without an uncertainty:
`geom.record.forecast` takes the rule over and gives it one.

References
----------
API 510 and API 570 (inspection of pressure vessels and of piping), formulas for
corrosion rate, remaining life and inspection interval, as quoted in published training
notes; worked values in ``tests/published/test_remaining_life.py``.  The greatest
interval that those codes allow besides is theirs, for steel, and is not taken over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from geom.errors import InputError

Governs = Literal["long-term", "short-term"]

#: What the rule is called wherever it is told.
RULE = "greater of long- and short-term rate (as in pressure-equipment practice)"
#: The wall is surveyed again within this part of the life that is left.
PART = 0.5


@dataclass(frozen=True)
class RemainingLife:
    """Life of a wall by its governing rate.

    Attributes
    ----------
    rate : float
        That governs, thickness lost in a unit of time.
    governs : {'long-term', 'short-term'}
    life : float
        Time until no more than the required thickness is left: 0 where it is not left
        now, inf where the wall does not wear.
    interval : float
        Time within which to look again.
    """

    rate: float
    governs: Governs
    life: float
    interval: float


def rate_between(before: float, actual: float, *, over: float) -> float:
    """Thickness lost in a unit of time.

    Parameters
    ----------
    before, actual : float
        Thickness at first (long-term) or at the survey before (short-term), and now.
    over : float
        Time between the two.

    Examples
    --------
    >>> rate_between(12.0, 10.0, over=5.0)
    0.4
    """
    if not over > 0.0:
        raise InputError(
            f"time {over:g} between two surveys is not greater than 0",
            cure="Give the time from the earlier survey to the later",
        )
    return (before - actual) / over


def governing(long_term: float, short_term: float | None) -> Governs:
    """Which rate governs: the greater; long-term where they are equal or one is none.

    Examples
    --------
    >>> governing(0.005, 0.010)
    'short-term'
    """
    if short_term is None or not short_term > long_term:
        return "long-term"
    return "short-term"


def remaining_life(
    actual: float,
    required: float,
    *,
    long_term: float,
    short_term: float | None = None,
) -> RemainingLife:
    """Life that is left of a wall.

    Parameters
    ----------
    actual, required : float
        Thickness now, and the least there must be.
    long_term, short_term : float
        Rates; of one survey only there is no short-term rate.

    Examples
    --------
    >>> remaining_life(10.0, 7.0, long_term=0.4, short_term=0.5).life
    6.0
    """
    governs = governing(long_term, short_term)
    rate = long_term
    if governs == "short-term" and short_term is not None:
        rate = short_term
    if actual <= required:
        life = 0.0
    else:
        life = (actual - required) / rate if rate > 0.0 else math.inf
    return RemainingLife(rate, governs, life, PART * life)
