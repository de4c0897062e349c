"""The benchmark is a set of scripts: put their folder where imports look."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts" / "bench"))
