"""Two amounts known independently, beside each other: how much more, how many times.

Both intervals are put together from the two amounts' own intervals, so that an amount
whose interval is not the normal one (few spells, a floor at nothing) is not taken for
better known than it is.

References
----------
G. Y. Zou, A. Donner, "Construction of confidence limits about effect measures: a
general approach", Statistics in Medicine 27 (2008) 1693-1702: the difference.
A. Donner, G. Y. Zou, "Closed-form confidence intervals for functions of the normal mean
and standard deviation", Statistical Methods in Medical Research 21 (2012) 347-359: the
ratio; where both intervals are normal it is that of E. C. Fieller, "Some problems in
interval estimation", J. R. Stat. Soc. B 16 (1954) 175-185.

Places in a ranking, as far as they are settled.

References
----------
M. Klein, T. Wright, J. Wieczorek, "A joint confidence region for an overall ranking of
populations", J. R. Stat. Soc. C 69 (2020) 589-606: whoever lies wholly above another
stands before it; who overlaps may stand in any order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.quantity import Quantity
from geom.units import Float

#: Chances less than this are all one: the normal law has no more to tell.
_LEAST = 1e-300


def difference(one: Quantity, other: Quantity) -> Quantity:
    """How much more the other is: ``other - one``.

    Examples
    --------
    >>> both = Quantity.normal(10.0, 3.0), Quantity.normal(8.0, 4.0)
    >>> difference(*both).sd
    5.0
    """
    down = np.hypot(other.value - other.low95, one.high95 - one.value)
    up = np.hypot(other.high95 - other.value, one.value - one.low95)
    value = other.value - one.value
    sd = float(np.hypot(one.sd, other.sd))
    return Quantity(value, sd, float(value - down), float(value + up))


def ratio(one: Quantity, other: Quantity) -> Quantity | None:
    """How many times the one the other is: ``other / one``.

    Returns
    -------
    Quantity or None
        ``sd`` is that of the first order (JCGM 100:2008, 5.1.2).  None where the one is
        not surely more than nothing: then no ratio is too large to be true.
    """
    if one.low95 <= 0.0 or one.high95 >= 2.0 * one.value:
        return None
    value = other.value / one.value
    sd = float(np.hypot(other.sd, value * one.sd) / one.value)
    small, large = one.low95, one.high95
    if value < 0.0:
        small, large = large, small
    low = _limit(one.value, other.value, large, other.low95, -1.0)
    high = _limit(one.value, other.value, small, other.high95, 1.0)
    return Quantity(value, sd, low, high)


def _limit(one: float, other: float, against: float, end: float, side: float) -> float:
    """One end of the ratio's interval, from one end of each amount's."""
    below = against * (2.0 * one - against)
    room = (one * other) ** 2 - end * (2.0 * other - end) * below
    return float((one * other + side * np.sqrt(max(room, 0.0))) / below)


def student(value: float, sd: float, freedom: int) -> Quantity:
    """A value whose sd is itself judged from few: Student's 95 % interval.

    References
    ----------
    JCGM 100:2008, G.3: the t-distribution.

    Examples
    --------
    >>> round(student(0.0, 1.0, 4).high95, 3)
    2.776
    """
    from scipy.special import stdtrit

    reach = sd * float(stdtrit(freedom, 0.975))
    return Quantity(value, sd, value - reach, value + reach)


def as_normal(value: Float, sd: Float, freedom: Float) -> Float:
    """Widen an sd that is judged from few so that the normal law calls as Student's.

    Parameters
    ----------
    value, sd : array, any shape
    freedom : array, same shape

    Returns
    -------
    array, same shape
        ``value`` is as many of it from zero as makes the chance the same.

    Examples
    --------
    >>> few = as_normal(np.array([2.776]), np.array([1.0]), np.array([4.0]))
    >>> (2.776 / few).round(2).tolist()
    [1.96]
    """
    from scipy.special import ndtri, stdtr

    away = np.abs(value) / sd
    normal = -ndtri(np.maximum(stdtr(freedom, -away), _LEAST))
    wider = np.divide(away, normal, out=np.ones_like(away), where=normal > 0.0)
    return np.asarray(sd * np.where(np.isfinite(wider), wider, 1.0))


#: Chance that any of all intervals misses.
_MISS = 0.05


@dataclass(frozen=True)
class Rank:
    """One amount's place, 1 for the greatest.

    Attributes
    ----------
    item : int
        Which of the amounts.
    first, last : int
        Between which places it stands; all ranges of a ranking hold together in 95 of
        100 cases.
    """

    item: int
    first: int
    last: int

    @property
    def settled(self) -> bool:
        """Whether there is one place it can stand at."""
        return self.first == self.last


def ranked(amounts: Sequence[Quantity]) -> tuple[Rank, ...]:
    """All amounts, the greatest best estimate first, each with its range of places.

    Parameters
    ----------
    amounts : sequence of Quantity
        Their errors may hang together in any way: intervals are widened by the
        inequality of Bonferroni, which asks nothing of that.

    Examples
    --------
    >>> far, near = Quantity.normal(9.0, 0.1), Quantity.normal(2.0, 1.0)
    >>> [(r.item, r.first, r.last) for r in ranked([near, near, far])]
    [(2, 1, 1), (0, 2, 3), (1, 2, 3)]
    """
    if not amounts:
        return ()
    value, sd, low, high = np.array([_parts(one) for one in amounts]).T
    low = value - (value - low) * _wider(value - low, sd)
    high = value + (high - value) * _wider(high - value, sd)
    above = (low[:, None] > high[None, :]).sum(axis=0)
    below = (high[:, None] < low[None, :]).sum(axis=0)
    order = np.argsort(-value, kind="stable")
    return tuple(
        Rank(int(i), int(above[i]) + 1, len(amounts) - int(below[i])) for i in order
    )


def _parts(one: Quantity) -> tuple[float, float, float, float]:
    return one.value, one.sd, one.low95, one.high95


def _wider(reach: Float, sd: Float) -> Float:
    """How much wider than one interval each must be for all to hold together.

    An interval that reaches further than the normal law's is taken for Student's, with
    the degrees of freedom that reach so far.
    """
    from scipy.special import stdtrit

    freedom = np.geomspace(1.0, 1e6, 400)
    alone = stdtrit(freedom, 1.0 - 0.5 * _MISS)
    together = stdtrit(freedom, 1.0 - 0.5 * _MISS / reach.size)
    times = np.divide(reach, sd, out=np.zeros_like(reach), where=sd > 0.0)
    return np.asarray(np.interp(times, alone[::-1], (together / alone)[::-1]))
