"""What to do about the wall: chip, daub, lay brick, and prove it."""

from geom.repair.masonry.rings import (
    bricks_in_ring,
    single_shape_ring,
    two_shape_ring,
)
from geom.repair.package import RepairPackage, prepare_repair
from geom.repair.plan.day import DayPlan, plan_day
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import RepairPlan

__all__ = [
    "DayPlan",
    "RepairPackage",
    "RepairPlan",
    "bricks_in_ring",
    "plan_day",
    "plan_repair",
    "prepare_repair",
    "single_shape_ring",
    "two_shape_ring",
]
