"""What to do about the wall: chip, daub, lay brick, and prove it."""

from geom.repair.package import Works, work_out
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import RepairPlan

__all__ = ["RepairPlan", "Works", "plan_repair", "work_out"]
