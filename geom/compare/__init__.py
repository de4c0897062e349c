"""How far the wall is from the drawing."""

from geom.compare.assess import assess
from geom.compare.findings import ACTIONS, NO_CALL, SCHEMA, Findings, Maps, Zone

__all__ = ["ACTIONS", "NO_CALL", "SCHEMA", "Findings", "Maps", "Zone", "assess"]
