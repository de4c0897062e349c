"""What a wall that is known takes, planned by the rule of the plan."""

from __future__ import annotations

from collections.abc import Sequence

from geom.repair.masonry.pieces import BrickPiece
from geom.repair.plan.order import Demand, demand_of, known_zones
from geom.repair.plan.partition import ZoneMask, partition
from geom.repair.wall import Wall
from geom.surface.grid import components


def demand_by_rule(wall: Wall, pieces: Sequence[BrickPiece]) -> Demand:
    """Zones called and bricks placed as in a plan, the most gone first."""
    bricked, daubed = known_zones(wall)
    masks = sorted(
        components(bricked),
        key=lambda mask: -wall.summed(mask.astype(float), wall.gone),
    )
    zones = [ZoneMask(k, "brick", mask) for k, mask in enumerate(masks, 1)]
    if daubed.any():
        zones.append(ZoneMask(len(zones) + 1, "daub", daubed))
    return demand_of(wall, partition(wall, zones, pieces))
