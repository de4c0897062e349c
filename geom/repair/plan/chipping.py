"""What to chip off: where, how much, and where to stop.

Build-up comes off down to the drawn face and no farther: a rod from the axis tells when
it is reached, so that nobody gouges sound lining.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geom.compare.extent import opening_outline, outline
from geom.design import Design, Opening
from geom.document import VOLUME, only
from geom.quantity import Quantity
from geom.surface import Grid
from geom.units import Bool

#: Areas that share no more than this only touch, degree mm.
_TOUCH = 1e-6


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
    mask : bool array (m, k)
        Cells of the zone.
    """
    from scipy.ndimage import binary_dilation

    wrapped = np.concatenate([mask[:, -1:], mask, mask[:, :1]], axis=1)
    near = binary_dilation(wrapped, np.ones((3, 3), dtype=bool))[:, 1:-1]
    zone = outline(near, grid)
    return tuple(
        hole
        for hole in design.openings
        if zone.intersection(opening_outline(hole, design)).area > _TOUCH
    )


def stop_at(design: Design, low: float, high: float) -> tuple[float, float]:
    """Mid-height of a zone, and the radius there at which chipping stops; mm."""
    height = 0.5 * (low + high)
    return height, float(design.profile.radius_at(height))
