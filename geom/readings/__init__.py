"""What was measured, as written down; nothing inferred."""

from geom.readings.load import load_readings
from geom.readings.rod import RodKind, RodReadings

__all__ = ["RodKind", "RodReadings", "load_readings"]
