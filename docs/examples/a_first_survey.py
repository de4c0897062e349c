"""
A survey, from the sheet to the map
===================================

A small invented furnace, drawn and read in millimetres: what is gone, where, and how
sure that is.
"""

from pathlib import Path

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

# %%
# The drawing comes first: a reading means something only against it.

design = geom.load_design(SCANS / "cupola-5.toml")
readings = geom.load_readings(SCANS / "cupola-5-heat-12.csv", design)
surface = geom.reconstruct(readings, design, spacing=25.0, columns=90)
picture = surface.plot()

# %%
# Every number has its standard uncertainty and its 95 % interval.

findings = geom.assess(surface, design)
print(f"rebuild {findings.volume.rebuild / 1e6:litres}")
print(f"deepest {findings.deepest.cutback:mm}")
for zone in findings.zones:
    print(zone.id, zone.action, f"{zone.volume / 1e6:litres}")
