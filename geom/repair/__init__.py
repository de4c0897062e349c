"""What to do about the wall: chip, daub, lay brick, and prove it."""

from geom.repair.plan import plan_repair
from geom.repair.planned import RepairPlan
from geom.repair.works import Works, work_out

__all__ = ["RepairPlan", "Works", "plan_repair", "work_out"]
