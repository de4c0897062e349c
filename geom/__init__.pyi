"""The face: what a user of the package needs, in the order the work is done."""

from ._version import __version__ as __version__
from .compare import Findings as Findings
from .datum import CircleFit as CircleFit
from .datum import RevolutionFit as RevolutionFit
from .datum import fit_circle as fit_circle
from .datum import fit_revolution as fit_revolution
from .design import Design as Design
from .design import load_design as load_design
from .errors import DaublineError as DaublineError
from .errors import InputError as InputError
from .quantity import Quantity as Quantity
from .readings import PastSurvey as PastSurvey
from .readings import RodReadings as RodReadings
from .readings import load_past_survey as load_past_survey
from .readings import load_readings as load_readings
from .repair import RepairPlan as RepairPlan
from .repair import bricks_in_ring as bricks_in_ring
from .repair import plan_repair as plan_repair
from .repair import single_shape_ring as single_shape_ring
from .repair import two_shape_ring as two_shape_ring
from .surface import PastPrior as PastPrior
from .surface import RadialSurface as RadialSurface
from .surface import learn_prior as learn_prior
from .surface import reconstruct as reconstruct
from .views.documents import assess as assess
