"""
Through the wall: level and upright
===================================

A level section through the melting zone of an invented furnace, seen from above, and an
upright one through its worst side, where cut-back is stretched so that it can be seen.
"""

from pathlib import Path

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

design = geom.load_design(SCANS / "cupola-5.toml")
readings = geom.load_readings(SCANS / "cupola-5-heat-12.csv", design)
surface = geom.reconstruct(readings, design, spacing=25.0, columns=90)
level = surface.plot_section(height=1410.0)

# %%
upright = surface.plot_profile(azimuth=117.0)
