"""The wall divided among its zones, so that nothing is counted twice.

Brick zones come first, one after the other: what the bricks of one take up is theirs,
whatever zone it was in, but never of another brick zone.  Every other zone keeps what
is left of its cells.  A brick ends inside a cell of the grid, so a zone holds a share
of each cell; no cell is handed out more than once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.compare.findings import Action
from geom.repair.masonry.layup import LayUp, lay_up
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.wall import Wall
from geom.units import Bool, Float


@dataclass(frozen=True)
class ZoneMask:
    """A zone as it is marked on the wall; ``mask`` is bool (m, k)."""

    id: int
    action: Action
    mask: Bool


@dataclass(frozen=True)
class ZoneShare:
    """A zone with what is its own.

    Attributes
    ----------
    share : array (m, k), 0 to 1
        Of each cell.
    marked : bool array (m, k)
        As the zone is marked on the wall.
    layup : LayUp or None
        Of a brick zone that some brick fits; it is daubed where none does.
    """

    id: int
    action: Action
    share: Float
    marked: Bool
    layup: LayUp | None = None

    @property
    def planned(self) -> bool:
        """Whether there is anything to do that is settled."""
        return self.action in {"brick", "daub", "chip"}

    @property
    def filled(self) -> bool:
        """Whether daub goes into it, with brick or by itself."""
        return self.planned and self.action != "chip"

    def rebuild(self, wall: Wall) -> float:
        """Expected volume that is gone, mm3."""
        return wall.summed(self.share, wall.gone)

    def daub(self, wall: Wall) -> float:
        """Expected volume of daub, mm3; 0 where nothing is settled, or chipped off."""
        if self.layup is not None:
            return self.layup.daub
        return self.rebuild(wall) if self.filled else 0.0


def partition(
    wall: Wall, zones: Sequence[ZoneMask], pieces: Sequence[BrickPiece]
) -> tuple[ZoneShare, ...]:
    """Give every zone its own.

    Parameters
    ----------
    zones : sequence of ZoneMask
        The brick zones that go first stand first.

    Returns
    -------
    tuple of ZoneShare
        In the order of ``zones``.
    """
    free = wall.grid.surveyed.astype(np.float64)
    bricked: dict[int, LayUp] = {}
    brick = [zone for zone in zones if zone.action == "brick"]
    claimed = np.sum([zone.mask for zone in brick], axis=0, dtype=np.int64)
    for zone in brick:
        others = claimed > zone.mask
        made = lay_up(wall, zone.mask, np.where(others, 0.0, free), pieces)
        if made is not None:
            free = np.maximum(free - made.share, 0.0)
            bricked[zone.id] = made
    shares = []
    for zone in zones:
        layup = bricked.get(zone.id)
        share = np.where(zone.mask, free, 0.0) if layup is None else layup.share
        shares.append(ZoneShare(zone.id, zone.action, share, zone.mask, layup))
    return tuple(shares)
