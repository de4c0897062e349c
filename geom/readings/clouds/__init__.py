"""Point clouds as files hold them: opened by ending, read in runs, nothing inferred."""

from geom.readings.clouds.open import CLOUD_ENDINGS, open_cloud
from geom.readings.clouds.source import CloudSource, Piece, Points
from geom.readings.clouds.text import looks_like_cloud

__all__ = [
    "CLOUD_ENDINGS",
    "CloudSource",
    "Piece",
    "Points",
    "looks_like_cloud",
    "open_cloud",
]
