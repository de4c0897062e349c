"""What to do about the wall: chip, daub, lay brick, and prove it."""

from geom.repair.package import RepairPackage, prepare_repair
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import RepairPlan

__all__ = ["RepairPackage", "RepairPlan", "plan_repair", "prepare_repair"]
