"""Where the instrument stood."""

from geom.datum.band_axis import BandAxis
from geom.datum.find import (
    HEIGHT_SD,
    LEAST_POINTS,
    SPARSE,
    BandBlocks,
    FoundPose,
    find_pose,
    refine_pose,
)
from geom.datum.fits import CircleFit, RevolutionFit, fit_circle, fit_revolution
from geom.datum.form_errors import worn_wall_covariance
from geom.datum.pose import Pose
from geom.datum.targets import (
    MatchedTargets,
    align_to_targets,
    match_targets,
    nominal_from_targets,
)

__all__ = [
    "HEIGHT_SD",
    "LEAST_POINTS",
    "SPARSE",
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
    "worn_wall_covariance",
]
