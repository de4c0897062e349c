"""How far a piece of wall reaches, up and round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.surface import Grid
from geom.units import Bool

#: ``azimuth_to`` of what goes all round, ``azimuth_from`` being 0: the pinned range of
#: azimuth leaves out 360 itself.
ALL_ROUND = 359.999


@dataclass(frozen=True)
class Extent:
    """Between which azimuths and heights a piece of wall lies.

    Attributes
    ----------
    azimuth_from, azimuth_to : float, degrees
        ``azimuth_from`` > ``azimuth_to`` where it crosses azimuth 0; what goes all
        round has 0 and `ALL_ROUND`.
    height_from, height_to : float, mm
    """

    azimuth_from: float
    azimuth_to: float
    height_from: float
    height_to: float

    @classmethod
    def of(cls, mask: Bool, grid: Grid) -> Extent:
        """Of a connected piece of a grid: the edges of its outermost cells.

        Parameters
        ----------
        mask : bool array (m, k)
            With at least one cell.
        grid : Grid
        """
        first, last, all_round = columns_spanned(mask)
        rows = np.flatnonzero(mask.any(axis=1))
        half = 180.0 / grid.azimuth.size
        start = float((grid.azimuth[first] - half) % 360.0)
        end = float((grid.azimuth[last] + half) % 360.0)
        return Extent(
            azimuth_from=0.0 if all_round else start,
            azimuth_to=ALL_ROUND if all_round else end,
            height_from=float(grid.edge[rows[0]]),
            height_to=float(grid.edge[rows[-1] + 1]),
        )


def columns_spanned(mask: Bool) -> tuple[int, int, bool]:
    """First and last column of a piece, going round, and whether it goes all round.

    Examples
    --------
    >>> columns_spanned(np.array([[True, False, False, True]]))
    (3, 0, False)
    """
    held = np.flatnonzero(mask.any(axis=0))
    columns = mask.shape[1]
    if held.size == columns:
        return 0, columns - 1, True
    gap = np.diff(np.append(held, held[0] + columns))
    widest = int(np.argmax(gap))
    return int(held[(widest + 1) % held.size]), int(held[widest]), False
