"""A small invented furnace and a sheet of it, as texts: surveyed in a second."""

from __future__ import annotations

DESIGN = """
[lining]
name = "Купольная печь № 2 (выдумана)"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"
[shell]
radius = 350
[[profile]]
height = 0
radius = 230
[[profile]]
height = 240
radius = 230
"""
ROWS = [f"{a},{h},{236 + a % 7}" for h in (10, 120, 230) for a in range(0, 360, 45)]
SHEET = "\n".join(["azimuth_deg,height_mm,radius_mm", *ROWS])
