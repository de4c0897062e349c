"""Worn linings whose every point is known: the truth the benchmark is scored on.

A 36 in lined cupola, 60 in of its wall, four to six tuyeres at 17 1/2 in.  The furnaces
are invented (`furnaces`), put together from physical pieces (`wear`).  Lengths mm,
azimuth degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from furnaces import (
    FAMILIES,
    HABITS,
    INCH,
    Nature,
    Region,
    draw_design,
    draw_nature,
    draw_pieces,
    vary,
)
from numpy.random import Generator
from wear import BORE, Patch

from geom.design import Design
from geom.frame import wrap
from geom.readings import RodReadings
from geom.units import Bool, Float

#: Lowest and highest rod reading: from below the tuyeres to the sound stack.
LOW, HIGH = 10 * INCH, 58 * INCH
#: No wear goes nearer to the shell than this.
THINNEST = 15.0


@dataclass(frozen=True)
class Cells:
    """A cut of the wall into cells; flat arrays (n,).

    Attributes
    ----------
    azimuth, height : array, degrees and mm
        Of the cells' middles.
    design_radius : array, mm
    weight : array, radian mm
        Angle times height of the part of the cell outside the openings.
    clear : bool array
        Whether the middle is outside the openings.
    shape : (heights, azimuths)
    """

    azimuth: Float
    height: Float
    design_radius: Float
    weight: Float
    clear: Bool
    shape: tuple[int, int]

    def volume(self, cutback: Float) -> float:
        """Material to rebuild that a cut-back surface asks for, mm3.

        Sum of ``(r^2 - r_design^2)/2`` where the wall is cut back.
        """
        lost = np.maximum(cutback, 0.0)
        return float(np.sum(self.weight * lost * (self.design_radius + 0.5 * lost)))


def cut_into_cells(
    design: Design, low: float, high: float, *, turn_step: float, height_step: float
) -> Cells:
    """Cut the wall between two heights into cells of about that size.

    Parameters
    ----------
    design : Design
    low, high : float, mm
    turn_step : float, degrees
        Must divide 360.
    height_step : float, mm
        Shrunk to divide the height.
    """
    columns, rows = round(360 / turn_step), int(np.ceil((high - low) / height_step))
    edge_a = np.linspace(0.0, 360.0, columns + 1)
    edge_h = np.linspace(low, high, rows + 1)
    mid_a, mid_h = 0.5 * (edge_a[1:] + edge_a[:-1]), 0.5 * (edge_h[1:] + edge_h[:-1])
    open_part = np.zeros((rows, columns))
    for hole in design.openings:
        half = hole.half_angle(design.radius_at_opening(hole))
        beside = sum(
            _overlap(edge_a, hole.azimuth + lap - half, hole.azimuth + lap + half)
            for lap in (-360.0, 0.0, 360.0)
        )
        foot = hole.height - 0.5 * hole.tall
        open_part += np.outer(_overlap(edge_h, foot, foot + hole.tall), beside)
    azimuth, height = np.meshgrid(mid_a, mid_h)
    a, h = azimuth.ravel(), height.ravel()
    size = np.deg2rad(360.0 / columns) * (high - low) / rows
    return Cells(
        azimuth=a,
        height=h,
        design_radius=design.profile.radius_at(h),
        weight=size * np.clip(1.0 - open_part, 0.0, 1.0).ravel(),
        clear=~in_opening(design, a, h),
        shape=(rows, columns),
    )


def in_opening(design: Design, azimuth: Float, height: Float) -> Bool:
    """Whether stations lie in any opening; same shape."""
    inside = np.zeros(np.broadcast(azimuth, height).shape, dtype=bool)
    for hole in design.openings:
        inside |= hole.holds(azimuth, height, design.radius_at_opening(hole))
    return inside


def _overlap(edges: Float, start: float, end: float) -> Float:
    """Share of each interval between edges that lies in (start, end)."""
    inside = np.minimum(edges[1:], end) - np.maximum(edges[:-1], start)
    return np.maximum(inside, 0.0) / np.diff(edges)


@dataclass(frozen=True)
class Lining:
    """One worn lining, known everywhere.

    Attributes
    ----------
    family : str
    seed : int
    design : Design
    regions : tuple of functions (azimuth, height) -> wear
        Added up.
    holes : tuple of Patch
        Missing brick: the wall is at least that deep there.
    """

    family: str
    seed: int
    design: Design
    regions: tuple[Region, ...]
    holes: tuple[Patch, ...] = ()

    def cutback(self, azimuth: Float, height: Float) -> Float:
        """True cut-back at any stations; arrays broadcast, mm."""
        azimuth, height = np.broadcast_arrays(
            wrap(azimuth), np.asarray(height, dtype=np.float64)
        )
        worn = np.zeros(azimuth.shape)
        for region in self.regions:
            worn = worn + region(azimuth, height)
        for hole in self.holes:
            inside = hole.share(azimuth, height) > 0.5
            worn = np.where(inside, np.maximum(worn, hole.depth), worn)
        return np.minimum(worn, self.deepest_possible)

    @property
    def deepest_possible(self) -> float:
        """Brick in front of the shell less the last skin, mm."""
        shell = self.design.shell_radius or np.inf
        return shell - BORE - THINNEST

    def true_rebuild_volume(
        self,
        low: float = LOW,
        high: float = HIGH,
        *,
        turn_step: float = 0.5,
        height_step: float = 3.0,
    ) -> float:
        """Material to put in between two heights, openings left out, mm3."""
        key = (low, high, turn_step, height_step)
        if key not in self._volumes:
            cells = cut_into_cells(
                self.design, low, high, turn_step=turn_step, height_step=height_step
            )
            worn = self.cutback(cells.azimuth, cells.height)
            self._volumes[key] = cells.volume(worn)
        return self._volumes[key]

    @cached_property
    def _volumes(self) -> dict[tuple[float, ...], float]:
        return {}


@dataclass(frozen=True)
class Campaign:
    """One furnace heat after heat: earlier surveys' walls and the present one."""

    past: tuple[Lining, ...]
    present: Lining


def make_lining(family: str, seed: int) -> Lining:
    """A worn lining, the same for the same family and seed.

    Parameters
    ----------
    family : str
        One of `FAMILIES`.  For ``"campaign"``, the present wall of `make_campaign`.
    seed : int
    """
    if family == "campaign":
        return make_campaign(seed).present
    habit, rng = HABITS[family], _generator(family, seed)
    design = draw_design(rng)
    return _worn(family, seed, design, draw_nature(rng, habit, design), rng)


def make_campaign(seed: int, *, past: int = 3) -> Campaign:
    """A furnace with a wear pattern of its own, and its walls after several heats.

    From heat to heat the ring's depth, height and lobes and each tuyere's mark vary
    about the furnace's own; spalls, lumps and roughness come anew.
    """
    habit, rng = HABITS["campaign"], _generator("campaign", seed)
    design = draw_design(rng)
    own = draw_nature(rng, habit, design)
    heats = []
    for heat in range(past + 1):
        mood = np.random.default_rng([seed, 77, past - heat])
        today = vary(own, mood)
        heats.append(_worn("campaign", seed, design, today, mood))
    return Campaign(past=tuple(heats[:-1]), present=heats[-1])


def read(
    lining: Lining,
    azimuths: int,
    heights: int,
    *,
    noise: float = 2.0,
    seed: int = 0,
    low: float = LOW,
    high: float = HIGH,
) -> RodReadings:
    """Rod readings at evenly spread stations, in radius.

    A station in an opening is moved round until it is on the wall, as a man would.

    Parameters
    ----------
    azimuths, heights : int
        How many.
    noise : float, mm
        Standard deviation of the normal reading error; the sheet states it.
    seed : int
    """
    a, h = np.meshgrid(
        np.arange(azimuths) * 360.0 / azimuths, np.linspace(low, high, heights)
    )
    a, h = _moved_out(lining.design, a.ravel(), h.ravel()), h.ravel()
    rng = np.random.default_rng([seed, 5, azimuths, heights])
    radius = lining.design.profile.radius_at(h) + lining.cutback(a, h)
    read_off = np.round(radius + noise * rng.standard_normal(a.size), 1)
    n = a.size
    return RodReadings(
        kind=("radius",) * n,
        azimuth=a,
        height=h,
        value=read_off,
        sd=np.full(n, noise),
        step=np.full(n, 0.1),
        place=tuple(f"reading {i + 1}" for i in range(n)),
        note=("",) * n,
    )


def _moved_out(design: Design, azimuth: Float, height: Float) -> Float:
    moved = azimuth.copy()
    for hole in design.openings:
        radius = design.radius_at_opening(hole)
        inside = hole.holds(moved, height, radius)
        off = np.mod(moved - hole.azimuth + 180.0, 360.0) - 180.0
        side = np.where(off < 0.0, -1.0, 1.0)
        beside = wrap(hole.azimuth + side * (hole.half_angle(radius) + 1.0))
        moved = np.where(inside, beside, moved)
    return moved


def _generator(family: str, seed: int) -> Generator:
    return np.random.default_rng([seed, 1000 + FAMILIES.index(family)])


def _worn(
    family: str, seed: int, design: Design, nature: Nature, rng: Generator
) -> Lining:
    regions, holes = draw_pieces(rng, nature, design)
    return Lining(family, seed, design, regions, holes)
