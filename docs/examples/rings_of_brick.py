"""
Bricks that turn a ring
=======================

How many bricks go round by bore: two shapes mixed turn a ring only between the bores
that either turns by itself. The shapes stand in the shop's list of an invented furnace:
9 in long towards the shell, 4 1/2 in wide at the back, less at the hot face.
"""

import tempfile
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import geom

INCH = 25.4
drawing = geom.design_text(
    {
        "name": "Cupola 7 (invented)",
        "unit": "in",
        "azimuth_zero": "tap hole",
        "azimuth_sense": "clockwise",
        "height_zero": "bottom plate",
        "profile": "15 at 0, 15 at 90",
    }
)
shapes = """
[[brick]]
name = "slight taper"
length = 9
width = "4 1/2"
thickness = "2 1/2"
taper = "width"
small = "3 3/4"

[[brick]]
name = "steep taper"
length = 9
width = "4 1/2"
thickness = "2 1/2"
taper = "width"
small = "2 1/2"
"""
with tempfile.TemporaryDirectory() as folder:
    file = Path(folder) / "cupola-7.toml"
    file.write_text(drawing + shapes, "utf-8")
    design = geom.load_design(file)
slight, steep = design.shop.bricks

# %%
# Alone, by 2 pi L / (A - B) bricks of length L and faces A and B.

JOINT = 3.0
for brick in (slight, steep):
    ring = geom.single_shape_ring(brick, joint=JOINT)
    print(f"{brick.name}: {ring.bricks:.1f} bricks, bore {ring.bore / INCH:.1f} in")

# %%
# Mixed: what each shape takes of the ring.

least, most = (geom.single_shape_ring(one, joint=JOINT).bore for one in (steep, slight))
bore = np.linspace(least, most, 60)
counts = np.array(
    [geom.two_shape_ring(slight, steep, bore=one, joint=JOINT) for one in bore]
)
figure = Figure(figsize=(7.0, 4.2), layout="constrained")
axis = figure.subplots()
axis.stackplot(
    bore / INCH, counts.T, labels=(slight.name, steep.name),
    colors=("#d9a06b", "#8a4b2a"),
)  # fmt: skip
axis.axvline(30.0, color="#222222", ls="--", lw=1)
axis.annotate("30 in bore", (30.5, 5))
axis.set(xlabel="bore, in", ylabel="bricks in the ring")
axis.legend(loc="upper left")
