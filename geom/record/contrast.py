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
"""

from __future__ import annotations

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
