"""Looking through a record for a step, and on for others with that one taken out."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.record.ring_scatter import RingScatter
from geom.record.ring_wear import RingWear
from geom.record.spell_runs import SpellRuns
from geom.record.step_search import AFTER, BEFORE, Ground, chance, search
from geom.record.trial_pieces import TrialPieces
from geom.record.waves import WAVES
from geom.units import Bool, Float

#: Share of its panels that tell a shape in a spell.
_ENOUGH = 0.8


@dataclass(frozen=True)
class Found:
    """A step as it is found.

    Attributes
    ----------
    shape : int
        Of those tried.
    place : int
        The first spell after it.
    chance : float
        That one as evident would be seen were there none.
    """

    shape: int
    place: int
    chance: float


@dataclass(frozen=True)
class Look:
    """What is looked through, n spells, and for what, h shapes."""

    ring: RingWear
    trial: TrialPieces

    @cached_property
    def runs(self) -> SpellRuns:
        """The spells as they are taken together."""
        return SpellRuns(self.ring.weight)

    @cached_property
    def ground(self) -> Ground:
        """What is searched."""
        return Ground(self.runs.worth, self.ring.usual, self.trial, self._valid())

    def _valid(self) -> Bool:
        told = self.ring.told.reshape(len(self.ring.told), -1)
        count = len(self.trial.pieces)
        if told.all():
            return np.ones((self.runs.first.size, count), dtype=np.bool_)
        like = np.stack([self.panels(i).ravel() for i in range(count)])
        held = told.astype(np.float64) @ like.T / like.sum(axis=1)
        counts = self.runs.counts(held >= _ENOUGH)
        before = np.cumsum(counts, axis=0) - counts
        return np.asarray((before >= BEFORE) & (counts.sum(0) - before >= AFTER))

    def panels(self, shape: int) -> Bool:
        """Panels of a shape; (rows, HOURS)."""
        return np.asarray(self.trial.on_panels(shape) > 0.0)

    def near(self, shape: int) -> Bool:
        """Panels of a shape and those that touch them; (rows, HOURS)."""
        own = self.panels(shape)
        wide = own | np.roll(own, 1, axis=1) | np.roll(own, -1, axis=1)
        near = wide.copy()
        near[1:] |= wide[:-1]
        near[:-1] |= wide[1:]
        return near

    def most_evident(self, wear: Float, seed: int, false_alarms: float) -> Found | None:
        """The most evident step of some wear (n, rows, HOURS), if it is not chance."""
        merged = (self.runs.means(wear) @ WAVES)[None]
        seen = search(merged, self.ground)
        luck = chance(merged, seen, self.ground, seed=seed, false_alarms=false_alarms)
        if luck > false_alarms:
            return None
        shape, run = int(seen.shape[0]), int(seen.place[0])
        if self.runs.long == 1.0:
            return Found(shape, run, luck)
        told = self.ground.heights(self.ground.off(merged))
        off = (wear - self.ring.mean) @ WAVES
        heights = told.of_spells(off[None])[0, :, shape]
        place = self.runs.place(heights, run, before=BEFORE, after=AFTER)
        return Found(shape, place, luck)

    def scatter(self, wear: Float, place: int) -> RingScatter:
        """What runs of spells scatter by on both sides of a spell."""
        off = self.ground.off((self.runs.means(wear) @ WAVES)[None])
        run = int(np.searchsorted(self.runs.first, place, side="left"))
        return self.ground.scatter(off, np.array([run]))

    def without(self, found: Sequence[Found]) -> Float:
        """Wear without some steps; (n, rows, HOURS).

        Their pieces, and what touches them, wear the same on average in every stretch
        of spells between steps.
        """
        wear, weight = self.ring.wear.copy(), self.ring.weight
        near = np.stack([self.near(one.shape) for one in found], axis=2)
        for which in np.unique(near.reshape(-1, len(found)), axis=0):
            panels = (near == which).all(axis=2)
            places = {f.place for f, here in zip(found, which, strict=True) if here}
            ends = [0, *sorted(places), len(wear)]
            for begin, end in itertools.pairwise(ends) if places else ():
                part = wear[begin:end, panels]
                mean = np.average(part, axis=0, weights=weight[begin:end])
                wear[begin:end, panels] = part - mean + self.ring.mean[panels]
        return wear
