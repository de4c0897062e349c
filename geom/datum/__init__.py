"""Where the instrument stood."""

from geom.datum.band_axis import BandAxis
from geom.datum.find import HEIGHT_SD, BandBlocks, FoundPose, find_pose, refine_pose
from geom.datum.fits import CircleFit, RevolutionFit, fit_circle, fit_revolution
from geom.datum.pose import Pose
from geom.datum.targets import (
    MatchedTargets,
    align_to_targets,
    match_targets,
    nominal_from_targets,
)

__all__ = [
    "HEIGHT_SD",
    "BandAxis",
    "BandBlocks",
    "CircleFit",
    "FoundPose",
    "MatchedTargets",
    "Pose",
    "RevolutionFit",
    "align_to_targets",
    "find_pose",
    "fit_circle",
    "fit_revolution",
    "match_targets",
    "nominal_from_targets",
    "refine_pose",
]
