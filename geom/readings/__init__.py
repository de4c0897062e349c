"""What was measured, as written down; nothing inferred."""

from geom.readings.cloud import Cloud as Cloud
from geom.readings.cloud import CloudReadings as CloudReadings
from geom.readings.load import load_readings as load_readings
from geom.readings.load import reading_faults as reading_faults
from geom.readings.load import readings_from_arrays as readings_from_arrays
from geom.readings.load import readings_from_dataframe as readings_from_dataframe
from geom.readings.rod import RodKind as RodKind
from geom.readings.rod import RodReadings as RodReadings
from geom.readings.surveys import PastSurvey as PastSurvey
from geom.readings.surveys import load_past_survey as load_past_survey
from geom.readings.surveys import load_past_surveys as load_past_surveys
