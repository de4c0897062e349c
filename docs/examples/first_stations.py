"""
Where to set the rod first
==========================

The stations that `daubline sheet` would print for an invented furnace: rows turned
against each other, so that no upright streak hides between columns, and openings left
out.
"""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

design = geom.load_design(SCANS / "cupola-5.toml")
plan = geom.plan_stations(design)
print(f"{plan.requested.sum()} stations in {plan.height.size} rows")

# %%
# Seen from inside, unrolled; openings are drawn at their own size.

figure = Figure(figsize=(7.5, 6.0), layout="constrained")
axis = figure.subplots()
for row, height in enumerate(plan.height):
    at = plan.station_azimuth[row, plan.requested[row]]
    axis.plot(at, np.full(at.size, height), "o", color="#2b6ca3", ms=4)
for opening in design.openings:
    wide = np.rad2deg(opening.width / design.profile.radius[0])
    corner = (opening.azimuth - wide / 2.0, opening.sill)
    axis.add_patch(Rectangle(corner, wide, opening.tall, color="#444444"))
axis.invert_xaxis()
axis.set(
    title="SEEN FROM INSIDE; 0 = slag hole, counterclockwise seen from above",
    xlabel="azimuth, degrees",
    ylabel="height above floor of the shop, mm",
)
axis.title.set_fontsize(10)
