"""Where the instrument stood."""

from geom.datum.band_axis import BandAxis as BandAxis
from geom.datum.find import BandBlocks as BandBlocks
from geom.datum.find import FoundPose as FoundPose
from geom.datum.find import find_pose as find_pose
from geom.datum.find import refine_pose as refine_pose
from geom.datum.fits import CircleFit as CircleFit
from geom.datum.fits import RevolutionFit as RevolutionFit
from geom.datum.fits import fit_circle as fit_circle
from geom.datum.fits import fit_revolution as fit_revolution
from geom.datum.form_errors import WallPatches as WallPatches
from geom.datum.form_errors import settled_on_sound_wall as settled_on_sound_wall
from geom.datum.form_errors import worn_wall_covariance as worn_wall_covariance
from geom.datum.pose import Pose as Pose
from geom.datum.targets import MatchedTargets as MatchedTargets
from geom.datum.targets import align_to_targets as align_to_targets
from geom.datum.targets import match_targets as match_targets
from geom.datum.targets import nominal_from_targets as nominal_from_targets
