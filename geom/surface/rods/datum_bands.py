"""Bands of wall known to be sound, given to the model as if they had been read."""

from __future__ import annotations

import numpy as np

from geom.design import DatumBand, Design
from geom.readings import RodKind, RodReadings
from geom.units import Float

#: How sound a datum band is: standard deviation of its face about the drawing, mm.  Our
#: own choice, no source.
SOUND_SD = 2.0
#: A band whose readings lie further off than this (median, mm) is not believed sound.
UNRELIABLE = 6.0

_AZIMUTHS = 12
_CUTBACK: tuple[RodKind, ...] = ("cutback",)
_ROW = 150.0


def pseudo_readings(design: Design, readings: RodReadings) -> RodReadings:
    """Stand-ins for readings of the datum bands that the readings do not belie.

    Each says that cut-back is 0 with a standard uncertainty of `SOUND_SD`.
    """
    bands = [b for b in design.datum_bands if not is_unreliable(b, design, readings)]
    heights = [
        np.linspace(b.low, b.high, 1 + max(1, int(np.ceil((b.high - b.low) / _ROW))))
        for b in bands
    ]
    height = np.repeat(np.concatenate([*heights, np.zeros(0)]), _AZIMUTHS)
    around = np.arange(_AZIMUTHS) * 360.0 / _AZIMUTHS
    n = height.size
    return RodReadings(
        kind=_CUTBACK * n,
        azimuth=np.tile(around, n // _AZIMUTHS),
        height=height,
        value=np.zeros(n),
        sd=np.full(n, SOUND_SD),
        step=np.zeros(n),
        place=("datum band",) * n,
        note=("",) * n,
    )


def is_unreliable(band: DatumBand, design: Design, readings: RodReadings) -> bool:
    """Whether readings in a band say that its wall is not on the drawing.

    The median is taken so that a rod off the axis, which reads as much long on one side
    as short on the other, does not make a band doubtful.
    """
    inside = (readings.height >= band.low) & (readings.height <= band.high)
    off = cutback_of_each(readings, design)[inside]
    return bool(off.size >= 3 and abs(float(np.median(off))) > UNRELIABLE)


def cutback_of_each(readings: RodReadings, design: Design) -> Float:
    """Cut-back as each reading tells it by itself, mm; a diameter the mean of two."""
    design_radius = design.profile.radius_at(readings.height)
    across = readings.is_kind("diameter")
    radius = readings.is_kind("radius")
    return np.select(
        [across, radius],
        [0.5 * readings.value - design_radius, readings.value - design_radius],
        readings.value,
    )
