"""
Laser points of a wall
======================

A scan made on the spot: twelve thousand points of an invented wall in millimetres, read
through a file as any scan is. Offset and tilt of the scanner are found on the band of
the drawing that is known to be sound.
"""

import tempfile
from pathlib import Path

import numpy as np

import geom

text = geom.design_text(
    {
        "name": "A plain shaft (invented)",
        "unit": "mm",
        "azimuth_zero": "tap hole",
        "azimuth_sense": "counterclockwise",
        "height_zero": "bottom plate",
        "profile": "400 at 0, 400 at 1500",
        "datum_band": "1150 to 1450",
    }
)
chance = np.random.default_rng(11)
turn = chance.uniform(0.0, 2.0 * np.pi, 12_000)
height = chance.uniform(100.0, 1450.0, turn.size)
burnt = 38.0 * np.exp(-(((height - 650.0) / 220.0) ** 2)) * (1.0 + 0.4 * np.cos(turn))
radius = 400.0 + burnt + chance.normal(0.0, 2.0, turn.size)

# %%
# The scanner stood off the axis by 15 and -9 mm.

x, y = 15.0 + radius * np.cos(turn), -9.0 + radius * np.sin(turn)
points = np.column_stack([x, y, height])
with tempfile.TemporaryDirectory() as folder:
    drawing, scan = Path(folder) / "shaft.toml", Path(folder) / "scan.npy"
    drawing.write_text(text, "utf-8")
    np.save(scan, points)
    design = geom.load_design(drawing)
    readings = geom.load_readings(scan, design, cloud_unit="mm")
    surface = geom.reconstruct(readings, design, spacing=30.0, columns=90)
picture = surface.plot()
(pose,) = surface.poses
print(f"found off the axis by {pose.offset_x:.1f} and {pose.offset_y:.1f} mm")
