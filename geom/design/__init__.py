"""The drawing: design file, profile, openings, rules."""

from geom.design.drawing import (
    DatumBand,
    Design,
    DrawingPart,
    Opening,
    Profile,
    RepairRules,
    RodErrors,
    ScannerErrors,
    Target,
)
from geom.design.file import load_design
from geom.design.shop import Bottom, Brick, Brickwork, Melting, Mix, Shop

__all__ = [
    "Bottom",
    "Brick",
    "Brickwork",
    "DatumBand",
    "Design",
    "DrawingPart",
    "Melting",
    "Mix",
    "Opening",
    "Profile",
    "RepairRules",
    "RodErrors",
    "ScannerErrors",
    "Shop",
    "Target",
    "load_design",
]
