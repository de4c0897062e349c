"""What was measured, as written down; nothing inferred."""

from geom.readings.cloud import Cloud, CloudReadings
from geom.readings.load import load_readings
from geom.readings.rod import RodKind, RodReadings
from geom.readings.surveys import PastSurvey, load_past_survey, load_past_surveys

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
