"""Write the demo inputs: ``python3 scripts/make_scans.py [folder]``, default scans/.

One invented cupola, its drawing, two rod surveys of it some heats apart, and one after
the repair of the first.  Seeded and plain Python, so every run on every machine writes
the same bytes: of the generator only ``random()`` is used, whose sequence Python
promises to keep.

The wall is a formula (`lost`; repaired, `mended`), so what a survey should find is
known:

- burn-back above the tuyeres, worst some 14 in over their centres on one side;
- a spall high up on the other side, which goes on behind a hanging crust where no rod
  reaches, and wear at the tap hole;
- slag standing proud over three of the tuyeres;
- sound lining in the band at the top that the drawing names as datum;
- repaired, all of it back within some 1/16 in and every lip as drawn, but the spall,
  which lacks a layer.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist

FOLDER = Path(__file__).resolve().parent.parent / "scans"
SEED = 1741
INCH = 25.4

# --- the drawing, inches and degrees -------------------------------------------------


@dataclass(frozen=True)
class Hole:
    """An opening: azimuth in degrees, the rest in inches; ``lip`` as it is written."""

    kind: str
    azimuth: float
    height: float
    width: float
    tall: float
    lip: str = ""

    def lines(self) -> list[str]:
        """Tell it as the design file does."""
        named = [] if self.kind == "tuyere" else [f'kind = "{self.kind}"']
        head = "[[hole]]" if named else "[[tuyere]]"
        keys = ("azimuth", "height", "width", "tall")
        sizes = [f"{key} = {getattr(self, key)}" for key in keys]
        lip = [f'lip = "{self.lip}"  # out of the profile'] if self.lip else []
        return ["", head, *named, *sizes, *lip]


NAME = "Cupola 2, Eastgate Road (invented)"
#: Height and radius, bottom up: hearth, bosh, shaft, then a step out to the stack.
HEARTH = ((0, 18), (16, 18))
BOSH = ((22, 17), (30, 17), (48, 18))
STACK = ((72, 18), (72, 19), (96, 19))
PROFILE = HEARTH + BOSH + STACK
HOLES = (
    *(Hole("tuyere", azimuth, 26, 5, 3.5, "3/8") for azimuth in range(30, 360, 60)),
    #: The sand bottom meets its sill, 4 1/2 in over the doors.
    Hole("tap hole", 0, 6, 3, 3),
    Hole("slag hole", 180, 17, 2.5, 2.5),
)
DATUM_BAND = (84, 95)
#: Marks in the stack for a laser: name, azimuth, height.
TARGETS = (("paint cross left", 80, 80), ("paint cross right", 290, 82))


def design_radius(height: float) -> float:
    """Follow the profile, inches; at its step the part above."""
    for (low, a), (high, b) in pairwise(PROFILE):
        if low <= height < high:
            return a + (b - a) * (height - low) / (high - low)
    return PROFILE[-1][1]


def opening_at(azimuth: float, height: float) -> str | None:
    """Name the opening that a station lies in, with half an inch round it."""
    for hole in HOLES:
        across = math.radians(abs(turn(hole.azimuth, azimuth))) * design_radius(height)
        along = abs(height - hole.height)
        if across < hole.width / 2 + 0.5 and along < hole.tall / 2 + 0.5:
            return hole.kind
    return None


def turn(start: float, end: float) -> float:
    """Give the shorter turn between azimuths, degrees."""
    return (end - start + 180.0) % 360.0 - 180.0


# --- the wall ------------------------------------------------------------------------


@dataclass(frozen=True)
class Bump:
    """A smooth rise at a place.

    ``wide`` (degrees) and ``tall`` are how far from it 0.61 is left.
    """

    rise: float
    azimuth: float
    height: float
    wide: float
    tall: float

    def at(self, azimuth: float, height: float) -> float:
        """Give how far it stands out at a station."""
        across = turn(self.azimuth, azimuth) / self.wide
        along = (height - self.height) / self.tall
        return self.rise * math.exp(-0.5 * (across**2 + along**2))


SPALL = Bump(1.75, 105, 66, wide=18, tall=5)
BEHIND_CRUST = Bump(0.7, 148, 63, wide=20, tall=6)
TAP_WEAR = Bump(0.45, 0, 8, wide=22, tall=6)
SLAG = (
    Bump(0.75, 30, 22, wide=11, tall=3.5),
    Bump(0.95, 90, 22, wide=11, tall=3.5),
    Bump(0.60, 330, 22, wide=11, tall=3.5),
)


#: How uneven a laid lining is, some 3/32 in: waves round the ring, length of a wave up
#: the wall in inches (negative winds the other way), phase.
UNEVEN = 0.05
WAVES = (
    *((2, 23, 0.3), (3, -31, 1.9), (4, 17, 4.0), (5, 44, 2.2)),
    *((7, -21, 0.7), (8, 33, 5.1), (9, -14, 3.3)),
)


def lost(azimuth: float, height: float, wear: float = 1.0) -> float:
    """Tell the true cut-back, inches; negative where slag stands proud."""
    a = math.radians(azimuth)
    side = 1.05 + 0.85 * math.cos(a - math.radians(245)) + 0.14 * math.cos(3 * a + 1)
    reach = 7.0 if height < 40 else 11.0
    burnt = side * math.exp(-0.5 * ((height - 40) / reach) ** 2)
    torn = sum(bump.at(azimuth, height) for bump in (SPALL, BEHIND_CRUST, TAP_WEAR))
    slag = sum(bump.at(azimuth, height) for bump in SLAG)
    laid = sum(math.sin(n * a + math.tau * height / up + p) for n, up, p in WAVES)
    return wear * (burnt + torn) - slag + UNEVEN * laid


#: What is gone, or proud, by more than about that is repaired, inches.
LEFT = 0.16
#: Share of the spall that is missing after the repair.
SHORT = 0.35
#: A lip runs out upwards over so many times what it stands out.
RUN_OUT = 3


def lip_at(azimuth: float, height: float) -> float:
    """Tell how far the lip of a tuyere stands out at a station, as drawn, inches."""
    for hole in HOLES:
        out, up = float(Fraction(hole.lip or 0)), height - hole.height - hole.tall / 2
        across = math.radians(abs(turn(hole.azimuth, azimuth))) * design_radius(height)
        if across <= hole.width / 2 and 0 <= up < RUN_OUT * out:
            return out - up / RUN_OUT
    return 0.0


def mended(azimuth: float, height: float) -> float:
    """Tell the true cut-back after the repair of `lost`, inches."""
    was = lost(azimuth, height)
    done = 0.5 * (1.0 + math.tanh((abs(was) - LEFT) / 0.03))
    a = math.radians(azimuth)
    trowel = 0.04 * math.sin(3 * a + height / 5) + 0.03 * math.sin(8 * a - height / 3)
    anew = trowel + SHORT * SPALL.at(azimuth, height)
    return done * anew + (1.0 - done) * was - lip_at(azimuth, height)


# --- the rod -------------------------------------------------------------------------

#: Setting the rod to the wall and reading it, sd, inches.
ROD_SD = 0.05
AZIMUTHS = range(0, 360, 18)
HEIGHTS = (10, 16, 22, 30, 35, 40, 45, 50, 56, 62, 68, 78, 90)
LATER_AZIMUTHS = tuple(22.5 * k for k in range(16))
LATER_HEIGHTS_MM = (300, 550, 800, 950, 1100, 1300, 1550, 1750, 2200)
#: After the repair, closer, about the holes, and thrice over each tuyere.
AFTER_AZIMUTHS = tuple(range(0, 360, 15))
AFTER_HEIGHTS = (3, 8.5, 14, 17, 20, 23.75, 28.25, *range(32, 69, 4), 73, 78, 90)
OVER_TUYERES = 28.25
OVER_AZIMUTHS = tuple(a + b for a in range(30, 360, 60) for b in (-6, 6))
#: Where a hanging crust keeps the rod away: azimuths, heights.
CRUST = ((118, 200), (44, 72))


@dataclass(frozen=True)
class Rod:
    """One survey: how far the wall is back, and the chance of the rod."""

    wall: Callable[[float, float], float]
    chance: random.Random

    def radius(self, azimuth: float, height: float) -> float:
        """Read a radius, inches, before it is rounded to the rod's marks."""
        slip = NormalDist(0.0, ROD_SD).inv_cdf(self.chance.random())
        return design_radius(height) + self.wall(azimuth, height) + slip


def kept_away(azimuth: float, height: float) -> str | None:
    """Say why there is no reading at a station, if there is none."""
    (left, right), (low, high) = CRUST
    if left <= azimuth <= right and low <= height <= high:
        return "crust hangs"
    return opening_at(azimuth, height)


def remark(azimuth: float, height: float) -> str:
    """Say what the foreman noted at a station after heat 41."""
    gone = lost(azimuth, height)
    if gone < -0.55:
        return "slag hanging"
    if SPALL.at(azimuth, height) > 0.5 * SPALL.rise:
        return "spalled"
    return "soft" if gone > 1.75 else ""


def eighths(inches: float) -> str:
    """Round to the marks of the rod, as the shop writes them."""
    whole, rest = divmod(round(inches * 8), 8)
    return f"{whole} {Fraction(rest, 8)}" if rest else str(whole)


# --- the files -----------------------------------------------------------------------


def design_file() -> str:
    """Write the drawing."""
    lines = [
        "# An invented furnace. Written by scripts/make_scans.py.",
        "[lining]",
        f'name = "{NAME}"',
        'length_unit = "in"',
        'azimuth_zero = "tap hole"',
        'azimuth_sense = "clockwise"  # seen from above',
        'height_zero = "bottom plate"',
        "",
        "[shell]",
        "radius = 27",
        "least_lining = 3  # to be left before the steel",
    ]
    for height, radius in PROFILE:
        lines += ["", "[[profile]]", f"height = {height}", f"radius = {radius}"]
    for hole in HOLES:
        lines += hole.lines()
    low, high = DATUM_BAND
    lines += ["", "[[datum_band]]", f"from = {low}", f"to = {high}"]
    for name, azimuth, height in TARGETS:
        lines += ["", "[[target]]", f'name = "{name}"']
        lines += [f"azimuth = {azimuth}", f"height = {height}"]
    lines += ["", "[repair]", 'brick_threshold = "1 1/4"', 'tolerance = "1/4"']
    return "\n".join(lines) + "\n"


def first_sheet(rod: Rod) -> str:
    """Write a reading a row, in eighths of an inch, with the foreman's remarks."""
    lines = [
        f"# {NAME}: radius rod from the centre post",
        "# after heat 41, cold, loose slag knocked off; rod read to 1/8 in",
        "# tap hole is 0 deg, clockwise seen from above; heights from the bottom plate",
        "azimuth_deg,height_in,radius_in,note",
    ]
    for height in HEIGHTS:
        if height == 30:
            lines.append("# -- above the tuyeres --")
        for azimuth in AZIMUTHS:
            if why := kept_away(azimuth, height):
                lines.append(f"# {azimuth} deg at {height} in: {why}, no reading")
                continue
            read = eighths(rod.radius(azimuth, height))
            said = remark(azimuth, height)
            lines.append(f"{azimuth},{height},{read},{said}")
    return "\n".join(lines) + "\n"


def later_sheet(rod: Rod) -> str:
    """Write a row per height and a column per azimuth, in millimetres."""
    heads = [f"{azimuth:g}deg" for azimuth in LATER_AZIMUTHS]
    lines = [
        f"# {NAME}: after heat 52, not patched since heat 41",
        "# tap hole is 0 deg, clockwise seen from above; blank: could not be reached",
        ",".join(["height_mm \\ radius_mm", *heads, "note"]),
    ]
    for height_mm in LATER_HEIGHTS_MM:
        height = height_mm / INCH
        cells = [
            ""
            if kept_away(azimuth, height)
            else str(round(rod.radius(azimuth, height) * INCH))
            for azimuth in LATER_AZIMUTHS
        ]
        said = "crust hangs at the back" if "" in cells else ""
        lines.append(",".join([str(height_mm), *cells, said]))
    return "\n".join(lines) + "\n"


def after_sheet(rod: Rod) -> str:
    """Write a reading a row, in eighths of an inch: the repair of heat 41 done."""
    lines = [
        f"# {NAME}: repaired after heat 41, crust and slag down; rod read to 1/8 in",
        "# tap hole is 0 deg, clockwise seen from above; heights from the bottom plate",
        "azimuth_deg,height_in,radius_in",
    ]
    for height in AFTER_HEIGHTS:
        more = OVER_AZIMUTHS if height == OVER_TUYERES else ()
        for azimuth in sorted(AFTER_AZIMUTHS + more):
            if opening_at(azimuth, height) is None:
                read = eighths(rod.radius(azimuth, height))
                lines.append(f"{azimuth},{height},{read}")
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """Give every demo input by name."""
    first = Rod(lost, chance=random.Random(SEED))
    later = Rod(partial(lost, wear=1.3), chance=random.Random(SEED + 1))
    after = Rod(mended, chance=random.Random(SEED + 2))
    return {
        "cupola-2.toml": design_file(),
        "cupola-2-heat-41.csv": first_sheet(first),
        "cupola-2-heat-41-after.csv": after_sheet(after),
        "cupola-2-heat-52.csv": later_sheet(later),
    }


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_bytes(text.encode("utf-8"))
        print(folder / name)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
