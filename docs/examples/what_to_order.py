"""
What to order
=============

The plan of a repair says how much is needed on average and how much is enough in 95 of
100 cases, all materials together, so that nobody stands at the furnace with one bag too
few. The furnace is invented.
"""

from pathlib import Path

from matplotlib.figure import Figure

import geom

SCANS = Path(geom.__file__).parents[1] / "scans"

design = geom.load_design(SCANS / "cupola-5.toml")
readings = geom.load_readings(SCANS / "cupola-5-heat-12.csv", design)
surface = geom.reconstruct(readings, design, spacing=25.0, columns=90)
findings = geom.assess(surface, design)
plan = geom.plan_repair(surface, findings, design)

# %%
# Bars are what is expected; ticks what is enough.

figure = Figure(figsize=(7.5, 4.0), layout="constrained")
for axis, unit in zip(figure.subplots(1, 2), ("bricks", "kg"), strict=True):
    lines = [line for line in plan.order if line.unit == unit]
    names = [line.material.replace(" ", "\n", 1) for line in lines]
    axis.bar(names, [line.best for line in lines], color="#d9a06b")
    axis.plot(
        names, [line.enough for line in lines], "_", ms=26, mew=3, color="#222222"
    )
    axis.set_ylabel(unit)
    axis.tick_params(axis="x", labelsize=8)
for line in plan.order:
    print(f"{line.material}: {line.best:.0f} expected, {line.enough:.0f} {line.unit}")
