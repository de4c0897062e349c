"""Real Fourier basis of a ring of sides.

A ring of `HOURS` sides is its mean, waves that go once, twice ... five times round it,
and one that changes sign from each side to the next.  As far as no side is privileged,
errors and chance in waves of different order are independent, and all correlation is up
and down the wall.
"""

from __future__ import annotations

import numpy as np

from geom.compare.panels import HOURS
from geom.units import Float, Int

#: Highest order: how many times the finest wave goes round.
HIGHEST = HOURS // 2


def _basis() -> tuple[Float, Int]:
    """Waves and their orders."""
    angle = 2.0 * np.pi * np.arange(HOURS) / HOURS
    waves = [(0, np.ones(HOURS))]
    for order in range(1, HIGHEST):
        waves += [(order, np.cos(order * angle)), (order, np.sin(order * angle))]
    waves.append((HIGHEST, np.cos(HIGHEST * angle)))
    table = np.stack([wave / np.linalg.norm(wave) for _, wave in waves], axis=1)
    return table, np.array([order for order, _ in waves], dtype=np.int64)


#: Waves over sides, one a column, orthonormal; (HOURS, HOURS).  The first is the mean.
BASIS, ORDER = _basis()
#: How many waves are of each order: 1, 2, 2, 2, 2, 2, 1.
MULTIPLICITY = np.bincount(ORDER).astype(np.float64)
