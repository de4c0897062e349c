"""Connected pieces of the wall, round the ring."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.ndimage import label
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from geom.units import Bool, Float, Int

#: Face of a standard brick laid flat, 9 x 2 1/2 in (Hawkins, Maxims and Instructions
#: for the Boiler Room, c. 1900), mm2.
BRICK_FACE = 228.6 * 63.5


def label_components(mask: Bool) -> tuple[Int, int]:
    """Number the connected pieces of a mask on the ring.

    Parameters
    ----------
    mask : bool array (m, k)
        The last column is next to the first; cells touch by their sides.

    Returns
    -------
    number : int array (m, k)
        0 outside, else 1 to count.
    count : int

    Examples
    --------
    >>> label_components(np.array([[True, False, True, True]]))[0]
    array([[1, 0, 1, 1]])
    """
    number, count = label(mask)
    seam = np.stack([number[:, 0], number[:, -1]])[:, mask[:, 0] & mask[:, -1]]
    touching = coo_array((np.ones(seam.shape[1]), seam), shape=(count + 1, count + 1))
    count, merged = connected_components(touching, directed=False)
    return merged[number].astype(np.int64), int(count) - 1


def components(mask: Bool) -> Iterator[Bool]:
    """The masks of the connected pieces, one by one."""
    number, count = label_components(mask)
    for k in range(1, count + 1):
        yield number == k


def hysteresis_threshold(core: Bool, body: Bool) -> Bool:
    """The pieces of ``body`` that hold some of ``core``: hysteresis."""
    number, count = label_components(body)
    seeded = np.zeros(count + 1, dtype=bool)
    seeded[number[core & body]] = True
    seeded[0] = False
    return seeded[number]


def drop_small(mask: Bool, area: Float, least: float) -> Bool:
    """Only the pieces of at least some area; ``area`` is that of each cell."""
    number, count = label_components(mask)
    size = np.bincount(number.ravel(), weights=area.ravel(), minlength=count + 1)
    keep = size >= least
    keep[0] = False
    return keep[number]
