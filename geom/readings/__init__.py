"""What was measured, as written down; nothing inferred."""

from geom.readings.cloud_readings import Cloud, CloudReadings
from geom.readings.load import load_readings
from geom.readings.past_surveys import (
    PastSurvey,
    load_past_survey,
    load_past_surveys,
)
from geom.readings.rod import RodKind, RodReadings

__all__ = [
    "Cloud",
    "CloudReadings",
    "PastSurvey",
    "RodKind",
    "RodReadings",
    "load_past_survey",
    "load_past_surveys",
    "load_readings",
]
