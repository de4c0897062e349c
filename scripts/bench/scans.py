"""Laser scans of worn linings whose every point is known, with what spoils them.

A scanner stands somewhere inside, off the axis and not level, and looks round.  Points
lie as densely as its rays meet the wall.  Chains and a ladder hang in front of parts of
it, the tripod hides the foot, dust floats in between and glints lie anywhere.  The
linings are those of `linings`, with more stack above and a datum band in it.  Shapes
and sizes are our own invention.  Lengths mm, azimuth degrees.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from furnaces import INCH
from linings import FAMILIES, Lining, make_lining
from numpy.random import Generator

from geom.datum import Pose
from geom.design import DatumBand, Design, Profile
from geom.frame import turn
from geom.readings.clouds.source import Piece, Points, cut
from geom.units import Bool, Float

#: Top of the linings' own wear, of the wall, and the datum band.
WORN_TO, TOP = 60 * INCH, 100 * INCH
BAND = DatumBand(86 * INCH, 95 * INCH)
STACK = 1.0


@dataclass(frozen=True)
class Scene:
    """One scan and the truth behind it.

    Attributes
    ----------
    design : Design
    lining : Lining
    pose : Pose
        The true one; its covariance means nothing.
    scanner : array (3,), mm
        In the scan's frame.
    points : array (n, 3), mm
        In the scan's frame.
    """

    design: Design
    lining: Lining
    pose: Pose
    scanner: Float
    points: Float

    def cutback(self, azimuth: Float, height: Float) -> Float:
        """True cut-back at any stations; arrays broadcast, mm."""
        return true_cutback(self.lining, azimuth, height)


def true_cutback(lining: Lining, azimuth: Float, height: Float) -> Float:
    """Wear of the lining below, a rubbed stack above, nothing in the datum band."""
    a, h = np.broadcast_arrays(azimuth, np.asarray(height, dtype=np.float64))
    worn = lining.cutback(a, np.minimum(h, WORN_TO))
    worn = np.where(h < WORN_TO, worn, STACK)
    return np.where((h >= BAND.low) & (h <= BAND.high), 0.0, worn)


def tall_design(lining: Lining) -> Design:
    """The lining's drawing with the stack above it and the datum band."""
    own = lining.design.profile
    profile = Profile(np.append(own.height, TOP), np.append(own.radius, own.radius[-1]))
    return replace(lining.design, profile=profile, datum_bands=(BAND,))


def make_scene(
    seed: int,
    *,
    points: int = 1_000_000,
    noise: float = 2.0,
    gross: float = 0.05,
    shadow: float = 0.3,
    family: str | None = None,
    even: bool = False,
) -> Scene:
    """A scan of a lining.

    Parameters
    ----------
    seed : int
    points : int
        About how many.
    noise : float, mm
        Standard deviation along the radius.
    gross : float
        Share of points that lie anywhere.
    shadow : float
        Share of the wall that is hidden, about.
    family : str, optional
        Of `linings.FAMILIES`; default by turns.
    even : bool
        Points evenly over the wall and plain patches hidden, instead of what a scanner
        meets from where it stands and what hangs in front of it.
    """
    rng = np.random.default_rng([seed, 41])
    lining = make_lining(family or FAMILIES[seed % len(FAMILIES)], 30000 + seed)
    design = tall_design(lining)
    pose = draw_pose(rng, design)
    stand = np.array([*rng.uniform(-90, 90, 2), rng.uniform(700, 1500)])
    count = round(points * (1.0 - gross))
    hangings = draw_hangings(rng, shadow, _patch if even else _hanging)
    azimuth, height = _met(rng, count, None if even else stand, hangings)
    drawn = design.profile.radius_at(height)
    radius = drawn + true_cutback(lining, azimuth, height)
    radius = radius + noise * rng.standard_normal(count)
    a, r, h = _dust(rng, round(points * gross))
    every = pose.from_wall(
        np.append(azimuth, a), np.append(radius, r), np.append(height, h)
    )
    turned = np.rad2deg(np.arctan2(stand[1], stand[0]))
    scanner = pose.from_wall(turned, np.hypot(*stand[:2]), stand[2])
    order = np.argsort(np.append(azimuth, a) + 1e-3 * np.append(height, h) / TOP)
    return Scene(design, lining, pose, scanner, every[order])


def draw_pose(rng: Generator, design: Design) -> Pose:
    """Off the axis by up to 80 mm and tilted by up to 2 degrees."""
    way, lean = rng.uniform(0, 2 * np.pi, 2)
    off, tilt = rng.uniform(0, 80), rng.uniform(0, 2)
    parameters = [off * np.cos(way), off * np.sin(way), tilt * np.cos(lean)]
    nominal = Pose.nominal(
        design, azimuth_of_x=float(rng.uniform(0, 360)), z_offset=-1200.0
    )
    return nominal.at(np.array([*parameters, tilt * np.sin(lean)]))


@dataclass(frozen=True)
class Hanging:
    """Something in front of the wall: what it hides, seen from the scanner.

    Attributes
    ----------
    azimuth, half : float, degrees
        Where its shadow falls on the wall, and half its width.
    low, high : float, mm
    """

    azimuth: float
    half: float
    low: float
    high: float

    def hides(self, azimuth: Float, height: Float) -> Bool:
        """Whether places on the wall lie in its shadow."""
        beside = np.abs(turn(self.azimuth, azimuth)) <= self.half
        return beside & (height >= self.low) & (height <= self.high)


def draw_hangings(
    rng: Generator, shadow: float, draw: Callable[[Generator], Hanging]
) -> list[Hanging]:
    """Things in front of the wall, until enough of it is hidden."""
    found: list[Hanging] = []
    net_a, net_h = np.meshgrid(np.arange(0.0, 360.0, 2.0), np.arange(130.0, TOP, 25.0))
    hidden = np.zeros(net_a.shape, dtype=bool)
    while hidden.mean() < shadow:
        found.append(draw(rng))
        hidden |= found[-1].hides(net_a, net_h)
    return found


def _hanging(rng: Generator) -> Hanging:
    """A chain, a ladder or a lump near the scanner."""
    kind = rng.choice(["chain", "ladder", "hook"], p=[0.5, 0.2, 0.3])
    at = float(rng.uniform(0, 360))
    if kind == "chain":
        return Hanging(at, rng.uniform(2, 7), rng.uniform(0, 900), TOP)
    if kind == "ladder":
        return Hanging(at, rng.uniform(8, 16), 0.0, rng.uniform(900, TOP))
    low = float(rng.uniform(100, TOP - 400))
    return Hanging(at, rng.uniform(5, 15), low, low + rng.uniform(100, 500))


def _patch(rng: Generator) -> Hanging:
    """A patch 20 to 60 degrees wide."""
    at, low = float(rng.uniform(0, 360)), float(rng.uniform(0, 0.6 * TOP))
    return Hanging(at, rng.uniform(10, 30), low, low + rng.uniform(400, 1500))


def _met(
    rng: Generator, count: int, stand: Float | None, hangings: list[Hanging]
) -> tuple[Float, Float]:
    """Where rays meet the wall: as densely as cos(i) / distance squared, or evenly."""
    found_a, found_h, have = [], [], 0
    while have < count:
        n = 2 * count
        a, h = rng.uniform(0, 360, n), rng.uniform(5 * INCH, TOP - 2, n)
        kept = np.ones(n, dtype=bool)
        if stand is not None:
            kept = rng.random(n) < _density(a, h, stand)
        for one in hangings:
            kept &= ~one.hides(a, h)
        found_a.append(a[kept])
        found_h.append(h[kept])
        have += int(kept.sum())
    return np.concatenate(found_a)[:count], np.concatenate(found_h)[:count]


def _density(azimuth: Float, height: Float, stand: Float) -> Float:
    """How densely rays meet the wall, at most 1; none under the tripod's cone."""
    a = np.deg2rad(azimuth)
    wall = 457.0 * np.stack([np.cos(a), np.sin(a)])
    gap = np.stack([wall[0] - stand[0], wall[1] - stand[1], height - stand[2]])
    far = np.sqrt(np.sum(gap**2, axis=0))
    square = (gap[0] * wall[0] + gap[1] * wall[1]) / (457.0 * far)
    down = gap[2] < -np.hypot(gap[0], gap[1]) * np.tan(np.deg2rad(65.0))
    return np.where(down, 0.0, np.minimum(square / far**2 * 250.0**2, 1.0))


@dataclass(frozen=True)
class Held:
    """Points in memory as a source of runs; see `geom.readings.clouds`."""

    points: Float
    name: str = "a scan in memory"
    millimetres: float | None = 1.0
    station: tuple[float, float, float] | None = None

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.points)

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut them into parts."""
        return cut(Piece(0, self.count), most)

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Give them in runs."""
        start, stop = (0, self.count) if piece is None else (piece.start, piece.stop)
        for first in range(start, stop, size):
            x, y, z = self.points[first : min(first + size, stop)].T
            yield Points(x, y, z)


def _dust(rng: Generator, count: int) -> tuple[Float, Float, Float]:
    """Points anywhere in the bore and a little beyond the wall."""
    return (
        rng.uniform(0, 360, count),
        700.0 * np.sqrt(rng.random(count)),
        rng.uniform(5 * INCH, TOP, count),
    )
