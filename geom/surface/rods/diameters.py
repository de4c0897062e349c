"""What diameters cannot see: how a loss is shared by the two ends of a rod.

A diameter is the sum of two radii.  Of cut-back it sees the even part, the mean of two
places half a turn apart, and nothing of the odd part, half of their difference.  A
process that does not know this lets the odd part be as large where the wall is sound as
where it is burnt, and its positive half counts as wear that nobody read.

But walls wear: cut-back is hardly ever less than nothing, so the odd part is at most
the even part.  Where two ends together are as drawn, both are; where they are back by
2 h, each is back by something between 0 and 2 h.  So of the parts of the prior whose
size the diameters teach the even part is kept, and in place of the odd part stands a
share g of the even part as it was found, between -1 and 1 and as likely anywhere:
standard deviation 1 / sqrt(3).  Most of g is a wave round the ring that goes on over
height, as where the blast is uneven; the rest is local.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.surface.assumptions import ASSUMED
from geom.surface.gp.fields import Pattern
from geom.surface.gp.posterior import GPPosterior
from geom.surface.gp.prior import (
    MELTED_ONE_SIDE,
    ONE_SIDED,
    Component,
    LogNormal,
    Prior,
)
from geom.surface.rods.fit import fit_wall

#: Net on which the even part is given: rows, mm apart at most, and columns.
_ROW, _COLUMNS = 30.0, 72
#: Parts of the prior that have an odd part of which diameters teach the size, and those
#: that are nothing else.
_SPLIT, _ODD = ("local wear",), (ONE_SIDED, MELTED_ONE_SIDE)


def mostly_diameters(readings: RodReadings) -> bool:
    """Whether more readings are diameters than not."""
    return bool(2 * np.count_nonzero(readings.is_kind("diameter")) > len(readings))


def with_unseen_half(prior: Prior, readings: RodReadings, design: Design) -> Prior:
    """The same for a wall that is known from diameters.

    Parameters
    ----------
    readings : RodReadings
        Unless most are diameters nothing is changed.
    """
    if not mostly_diameters(readings):
        return prior
    even = replace(
        prior,
        components=tuple(
            replace(part, parity="even") if part.name in _SPLIT else part
            for part in prior.components
            if part.name not in _ODD
        ),
    )
    across = np.flatnonzero(readings.is_kind("diameter"))
    seen = fit_wall(readings.take(across), design, even, n_samples=0).posterior
    low, high = float(readings.height.min()), float(readings.height.max())
    size = _size_of_even_part(seen, low, high)
    arc, rise = LogNormal(0.4 * prior.radius, 0.0), LogNormal(150.0, 0.0)
    sided = Component(
        "one side more than the other",
        sd=LogNormal(
            float(np.sqrt(ASSUMED.one_sided_part * ASSUMED.side_variance)), 0.0
        ),
        kernel_azimuth="wave",
        waves=1,
        kernel_height="matern52",
        length_scale_height=LogNormal(600.0, 0.0),
        scaled_by_height=False,
        patterns=(size,),
    )
    local = Component(
        "one end more than the other",
        # half of a local part is odd
        sd=LogNormal(
            float(
                np.sqrt(2.0 * (1.0 - ASSUMED.one_sided_part) * ASSUMED.side_variance)
            ),
            0.0,
        ),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=arc,
        length_scale_height=rise,
        scaled_by_height=False,
        patterns=(size,),
        parity="odd",
    )
    return replace(even, components=(*even.components, sided, local))


def _size_of_even_part(seen: GPPosterior, low: float, high: float) -> Pattern:
    """Root mean square of the even part as the diameters leave it, mm."""
    net = np.linspace(low, high, 2 + int((high - low) / _ROW))
    azimuth = np.arange(_COLUMNS) * 360.0 / _COLUMNS
    mean, sd = seen.on_grid(net, azimuth)
    half = _COLUMNS // 2
    even = 0.5 * (mean + np.roll(mean, half, axis=1))
    return Pattern(net, np.sqrt(even**2 + sd**2))
