"""How large a change has to be before two surveys can tell it.

References
----------
D. Lague, N. Brodu, J. Leroux, "Accurate 3D comparison of complex topography with
terrestrial laser scanner: application to the Rangitikei canyon (N-Z)", ISPRS Journal of
Photogrammetry and Remote Sensing 82 (2013) 10-26: the level of detection.
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

#: As the formula is printed.
_K95 = 1.96
#: Of what is called shown, this share may be false, on average over surveys.
FALSE = 0.05


def level_of_detection(
    spread: Float | float,
    count: Float | float,
    other_spread: Float | float,
    other_count: Float | float,
    registration: Float | float,
) -> Float:
    """Level of detection at 95 % between two sets of points, as published.

    Parameters
    ----------
    spread, other_spread : array, mm
        Standard deviation of the points of each survey about their mean.
    count, other_count : array
        How many points that mean is of.
    registration : array, mm
        Standard uncertainty of how the two surveys lie to each other.  It is the same
        for all points, so it is added and not put under the root.

    Returns
    -------
    array, mm
        A change beyond it, to either side, is told from none.

    Examples
    --------
    >>> round(float(level_of_detection(2.0, 10, 2.0, 10, 1.0)), 3)
    3.713
    """
    spread, other_spread = np.asarray(spread), np.asarray(other_spread)
    of_means = spread**2 / count + other_spread**2 / other_count
    return np.asarray(_K95 * (np.sqrt(of_means) + registration))


def least_told(sd: Float) -> Float:
    """Level of detection at 95 % of a change, mm; `sd` is its whole uncertainty.

    Unlike in `level_of_detection` what all points of a survey share stands under the
    root with the rest: it is a standard uncertainty too.
    """
    return K95 * sd


def significant(change: Float, sd: Float) -> NDArray[np.int8]:
    """Where a change is beyond its level of detection: 1 lost, -1 put back, 0 neither.

    Each cell by itself: where nothing changed one cell in twenty is still called.
    """
    beyond = np.abs(change) > least_told(sd)
    return np.where(beyond, np.sign(change), 0.0).astype(np.int8)


def shown(change: Float, sd: Float, *, false: float = FALSE) -> NDArray[np.int8]:
    """Where a change is shown, all cells looked at together.

    Losses and gains are sought in turn, each with half of ``false``, by the procedure
    of Benjamini and Hochberg.  Neighbouring cells' errors hang together positively, and
    for one-sided tests of such errors it holds (Benjamini and Yekutieli).  An error of
    the axis sets one side of the wall against the other; for that there is no theorem,
    but it holds in the simulations of the tests.

    Parameters
    ----------
    change, sd : array (n,) or (m, k), mm
        NaN where not compared; ``sd`` above 0 elsewhere.
    false : float
        Mean share of what is called that may be false.

    Returns
    -------
    int8 array, shape of ``change``
        1 lost, -1 put back, 0 not shown or not compared.
    """
    from scipy.stats import false_discovery_control

    seen = np.isfinite(change) & (sd > 0.0)
    found = np.zeros(np.shape(change), dtype=np.int8)
    if not seen.any():
        return found
    away = change[seen] / sd[seen]
    for sign in (1, -1):
        chance = false_discovery_control(ndtr(-sign * away), method="bh")
        found[seen] += (sign * (chance <= 0.5 * false)).astype(np.int8)
    return found
