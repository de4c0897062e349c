"""How a cupola wall wears: the pieces a worn lining is put together from.

Each piece is a plain function of azimuth and height (any station, no grid), so that
the truth is exact everywhere.  Shapes and sizes are common practice, no source: what
men who patch such walls describe.  No piece is a draw from a Gaussian process.
Lengths mm, azimuth degrees; wear positive, build-up negative.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.frame import turn
from geom.units import Float

#: Radius that arc lengths on the wall are told at, mm: 18 in.
BORE = 457.2


def arc(start: float | Float, azimuth: Float) -> Float:
    """Signed arc length along the bore from one azimuth to others, mm."""
    return np.deg2rad(turn(start, azimuth)) * BORE


def sigmoid(x: Float) -> Float:
    """Logistic step from 0 to 1, safe for any argument."""
    return 0.5 * (1.0 + np.tanh(0.5 * x))


@dataclass(frozen=True)
class Jet:
    """The mark of one tuyere's blast on the wall above it.

    Deepest one ``reach`` above the tuyere's foot, then dying away; it spreads and
    swirls as it rises.
    """

    azimuth: float
    height: float
    depth: float
    width: float
    reach: float
    spread: float
    swirl: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm."""
        rise = np.maximum(height - self.height, 0.0)
        gain = (rise / self.reach) * np.exp(1.0 - rise / self.reach)
        wide = self.width + self.spread * rise
        beside = arc(self.azimuth + self.swirl * rise, azimuth) / wide
        return self.depth * gain * np.exp(-0.5 * beside**2)


@dataclass(frozen=True)
class Burn:
    """Burn-back of the melting zone: a lopsided bell over height, uneven round it.

    Attributes
    ----------
    peak : float, mm
    centre : float, mm
        Height of the deepest ring.
    below, above : float, mm
        Width of the bell under and over it.
    roundness : float
        Exponent of the bell; 2 is a normal curve.  0: a gamma-like bell with a foot.
    tilt, tilt_to : float, mm and degrees
        The ring rides up on one side by that much (a coke bed not level).
    sided, sided_to, drift : float, 1, degrees, degrees per mm
        One-sided part (one lobe) as a share, where to, and how it turns with height.
    oval, oval_to : float
        Two-lobed part.
    """

    peak: float
    centre: float
    below: float
    above: float
    roundness: float
    tilt: float
    tilt_to: float
    sided: float
    sided_to: float
    drift: float
    oval: float
    oval_to: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm."""
        tilted = self.tilt * np.cos(np.deg2rad(azimuth - self.tilt_to))
        bell = self._bell(height - self.centre - tilted)
        return self.peak * bell * np.maximum(self._round(azimuth, height), 0.0)

    def _bell(self, off: Float) -> Float:
        if self.roundness > 0.0:
            wide = np.where(off < 0.0, self.below, self.above)
            return np.exp(-(np.abs(off / wide) ** self.roundness))
        foot = max(2.2 * self.below, self.above)
        part = np.maximum(1.0 + off / foot, 0.0)
        power = 2.0 * (foot / self.above) ** 2
        return (part * np.exp(1.0 - part)) ** power

    def _round(self, azimuth: Float, height: Float) -> Float:
        lobe = azimuth - self.sided_to - self.drift * (height - self.centre)
        two = 2.0 * (azimuth - self.oval_to)
        return (
            1.0
            + self.sided * np.cos(np.deg2rad(lobe))
            + self.oval * np.cos(np.deg2rad(two))
        )


@dataclass(frozen=True)
class Patch:
    """A piece fallen out (depth > 0): flat-bottomed, with an edge some mm wide.

    ``edge`` 0 is a vertical edge.
    """

    azimuth: float
    height: float
    width: float
    tall: float
    depth: float
    edge: float
    lean: float = 0.0

    def share(self, azimuth: Float, height: Float) -> Float:
        """How far a station lies in it, 0 to 1."""
        x, z = arc(self.azimuth, azimuth), height - self.height
        c, s = np.cos(np.deg2rad(self.lean)), np.sin(np.deg2rad(self.lean))
        u = 0.5 * self.width - np.abs(c * x + s * z)
        v = 0.5 * self.tall - np.abs(c * z - s * x)
        if self.edge == 0.0:
            return ((u > 0.0) & (v > 0.0)).astype(np.float64)
        return sigmoid(u / self.edge) * sigmoid(v / self.edge)

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm."""
        return self.depth * self.share(azimuth, height)


@dataclass(frozen=True)
class Lump:
    """Slag or iron frozen to the wall, standing proud by ``proud`` (lopsided dome)."""

    azimuth: float
    height: float
    width: float
    below: float
    above: float
    proud: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear (negative), mm."""
        x, z = arc(self.azimuth, azimuth) / self.width, height - self.height
        z = z / np.where(z < 0.0, self.below, self.above)
        return -self.proud * np.exp(-((x**2 + z**2) ** 1.3))


@dataclass(frozen=True)
class Band:
    """A thin collar of slag low down, thicker on one side."""

    height: float
    tall: float
    proud: float
    lopsided: float
    thick_at: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear (negative), mm."""
        side = 1.0 + self.lopsided * np.cos(np.deg2rad(azimuth - self.thick_at))
        return -self.proud * side * np.exp(-(((height - self.height) / self.tall) ** 4))


@dataclass(frozen=True)
class Stack:
    """Rubbing of the charges on the sound wall: a few mm, a little more on top."""

    depth: float
    rise: float
    sided: float
    sided_to: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm."""
        side = 1.0 + self.sided * np.cos(np.deg2rad(azimuth - self.sided_to))
        return self.depth * side * (1.0 + self.rise * (height / 1500.0 - 0.5))


@dataclass(frozen=True)
class Ledge:
    """Everything under a course line cut back by a step that fades downwards.

    It reaches round ``turn_half`` degrees each way from ``azimuth``.
    """

    height: float
    step: float
    fade: float
    edge: float
    azimuth: float
    turn_half: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm."""
        under = self.height - height
        drop = sigmoid(under / self.edge) * np.exp(-np.maximum(under, 0) / self.fade)
        if self.turn_half >= 180.0:
            return self.step * drop
        beside = np.deg2rad(self.turn_half - np.abs(turn(self.azimuth, azimuth)))
        return self.step * drop * sigmoid(beside * BORE / 10.0)


@dataclass(frozen=True)
class Joints:
    """Brick joints washed out a little, courses staggered by half a block."""

    course: float
    blocks: int
    depth: float
    half_width: float
    turned: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm: about 0 on average."""
        row = np.floor(height / self.course)
        bed = _to_joint(height / self.course) * self.course
        block = 360.0 / self.blocks
        part = (azimuth - self.turned) / block + 0.5 * np.mod(row, 2.0)
        upright = np.deg2rad(_to_joint(part) * block) * BORE
        near = np.minimum(bed, upright) / self.half_width
        return self.depth * (np.exp(-(near**2)) - 0.15)


def _to_joint(part: Float) -> Float:
    return np.abs(part - np.round(part))


@dataclass(frozen=True)
class Grain:
    """Roughness of the burnt face: values on a lattice, blended smoothly.

    Attributes
    ----------
    values : array (rows, columns), mm
        The lattice; its columns close round the bore.
    pitch : float, mm
        Distance of its rows; the columns are as far apart.
    """

    values: Float
    pitch: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear, mm: about 0 on average."""
        rows, columns = self.values.shape
        x = np.mod(azimuth, 360.0) / 360.0 * columns
        z = np.clip(height / self.pitch, 0.0, rows - 1.001)
        i, j = np.floor(z).astype(int), np.floor(x).astype(int) % columns
        v, u = _blend(z - np.floor(z)), _blend(x - np.floor(x))
        on = (j + 1) % columns
        low = self.values[i, j] * (1 - u) + self.values[i, on] * u
        high = self.values[i + 1, j] * (1 - u) + self.values[i + 1, on] * u
        return low * (1 - v) + high * v


def _blend(part: Float) -> Float:
    return part * part * (3.0 - 2.0 * part)
