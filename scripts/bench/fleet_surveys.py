"""Ways to survey a wall: few readings and many, rows far apart, gaps, slips, clouds.

Each writes the file that a person would hand in.  Lengths mm, azimuth degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from fleet_furnaces import INCH, Furnace
from fleet_walls import Field, Float
from numpy.random import Generator

#: Golden part of a step: rows turned by it never stand in one line.
GOLDEN = 0.382


@dataclass(frozen=True)
class Way:
    """How a wall is surveyed.

    Attributes
    ----------
    name : str
    azimuths, rows : int
    kind : {'rods', 'diameters', 'cloud'}
    part : float
        Share of the ring that is read, from azimuth 0 on; or of the sheet.
    """

    name: str
    azimuths: int = 0
    rows: int = 0
    kind: str = "rods"
    part: float = 1.0
    noise: float = 2.0


WAYS: tuple[Way, ...] = (
    Way("24x20", 24, 20),
    Way("16x14", 16, 14),
    Way("12x10", 12, 10),
    Way("8x6", 8, 6),
    Way("rows 18 in apart", 12, 0),
    Way("staggered 12x10", 12, 10),
    Way("a quarter unread", 16, 12, part=0.75),
    Way("half unread", 16, 12, part=0.5),
    Way("above the tuyeres", 12, 10),
    Way("diameters", 12, 10, kind="diameters"),
    Way("eighths, errors, slips", 14, 11),
    Way("half typed", 16, 14, part=0.5),
    Way("cloud, even", kind="cloud"),
    Way("cloud, standing", kind="cloud"),
    Way("cloud, handheld", kind="cloud"),
    Way("cloud, 1000 points", kind="cloud"),
)


@dataclass(frozen=True)
class Wall:
    """The true wall of a furnace, mm."""

    furnace: Furnace
    cutback: Field

    @property
    def profile(self) -> tuple[Float, Float]:
        """Heights and radii of the drawing."""
        table = np.array(self.furnace.profile, dtype=float) * self.furnace.mm
        return table[:, 0], table[:, 1]

    def drawn(self, height: Float) -> Float:
        """Radius of the drawing; at a step that of the part above."""
        at, radius = self.profile
        k = np.clip(np.searchsorted(at, height, side="right") - 1, 0, at.size - 2)
        part = (height - at[k]) / np.where(at[k + 1] > at[k], at[k + 1] - at[k], 1.0)
        return radius[k] + np.clip(part, 0.0, 1.0) * (radius[k + 1] - radius[k])

    def radius(self, azimuth: Float, height: Float) -> Float:
        """True radius."""
        return self.drawn(height) + self.cutback(azimuth, height)

    def open_at(self, azimuth: Float, height: Float, clear: float = 0.0) -> Float:
        """Whether a place is in a tuyere, or that near to one (mm)."""
        found = np.zeros(np.broadcast_shapes(azimuth.shape, height.shape), bool)
        mm = self.furnace.mm
        for count, up, wide, tall in self.furnace.tuyeres:
            radius = self.drawn(np.array(up * mm))
            step = 360.0 / count
            off = np.abs((azimuth % step) - 0.5 * step) * np.pi / 180.0 * radius
            found |= (off < 0.5 * wide * mm + clear) & (
                np.abs(height - up * mm) < 0.5 * tall * mm + clear
            )
        return found


def stations(way: Way, wall: Wall) -> tuple[Float, Float]:
    """Azimuth and height of every reading of a rod sheet."""
    mm, top = wall.furnace.mm, wall.furnace.profile[-1][0] * wall.furnace.mm
    low, high = min(3 * INCH, 0.05 * top), top - min(3 * INCH, 0.05 * top)
    if way.name == "above the tuyeres":
        low = max(up + tall for _, up, _, tall in wall.furnace.tuyeres) * mm + 50.0
    rows = way.rows or int((high - low) // (18 * INCH)) + 1
    heights = (
        np.linspace(low, high, rows) if way.rows else low + np.arange(rows) * 18 * INCH
    )
    step = 360.0 / way.azimuths
    turn = GOLDEN * step if way.name.startswith("staggered") else 0.0
    azimuth = np.arange(way.azimuths) * step
    pairs = np.array(
        [((a + k * turn) % 360.0, h) for k, h in enumerate(heights) for a in azimuth]
    )
    if way.name == "half typed":
        pairs = pairs[: int(way.part * len(pairs))]
    elif way.part < 1.0:
        pairs = pairs[pairs[:, 0] < 360.0 * way.part]
    at, up = pairs[:, 0].round(2), pairs[:, 1].round(1)
    clear = ~wall.open_at(at, up, 15.0)
    # a rod does not stand on the very edge of a step
    corner, _ = wall.profile
    for edge in corner[1:][np.diff(corner) == 0.0]:
        clear &= np.abs(up - edge) > 10.0
    return at[clear], up[clear]


def write_rods(
    way: Way, wall: Wall, rng: Generator, path: Path, *, slip_rate: float = 0.012
) -> None:
    """Write a rod sheet; in eighths, a share of the readings is an inch off."""
    at, up = stations(way, wall)
    if way.kind == "diameters":
        half = at < 180.0
        at, up = at[half], up[half]
        far = (at + 180.0) % 360.0
        clear = ~wall.open_at(far, up, 15.0)
        at, up, far = at[clear], up[clear], far[clear]
        value = wall.radius(at, up) + wall.radius(far, up)
        value = value + rng.normal(0.0, way.noise, at.size)
        _write(path, "diameter_mm", at, up, value.round(1))
        return
    if way.name.startswith("eighths"):
        felt_at = at + rng.normal(0.0, 1.0, at.size)
        felt_up = np.clip(up + rng.normal(0.0, 6.0, up.size), 0.0, None)
        off, way_off = rng.normal(0.0, 2.0, 2)
        value = wall.radius(felt_at, felt_up)
        value = value + off * np.cos(np.deg2rad(at)) + way_off * np.sin(np.deg2rad(at))
        value = value + rng.normal(0.0, 1.5, at.size)
        slips = rng.random(at.size) < slip_rate
        value = value + slips * rng.choice([-INCH, INCH], at.size)
        value = np.round(value / INCH * 8.0) / 8.0
        _write(path, "radius_in", at, up / INCH, value)
        return
    value = wall.radius(at, up) + rng.normal(0.0, way.noise, at.size)
    _write(path, "radius_mm", at, up, value.round(1))


def _write(path: Path, kind: str, at: Float, up: Float, value: Float) -> None:
    unit = kind.rpartition("_")[2]
    rows = [f"azimuth_deg,height_{unit},{kind}"]
    rows += [f"{a:.2f},{h:.4f},{v:.4f}" for a, h, v in zip(at, up, value, strict=True)]
    path.write_text("\n".join(rows) + "\n", "utf-8")


@dataclass(frozen=True)
class TruePose:
    """Where the scanner stood: offsets at mid-height (mm), tilts (degrees)."""

    offset_x: float
    offset_y: float
    tilt_x: float
    tilt_y: float


def write_cloud(way: Way, wall: Wall, rng: Generator, path: Path) -> TruePose:
    """Write a point cloud as NPY, mm."""
    top = wall.furnace.profile[-1][0] * wall.furnace.mm
    many = 1_100 if "1000" in way.name else 60_000
    tried = 4 * many
    at = rng.uniform(0.0, 360.0, tried)
    up = rng.uniform(0.02 * top, 0.98 * top, tried)
    true = wall.radius(at, up)
    keep = ~wall.open_at(at, up)
    weight = np.ones(tried)
    if "standing" in way.name:
        away = np.hypot(true, up - 0.4 * top)
        weight = (true / away) ** 3
    elif "handheld" in way.name:
        spots = rng.uniform(0.0, 360.0, 6)
        near = [np.cos(np.deg2rad(at - s)) for s in spots]
        weight = 0.2 + np.exp(3.0 * (np.max(near, axis=0) - 1.0) * 4.0)
        # handheld scans are denser where the wall lies further out
        weight = weight * np.exp(0.02 * wall.cutback(at, up))
    keep &= rng.random(tried) < weight / weight.max()
    index = np.flatnonzero(keep)[:many]
    at, up, true = at[index], up[index], true[index]
    measured = true + rng.normal(0.0, way.noise, at.size)
    angle = np.deg2rad(at)
    points = np.column_stack([measured * np.cos(angle), -measured * np.sin(angle), up])
    pose = TruePose(*rng.normal(0.0, 12.0, 2), *rng.normal(0.0, 0.25, 2))
    moved = _moved(points, pose, 0.5 * top)
    np.save(path, moved)
    return pose


def _moved(points: Float, pose: TruePose, middle: float) -> Float:
    x, y = np.deg2rad(pose.tilt_x), np.deg2rad(pose.tilt_y)
    about_x = np.array(
        [[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]]
    )
    about_y = np.array(
        [[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]]
    )
    centre = np.array([0.0, 0.0, middle])
    turned = (points - centre) @ (about_y @ about_x).T + centre
    return turned + np.array([pose.offset_x, pose.offset_y, 0.0])
