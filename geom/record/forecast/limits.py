"""Cut-back at which panels pass the limits of the drawing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np

from geom.compare.panels import HOURS
from geom.design import Design
from geom.record.regions import Region, Regions
from geom.units import Float

Limit = Literal["brick threshold", "least lining"]


def limits_of(regions: Regions, design: Design) -> Iterator[tuple[Limit, Float]]:
    """Limits, and the cut-back at which each panel passes them.

    Parameters
    ----------
    regions : Regions
    design : Design
        Its shell and ``least_lining`` give the second limit.

    Yields
    ------
    limit : {'brick threshold', 'least lining'}
    depth : array (p,), mm
        Where the radius drawn changes within a panel, the widest counts: there the
        lining is thinnest.
    """
    levels = [regions.regions[i] for i in regions.of_kind("level")]
    panels = len(levels) * HOURS
    yield "brick threshold", np.full(panels, design.repair.brick_threshold)
    if design.shell_radius is not None and design.least_lining is not None:
        widest = np.repeat([_widest(level, design) for level in levels], HOURS)
        yield "least lining", design.shell_radius - widest - design.least_lining


def _widest(region: Region, design: Design) -> float:
    """Greatest radius drawn in a piece: there the lining is thinnest."""
    corners = design.profile.corners
    low, high = region.height_from, region.height_to
    between = corners[(corners > low) & (corners < high)]
    above = design.profile.radius_at(np.array([low, *between]), side="above")
    below = design.profile.radius_at(np.array([*between, high]), side="below")
    return float(np.nanmax([*above, *below]))


def missing_shell_keys(design: Design) -> tuple[str, ...]:
    """Keys of [shell] that would give the least lining its forecast."""
    if design.shell_radius is None:
        return ("radius", "least_lining")
    return ("least_lining",) if design.least_lining is None else ()
