"""The drawing: design file, profile, openings, rules."""

from geom.design.drawing import DatumBand as DatumBand
from geom.design.drawing import Design as Design
from geom.design.drawing import DrawingPart as DrawingPart
from geom.design.drawing import Opening as Opening
from geom.design.drawing import Profile as Profile
from geom.design.drawing import RepairRules as RepairRules
from geom.design.drawing import RodErrors as RodErrors
from geom.design.drawing import ScannerErrors as ScannerErrors
from geom.design.drawing import Target as Target
from geom.design.file import design_faults as design_faults
from geom.design.file import load_design as load_design
from geom.design.shop import Bottom as Bottom
from geom.design.shop import Brick as Brick
from geom.design.shop import Brickwork as Brickwork
from geom.design.shop import Crew as Crew
from geom.design.shop import Drying as Drying
from geom.design.shop import Melting as Melting
from geom.design.shop import Mix as Mix
from geom.design.shop import Shop as Shop
from geom.design.template import design_text as design_text
