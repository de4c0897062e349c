"""How far every place of the wall is from the nearest reading.

Between readings the wall is inferred, and that it changes slowly is learned from the
readings themselves.  A patch put on by hand need not: one left short between two
readings shows in neither.  So a place counts as measured again only within 200 mm of a
reading, or of wall that a laser saw.  Twelve readings round, every 12 in of height,
reach all of a cupola of 3 ft.  The 200 mm are our own choice, no source.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from geom.frame import to_cartesian
from geom.surface import RadialSurface, ScannedWall
from geom.units import Float

#: A place further from every reading is not measured, mm.
REACH = 200.0


def to_nearest_reading(surface: RadialSurface) -> Float:
    """Distance across the drawn wall to the nearest reading, mm.

    Parameters
    ----------
    surface : RadialSurface
        Readings left out of its fit do not count, nor do datum bands by themselves;
        beside a cloud, only what the laser saw does.

    Returns
    -------
    array (m, k), mm
    """
    grid, design = surface.grid, surface.design
    azimuth, height = _read(surface)
    drawn = design.profile.radius_at(height)
    read = to_cartesian(azimuth, drawn, height, design.azimuth_sense)
    cells = to_cartesian(
        grid.azimuth[None, :],
        grid.design_radius[:, None],
        grid.height[:, None],
        design.azimuth_sense,
    )
    away, _ = cKDTree(read).query(cells)
    return np.asarray(away, dtype=np.float64)


def _read(surface: RadialSurface) -> tuple[Float, Float]:
    """Azimuths and heights that something was read at; (n,) each."""
    if isinstance(surface.belief, ScannedWall):
        grid = surface.grid
        seen = grid.surveyed[:, None] & ~surface.belief.hidden & ~grid.opening
        row, column = np.nonzero(seen)
        return grid.azimuth[column], grid.height[row]
    observed = surface.belief.best.observed
    # Stand-ins for sound wall come after the readings, far ends of diameters last.
    kept = np.arange(len(observed.places))
    kept = kept[
        (kept < surface.count - len(surface.rejected)) | (kept >= len(observed))
    ]
    return observed.places.azimuth[kept], observed.places.height[kept]
