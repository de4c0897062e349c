"""Places in a ranking, as far as they are settled.

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
