"""
A new drawing from a dozen answers
==================================

`design_text` writes a design file from what `daubline design` asks: here an invented
furnace of 30 in bore. Its hot face is drawn from what was read back.
"""

import tempfile
from pathlib import Path

from matplotlib.figure import Figure

import geom

answers = {
    "name": "Cupola 7 (invented)",
    "unit": "in",
    "azimuth_zero": "tap hole",
    "azimuth_sense": "clockwise",
    "height_zero": "bottom plate",
    "profile": "15 at 0, 15 at 66, 16 at 66, 16 at 90",
    "shell": "22 1/2",
    "tuyeres": "4",
    "tuyere": "5 x 3 1/2 at 24, 1:30",
    "tap_hole": "3 x 3 at 6, 12",
    "slag_hole": "2 1/2 x 2 1/2 at 16, 6",
    "datum_band": "80 to 88",
}
text = geom.design_text(answers)
print(text.partition("[[tuyere]]")[0])

# %%
# The file is read as every other is.

with tempfile.TemporaryDirectory() as folder:
    file = Path(folder) / "cupola-7.toml"
    file.write_text(text, "utf-8")
    design = geom.load_design(file)

INCH = 25.4
figure = Figure(figsize=(5.0, 7.0), layout="constrained")
axis = figure.subplots()
for side in (-1, 1):
    axis.plot(
        side * design.profile.radius / INCH, design.profile.height / INCH,
        color="#a3420f", lw=2.5, label="hot face as drawn" if side > 0 else None,
    )  # fmt: skip
    axis.axvline(side * design.shell_radius / INCH, color="#333333", lw=4)
for opening in {opening.kind: opening for opening in design.openings}.values():
    height, radius = opening.height / INCH, design.profile.radius[0] / INCH
    axis.plot([radius - 0.6, radius + 0.6], [height] * 2, color="white", lw=9)
    axis.annotate(
        f"{opening.kind}, centre {height:g} in up", (radius - 1, height), ha="right"
    )
axis.set(xlabel="radius, in", ylabel="height above bottom plate, in")
axis.set_aspect("equal")
axis.legend(loc="upper center")
