"""A few of many draws that stand for all of them.

References
----------
Cochran, W. G. (1977). Sampling Techniques, 3rd ed., Wiley, chapter 5 (stratified random
sampling: one unit from each of equally large strata; from memory).
"""

from __future__ import annotations

import numpy as np

from geom.units import Float, Int


def of_each_stratum(
    first: Float,
    second: Float,
    count: int,
    *,
    rng: np.random.Generator,
    within: int = 4,
) -> Int:
    """One draw of each of equally large strata, by one variable and then by another.

    What follows the variables is known from as few draws as if there were far more; of
    everything else the draws are a random part.

    Parameters
    ----------
    first, second : array (n,)
        Cheap measures of each draw; n is a multiple of ``count``.
    count : int
        Strata.
    within : int
        How many of them, about, are by ``second`` in one by ``first``.

    Returns
    -------
    int array (count,)
        Which draws; each as likely as any other.

    Examples
    --------
    >>> value = np.arange(100.0)
    >>> chosen = of_each_stratum(value, value, 10, rng=np.random.default_rng(1))
    >>> (chosen // 10).tolist()
    [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]
    """
    each = first.size // count
    groups = np.array_split(np.arange(count), max(1, round(count / within)))
    ends = each * np.cumsum([group.size for group in groups])
    rows = [
        part[np.argsort(second[part], kind="stable")].reshape(-1, each)
        for part in np.split(np.argsort(first, kind="stable"), ends[:-1])
    ]
    return np.array([rng.choice(stratum) for row in rows for stratum in row])
