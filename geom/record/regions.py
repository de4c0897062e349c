"""Regions of the wall that wear is stated of: wall, zones, levels, sides and panels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from geom.compare.panels import HOURS, Panels
from geom.design import Design
from geom.frame import wrap
from geom.record.assumptions import ASSUMED
from geom.shown import Shown
from geom.units import Float

Kind = Literal["wall", "zone", "level", "side", "panel"]
#: Kinds of regions that go all round.
ALL_ROUND: tuple[Kind, ...] = ("wall", "zone", "level")


@dataclass(frozen=True)
class Region:
    """One region of wall; mm and degrees.

    ``azimuth_from`` > ``azimuth_to`` where it crosses azimuth 0; 0 and 360 all round.
    ``name`` is empty except for the wall and its zones.
    """

    kind: Kind
    name: str
    height_from: float
    height_to: float
    azimuth_from: float
    azimuth_to: float

    @property
    def mid_height(self) -> float:
        """Half-way up it."""
        return 0.5 * (self.height_from + self.height_to)

    def to_dict(self) -> dict[str, Any]:
        """As the documents of a record name it."""
        return vars(self).copy()


@dataclass(frozen=True)
class Regions(Shown):
    """Regions and the panels that each is made of.

    Attributes
    ----------
    regions : tuple of Region, s
    member : array (s, p), 0 or 1
        Which panels lie in each.
    """

    regions: tuple[Region, ...]
    member: Float

    def of_kind(self, *kinds: Kind) -> list[int]:
        """Places of the regions of some kinds, kind by kind."""
        of = enumerate(self.regions)
        places = [(kinds.index(r.kind), i) for i, r in of if r.kind in kinds]
        return [i for _, i in sorted(places)]

    def named(self, *kinds: Kind) -> list[Region]:
        """The regions of some kinds, kind by kind."""
        return [self.regions[i] for i in self.of_kind(*kinds)]


def regions_of(panels: Panels, design: Design) -> Regions:
    """All regions of a drawing's wall, the largest first.

    Parameters
    ----------
    design : Design
        Its tuyeres part the wall into well, tuyere belt, melting zone and stack; with
        none there are no zones.
    """
    low, high = float(panels.edge[0]), float(panels.edge[-1])
    zones = _zones(panels, design)
    edges = list(zip(panels.edge[:-1].tolist(), panels.edge[1:].tolist(), strict=True))
    half = 180.0 / HOURS
    hours = [
        (float(wrap(a - half)), float(wrap(a + half))) for a in panels.azimuth[:HOURS]
    ]
    regions = [
        Region("wall", "whole wall", low, high, 0.0, 360.0),
        *(Region("zone", name, a, b, 0.0, 360.0) for name, a, b in zones),
        *(Region("level", "", a, b, 0.0, 360.0) for a, b in edges),
        *(Region("side", "", low, high, a, b) for a, b in hours),
        *(Region("panel", "", a, b, c, d) for a, b in edges for c, d in hours),
    ]
    return Regions(
        tuple(regions), np.stack([_member(region, panels) for region in regions])
    )


def _zones(panels: Panels, design: Design) -> list[tuple[str, float, float]]:
    """Zones that have a row of panels, cut at edges of rows."""
    if not design.tuyeres:
        return []
    foot = min(tuyere.height - 0.5 * tuyere.tall for tuyere in design.tuyeres)
    head = max(tuyere.height + 0.5 * tuyere.tall for tuyere in design.tuyeres)
    cuts = [-np.inf, foot, head, head + ASSUMED.melting_height, np.inf]
    middle = 0.5 * (panels.edge[:-1] + panels.edge[1:])
    names = ("well", "tuyere belt", "melting zone", "stack")
    zone = np.searchsorted(cuts, middle, side="right") - 1
    if not (zone == 1).any():
        zone[int(np.argmin(np.abs(middle - 0.5 * (foot + head))))] = 1
    rows = [np.flatnonzero(zone == i) for i in range(len(names))]
    return [
        (name, float(panels.edge[some[0]]), float(panels.edge[some[-1] + 1]))
        for name, some in zip(names, rows, strict=True)
        if some.size
    ]


def _member(region: Region, panels: Panels) -> Float:
    inside = (panels.height > region.height_from) & (panels.height < region.height_to)
    if region.kind in ("side", "panel"):
        wide = 360.0 / HOURS
        inside &= wrap(panels.azimuth - region.azimuth_from) < wide
    return inside.astype(np.float64)


def middle(region: Region) -> float:
    """Azimuth of a region's middle, degrees."""
    half = 0.5 * float(wrap(region.azimuth_to - region.azimuth_from))
    return float(wrap(region.azimuth_from + half))
