"""Parts of panels: where in a panel the wall has gone back most.

A panel is four parts wide and three tall, each about 2 1/2 by 2 in, a quarter of a
brick's face.  Panels tell how fast the wall wears; their parts tell where it is deep
and where it wears faster than the panel's mean.
"""

from __future__ import annotations

import numpy as np

from geom.units import Float, Int

#: Parts of a panel: so many side by side and one above another, and in all.
ACROSS, UP = 4, 3
PARTS = ACROSS * UP


def part_owner(height: Float, azimuth: Float, edge: Float, hours: int) -> Int:
    """Part that each cell of a grid lies in.

    Parameters
    ----------
    height : array (m,), mm
    azimuth : array (k,), degrees
    edge : array (rows + 1,), mm, rising
        Edges of the rows of panels.
    hours : int
        Panels round the wall, the first about azimuth 0.

    Returns
    -------
    int array (m, k)
        Panel * `PARTS` + part; parts of a panel run round first, then up.
    """
    last = edge.size - 2
    row = np.clip(np.searchsorted(edge, height, side="right") - 1, 0, last)
    up = np.floor(UP * (height - edge[row]) / (edge[row + 1] - edge[row]))
    up = np.clip(up.astype(np.int64), 0, UP - 1)
    wide = 360.0 / (hours * ACROSS)
    turned = np.floor((azimuth + 0.5 * ACROSS * wide) / wide).astype(np.int64)
    hour, across = np.divmod(turned % (hours * ACROSS), ACROSS)
    panel = row[:, None] * hours + hour[None, :]
    return np.asarray(panel * PARTS + up[:, None] * ACROSS + across[None, :])


def part_means(
    owner: Int, cutback: Float, sd: Float, wall: Float, count: int
) -> tuple[Float, Float]:
    """Mean cut-back of every part, and its standard uncertainty.

    Parameters
    ----------
    owner : int array (m, k)
        As `part_owner` tells.
    cutback, sd : array (m, k), mm
    wall : array (m, k)
        Wall of each cell; 0 where it does not count.
    count : int
        Panels, p.

    Returns
    -------
    mean, sd : array (p, PARTS), mm
        NaN where nothing counts.  A part is as small as errors reach: that of its mean
        is taken to be that of its cells, root mean square.
    """
    weight = np.where(np.isfinite(cutback), wall, 0.0)
    held = np.bincount(owner.ravel(), weight.ravel(), count * PARTS)

    def over(field: Float) -> Float:
        summed = np.bincount(
            owner.ravel(), (weight * np.nan_to_num(field)).ravel(), count * PARTS
        )
        mean = np.full(held.size, np.nan)
        np.divide(summed, held, out=mean, where=held > 0.0)
        return mean.reshape(count, PARTS)

    return over(cutback), np.sqrt(over(sd**2))
