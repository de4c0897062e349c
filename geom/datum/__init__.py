"""Where the instrument stood."""

from geom.datum.find import HEIGHT_SD, FoundPose, find_pose, refine_pose
from geom.datum.pose import Pose
from geom.datum.targets import (
    Matched,
    matched,
    nominal_from_targets,
    turned_to_targets,
)

__all__ = [
    "HEIGHT_SD",
    "FoundPose",
    "Matched",
    "Pose",
    "find_pose",
    "matched",
    "nominal_from_targets",
    "refine_pose",
    "turned_to_targets",
]
