"""
Readings by the clock, in fractions
===================================

The way a sheet is written at the furnace: hours of the clock and fractions of an inch,
on an invented furnace of 30 in bore that is drawn here as well. 12 looks at azimuth 0,
hours grow clockwise seen from above.
"""

import tempfile
from pathlib import Path

import geom

text = geom.design_text(
    {
        "name": "Cupola 7 (invented)",
        "unit": "in",
        "azimuth_zero": "tap hole",
        "azimuth_sense": "clockwise",
        "height_zero": "bottom plate",
        "profile": "15 at 0, 15 at 66, 16 at 66, 16 at 90",
    }
)
with tempfile.TemporaryDirectory() as folder:
    file = Path(folder) / "cupola-7.toml"
    file.write_text(text, "utf-8")
    design = geom.load_design(file)

# %%
# A column for each thing, its unit in its name.

hours = ["12", "1:30", "3", "4:30", "6", "7:30", "9", "half past 10"]
rows = {
    20: ["15", "15 1/8", "15", "15", "15 1/8", "15 1/4", "15 1/8", "15"],
    30: ["15 1/4", "15 3/8", "15 1/2", "15 5/8", "16", "16 1/8", "15 3/4", "15 3/8"],
    38: ["15 1/2", "15 1/2", "15 5/8", "16", "16 1/2", "16 3/4", "16 1/4", "15 3/4"],
    46: ["15 1/4", "15 1/4", "15 3/8", "15 5/8", "16", "16 1/4", "15 7/8", "15 1/2"],
    56: ["15 1/8", "15", "15 1/8", "15 1/4", "15 3/8", "15 1/2", "15 1/4", "15 1/8"],
}
frame = {
    "clock": hours * len(rows),
    "height_in": [height for height in rows for _ in hours],
    "radius_in": [radius for row in rows.values() for radius in row],
}
readings = geom.readings_from_dataframe(frame, design)
surface = geom.reconstruct(readings, design, spacing=25.0, columns=120)
picture = surface.plot()

# %%
# Where is it deepest, by the clock?

findings = geom.assess(surface, design)
deepest = findings.deepest
hour = surface.to_xarray().lining.clock.sel(azimuth=deepest.azimuth, method="nearest")
up = deepest.height / 25.4
print(f"{deepest.cutback / 25.4:in} at {hour.item()}, {up:.0f} in up")
