"""A scanned wall whose wear is a formula: points by the hundred million, fast.

The furnace is that of `scans.tall_design`; its ring is burnt back, more on one side.
The scan is displaced and tilted; points have 2 mm of noise along the radius, one in
twenty is dust.  Shapes and sizes are our own invention.  Lengths mm, azimuth degrees.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from linings import cut_into_cells, make_lining
from numpy.typing import NDArray

from geom.datum import Pose
from geom.design import Design
from geom.units import Float
from scans import draw_pose, tall_design

Short = NDArray[np.float32]
Columns = tuple[Short, Short, Short]

NOISE, DUST_IS_ONE_IN, DUST_REACH = 2.0, 20, 700.0
#: Points made at a time.
RUN = 1_000_000
_PEAK, _AT, _TALL, _SIDED, _TO = 45.0, 850.0, 260.0, 0.35, 70.0


@dataclass(frozen=True)
class Wall:
    """A furnace and where its scan lies.

    Attributes
    ----------
    design : Design
    pose : Pose
        The true one.
    low, high : float, mm
        Heights between which there are points.
    seed : int
    """

    design: Design
    pose: Pose
    low: float
    high: float
    seed: int

    def cutback(self, azimuth: Float, height: Float) -> Float:
        """True cut-back; arrays broadcast, mm.  Nothing in the datum band."""
        ring = _PEAK * np.exp(-(((height - _AT) / _TALL) ** 2))
        return ring * (1.0 + _SIDED * np.cos(np.deg2rad(azimuth - _TO)))

    def volume(self, low: float, high: float) -> float:
        """True volume to rebuild between two heights, openings left out, mm3."""
        cells = cut_into_cells(
            self.design, low, high, turn_step=0.5, height_step=2.0
        )  # the wall is cut back everywhere, so this is the signed volume too
        return cells.volume(self.cutback(cells.azimuth, cells.height))

    def runs(
        self, count: int, *, size: int = RUN, in_order: bool = False
    ) -> Iterator[Short]:
        """Points in the scan's frame, mm; arrays (n, 3) of ``size`` points at most.

        Parameters
        ----------
        count, size : int
        in_order : bool
            As a head that turns once writes them; else anyhow, which is the hardest.
        """
        rng = np.random.default_rng([self.seed, count])
        for first in range(0, count, size):
            many = min(size, count - first)
            turned = rng.random(many, dtype=np.float32)
            if in_order:
                turned = ((first + np.arange(many) + turned) / count).astype(np.float32)
            yield self._met(rng, np.float32(2.0 * np.pi) * turned)

    def columns(self, count: int, *, in_order: bool = False) -> Columns:
        """The same points as x, y and z; arrays (count,)."""
        held = np.empty((3, count), dtype=np.float32)
        first = 0
        for run in self.runs(count, in_order=in_order):
            held[:, first : first + len(run)] = run.T
            first += len(run)
        return held[0], held[1], held[2]

    def _met(self, rng: np.random.Generator, turned: Short) -> Short:
        f = np.float32
        many = turned.size
        height = rng.random(many, dtype=f) * f(self.high - self.low) + f(self.low)
        profile = self.design.profile
        radius = np.interp(height, profile.height, profile.radius).astype(f)
        ring = f(_PEAK) * np.exp(-np.square((height - f(_AT)) / f(_TALL)))
        radius += ring * (1 + f(_SIDED) * np.cos(turned - f(np.deg2rad(_TO))))
        radius += f(NOISE) * rng.standard_normal(many, dtype=f)
        dust = radius[::DUST_IS_ONE_IN]
        dust[:] = f(DUST_REACH) * np.sqrt(rng.random(dust.size, dtype=f))
        at = np.empty((many, 3), dtype=f)
        at[:, 0], at[:, 1] = radius * np.cos(turned), radius * np.sin(turned)
        at[:, 2] = height - f(self.pose.mid_height)
        return at @ self.pose.rotation.astype(f) + self.pose.origin.astype(f)


def make_wall(
    seed: int = 7, *, low: float | None = None, high: float | None = None
) -> Wall:
    """A furnace with its scan's pose drawn at random.

    Parameters
    ----------
    seed : int
    low, high : float, mm, optional
        Heights between which there are points; default the whole profile.
    """
    design = tall_design(make_lining("tuyere", seed))
    return Wall(
        design=design,
        pose=draw_pose(np.random.default_rng([seed, 42]), design),
        low=design.profile.bottom if low is None else low,
        high=design.profile.top if high is None else high,
        seed=seed,
    )


def design_toml(design: Design) -> str:
    """The drawing as a design file, in mm."""
    lines = [
        "[lining]",
        f'name = "{design.name}"',
        'length_unit = "mm"',
        f'azimuth_zero = "{design.azimuth_zero}"',
        f'azimuth_sense = "{design.azimuth_sense}"',
        f'height_zero = "{design.height_zero}"',
    ]
    if design.shell_radius is not None:
        lines += ["[shell]", f"radius = {design.shell_radius!r}"]
    for height, radius in zip(
        design.profile.height.tolist(), design.profile.radius.tolist(), strict=True
    ):
        lines += ["[[profile]]", f"height = {height!r}", f"radius = {radius!r}"]
    for hole in design.openings:
        tuyere = hole.kind == "tuyere"
        lines += ["[[tuyere]]"] if tuyere else ["[[hole]]", f'kind = "{hole.kind}"']
        for key in ("azimuth", "height", "width", "tall"):
            lines.append(f"{key} = {float(getattr(hole, key))!r}")
    for band in design.datum_bands:
        lines += ["[[datum_band]]", f"from = {band.low!r}", f"to = {band.high!r}"]
    return "\n".join(lines) + "\n"
