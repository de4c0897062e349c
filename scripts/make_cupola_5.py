"""Write a small furnace: ``python3 scripts/make_cupola_5.py [folder]``, default scans/.

A second invented cupola, 27 in lined with 4 1/2 in of brick, drawn and read in
millimetres: azimuths grow counterclockwise from the slag hole, heights count from the
floor of the shop.  One rod sheet of it, in wide form with rows turned against each
other.  Seeded and plain Python as `make_scans` is, so every run writes the same bytes.

The wall is a formula (`lost`, mm): burnt above the tuyeres, most at azimuth 120
degrees, 1,420 mm up; a notch burnt over the tuyere at 135 degrees; slag under that at
225; the stack above is as drawn.
"""

from __future__ import annotations

import math
import random
import sys
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist

from make_scans import FOLDER, Bump, turn

SEED = 5027
NAME = "Cupola 5, Lower Yard (invented)"

# --- the drawing, millimetres and degrees --------------------------------------------

#: Height and radius, bottom up: 27 in bore, wider in the stack.
PROFILE = ((640, 343), (2300, 343), (2450, 356), (3000, 356))
SHELL, LEAST_LINING = 470, 45
DATUM_BAND = (2550, 2950)


@dataclass(frozen=True)
class Opening:
    """Azimuth in degrees, the rest in millimetres; a hole has a kind."""

    kind: str
    azimuth: int
    height: int
    width: int
    tall: int
    lip: int = 0

    def lines(self) -> list[str]:
        """Tell it as the design file does."""
        head = ["[[hole]]", f'kind = "{self.kind}"'] if self.kind else ["[[tuyere]]"]
        keys = ("azimuth", "height", "width", "tall", *(("lip",) if self.lip else ()))
        return ["", *head, *(f"{key} = {getattr(self, key)}" for key in keys)]

    def near(self, azimuth: float, height: float) -> bool:
        """Tell whether a station lies in it or within 12 mm of it."""
        across = math.radians(abs(turn(self.azimuth, azimuth))) * design_radius(height)
        along = abs(height - self.height)
        return across < self.width / 2 + 12 and along < self.tall / 2 + 12


OPENINGS = (
    *(Opening("", azimuth, 1080, 90, 65, lip=10) for azimuth in (45, 135, 225, 315)),
    Opening("tap hole", 180, 805, 70, 70),
    Opening("slag hole", 0, 960, 60, 60),
)


def design_radius(height: float) -> float:
    """Follow the profile, mm."""
    for (low, a), (high, b) in pairwise(PROFILE):
        if low <= height < high:
            return a + (b - a) * (height - low) / (high - low)
    return PROFILE[-1][1]


# --- the wall ------------------------------------------------------------------------

NOTCH = Bump(14, 135, 1190, wide=14, tall=60)
SLAG = Bump(16, 225, 1000, wide=16, tall=50)


def lost(azimuth: float, height: float) -> float:
    """Tell the true cut-back, mm; negative where slag stands proud."""
    a = math.radians(azimuth - 120)
    side = 25 + 14 * math.cos(a) + 3 * math.cos(2 * a)
    reach = 170 if height < 1420 else 280
    burnt = side * math.exp(-0.5 * ((height - 1420) / reach) ** 2)
    laid = 0.9 * math.sin(3 * a + height / 90) + 0.6 * math.sin(7 * a - height / 60)
    there = NOTCH.at(azimuth, height) - SLAG.at(azimuth, height)
    return burnt + there + laid


# --- the files -----------------------------------------------------------------------

#: Of setting the rod and reading it, sd, mm.
ROD_SD = 1.2
COLUMNS = range(0, 360, 30)
HEIGHTS = (
    *(700, 850, 980, 1140, 1240, 1320, 1400, 1480, 1560, 1660, 1780, 1920, 2100),
    *(2350, 2700),
)


def design_file() -> str:
    """Write the drawing."""
    lines = [
        "# An invented furnace. Written by scripts/make_cupola_5.py.",
        "[lining]",
        f'name = "{NAME}"',
        'length_unit = "mm"',
        'azimuth_zero = "slag hole"',
        'azimuth_sense = "counterclockwise"  # seen from above',
        'height_zero = "floor of the shop"',
        "",
        "[shell]",
        f"radius = {SHELL}",
        f"least_lining = {LEAST_LINING}",
    ]
    for height, radius in PROFILE:
        lines += ["", "[[profile]]", f"height = {height}", f"radius = {radius}"]
    for opening in OPENINGS:
        lines += opening.lines()
    low, high = DATUM_BAND
    lines += ["", "[[datum_band]]", f"from = {low}", f"to = {high}"]
    lines += ["", "[repair]", "brick_threshold = 32", "tolerance = 6"]
    return "\n".join(lines) + "\n"


def sheet() -> str:
    """Write a row per height and a column per azimuth, every second row turned."""
    chance = random.Random(SEED)
    lines = [
        f"# {NAME}: after heat 12, cold; rod from the centre post, read to 1 mm",
        "# slag hole is 0 deg, counterclockwise from above; heights from the floor",
        ",".join(["height_mm \\ radius_mm", "turn_deg", *(f"{a}deg" for a in COLUMNS)]),
    ]
    for k, height in enumerate(HEIGHTS):
        on = 15 * (k % 2)
        cells = [str(height), str(on)]
        for azimuth in (column + on for column in COLUMNS):
            if any(opening.near(azimuth, height) for opening in OPENINGS):
                cells.append("")
                continue
            slip = NormalDist(0.0, ROD_SD).inv_cdf(chance.random())
            cells.append(
                str(round(design_radius(height) + lost(azimuth, height) + slip))
            )
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """Give every file by its name."""
    return {"cupola-5.toml": design_file(), "cupola-5-heat-12.csv": sheet()}


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_bytes(text.encode("utf-8"))
        print(folder / name)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
