"""
What few readings are worth
===========================

One invented wall of 800 mm bore, read at 12, 24 and 48 stations. What is missing is
known here, because the wall is a formula. Intervals are wide with few readings and
close in as more come: that is the point of them. One wall and one draw of chance prove
nothing about them; the figures reached on many walls are under *Figures reached*.
"""

import tempfile
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import geom

text = geom.design_text(
    {
        "name": "A plain shaft (invented)",
        "unit": "mm",
        "azimuth_zero": "tap hole",
        "azimuth_sense": "clockwise",
        "height_zero": "bottom plate",
        "profile": "400 at 0, 400 at 1500",
    }
)
with tempfile.TemporaryDirectory() as folder:
    file = Path(folder) / "shaft.toml"
    file.write_text(text, "utf-8")
    design = geom.load_design(file)

LOW, HIGH = 200.0, 1200.0


def lost(azimuth, height):
    """The true cut-back, mm: a burnt belt, worst at 220 degrees."""
    belt = 34.0 * np.exp(-(((height - 700.0) / 260.0) ** 2))
    return belt * (1.0 + 0.4 * np.cos(np.deg2rad(azimuth - 220.0)))


# %%
# The truth, summed on a fine grid of cells: (r² - r₀²)/2 over arc and height.

azimuth = np.arange(0.5, 360.0)
height = np.arange(LOW + 1.0, HIGH, 2.0)
wall = 400.0 + lost(azimuth, height[:, None])
truth = ((wall**2 - 400.0**2) / 2.0).sum() * np.deg2rad(1.0) * 2.0

# %%
# Stations in rows, errors of a rod of 1.5 mm.

chance = np.random.default_rng(7)
counts, volumes = [(3, 4), (4, 6), (6, 8)], []
for rows, columns in counts:
    at = np.tile(np.arange(columns) * 360.0 / columns, rows)
    up = np.repeat(np.linspace(LOW, HIGH, rows), columns)
    read = 400.0 + lost(at, up) + chance.normal(0.0, 1.5, at.size)
    readings = geom.readings_from_arrays(at, up, np.round(read), design, unit="mm")
    surface = geom.reconstruct(readings, design, spacing=50.0, columns=72)
    volumes.append(geom.assess(surface, design).volume.rebuild / 1e6)

# %%
# What comes out, beside the truth.

figure = Figure(figsize=(6.4, 4.2), layout="constrained")
axis = figure.subplots()
names = [str(rows * columns) for rows, columns in counts]
values = np.array([volume.value for volume in volumes])
ends = np.array([[v.value - v.low95, v.high95 - v.value] for v in volumes]).T
axis.errorbar(
    range(len(names)), values, ends, fmt="o", capsize=6, color="#2b6ca3", label="survey"
)
axis.axhline(truth / 1e6, color="#77757f", ls="--", label="truth")
axis.set_xticks(range(len(names)), names)
axis.set(xlabel="readings", ylabel="rebuild volume, litres", ylim=(0, None))
axis.legend()
for name, volume in zip(names, volumes, strict=True):
    print(f"{name:>3} readings: {volume:litres}")
print(f"truth: {truth / 1e6:.1f} litres")
