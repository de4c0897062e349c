"""What to chip off: where, how much, and where to stop.

Build-up comes off down to the drawn face and no farther: a rod from the axis tells when
it is reached, so that nobody gouges sound lining.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import binary_dilation

from geom.design import Design, Opening
from geom.document import VOLUME, only
from geom.frame import turn
from geom.quantity import Quantity
from geom.surface import Grid
from geom.units import Bool


@dataclass(frozen=True)
class Chipping:
    """What comes off in one zone.

    Attributes
    ----------
    volume : Quantity, mm3
    thickness : Quantity, mm
        Where it stands proudest.
    stop_height, stop_radius : float, mm
        At mid-height of the zone, stop when the rod reads this radius.
    fouled : tuple of Opening
        Openings it reaches, or lies within one cell of.
    """

    volume: Quantity = field(metadata=VOLUME)
    thickness: Quantity
    stop_height: float
    stop_radius: float
    fouled: tuple[Opening, ...] = field(metadata=only("kind", "azimuth", "height"))


def openings_fouled(grid: Grid, mask: Bool, design: Design) -> tuple[Opening, ...]:
    """Openings that a zone reaches, or comes within one cell of.

    Parameters
    ----------
    grid : Grid
    mask : bool array (m, k)
        Cells of the zone.
    design : Design
    """
    wrapped = np.concatenate([mask[:, -1:], mask, mask[:, :1]], axis=1)
    near = binary_dilation(wrapped, np.ones((3, 3), dtype=bool))[:, 1:-1]
    return tuple(
        hole for hole in design.openings if (near & _cells_of(grid, hole, design)).any()
    )


def stop_at(design: Design, low: float, high: float) -> tuple[float, float]:
    """Mid-height of a zone, and the radius there at which chipping stops; mm."""
    height = 0.5 * (low + high)
    return height, float(design.profile.radius_at(height))


def _cells_of(grid: Grid, hole: Opening, design: Design) -> Bool:
    """Cells that an opening lies in, if only in part."""
    half = 180.0 / grid.azimuth.size
    wide = hole.half_angle(design.radius_at_opening(hole))
    beside = np.abs(turn(hole.azimuth, grid.azimuth)) < wide + half - 1e-9
    low, high = hole.height - 0.5 * hole.tall, hole.height + 0.5 * hole.tall
    level = (grid.edge[1:] > low) & (grid.edge[:-1] < high)
    return np.asarray(level[:, None] & beside[None, :])
