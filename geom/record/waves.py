"""Waves round the wall: what a ring of sides is put together from.

A ring of `HOURS` sides is its mean, waves that go once, twice ... five times round it,
and one that changes sign from each side to the next.  As far as no side is privileged,
errors and chance in waves that go round a different number of times are independent,
and all that hangs together does so up and down the wall.
"""

from __future__ import annotations

import numpy as np

from geom.compare.panels import HOURS
from geom.units import Float, Int

#: How many times the finest wave goes round.
FINEST = HOURS // 2


def _waves() -> tuple[Float, Int]:
    angle = 2.0 * np.pi * np.arange(HOURS) / HOURS
    parts = [(0, np.ones(HOURS))]
    for order in range(1, FINEST):
        parts += [(order, np.cos(order * angle)), (order, np.sin(order * angle))]
    parts.append((FINEST, np.cos(FINEST * angle)))
    table = np.stack([part / np.linalg.norm(part) for _, part in parts], axis=1)
    return table, np.array([order for order, _ in parts], dtype=np.int64)


#: Waves over sides, one a column, orthonormal; (HOURS, HOURS).  The first is the mean.
WAVES, ORDER = _waves()
#: How many waves go round that many times: 1, 2, 2, 2, 2, 2, 1.
MANY = np.bincount(ORDER).astype(np.float64)
