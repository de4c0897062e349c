"""What the worn diameter does: area, melting rate and blast.

A cupola melts in proportion to the area it burns coke on and to the blast it is given.
To first order, with the same blast on each square metre and the same coke charge,

    rate = rate as drawn * area / area as drawn,   blast likewise,

so that a wall burnt back from diameter D to D' asks for (D' / D)**2 of both.  D' is the
diameter of the circle with the section's area: the mean diameter of a wall out of round
is too small.  This says what rate and blast keep the specific rate, that is melt each
square metre as the drawing does.  It does not say that the furnace melts more by
itself: the rate follows the blast, and blown as before a wider furnace is blown softer.

The melting zone is taken about the worst ring: the surveyed height at which the mean
cut-back all round, openings left out, is greatest.  All sections of the wall within
150 mm of it belong to the zone (our own choice, no source), or the nearest one.

References
----------
Modern Mechanical Engineering, vol. I, p. 152 of the stored scan: 18 in bore melts about
3/4 ton an hour, 6 ft about 12: both 6.6 lb/in2 h, the area law (the 3/4 is badly
printed there and confirmed by it).
Giessereilexikon, "Schmelzleistung": at constant coke charge the rate rises linearly
with the blast.
10 lb an hour for each square inch: common practice, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geom.compare.findings import Findings, Level
from geom.design import Design
from geom.design.shop import Melting
from geom.document import AREA, MERGED, fields_document, only
from geom.quantity import Quantity
from geom.repair.assumptions import COMMON_RULE, MELTING_REACH
from geom.surface import RadialSurface

#: What the document tells of a section apart from what it does.
_SECTION = only("height", "side", "design_diameter", "area_diameter", merged=True)


@dataclass(frozen=True)
class Worn:
    """What one section, or several together, do to the melting.

    Attributes
    ----------
    area_ratio : Quantity
        Area over area as drawn.
    change_percent : Quantity
        Of area, and so of rate and blast.
    rate : Quantity or None, kg/h
        That keeps the specific rate; None where the design file tells none.
    blast : Quantity or None, m3/h
        Likewise.
    """

    area_ratio: Quantity
    change_percent: Quantity
    rate: Quantity | None
    blast: Quantity | None


@dataclass(frozen=True)
class WornLevel:
    """One horizontal section and what it does.

    Attributes
    ----------
    level : Level
    worn : Worn
    """

    level: Level = field(metadata=_SECTION)
    worn: Worn = field(metadata=MERGED)


@dataclass(frozen=True)
class WornMelting:
    """What the worn diameter does.

    Attributes
    ----------
    levels : tuple of WornLevel
        All surveyed sections, bottom up.
    ring : float, mm
        Height of the worst ring.
    heights : tuple of float, mm
        Of the sections that are the melting zone.
    zone : Worn
        Of the melting zone.
    drawn_area : float, mm2
        Of the melting zone as drawn, mean.
    common_rule : Quantity, kg/h
        10 lb/in2 h on the worn area: common practice, from memory; orientation only.
    """

    levels: tuple[WornLevel, ...]
    ring: float
    heights: tuple[float, ...]
    drawn_area: float = field(metadata=AREA)
    zone: Worn = field(metadata=MERGED)
    common_rule: Quantity

    def to_dict(self) -> dict[str, Any]:
        """As it is written in ``findings.json``; areas m2."""
        zone = fields_document(self)
        return {"levels": zone.pop("levels"), "melting_zone": zone}


def worn_melting(
    surface: RadialSurface, findings: Findings, design: Design
) -> WornMelting:
    """What the diameters that were found do to melting rate and blast.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
        Of that surface.
    design : Design
        ``design.shop.melting`` tells rate and blast as drawn, if the shop does.

    Returns
    -------
    WornMelting
    """
    melting = design.shop.melting
    ring = worst_ring(surface)
    zone = zone_levels(findings.levels, ring)
    design_area = float(np.mean([_design_area(level) for level in zone]))
    worn = _worn(zone_ratio(zone), melting)
    return WornMelting(
        levels=tuple(
            WornLevel(level, _worn(zone_ratio([level]), melting))
            for level in findings.levels
        ),
        ring=ring,
        heights=tuple(dict.fromkeys(level.height for level in zone)),
        zone=worn,
        drawn_area=design_area,
        common_rule=worn.area_ratio.times(COMMON_RULE * design_area),
    )


def worst_ring(surface: RadialSurface) -> float:
    """Surveyed height at which mean cut-back all round is greatest, mm.

    The lowest of several; where a row is opening all round it does not count.
    """
    wall = surface.grid.counted
    total = wall.sum(axis=1)
    mean = np.sum(wall * np.nan_to_num(surface.cutback), axis=1)
    mean = np.divide(mean, total, out=np.full(total.size, -np.inf), where=total > 0.0)
    return float(surface.height[int(np.argmax(mean))])


def zone_levels(levels: Sequence[Level], ring: float) -> list[Level]:
    """The sections within `MELTING_REACH` of a height, or else the nearest."""
    distance = np.array([abs(level.height - ring) for level in levels])
    most = max(MELTING_REACH, float(distance.min()))
    return [level for level, far in zip(levels, distance, strict=True) if far <= most]


def zone_ratio(levels: Sequence[Level]) -> Quantity:
    """Area of some sections over that drawn, taken together.

    Standard uncertainties are added as if all erred alike, which is never too little
    (JCGM 100:2008, 5.2.2, note 1).

    Examples
    --------
    >>> change, found = Quantity.normal(44.0, 2.0), Quantity.normal(1200.0, 8.0)
    >>> ratio = zone_ratio([Level(0.0, "", 1000.0, found, change)])
    >>> round(ratio.value, 9), round(ratio.sd, 9)
    (1.44, 0.02)
    """
    area = np.array([_design_area(level) for level in levels])
    share = area / area.sum()
    value = [1.0 + 0.01 * level.area_change_percent.value for level in levels]
    sd = [0.01 * level.area_change_percent.sd for level in levels]
    return Quantity.normal(float(share @ value), float(share @ sd)).not_below(0.0)


def _design_area(level: Level) -> float:
    return float(np.pi / 4.0 * level.design_diameter**2)


def _worn(ratio: Quantity, melting: Melting) -> Worn:
    low, high = ratio.low95 - 1.0, ratio.high95 - 1.0
    change = Quantity(ratio.value - 1.0, ratio.sd, low, high)
    return Worn(
        area_ratio=ratio,
        change_percent=change.times(100.0),
        rate=None if melting.rate is None else ratio.times(melting.rate),
        blast=None if melting.blast is None else ratio.times(melting.blast),
    )
