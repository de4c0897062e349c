"""Point clouds as files hold them: opened by ending, read in runs, nothing inferred."""

from geom.readings.clouds.open import CLOUD_ENDINGS as CLOUD_ENDINGS
from geom.readings.clouds.open import open_cloud as open_cloud
from geom.readings.clouds.source import CloudSource as CloudSource
from geom.readings.clouds.source import Piece as Piece
from geom.readings.clouds.source import Points as Points
from geom.readings.clouds.text import looks_like_cloud as looks_like_cloud
