"""
A slip of the pen
=================

Somebody writes 443 where the rod said 343. The readings round about speak against it,
so it is left out, and reported: never silently. The furnace is invented.
"""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

design = geom.load_design(SCANS / "cupola-5.toml")
sheet = geom.load_readings(SCANS / "cupola-5-heat-12.csv", design)
radius = sheet.value.copy()
slip = int(np.argmin(abs(radius - 343.0) + abs(sheet.height - 2000.0)))
radius[slip] += 100.0
readings = geom.readings_from_arrays(
    sheet.azimuth, sheet.height, radius, design, unit="mm"
)
surface = geom.reconstruct(readings, design, spacing=50.0, columns=72)
for one in surface.rejected:
    print(f"{one.place}: {one.value:.0f} mm, expected {one.expected:.0f} mm")

# %%
# The row in which it stands, with what the wall is thought to be there.

row = sheet.height == sheet.height[slip]
level = int(np.argmin(abs(surface.grid.height - sheet.height[slip])))
figure = Figure(figsize=(7.0, 4.0), layout="constrained")
axis = figure.subplots()
mean, sd = surface.radius[level], surface.radius_sd[level]
axis.fill_between(
    surface.grid.azimuth, mean - 1.96 * sd, mean + 1.96 * sd, color="#2b6ca3",
    alpha=0.25, lw=0, label="wall, 95 %",
)  # fmt: skip
axis.plot(sheet.azimuth[row], radius[row], "o", color="#444444", label="readings")
axis.plot(
    sheet.azimuth[slip], radius[slip], "x", ms=12, mew=3, color="#c4541a",
    label="left out",
)  # fmt: skip
axis.set(xlabel="azimuth, degrees from the slag hole", ylabel="radius, mm")
axis.legend()
