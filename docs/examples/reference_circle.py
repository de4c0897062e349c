"""
The circle of a ring, and how far from round
============================================

Radii of a ring of an invented shell, read from a point that is not its axis. The
least-squares circle finds the axis; roundness (RONt, ISO 12181-1) is greatest less
smallest distance from it.
"""

import numpy as np
from matplotlib.figure import Figure

import geom

chance = np.random.default_rng(5)
azimuth = np.deg2rad(np.arange(0.0, 360.0, 15.0))
oval = 600.0 + 4.0 * np.cos(2.0 * azimuth) + chance.normal(0.0, 0.8, azimuth.size)
points = np.column_stack([12.0 + oval * np.cos(azimuth), -7.0 + oval * np.sin(azimuth)])
circle = geom.fit_circle(points)
print(f"centre {circle.centre.round(1)} mm, sd {circle.centre_sd.round(1)} mm")
print(f"radius {circle.radius:.1f} mm, sd {circle.radius_sd:.1f} mm")
print(f"roundness {circle.roundness:.1f} mm")

# %%
# Distances from the circle, stretched twenty times.

figure = Figure(figsize=(5.5, 5.5), layout="constrained")
axis = figure.subplots()
way = points - circle.centre
out = circle.distance(points)
stretched = circle.centre + way * (1.0 + 20.0 * out / circle.radius)[:, None]
turn = np.linspace(0.0, 2.0 * np.pi, 361)
axis.plot(
    circle.centre[0] + circle.radius * np.cos(turn),
    circle.centre[1] + circle.radius * np.sin(turn),
    color="#2b6ca3", label="least-squares circle",
)  # fmt: skip
axis.plot(*stretched.T, "o", color="#c4541a", label="points, deviation x 20")
axis.plot(*circle.centre, "+", ms=14, color="#2b6ca3")
axis.plot(0.0, 0.0, "+", ms=14, color="#444444", label="where it was read from")
axis.set_aspect("equal")
axis.set(xlabel="x, mm", ylabel="y, mm")
axis.legend(loc="lower center", bbox_to_anchor=(0.5, 0.22))
