"""Worn walls drawn without regard to the model that will have to find them.

No family here knows a covariance function: rings are skewed bells, losses have upright
edges, streaks are narrow and tall, ledges follow courses.  Lengths mm, azimuth degrees.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Float = NDArray[np.float64]
#: From azimuth and height, broadcast, to cut-back in mm.
Field = Callable[[Float, Float], Float]


@dataclass(frozen=True)
class Room:
    """What a family has to know of a furnace: mm."""

    radius: float
    top: float
    tuyeres: float
    thickness: float

    @property
    def melting(self) -> float:
        """Where the wall melts back, about: common practice, no source."""
        return self.tuyeres + min(260.0, 0.25 * (self.top - self.tuyeres))

    @property
    def deep(self) -> float:
        """A deep loss that leaves half of the lining."""
        return min(45.0, 0.5 * self.thickness)


def texture(rng: Generator, room: Room, size: float) -> Field:
    """Roughness of a burnt face: waves of 50 to 300 mm in all directions."""
    count = 40
    length = rng.uniform(50.0, 300.0, count)
    way = rng.uniform(0.0, np.pi, count)
    phase = rng.uniform(0.0, 2.0 * np.pi, count)
    # whole waves round the ring
    lobes = np.round(2.0 * np.pi * room.radius / length * np.cos(way))
    up = 2.0 * np.pi / length * np.sin(way)

    def field(azimuth: Float, height: Float) -> Float:
        total = np.zeros(np.broadcast_shapes(azimuth.shape, height.shape))
        for k, rise, start in zip(lobes, up, phase, strict=True):
            total = total + np.sin(k * np.deg2rad(azimuth) + rise * height + start)
        return total * size * np.sqrt(2.0 / count)

    return field


def ring(rng: Generator, room: Room, deep: float) -> Field:
    """A ring of wear, steeper below than above, deeper on one side."""
    centre = room.melting + rng.normal(0.0, 60.0)
    below, above = rng.uniform(80.0, 180.0), rng.uniform(150.0, 350.0)
    side, tilt = rng.uniform(0.0, 360.0), rng.uniform(0.0, 0.35)

    def field(azimuth: Float, height: Float) -> Float:
        off = height - centre
        bell = 1.0 / np.cosh(off / np.where(off < 0.0, below, above)) ** 2
        return deep * bell * (1.0 + tilt * np.cos(np.deg2rad(azimuth - side)))

    return field


def _turn(azimuth: Float, at: float) -> Float:
    return (azimuth - at + 180.0) % 360.0 - 180.0


def boxes(
    rng: Generator, room: Room, count: int, deep: tuple[float, float], wide: float = 1.0
) -> Field:
    """Losses of bricks: upright edges, depths of their own."""
    low, high = 0.08 * room.top, 0.85 * room.top
    at, up = rng.uniform(0.0, 360.0, count), rng.uniform(low, high, count)
    across = rng.choice([114.0, 230.0], count) * wide
    tall = rng.choice([64.0, 115.0, 230.0], count) * wide
    depth = rng.uniform(*deep, count)

    def field(azimuth: Float, height: Float) -> Float:
        total = np.zeros(np.broadcast_shapes(azimuth.shape, height.shape))
        for a, h, w, t, d in zip(at, up, across, tall, depth, strict=True):
            arc = np.abs(_turn(azimuth, a)) * np.pi / 180.0 * room.radius
            inside = (arc < 0.5 * w) & (np.abs(height - h) < 0.5 * t)
            total = np.where(inside & (np.abs(total) < abs(d)), d, total)
        return total

    return field


def streaks(rng: Generator, room: Room) -> Field:
    """Upright runs of wear: narrow round the ring, tall up the wall."""
    count = int(rng.integers(5, 12))
    at = rng.uniform(0.0, 360.0, count)
    wide = rng.uniform(25.0, 70.0, count)
    low = rng.uniform(0.05, 0.35, count) * room.top
    high = low + rng.uniform(0.25, 0.6, count) * room.top
    depth = rng.uniform(8.0, 0.7 * room.deep, count)

    def field(azimuth: Float, height: Float) -> Float:
        total = np.zeros(np.broadcast_shapes(azimuth.shape, height.shape))
        for a, w, b, t, d in zip(at, wide, low, high, depth, strict=True):
            arc = _turn(azimuth, a) * np.pi / 180.0 * room.radius
            ends = np.clip((height - b) / 60.0, 0, 1) * np.clip(
                (t - height) / 60.0, 0, 1
            )
            total = total + d * np.exp(-0.5 * (arc / w) ** 2) * ends
        return total

    return field


def ledges(rng: Generator, room: Room) -> Field:
    """Every course its own depth over a sector, as where brick fell out in rows."""
    edge = np.arange(0.0, room.top + 230.0, 115.0)
    ramp = np.interp(
        edge, [0.0, room.tuyeres, room.melting, 0.7 * room.top], [0.0, 4.0, 22.0, 2.0]
    )
    depth = np.maximum(ramp + rng.normal(0.0, 4.0, edge.size), 0.0)
    more = np.where(rng.random(edge.size) < 0.25, rng.uniform(5, 15, edge.size), 0.0)
    start, width = rng.uniform(0, 360), rng.uniform(60, 150)

    def field(azimuth: Float, height: Float) -> Float:
        course = np.clip((height // 115.0).astype(int), 0, edge.size - 1)
        inside = ((azimuth - start) % 360.0) < width
        return depth[course] + np.where(inside, more[course], 0.0)

    return field


def one_sided(rng: Generator, room: Room) -> Field:
    """All of the wear on one side, none on the other."""
    side, power = rng.uniform(0.0, 360.0), rng.uniform(1.5, 4.0)
    bell = ring(rng, room, room.deep)

    def field(azimuth: Float, height: Float) -> Float:
        facing = np.maximum(np.cos(np.deg2rad(azimuth - side)), 0.0) ** power
        return bell(azimuth, height) * facing

    return field


def slag(rng: Generator, room: Room) -> Field:
    """Ridges of slag over worn wall: a broken ring above the tuyeres, and lumps."""
    at = room.tuyeres + rng.uniform(60.0, 150.0)
    thick, tall = rng.uniform(6.0, 18.0), rng.uniform(25.0, 60.0)
    gate, lobes = rng.uniform(0, 2 * np.pi), int(rng.integers(2, 6))
    lumps = boxes(rng, room, int(rng.integers(2, 6)), (-22.0, -8.0), 0.8)
    worn = ring(rng, room, 0.6 * room.deep)

    def field(azimuth: Float, height: Float) -> Float:
        broken = np.clip(0.5 + np.sin(lobes * np.deg2rad(azimuth) + gate), 0.0, 1.0)
        ridge = thick * broken * np.exp(-0.5 * ((height - at) / tall) ** 2)
        lump = lumps(azimuth, height)
        return np.where(lump < 0.0, lump, worn(azimuth, height)) - ridge

    return field


def patched(rng: Generator, room: Room) -> Field:
    """A wall after its repair: patches a little proud or shy, joints at their edges."""
    some = boxes(rng, room, int(rng.integers(6, 14)), (-4.0, 6.0), 1.6)
    rest = ring(rng, room, 5.0)

    def field(azimuth: Float, height: Float) -> Float:
        patch = some(azimuth, height)
        return np.where(patch != 0.0, patch, rest(azimuth, height))

    return field


def make_wall(family: str, rng: Generator, room: Room) -> Field:
    """Draw a wall of a family."""
    if family == "sound":
        return lambda azimuth, height: np.zeros(
            np.broadcast_shapes(azimuth.shape, height.shape)
        )
    parts: list[Field] = [texture(rng, room, rng.uniform(0.4, 1.2))]
    if family == "ring":
        parts.append(ring(rng, room, room.deep))
    elif family == "bricks":
        parts.append(ring(rng, room, 0.3 * room.deep))
        parts.append(boxes(rng, room, int(rng.integers(8, 25)), (15.0, room.deep)))
    elif family == "streaks":
        parts += [ring(rng, room, 0.4 * room.deep), streaks(rng, room)]
    elif family == "ledges":
        parts.append(ledges(rng, room))
    elif family == "one-sided":
        parts.append(one_sided(rng, room))
    elif family == "slag":
        parts.append(slag(rng, room))
    elif family == "patched":
        parts.append(patched(rng, room))
    else:
        raise ValueError(family)
    return lambda azimuth, height: sum(part(azimuth, height) for part in parts)


FAMILIES = (
    "ring", "bricks", "streaks", "ledges", "one-sided", "slag", "patched", "sound",
)  # fmt: skip
#: Families with edges or shapes that few readings can see.
HOSTILE = ("bricks", "streaks", "ledges", "slag")
