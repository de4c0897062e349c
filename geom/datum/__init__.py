"""Where the instrument stood."""

from geom.datum.find import HEIGHT_SD, FoundPose, find_pose, refine_pose
from geom.datum.pose import Pose
from geom.datum.targets import (
    MatchedTargets,
    align_to_targets,
    match_targets,
    nominal_from_targets,
)

__all__ = [
    "HEIGHT_SD",
    "FoundPose",
    "MatchedTargets",
    "Pose",
    "align_to_targets",
    "find_pose",
    "match_targets",
    "nominal_from_targets",
    "refine_pose",
]
