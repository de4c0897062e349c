"""The drawing: design file, profile, openings, rules."""

from geom.design.design_file import load_design
from geom.design.drawing import (
    DatumBand,
    Design,
    Opening,
    RepairRules,
    RodErrors,
    Target,
)
from geom.design.profile import Profile

__all__ = [
    "DatumBand",
    "Design",
    "Opening",
    "Profile",
    "RepairRules",
    "RodErrors",
    "Target",
    "load_design",
]
