"""
The diameter that melts
=======================

Melting rate follows the area of the section, so a level is given by the diameter of the
circle with its area, not by the mean diameter: here against the drawn one, all the way
up an invented furnace, each with its 95 % interval.
"""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

design = geom.load_design(SCANS / "cupola-5.toml")
readings = geom.load_readings(SCANS / "cupola-5-heat-12.csv", design)
surface = geom.reconstruct(readings, design, spacing=25.0, columns=90)
findings = geom.assess(surface, design)

height = np.array([level.height for level in findings.levels])
drawn = np.array([level.design_diameter for level in findings.levels])
area = [level.area_diameter for level in findings.levels]
figure = Figure(figsize=(5.5, 6.0), layout="constrained")
axis = figure.subplots()
axis.plot(drawn, height, color="#77757f", ls="--", label="as drawn")
axis.fill_betweenx(
    height, [one.low95 for one in area], [one.high95 for one in area],
    color="#2b6ca3", alpha=0.3, lw=0, label="95 %",
)  # fmt: skip
axis.plot([one.value for one in area], height, color="#2b6ca3", label="area diameter")
axis.set(xlabel="diameter, mm", ylabel="height above floor of the shop, mm")
axis.legend()
