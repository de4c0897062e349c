"""Write the demo campaigns: ``python3 scripts/make_campaign.py [folder]``.

Two campaigns of the invented cupola of `make_scans`, fourteen heats in spring and six
in autumn on a new lining: for each a heat log and small rod sheets, before and after
the repair of every heat.  Seeded and plain Python, so every run on every machine writes
the same bytes.

The walls are formulas, so what the record should say is known:

- `usual`: what a heat of `USUAL_HOURS` wears, worst about azimuth 245, with a mark over
  every tuyere;
- `step`: what comes on top of it from heat `STEP_FROM` on, 3 mm a heat on three sides
  of the melting zone about azimuth 240, as if the tuyere there were blocked;
- `milder`: what a usual heat of the second campaign wears, some two thirds of `usual`
  in the melting zone, much alike on all sides, and more of the wall under the tuyeres;
- `wear`: what one heat wore, by its hours, with chance, and the spots that fell out;
- `found` and `left`: the wall before and after the repair of a heat.
"""

from __future__ import annotations

import math
import random
import sys
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from statistics import NormalDist

import make_scans as demo
from make_scans import INCH, Bump

SEED = 6174


@dataclass(frozen=True)
class Campaign:
    """Heats on one lining, on Tuesdays and Fridays; its log is named as its folder.

    ``before`` is the heat before the first, after which the wall as left was surveyed.
    """

    name: str
    folder: str
    before: int
    heats: range
    first: date

    @property
    def log(self) -> str:
        """Name of its heat log."""
        return f"{self.folder}.csv"


SPRING = Campaign(
    "spring 2026", "cupola-2-campaign", 60, range(61, 75), date(2026, 3, 3)
)
AUTUMN = Campaign(
    "autumn 2026", "cupola-2-campaign-2", 80, range(81, 87), date(2026, 9, 1)
)
CAMPAIGNS = (SPRING, AUTUMN)

AZIMUTHS = range(0, 360, 30)
HEIGHTS = (20, 23, 30, 34, 38, 43, 48, 55, 66, 84)

# --- what is true, inches and degrees ------------------------------------------------

USUAL_HOURS = 8.0
TUYERE_MARKS = tuple(
    Bump(rise, hole.azimuth, 33, wide=8, tall=4)
    for rise, hole in zip(
        (0.12, 0.17, 0.10, 0.15, 0.20, 0.13), demo.HOLES, strict=False
    )
)
#: Rubbing of the charges, all over.
RUBBED = 0.015

STEP_FROM = 70
STEP_MM = 3.0
STEP_SIDES = (195, 285)
STEP_HEIGHTS = (28, 57)

#: Spots that fell out, by heat.
FALLEN = {
    63: Bump(0.8, 100, 50, wide=11, tall=3.5),
    68: Bump(0.9, 330, 44, wide=10, tall=4),
}
#: What is worn by less than about that is left as it is.
LEFT = 0.16


def bell(along: float) -> float:
    """Give the height of a bell, 1 in its middle."""
    return math.exp(-0.5 * along**2)


def fade(inside: float) -> float:
    """Go from 0 outside to 1 inside, a half at the edge."""
    return 0.5 * (1.0 + math.tanh(inside))


def usual(
    azimuth: float, height: float, *, lifted: float = 0.0, turned: float = 0.0
) -> float:
    """Tell what lasts: the wear of a usual heat.

    A heat's own differs by how far it burnt higher (inches) and round (degrees).
    """
    a = math.radians(azimuth - turned)
    side = 0.56 + 0.13 * math.cos(a - math.radians(245)) + 0.03 * math.cos(3 * a + 1)
    off = height - 40 - lifted
    burnt = side * bell(off / (7.0 if off < 0 else 11.0))
    return burnt + sum(mark.at(azimuth, height) for mark in TUYERE_MARKS) + RUBBED


def step(azimuth: float, height: float) -> float:
    """Tell what a heat wears on top of `usual` from heat `STEP_FROM` on."""
    (left, right), (low, high) = STEP_SIDES, STEP_HEIGHTS
    beside = (right - left) / 2 - abs(demo.turn((left + right) / 2, azimuth))
    up = fade(height - low) * fade(high - height)
    return STEP_MM / INCH * fade(beside / 3) * up


def milder(
    azimuth: float, height: float, *, lifted: float = 0.0, turned: float = 0.0
) -> float:
    """Tell the wear of a usual heat of the second campaign; keywords as in `usual`."""
    a = math.radians(azimuth - turned)
    off = height - 40 - lifted
    side = 0.37 + 0.03 * math.cos(a - math.radians(60))
    under = 0.20 * bell((height - 23) / 3)
    return side * bell(off / (7.0 if off < 0 else 11.0)) + under + RUBBED


@dataclass(frozen=True)
class Heat:
    """One heat and the repair after it.

    ``share`` is its wear against a usual heat's; ``lifted`` and ``turned`` as in
    `usual`; ``waves`` how the repair is uneven, as `make_scans.WAVES` with a size.
    """

    hours: float
    short_ton: float
    share: float
    lifted: float
    turned: float
    waves: tuple[tuple[float, int, float, float], ...]


@cache
def heat(number: int) -> Heat:
    """Draw one heat; of the one before a campaign only the repair counts."""
    chance = random.Random(SEED + number)

    def normal(sd: float) -> float:
        return NormalDist(0.0, sd).inv_cdf(chance.random())

    hours = round(4 * (USUAL_HOURS + 2.6 * (chance.random() - 0.5))) / 4
    short_ton = round(hours * (5.4 + normal(0.15)), 1)
    share = hours / USUAL_HOURS * math.exp(normal(0.03))
    lifted, turned = normal(0.6), normal(8.0)
    waves = [(normal(0.025), 0, math.inf, 0.0)]
    for around in (1, 2, 3, 5, 7):
        up = 12 + 30 * chance.random()
        waves.append((normal(0.03), around, up, math.tau * chance.random()))
    return Heat(hours, short_ton, share, lifted, turned, tuple(waves))


def wear(number: int, azimuth: float, height: float) -> float:
    """Tell what one heat wore at a station."""
    one = heat(number)
    own = milder if number in AUTUMN.heats else usual
    worn = own(azimuth, height, lifted=one.lifted, turned=one.turned)
    if STEP_FROM <= number <= SPRING.heats[-1]:
        worn += step(azimuth, height)
    spot = FALLEN.get(number)
    return one.share * worn + (spot.at(azimuth, height) if spot else 0.0)


def found(number: int, azimuth: float, height: float) -> float:
    """Tell the cut-back before the repair of a heat."""
    return left(number - 1, azimuth, height) + wear(number, azimuth, height)


def left(number: int, azimuth: float, height: float) -> float:
    """Tell the cut-back after the repair of a heat: the drawing within some 1/8 in."""
    a = math.radians(azimuth)
    waves = heat(number).waves
    anew = sum(
        s * math.cos(n * a + math.tau * height / up + p) for s, n, up, p in waves
    )
    if any(number == campaign.before for campaign in CAMPAIGNS):
        return anew
    was = found(number, azimuth, height)
    mended = fade((was - LEFT) / 0.03)
    return mended * anew + (1.0 - mended) * was


# --- the files -----------------------------------------------------------------------


def sheet(number: int, stage: str) -> str:
    """Write a row per height and a column per azimuth, in eighths of an inch."""
    after = stage == "after repair"
    chance = random.Random(10 * (SEED + number) + after)
    wall = left if after else found
    heads = [f"{azimuth}deg" for azimuth in AZIMUTHS]
    lines = [
        f"# {demo.NAME}: heat {number}, {stage}; loose slag knocked off",
        "# tap hole is 0 deg, clockwise seen from above; blank: could not be read",
        ",".join(["height_in \\ radius_in", *heads]),
    ]
    for height in HEIGHTS:
        cells = [str(height)]
        for azimuth in AZIMUTHS:
            if demo.opening_at(azimuth, height):
                cells.append("")
                continue
            slip = NormalDist(0.0, demo.ROD_SD).inv_cdf(chance.random())
            stands = demo.design_radius(height) + wall(number, azimuth, height)
            cells.append(demo.eighths(stands + slip))
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


def surveys(campaign: Campaign) -> list[tuple[int, date, str]]:
    """Tell when which wall was surveyed: the day after a heat, and once repaired."""
    told = [(campaign.before, campaign.first - timedelta(1), "after repair")]
    for k, number in enumerate(campaign.heats):
        friday = k % 2
        day = campaign.first + timedelta(7 * (k // 2) + 3 * friday)
        told += [
            (number, day + timedelta(1), "before repair"),
            (number, day + timedelta(3 if friday else 2), "after repair"),
        ]
    return told


def sheet_name(campaign: Campaign, number: int, stage: str) -> str:
    """Say where a sheet is kept, seen from the log."""
    return f"{campaign.folder}/heat-{number}-{stage.split(maxsplit=1)[0]}.csv"


def log(campaign: Campaign) -> str:
    """Write the heat log, a survey a row."""
    columns = ("heat", "date", "stage", "hours_on_blast", "melted_short_ton")
    lines = [
        f"# {demo.NAME}: heat log. Written by scripts/make_campaign.py.",
        ",".join([*columns, "campaign", "readings"]),
    ]
    for number, day, stage in surveys(campaign):
        one = heat(number)
        ran = stage == "before repair"
        blast = [f"{one.hours:g}", f"{one.short_ton:g}"] if ran else ["", ""]
        where = sheet_name(campaign, number, stage)
        row = [str(number), day.isoformat(), stage, *blast, campaign.name, where]
        lines.append(",".join(row))
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """Give every file by its name within the folder."""
    told = {}
    for campaign in CAMPAIGNS:
        told[campaign.log] = log(campaign)
        for number, _, stage in surveys(campaign):
            told[sheet_name(campaign, number, stage)] = sheet(number, stage)
    return told


def main(folder: Path) -> None:
    for name, text in files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))
        print(path)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else demo.FOLDER)
