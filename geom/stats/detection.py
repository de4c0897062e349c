"""Which of many changes are beyond chance, one by one and all together.

References
----------
Y. Benjamini, Y. Hochberg, "Controlling the false discovery rate", J. R. Stat. Soc. B 57
(1995) 289-300.
Y. Benjamini, D. Yekutieli, "The control of the false discovery rate in multiple testing
under dependency", Annals of Statistics 29 (2001) 1165-1188, theorem 1.2 and section 3.1
(one-sided tests of normal errors that hang together positively).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from geom.quantity import K95
from geom.units import Float

#: Of what is called significant, this share may be false, on average.
FALSE_DISCOVERY_RATE = 0.05


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


def significant_together(
    change: Float, sd: Float, *, rate: float = FALSE_DISCOVERY_RATE
) -> NDArray[np.int8]:
    """Sign of every change that is significant when all are looked at together, else 0.

    Gains and losses are sought in turn, each with half of ``rate``, by the procedure
    of Benjamini and Hochberg.  It holds for one-sided tests of errors that hang
    together positively, as neighbours' do (Benjamini and Yekutieli).  For an error that
    sets one side against the other there is no theorem, but it holds in the simulations
    of the tests.

    Parameters
    ----------
    change, sd : array (n,) or (m, k)
        NaN where not compared; ``sd`` above 0 elsewhere.
    rate : float
        Mean share of what is called that may be false.

    Returns
    -------
    int8 array, shape of ``change``
        0 also where not compared.
    """
    from scipy.stats import false_discovery_control

    compared = np.isfinite(change) & (sd > 0.0)
    found = np.zeros(np.shape(change), dtype=np.int8)
    if not compared.any():
        return found
    z = change[compared] / sd[compared]
    for sign in (1, -1):
        p_value = false_discovery_control(ndtr(-sign * z), method="bh")
        found[compared] += (sign * (p_value <= 0.5 * rate)).astype(np.int8)
    return found
