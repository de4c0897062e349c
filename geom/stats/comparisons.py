"""Comparing quantities: differences, ratios, rankings, and changes beyond chance.

MOVER, the method of variance estimates recovery, puts the interval of a difference or
a ratio of independent quantities together from their own intervals.  So one whose
interval is not the normal one (few degrees of freedom, a floor at zero) is not taken
for better known than it is.

References
----------
G. Y. Zou, A. Donner, "Construction of confidence limits about effect measures: a
general approach", Statistics in Medicine 27 (2008) 1693-1702: the difference.
A. Donner, G. Y. Zou, "Closed-form confidence intervals for functions of the normal mean
and standard deviation", Statistical Methods in Medical Research 21 (2012) 347-359: the
ratio; where both intervals are normal it is that of E. C. Fieller, "Some problems in
interval estimation", J. R. Stat. Soc. B 16 (1954) 175-185.
M. Klein, T. Wright, J. Wieczorek, "A joint confidence region for an overall ranking of
populations", J. R. Stat. Soc. C 69 (2020) 589-606: whoever lies wholly above another
stands before it; who overlaps may stand in any order.
Y. Benjamini, Y. Hochberg, "Controlling the false discovery rate", J. R. Stat. Soc. B 57
(1995) 289-300.
Y. Benjamini, D. Yekutieli, "The control of the false discovery rate in multiple testing
under dependency", Annals of Statistics 29 (2001) 1165-1188, theorem 1.2 and section 3.1
(one-sided tests of normal errors that hang together positively).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass

import numpy as np
from numpy.typing import NDArray

from geom.quantity import K95, Quantity
from geom.stats.assumptions import ASSUMED
from geom.units import Float

#: Probabilities less than this are all one: the normal law has no more digits.
_LEAST = 1e-300


@dataclass(frozen=True)
class Rank:
    """Place of one quantity among many, 1 for the greatest.

    Attributes
    ----------
    item : int
        Which of the quantities.
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


def mover_difference(first: Quantity, second: Quantity) -> Quantity:
    """Interval of ``second - first``.

    Examples
    --------
    >>> mover_difference(Quantity.normal(10.0, 3.0), Quantity.normal(8.0, 4.0)).sd
    5.0
    """
    down = np.hypot(second.value - second.low95, first.high95 - first.value)
    up = np.hypot(second.high95 - second.value, first.value - first.low95)
    value = second.value - first.value
    sd = float(np.hypot(first.sd, second.sd))
    return Quantity(value, sd, float(value - down), float(value + up))


def mover_ratio(first: Quantity, second: Quantity) -> Quantity | None:
    """Interval of ``second / first``.

    Returns
    -------
    Quantity or None
        ``sd`` is that of the first order (JCGM 100:2008, 5.1.2).  None where the first
        is not surely above zero: then no ratio is too large to be true.
    """
    if first.low95 <= 0.0 or first.high95 >= 2.0 * first.value:
        return None
    value = second.value / first.value
    sd = float(np.hypot(second.sd, value * first.sd) / first.value)
    small, large = first.low95, first.high95
    if value < 0.0:
        small, large = large, small
    low = _ratio_limit(first.value, second.value, large, second.low95, -1.0)
    high = _ratio_limit(first.value, second.value, small, second.high95, 1.0)
    return Quantity(value, sd, low, high)


def _ratio_limit(
    first: float, second: float, first_end: float, second_end: float, side: float
) -> float:
    """One limit of the ratio, from one end of either interval; ``side`` is its sign."""
    below = first_end * (2.0 * first - first_end)
    room = (first * second) ** 2 - second_end * (2.0 * second - second_end) * below
    return float((first * second + side * np.sqrt(max(room, 0.0))) / below)


def normal_equivalent_sd(value: Float, sd: Float, dof: Float) -> Float:
    """Widen sds with few degrees of freedom so that z has the p-value of Student's t.

    Parameters
    ----------
    value, sd, dof : array, any one shape

    Returns
    -------
    array, same shape

    Examples
    --------
    >>> wider = normal_equivalent_sd(np.array([2.776]), np.array([1.0]), np.array([4]))
    >>> (2.776 / wider).round(2).tolist()
    [1.96]
    """
    from scipy.special import ndtri, stdtr

    t = np.abs(value) / sd
    z = -ndtri(np.maximum(stdtr(dof, -t), _LEAST))
    wider = np.divide(t, z, out=np.ones_like(t), where=z > 0.0)
    return np.asarray(sd * np.where(np.isfinite(wider), wider, 1.0))


def rank_quantities(quantities: Sequence[Quantity]) -> tuple[Rank, ...]:
    """All quantities, the greatest best estimate first, each with its range of places.

    Parameters
    ----------
    quantities : sequence of Quantity
        Their errors may be correlated in any way: intervals are widened by the
        inequality of Bonferroni, which asks nothing of that.

    Examples
    --------
    >>> far, near = Quantity.normal(9.0, 0.1), Quantity.normal(2.0, 1.0)
    >>> [(r.item, r.first, r.last) for r in rank_quantities([near, near, far])]
    [(2, 1, 1), (0, 2, 3), (1, 2, 3)]
    """
    if not quantities:
        return ()
    value, sd, low, high = np.array([astuple(quantity) for quantity in quantities]).T
    low = value - (value - low) * _bonferroni_widening(value - low, sd)
    high = value + (high - value) * _bonferroni_widening(high - value, sd)
    # Axis 0 is the other quantity, axis 1 the one whose place is sought.
    above = (low[:, None] > high[None, :]).sum(axis=0)
    below = (high[:, None] < low[None, :]).sum(axis=0)
    order = np.argsort(-value, kind="stable")
    return tuple(
        Rank(int(i), int(above[i]) + 1, len(quantities) - int(below[i])) for i in order
    )


def _bonferroni_widening(reach: Float, sd: Float) -> Float:
    """How much wider than one interval each must be for all to hold together.

    An interval that reaches further than the normal law's is taken for Student's, with
    the degrees of freedom that reach so far.
    """
    from scipy.special import stdtrit

    dof = np.geomspace(1.0, 1e6, 400)
    alone = stdtrit(dof, 1.0 - 0.5 * ASSUMED.ranking_miss)
    together = stdtrit(dof, 1.0 - 0.5 * ASSUMED.ranking_miss / reach.size)
    times = np.divide(reach, sd, out=np.zeros_like(reach), where=sd > 0.0)
    return np.asarray(np.interp(times, alone[::-1], (together / alone)[::-1]))


def level_of_detection(sd: Float) -> Float:
    """Least change known from none at 95 %; `sd` is its whole uncertainty.

    Unlike in the published formula (Lague and others 2013) what all points of a survey
    share stands under the root with the rest: it is a standard uncertainty too.
    """
    return K95 * sd


def significant(change: Float, sd: Float) -> NDArray[np.int8]:
    """Sign of every change beyond its level of detection, else 0.

    Each by itself: where nothing changed one in twenty is still called.
    """
    beyond = np.abs(change) > level_of_detection(sd)
    return np.where(beyond, np.sign(change), 0.0).astype(np.int8)


def significant_together(change: Float, sd: Float) -> NDArray[np.int8]:
    """Sign of every change that is significant when all are looked at together, else 0.

    Gains and losses are sought in turn, each with half of the rate, by the procedure
    of Benjamini and Hochberg.  It holds for one-sided tests of errors that hang
    together positively, as neighbours' do (Benjamini and Yekutieli).  For an error that
    sets one side against the other there is no theorem, but it holds in the simulations
    of the tests.

    Parameters
    ----------
    change, sd : array (n,) or (m, k)
        NaN where not compared; ``sd`` above 0 elsewhere.

    Returns
    -------
    int8 array, shape of ``change``
        0 also where not compared.
    """
    from scipy.special import ndtr
    from scipy.stats import false_discovery_control

    compared = np.isfinite(change) & (sd > 0.0)
    found = np.zeros(np.shape(change), dtype=np.int8)
    if not compared.any():
        return found
    z = change[compared] / sd[compared]
    for sign in (1, -1):
        p_value = false_discovery_control(ndtr(-sign * z), method="bh")
        found[compared] += (
            sign * (p_value <= 0.5 * ASSUMED.false_discovery_rate)
        ).astype(np.int8)
    return found
