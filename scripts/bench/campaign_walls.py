"""Whole campaigns whose every wall is known: heat after heat, with repairs between.

A furnace (`furnaces`) wears after a pattern of its own, which lasts.  Every heat wears
the wall by that pattern, moved and reshaped a little, times the heat's hours and a
factor of its own; now and then a spot falls out.  A repair puts back what is worn by
more than about 4 mm, not quite to the drawing, and leaves the rest.  The burnt and the
patched face have a texture of their own, anew each time; slag is knocked off before
anybody measures.  Sizes are common practice, no source.  Lengths mm, azimuth degrees.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from furnaces import (
    TUYERE_HEIGHT,
    Habit,
    Nature,
    Region,
    _draw_spall,
    _draw_texture,
    draw_design,
    draw_nature,
    vary,
)
from numpy.random import Generator
from wear import Patch, sigmoid

from geom.design import Design
from geom.frame import turn
from geom.units import Float

#: How such furnaces wear in one heat: 6 to 16 mm at the ring, marks over the tuyeres.
HABIT = Habit((6, 16), (0.10, 0.45), (0.10, 0.50), 0.0, 0.0)
#: Rubbing of the charges in one heat, as a share of what `Stack` draws.
_RUBBED = 0.2
#: Spots fallen out in one heat, on average.
SPALLS = 0.2
#: Hours on blast that the pattern is for, and the logarithmic sd of a heat's hours and
#: of what else all of the wall shares in a heat.
HOURS, HOURS_SD, SHARED_SD = 8.0, 0.06, 0.05
#: Iron in an hour, kg, and its logarithmic sd.
MELTED, _MELTED_SD = 5000.0, 0.03
#: What is worn by less is left as it is, mm, and over how much that changes.
_LEFT, _LEFT_EDGE = 4.0, 0.8
#: How far a repair is off the drawing, mm sd: all of it, and each wave of its face.
_OFF, _WAVE = 0.7, 0.8


@dataclass(frozen=True)
class Step:
    """Wear that comes on top of every heat from one heat on.

    Attributes
    ----------
    name : str
    extra : float, mm a heat
    azimuth, half_turn : float, degrees
        Its middle and its reach each way; 180 and more: all round.
    low, high : float, mm
    """

    name: str
    extra: float
    azimuth: float
    half_turn: float
    low: float
    high: float

    def __call__(self, azimuth: Float, height: Float) -> Float:
        """Wear of one heat, mm; it fades within some 4 degrees and 20 mm."""
        up = sigmoid((height - self.low) / 10.0) * sigmoid((self.high - height) / 10.0)
        if self.half_turn >= 180.0:
            return self.extra * up * np.ones(np.shape(azimuth))
        beside = self.half_turn - np.abs(turn(self.azimuth, azimuth))
        return self.extra * up * sigmoid(beside / 2.0)


@dataclass(frozen=True)
class Heat:
    """One heat, the repair after it, and the faces that both leave.

    Attributes
    ----------
    hours : float
    melted : float, kg
    strength : float
        What the pattern is multiplied by.
    pattern : tuple of Piece
        Wear at strength 1.
    spalls : tuple of Patch
    burnt, patched : tuple of Piece
        Texture before and after repair.
    waves : array (w, 4)
        The repair's face: amplitude (mm), waves round the ring, length of a wave up
        the wall (mm), phase; a wave 0 round and endless up is the whole repair's.
    """

    hours: float
    melted: float
    strength: float
    pattern: tuple[Region, ...]
    spalls: tuple[Patch, ...]
    burnt: tuple[Region, ...]
    patched: tuple[Region, ...]
    waves: Float

    def wear(self, azimuth: Float, height: Float) -> Float:
        """What the heat takes off, mm."""
        own = self.strength * added(self.pattern, azimuth, height)
        return np.asarray(own + added(self.spalls, azimuth, height))

    def repaired(self, found: Float, azimuth: Float, height: Float) -> Float:
        """Cut-back after the repair of a wall cut back by ``found``, mm."""
        anew = np.zeros(np.shape(found))
        for size, around, tall, phase in self.waves:
            angle = around * np.deg2rad(azimuth) + 2.0 * np.pi * height / tall + phase
            anew = anew + size * np.cos(angle)
        share = sigmoid((found - _LEFT) / _LEFT_EDGE)
        return np.asarray(share * anew + (1.0 - share) * found)


@dataclass(frozen=True)
class Furnace:
    """One furnace and its heats, the same for the same seed.

    Attributes
    ----------
    seed : int
    step : Step or None
    from_heat : int
        First heat that wears the step's extra.
    """

    seed: int
    step: Step | None = None
    from_heat: int = 0

    @cached_property
    def _own(self) -> tuple[Design, Nature]:
        rng = np.random.default_rng([self.seed, 31])
        design = draw_design(rng)
        return design, draw_nature(rng, HABIT, design)

    @property
    def design(self) -> Design:
        """Its drawing."""
        return self._own[0]

    def heat(self, number: int, *, future: int = 0) -> Heat:
        """A heat by its number, from 1; ``future`` counts what else it might be.

        Heat 0 is the new lining: of it only what its repair leaves counts.
        """
        rng = np.random.default_rng([self.seed, 32, future, number])
        hours = HOURS * _factor(rng, HOURS_SD)
        shared = _factor(rng, SHARED_SD)
        melted = hours * MELTED * _factor(rng, _MELTED_SD)
        pattern = self.mood(rng)
        spalls = tuple(_draw_spall(rng) for _ in range(rng.poisson(SPALLS)))
        burnt, patched = _draw_texture(rng), _draw_texture(rng)
        strength = hours / HOURS * shared
        if self.step is not None and number >= self.from_heat:
            pattern = (*pattern, self.step)
        waves = _draw_waves(rng)
        return Heat(hours, melted, strength, pattern, spalls, burnt, patched, waves)

    def mood(self, rng: Generator) -> tuple[Region, ...]:
        """Wear of a heat at strength 1: the own pattern, moved and reshaped a little.

        The ring's depth is left to the heat's strength.
        """
        own = self._own[1]
        today = vary(own, rng)
        burn = replace(today.burn, peak=own.burn.peak)
        stack = replace(own.stack, depth=_RUBBED * own.stack.depth)
        return (burn, *today.jets, stack)

    def lasting(self, azimuth: Float, height: Float, *, moods: int = 400) -> Float:
        """The pattern that lasts: mean wear of ``moods`` heats at strength 1, mm.

        A heat's strength is 1 on average; spalls and the step are not in it.
        """
        rng = np.random.default_rng([self.seed, 33])
        total = np.zeros(np.broadcast(azimuth, height).shape)
        for _ in range(moods):
            total += added(self.mood(rng), azimuth, height)
        return np.asarray(total / moods)


@dataclass(frozen=True)
class Wall:
    """One wall of a campaign, to be read by `linings.read` or known everywhere.

    ``of`` gives the walls of the campaign in order at any stations.
    """

    design: Design
    of: Callable[[Float, Float], list[Float]]
    place: int

    def cutback(self, azimuth: Float, height: Float) -> Float:
        """True cut-back, mm."""
        return self.of(azimuth, height)[self.place]


def walls_at(
    furnace: Furnace,
    heats: int,
    azimuth: Float,
    height: Float,
    *,
    texture: bool = True,
) -> list[Float]:
    """Every wall of a campaign at some stations, mm.

    In order: as the new lining was left, then before and after repair of each heat;
    ``2 * heats + 1`` of them.  A repair never sees the texture.
    """
    first = furnace.heat(0)
    nothing = np.full(np.broadcast(azimuth, height).shape, 2.0 * _LEFT)
    smooth = first.repaired(nothing, azimuth, height)
    walls = [smooth + _face(first.patched, azimuth, height, seen=texture)]
    for number in range(1, heats + 1):
        heat = furnace.heat(number)
        found = smooth + heat.wear(azimuth, height)
        smooth = heat.repaired(found, azimuth, height)
        walls.append(found + _face(heat.burnt, azimuth, height, seen=texture))
        walls.append(smooth + _face(heat.patched, azimuth, height, seen=texture))
    return walls


def mean_spalls(height: Float, *, draws: int = 1500) -> Float:
    """What spots falling out wear in a heat on average, mm; by height alone."""
    rng = np.random.default_rng(34)
    around = np.arange(0.0, 360.0, 5.0)
    total = np.zeros(height.size)
    for _ in range(draws):
        spall = _draw_spall(rng)
        total += spall(around[None, :], height[:, None]).mean(axis=1)
    return np.asarray(SPALLS * total / draws)


def added(regions: tuple[Region, ...], azimuth: Float, height: Float) -> Float:
    """Pieces added up at stations, mm."""
    total = np.zeros(np.broadcast(azimuth, height).shape)
    for region in regions:
        total = total + region(azimuth, height)
    return total


def steps_to_plant(seed: int, *, extra: float = 3.0) -> tuple[Step, ...]:
    """What might come over a furnace: another wear all round, on one side, in a band.

    The zone is that of `geom.record.regions`: 30 in from the heads of the tuyeres up.
    """
    rng = np.random.default_rng([seed, 35])
    head = TUYERE_HEIGHT + 0.5 * 3.5 * 25.4
    top = head + 762.0
    band = rng.uniform(head, head + 400.0)
    return (
        Step("zone", extra, 0.0, 180.0, head, top),
        Step("three sides", extra, rng.uniform(0, 360), 45.0, head, top),
        Step("level", extra, 0.0, 180.0, band, band + 200.0),
    )


def _face(
    texture: tuple[Region, ...], azimuth: Float, height: Float, *, seen: bool
) -> Float | float:
    return added(texture, azimuth, height) if seen else 0.0


def _factor(rng: Generator, sd: float) -> float:
    """A factor about 1, 1 on average."""
    return float(rng.lognormal(-0.5 * sd**2, sd))


def _draw_waves(rng: Generator) -> Float:
    many = 6
    round_, tall = rng.integers(0, 7, many), rng.uniform(300, 1200, many)
    tall = tall * rng.choice([-1.0, 1.0], many)
    size, phase = rng.normal(0.0, _WAVE, many), rng.uniform(0.0, 2 * np.pi, many)
    whole = [rng.normal(0.0, _OFF), 0.0, np.inf, 0.0]
    return np.vstack([whole, np.stack([size, round_, tall, phase], axis=1)])
