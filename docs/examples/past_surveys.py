"""
What surveys before are worth
=============================

An invented wall that burns after its own fashion, read well after two heats, and at 20
places after a third. What the first two teach narrows what is between the readings of
the third; the readings decide.
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

chance = np.random.default_rng(3)


def survey(rows, columns, worn, past=None):
    """Read the wall at stations in rows, burnt so much; reconstruct it."""
    at = np.tile(np.arange(columns) * 360.0 / columns, rows)
    up = np.repeat(np.linspace(200.0, 1200.0, rows), columns)
    belt = np.exp(-(((up - 700.0) / 220.0) ** 2))
    side = (
        1.0 + 0.5 * np.cos(np.deg2rad(at - 220.0)) + 0.25 * np.sin(np.deg2rad(3 * at))
    )
    lost = worn * belt * side
    read = 400.0 + lost + chance.normal(0.0, 1.5, at.size)
    readings = geom.readings_from_arrays(at, up, read, design, unit="mm")
    return geom.reconstruct(readings, design, past=past, spacing=50.0, columns=72)


before = [survey(6, 8, 30.0), survey(6, 8, 24.0)]
alone = survey(4, 5, 36.0)
taught = survey(4, 5, 36.0, past=geom.learn_prior(before, design))

# %%
# How well the wall is known, without and with the surveys before; seen from inside.

figure = Figure(figsize=(9.0, 4.2), layout="constrained")
panes = figure.subplots(1, 2, sharey=True)
most = np.nanmax(alone.radius_sd)
for axis, surface, title in zip(
    panes, (alone, taught), ("20 readings alone", "and two surveys before"), strict=True
):
    grid = surface.grid
    shade = axis.pcolormesh(
        grid.azimuth, grid.height, surface.radius_sd, cmap="Greys", vmin=0.0, vmax=most
    )
    axis.set(title=title, xlabel="azimuth, degrees clockwise from the tap hole")
panes[0].set_ylabel("height above bottom plate, mm")
figure.colorbar(shade, ax=panes, label="standard uncertainty of the radius, mm")
for name, surface in (("alone", alone), ("taught", taught)):
    print(f"{name}: {np.nanmean(surface.radius_sd):.1f} mm in the mean")
