"""The furnaces of the benchmark: how each family wears, and one of it drawn at random.

Ranges are common practice, no source: what such walls look like after a heat.
Lengths mm, azimuth degrees.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from wear import BORE, Band, Burn, Grain, Jet, Joints, Ledge, Lump, Patch, Stack

from geom.design import Design, Opening, Profile
from geom.frame import wrap
from geom.units import Float

Region = Callable[[Float, Float], Float]

INCH = 25.4
TOP = 60 * INCH
TUYERE_HEIGHT = 17.5 * INCH


@dataclass(frozen=True)
class Habit:
    """How the furnaces of one family wear: ranges and mean counts.

    Attributes
    ----------
    peak : (low, high), mm
        Deepest burn-back of the ring.
    sided : (low, high)
        One-sided part, as a share of the ring.
    jets : (low, high)
        Tuyere marks, as a share of ``peak``.
    spalls, lumps : float
        Mean of the Poisson counts.
    hostile : bool
        With a hole of vertical edges, a ledge, or both.
    """

    peak: tuple[float, float]
    sided: tuple[float, float]
    jets: tuple[float, float]
    spalls: float
    lumps: float
    hostile: bool = False


HABITS: dict[str, Habit] = {
    "even": Habit((25, 60), (0.02, 0.10), (0.02, 0.12), 1.5, 1.0),
    "tuyere": Habit((20, 45), (0.05, 0.15), (0.40, 0.90), 2.0, 3.0),
    "patchy": Habit((20, 45), (0.05, 0.25), (0.10, 0.30), 12.0, 7.0),
    "one-sided": Habit((25, 60), (0.45, 0.90), (0.05, 0.25), 3.0, 2.0),
    "hostile": Habit((20, 50), (0.10, 0.40), (0.10, 0.50), 4.0, 3.0, hostile=True),
    "campaign": Habit((20, 50), (0.15, 0.45), (0.15, 0.50), 3.0, 3.0),
}
FAMILIES = tuple(HABITS)


@dataclass(frozen=True)
class Nature:
    """What stays with a furnace from heat to heat."""

    burn: Burn
    jets: tuple[Jet, ...]
    stack: Stack
    habit: Habit


def draw_design(rng: Generator) -> Design:
    """A 36 in lined cupola with four to six tuyeres, evenly spread."""
    count, first = int(rng.integers(4, 7)), rng.uniform(0.0, 360.0)
    tuyeres = tuple(
        Opening("tuyere", float(wrap(first + 360.0 * i / count)), TUYERE_HEIGHT,
                5 * INCH, 3.5 * INCH)
        for i in range(count)
    )  # fmt: skip
    tap = Opening("tap hole", 0.0, 3 * INCH, 4 * INCH, 4 * INCH)
    profile = Profile(
        height=np.array([0.0, 36 * INCH, TOP]),
        radius=np.array([BORE, BORE, 18.25 * INCH]),
    )
    return Design(
        name="Invented cupola",
        length_unit="in",
        azimuth_zero="tap hole",
        azimuth_sense="clockwise",
        height_zero="bottom plate",
        profile=profile,
        shell_radius=27 * INCH,
        openings=(*tuyeres, tap),
    )


def draw_nature(rng: Generator, habit: Habit, design: Design) -> Nature:
    """A furnace of one habit."""
    u = rng.uniform
    burn = Burn(
        peak=u(*habit.peak),
        centre=TUYERE_HEIGHT + u(130, 380),
        below=u(80, 170),
        above=u(130, 290),
        roundness=float(rng.choice([0.0, u(1.6, 3.0)])),
        tilt=u(0, 45),
        tilt_to=u(0, 360),
        sided=u(*habit.sided),
        sided_to=u(0, 360),
        drift=u(-0.08, 0.08),
        oval=0.6 * u(*habit.sided),
        oval_to=u(0, 360),
    )
    between = bool(rng.random() < 0.4)
    swirl = u(-0.03, 0.03)
    gap = 360.0 / len(design.tuyeres)
    jets = tuple(
        Jet(
            azimuth=tuyere.azimuth + (0.5 * gap if between else 0.0) + rng.normal(0, 4),
            height=TUYERE_HEIGHT - 20,
            depth=burn.peak * u(*habit.jets) * rng.lognormal(0.0, 0.35),
            width=u(50, 110),
            reach=u(80, 220),
            spread=u(0.0, 0.12),
            swirl=swirl,
        )
        for tuyere in design.tuyeres
    )
    stack = Stack(u(0, 4), u(-0.8, 0.8), u(0, 0.5), u(0, 360))
    return Nature(burn, jets, stack, habit)


def vary(own: Nature, rng: Generator) -> Nature:
    """The same furnace in another heat."""
    b = own.burn
    burn = replace(
        b,
        peak=b.peak * rng.lognormal(0.0, 0.15),
        centre=b.centre + rng.normal(0, 20),
        tilt_to=b.tilt_to + rng.normal(0, 15),
        sided=b.sided * rng.lognormal(0.0, 0.2),
        sided_to=b.sided_to + rng.normal(0, 12),
        oval=b.oval * rng.lognormal(0.0, 0.2),
    )
    jets = tuple(
        replace(
            jet,
            azimuth=jet.azimuth + rng.normal(0, 2),
            depth=jet.depth * rng.lognormal(0.0, 0.25),
        )
        for jet in own.jets
    )
    return replace(own, burn=burn, jets=jets)


def draw_pieces(
    rng: Generator, nature: Nature, design: Design
) -> tuple[tuple[Region, ...], tuple[Patch, ...]]:
    """What one heat did to a furnace: wear to add up, and brick that is missing."""
    habit = nature.habit
    spalls = [_draw_spall(rng) for _ in range(rng.poisson(habit.spalls))]
    lumps = [_draw_lump(rng, design) for _ in range(rng.poisson(habit.lumps))]
    band = Band(
        rng.uniform(220, 340), rng.uniform(30, 80), rng.uniform(1, 10),
        rng.uniform(0, 0.8), rng.uniform(0, 360),
    )  # fmt: skip
    ledges, holes = _draw_hostile(rng) if habit.hostile else ((), ())
    regions: tuple[Region, ...] = (
        nature.burn, *nature.jets, nature.stack, *spalls, *lumps, band, *ledges,
        *_draw_texture(rng),
    )  # fmt: skip
    return regions, holes


#: Brick face that spalls are sized by: 9 x 4 1/2 in (Hawkins, "Maxims and
#: Instructions for the Boiler Room", c. 1900, gives 9 x 4 1/2 x 2 1/2 in).
_FACE = (9.0 * INCH, 4.5 * INCH)


def _draw_spall(rng: Generator) -> Patch:
    bricks = rng.uniform(0.5, 2.0)
    shape = np.exp(rng.normal(0.0, 0.25))
    return Patch(
        azimuth=rng.uniform(0, 360),
        height=rng.triangular(TUYERE_HEIGHT - 40, TUYERE_HEIGHT + 250, 1250),
        width=_FACE[0] * np.sqrt(bricks) * shape,
        tall=_FACE[1] * np.sqrt(bricks) / shape,
        depth=rng.uniform(10, 30),
        edge=rng.uniform(2, 8),
        lean=rng.normal(0, 12),
    )


def _draw_lump(rng: Generator, design: Design) -> Lump:
    tuyere = design.tuyeres[int(rng.integers(len(design.tuyeres)))]
    over = rng.random() < 0.6
    beside = rng.normal(0, 5) if over else rng.choice([-1, 1]) * rng.uniform(10, 22)
    return Lump(
        azimuth=tuyere.azimuth + beside,
        height=TUYERE_HEIGHT + (rng.uniform(70, 240) if over else rng.uniform(-60, 60)),
        width=rng.uniform(45, 130),
        below=rng.uniform(35, 90),
        above=rng.uniform(45, 130),
        proud=rng.uniform(8, 40),
    )


def _draw_hostile(rng: Generator) -> tuple[tuple[Ledge, ...], tuple[Patch, ...]]:
    kind = rng.choice(["hole", "ledge", "both"], p=[0.45, 0.35, 0.20])
    ledges, holes = (), ()
    if kind != "hole":
        ledges = (
            Ledge(
                height=rng.uniform(650, 1150), step=rng.uniform(25, 40),
                fade=rng.uniform(120, 350), edge=rng.uniform(0.8, 2.0),
                azimuth=rng.uniform(0, 360),
                turn_half=float(rng.choice([180.0, rng.uniform(60, 150)])),
            ),
        )  # fmt: skip
    if kind != "ledge":
        holes = tuple(
            Patch(
                azimuth=rng.uniform(0, 360), height=rng.uniform(560, 1150),
                width=_FACE[0] * rng.uniform(1.0, 2.0),
                tall=_FACE[1] * rng.integers(1, 4),
                depth=rng.uniform(60, 110), edge=0.0,
            )
            for _ in range(int(rng.integers(1, 3)))
        )  # fmt: skip
    return ledges, holes


def _draw_texture(rng: Generator) -> tuple[Region, ...]:
    """Joints and roughness, together about 1 mm sd over some 20 mm."""
    columns = 125
    pitch = 2.0 * np.pi * BORE / columns
    rows = int(np.ceil(TOP / pitch)) + 2
    grain = Grain(rng.uniform(-2.2, 2.2, (rows, columns)), pitch)
    joints = Joints(
        course=_FACE[1], blocks=int(rng.integers(12, 15)), depth=rng.uniform(1.0, 2.5),
        half_width=rng.uniform(4, 7), turned=rng.uniform(0, 30),
    )  # fmt: skip
    return grain, joints
