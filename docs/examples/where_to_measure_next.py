"""
Where to measure next
=====================

The five stations that would tell most of the volume to rebuild, on an invented furnace
of which only every third reading was taken, and what is expected of each.
"""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

design = geom.load_design(SCANS / "cupola-5.toml")
every = geom.load_readings(SCANS / "cupola-5-heat-12.csv", design)
few = slice(None, None, 3)
readings = geom.readings_from_arrays(
    every.azimuth[few], every.height[few], every.value[few], design, unit="mm"
)
surface = geom.reconstruct(readings, design, spacing=50.0, columns=72)
advice = geom.next_stations(surface, readings, count=5)

# %%
# Left: the standard uncertainty of the wall, the readings (dots) and the stations.
# Right: that of the volume as they are read, one after the other.

figure = Figure(figsize=(9.0, 4.4), layout="constrained")
wall, volume = figure.subplots(1, 2, width_ratios=(3, 2))
grid = surface.grid
shade = wall.pcolormesh(grid.azimuth, grid.height, surface.radius_sd, cmap="Greys")
figure.colorbar(shade, ax=wall, label="standard uncertainty of the radius, mm")
wall.plot(readings.azimuth, readings.height, ".", color="#2b6ca3")
for place, station in enumerate(advice.stations, 1):
    wall.annotate(
        str(place), (station.azimuth, station.height), ha="center", va="center",
        color="white", bbox={"boxstyle": "circle", "fc": "#c4541a", "ec": "none"},
    )  # fmt: skip
wall.invert_xaxis()
wall.set(
    title="SEEN FROM INSIDE; 0 = slag hole, counterclockwise seen from above",
    xlabel="azimuth, degrees",
    ylabel="height above floor of the shop, mm",
)
wall.title.set_fontsize(8)
after = np.array([advice.now, *(station.after for station in advice.stations)]) / 1e6
volume.plot(range(after.size), after, "o-", color="#c4541a")
volume.set(xlabel="stations read", ylabel="sd of the rebuild, litres", ylim=(0, None))
